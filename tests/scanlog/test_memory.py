"""Memory in proportion to a log's length, and no more; `tests/bench/bench_logs.py` prints the time."""

from __future__ import annotations

import tracemalloc

from reasoner.scanlog.analysis import analyse
from tests.bench.bench_logs import ten_a_second

MOST_A_ROW = 600  # bytes beside the file's own, of 17 columns at ten rows a second: 216 MB for ten hours


def test_memory_grows_in_proportion() -> None:
    lines = ten_a_second(1).splitlines(keepends=True)
    most = []
    for rows in (10_000, 30_000):
        tracemalloc.start()
        analyse(b"".join(lines[:rows]))
        most.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert most[1] < 3.3 * most[0]
    assert most[1] < MOST_A_ROW * 30_000
