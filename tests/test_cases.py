"""The shipped cases, re-asked: the loop chooses its own checks, answered from what each case holds."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import pytest

from reasoner.casebook import casefile
from reasoner.cli.keeper import vehicle_of
from reasoner.inference.belief import by_fault
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from reasoner.session.script import play, script_of
from reasoner.session.workup import Workup, begin

ROOT = Path(__file__).parent.parent
CASES = sorted((ROOT / "cases").glob("*.yaml"))
SENSIBLE = 30  # answers a person would still put up with, the owner's own included


@lru_cache
def book() -> Rulebook:
    return read_rules([ROOT / "rules"])


@lru_cache
def played(path: Path) -> tuple[Workup, str, str]:
    case = casefile.load(path)
    workup = begin(book(), vehicle_of(case))
    for workup in play(workup, script_of(case.events)):  # noqa: B007 (the last one counts)
        pass
    closed = next(e for e in case.events if e["event"] == "closed")
    return workup, closed["fault"], closed["where"]


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_case_ends_at_the_fault_that_was_found(path: Path) -> None:
    workup, fault, _ = played(path)
    chances = by_fault(workup.tables, workup.belief.probability)
    assert workup.tables.faults[int(chances.argmax())] == fault


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_case_ends_at_the_place(path: Path) -> None:
    workup, fault, where = played(path)
    best = workup.tables.causes[int(workup.belief.probability.argmax())]
    assert (best.fault, best.where) == (fault, where)


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_case_takes_a_sensible_number_of_answers(path: Path) -> None:
    workup, _, _ = played(path)
    assert 3 <= len(workup.record.given) <= SENSIBLE


def test_cases_differ_in_faults_and_vehicles() -> None:
    found = [played(path) for path in CASES]
    assert len(found) >= 6
    assert len({fault for _, fault, _ in found}) >= 6
    assert len({w.vehicle.layout for w, _, _ in found}) >= 3
    assert {w.vehicle.properties["injection"] for w, _, _ in found} >= {"port", "direct"}


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
@pytest.mark.parametrize("first", range(3))
def test_the_end_does_not_hang_on_the_path(path: Path, first: int) -> None:
    """Beginning with another of the proposed checks than the best, the same fault is found."""
    from reasoner.inference.plan import worth
    from reasoner.session.script import begin_with, reply

    case = casefile.load(path)
    script = script_of(case.events)
    workup = begin_with(begin(book(), vehicle_of(case)), script)
    for number in range(60):
        choices = [o for o in workup.ranked if worth(o, workup.costs)]
        if workup.settled or not choices:
            break
        pick = choices[min(first + 1, len(choices) - 1)] if number < 4 else choices[0]
        workup = workup.after(reply(workup, script, pick))
    chances = by_fault(workup.tables, workup.belief.probability)
    _, fault, _ = played(path)
    assert workup.tables.faults[int(chances.argmax())] == fault
