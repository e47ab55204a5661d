"""`reasoner rules trial` as a person runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from reasoner.cli import exits
from tests.cli.conftest import Run

ROOT = Path(__file__).parent.parent.parent
TINY = ["--only-rules", "--rules", str(ROOT / "tests" / "rulebook" / "small")]


def test_one_side(reasoner: Run) -> None:
    found = reasoner("rules", "trial", "--cars", "2", "--choose", "greedy", *TINY)
    assert found.returncode == exits.FINE, found.stderr
    assert "2 virtual cars drawn from rules that are off" in " ".join(found.stdout.split())
    assert "greedy" in found.stdout and "FAULT BY FAULT" in found.stdout
    assert "not from a workshop" in found.stdout
    assert max(map(len, found.stdout.splitlines())) <= 80


def test_the_same_cars_side_by_side(reasoner: Run, tmp_path: Path) -> None:
    """Two ways of choosing and two sets of rules: four columns, each with the same car."""
    (tmp_path / "own.yaml").write_text("faults: {airflow-reads-high: {share: 400}}\n", encoding="utf-8")
    order = tmp_path / "order.txt"
    order.write_text("# a list\nfuel-trim warm-idle\n\nfuel-smell  # last\n", encoding="utf-8")
    ways = ["--choose", "greedy", "--choose", "fixed", "--order", str(order)]
    found = reasoner("rules", "trial", "--cars", "3", *ways, *TINY, "--against", str(tmp_path / "own.yaml"), "--json")
    assert found.returncode == exits.FINE, found.stderr
    document = json.loads(found.stdout)
    sides = {side["name"]: side for side in document["sides"]}
    assert list(sides) == ["greedy, today", "fixed, today", "greedy, changed", "fixed, changed"]
    assert len({tuple((r["fault"], r["where"]) for r in side["runs"]) for side in sides.values()}) == 1
    assert {c for r in sides["fixed, today"]["runs"] for c in r["checks"]} <= {"fuel-trim", "fuel-smell"}
    assert all(side["cars"] == 3 and side["given"]["cases"] == 3 for side in sides.values())


def test_many_cars_go_over_the_processors_and_come_back_in_order(reasoner: Run) -> None:
    arguments = ["rules", "trial", "--cars", "26", "--seed", "4", "--perturb", "beyond", "--choose", "greedy", "--json"]
    over, alone = (json.loads(reasoner(*arguments, *TINY, "--jobs", jobs).stdout) for jobs in ("2", "1"))
    assert over == alone
    assert [run["number"] for run in over["sides"][0]["runs"]] == list(range(26))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("tea\n", 'line 1: the rules have no check "tea"; see `reasoner rules list checks`'),
        (
            "\nsmell-of-fuel on-fire\n",
            'line 2: the rules have no condition "on-fire"; see `reasoner rules list conditions`',
        ),
        ("smell-of-fuel warm-idle now\n", "line 1: a check and at most one condition are expected"),
        ("# nothing\n", "names no check"),
    ],
)
def test_a_list_with_mistakes(reasoner: Run, tmp_path: Path, text: str, said: str) -> None:
    order = tmp_path / "order.txt"
    order.write_text(text, encoding="utf-8")
    found = reasoner("rules", "trial", "--cars", "1", "--choose", "fixed", "--order", str(order))
    assert found.returncode == exits.PROBLEMS
    assert said in found.stderr and "Traceback" not in found.stderr


def test_wrong_use(reasoner: Run, tmp_path: Path) -> None:
    order = tmp_path / "order.txt"
    order.write_text("smell-of-fuel\n", encoding="utf-8")
    for arguments in (["--cars", "0"], ["--order", str(order)], ["--choose", "luck"], ["--seed", "x"]):
        found = reasoner("rules", "trial", *arguments)
        assert found.returncode == exits.USAGE and "Traceback" not in found.stderr, arguments
    found = reasoner("rules", "trial", "--cars", "1", "--vehicle", str(tmp_path / "none.yaml"))
    assert found.returncode == exits.PROBLEMS and "none.yaml" in found.stderr
