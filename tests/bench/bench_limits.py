"""How long things take that must never take long: hostile input, long lists, the rules themselves. Each with its limit.

`python -m tests.bench.bench_limits`; ends with status 1 where a limit is passed. Seconds of processor, the least of
three runs. No test of the suite asserts a time: on a busy machine it would decide by chance.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from reasoner.casebook import store
from reasoner.casebook.casefile import parse_case
from reasoner.casebook.trouble import CasebookError
from reasoner.measure.codes import read_codes
from reasoner.rulebook.read import collect

ROOT = Path(__file__).parents[2]
CASE = ROOT / "cases" / "estate-hot-restart.yaml"


def deep_case() -> None:
    top = CASE.read_text(encoding="utf-8").partition("events:\n")[0] + "events:\n"
    try:
        parse_case((top + "- " + "[" * 100_000 + "\n").encode(), Path("x.yaml"))
    except CasebookError:
        return
    raise AssertionError("a hundred thousand levels were read")


def rules_text(text: str) -> Callable[[], None]:
    def run() -> None:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "x.yaml"
            path.write_text(text, encoding="utf-8")
            assert collect([path])[1], "it was taken for rules"

    return run


def list_cases() -> None:
    with tempfile.TemporaryDirectory() as folder:
        for number in range(300):
            (Path(folder) / f"{number}.yaml").write_bytes(CASE.read_bytes())
        assert len(store.entries(Path(folder))) == 300


BOMB = "a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]\n" for i in range(1, 10)
)
LIMITS: tuple[tuple[str, Callable[[], object], float], ...] = (
    ("the rule base read", lambda: collect([ROOT / "rules"]), 0.3),
    ("a case with 100 000 levels refused", deep_case, 2.0),
    ("rules with 100 000 levels refused", rules_text("[" * 100_000), 2.0),
    ("rules with a bomb of aliases refused", rules_text(BOMB), 0.5),
    ("300 cases listed", list_cases, 5.0),
    ("a list of codes of 350 000 characters read", lambda: read_codes("P0172 " * 58_000), 5.0),
)


def main() -> int:
    slow = 0
    for what, run, most in LIMITS:
        times = []
        for _ in range(3):
            begin = time.process_time()
            run()
            times.append(time.process_time() - begin)
        slow += min(times) > most
        print(f"{what:45} {min(times):7.3f} s  at most {most:g} s{'  TOO SLOW' if min(times) > most else ''}")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
