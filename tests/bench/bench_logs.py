"""Logs of a drive: `python -m tests.bench.bench_logs`. Processor seconds of whole analyses beside what numpy takes to
read the same file, most memory; nothing is asserted."""

from __future__ import annotations

import io
import time
import tracemalloc

import numpy as np

from reasoner.scanlog.analysis import analyse
from reasoner.scanlog.document import LogDocument
from reasoner.scanlog.reading import LogTable, read_log
from tests.scanlog.drives import Fault, Setting, csv, drive

HOUR = Setting(minutes=(60.0,), canister=20.0, fault=Fault(leak=0.04, when=((900.0, 1400.0), (2000.0, 2500.0))))


def ten_a_second(hours: int) -> bytes:
    """So many hours of ten rows a second, 17 columns: one made-up hour over and over."""
    head, *rows = csv(drive(1, HOUR), every=1).decode().splitlines()
    lines = [head]
    for hour in range(hours):
        for row in rows:
            t, rest = row.split(",", 1)
            at = float(t) + 3600 * hour
            lines += [f"{at:.1f},{rest}", f"{at + 0.1:.1f},{rest}"]
    return ("\n".join(lines) + "\n").encode()


def main() -> None:
    for hours in (1, 10):
        content = ten_a_second(hours)
        start = time.process_time()
        np.genfromtxt(io.BytesIO(content), delimiter=",", skip_header=1)
        numpy_alone = time.process_time() - start
        start = time.process_time()
        np.loadtxt(io.BytesIO(content), delimiter=",", skiprows=1)
        numpy_fast = time.process_time() - start
        start = time.process_time()
        assert isinstance(read_log(content), LogTable)
        reading = time.process_time() - start
        found = []
        for _ in range(3):
            start = time.process_time()
            assert isinstance(analyse(content), LogDocument)
            found.append(time.process_time() - start)
        rows = content.count(b"\n") - 1
        print(f"{hours:2} h at 10 Hz, {rows} rows, {len(content) / 1e6:.1f} MB", end=": ")
        print(f"{min(found):.2f} s, of which reading {reading:.2f} s;", end=" ")
        print(f"numpy reads it in {numpy_fast:.2f} s (loadtxt) or {numpy_alone:.2f} s (genfromtxt):", end=" ")
        print(f"{min(found) / numpy_fast:.1f} or {min(found) / numpy_alone:.1f} times that")
    for hours in (1, 2, 4, 8):
        content = ten_a_second(hours)
        tracemalloc.start()
        analyse(content)
        print(f"{hours:2} h: at most {tracemalloc.get_traced_memory()[1] / 1e6:.0f} MB beside the file's bytes")
        tracemalloc.stop()


if __name__ == "__main__":
    main()
