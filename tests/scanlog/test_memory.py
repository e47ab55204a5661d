"""Memory in proportion to a log's length; `tests/bench/bench_logs.py` prints the time."""

from __future__ import annotations

import tracemalloc

from reasoner.scanlog.analysis import analyse
from tests.bench.bench_logs import ten_a_second


def test_memory_grows_in_proportion() -> None:
    lines = ten_a_second(1).splitlines(keepends=True)
    most = []
    for rows in (10_000, 30_000):
        tracemalloc.start()
        analyse(b"".join(lines[:rows]))
        most.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert most[1] < 3.3 * most[0]
