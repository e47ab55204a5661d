"""One file for each mistake a person can make, and the whole of what is said about it, mark included.

Every file of `broken/` is read together with the sound rules of `small/`. To write the texts anew after changing a
message (and then to read every difference): python -m tests.rulebook.test_broken
"""

from __future__ import annotations

from pathlib import Path

import pytest

from reasoner.rulebook.problem import problem_text
from reasoner.rulebook.read import collect

HERE = Path(__file__).parent
BROKEN = sorted((HERE / "broken").glob("*.yaml"))


def said_of(path: Path) -> str:
    book, problems = collect([HERE / "small", path], shown_from=HERE)
    assert (book is None) == bool(problems)
    return "\n\n".join(problem_text(problem) for problem in problems) + "\n"


def test_there_are_enough() -> None:
    assert len(BROKEN) >= 40
    assert {path.stem for path in (HERE / "broken").glob("*.txt")} == {path.stem for path in BROKEN}


@pytest.mark.parametrize("path", BROKEN, ids=lambda path: path.stem)
def test_the_whole_message(path: Path) -> None:
    said = said_of(path)
    assert said == path.with_suffix(".txt").read_text(encoding="utf-8")
    assert said.startswith(f"broken/{path.name}:")


if __name__ == "__main__":
    for broken in BROKEN:
        broken.with_suffix(".txt").write_text(said_of(broken), encoding="utf-8")
