"""An hour at ten rows a second in under a second of work; ten hours in well under ten; memory in proportion.

Time is what the processor worked for this process, so that a busy machine does not decide. The ten hours are part of
the long form (REASONER_LOG_SEEDS set); `tests/bench/bench_logs.py` prints the figures.
"""

from __future__ import annotations

import time
import tracemalloc

import pytest

from reasoner.scanlog.analysis import analyse
from reasoner.scanlog.document import LogDocument
from tests.bench.bench_logs import ten_a_second
from tests.scanlog.look import SEEDS


def worked(content: bytes) -> float:
    start = time.process_time()
    assert isinstance(analyse(content), LogDocument)
    return time.process_time() - start


def test_an_hour() -> None:
    content = ten_a_second(1)
    assert content.count(b"\n") == 36_001
    assert min(worked(content), worked(content)) < 1.0


@pytest.mark.skipif(not SEEDS, reason="part of the long form")
def test_ten_hours() -> None:
    assert worked(ten_a_second(10)) < 6.0


def test_memory_grows_in_proportion() -> None:
    lines = ten_a_second(1).splitlines(keepends=True)
    most = []
    for rows in (10_000, 30_000):
        tracemalloc.start()
        analyse(b"".join(lines[:rows]))
        most.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert most[1] < 3.3 * most[0]
