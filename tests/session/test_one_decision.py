"""One decision: what the loop says when it stops is what `decide` recommends, on every solved case."""

from __future__ import annotations

from pathlib import Path

import pytest

from reasoner.casebook.shape import load_sound
from reasoner.history.trace import vehicle_of
from reasoner.repair.guards import looking_at
from reasoner.session.concluding import verdict
from reasoner.session.deciding import concluded, decide, decision_document, title
from reasoner.session.workup import Workup
from tests.shipped import garage, some


def as_it_stood(path: Path) -> Workup:
    case = load_sound(path)
    return garage().begin(vehicle_of(case), case.events)


@pytest.mark.parametrize("path", some(1, 12), ids=lambda path: path.stem)
def test_loop_and_decide_are_of_one_voice(path: Path) -> None:
    """While a look saves more than it costs, `decide` says to test on with it; but for that both agree."""
    workup = as_it_stood(path)
    first = decide(workup)
    assert (first.best.check is None) == (workup.look is None)
    assert first.best.check is workup.look
    said, best = verdict(workup), concluded(workup).best
    assert (said.choice, said.course, said.cures) == (best.kind, title(first, best), best.cures)
    if workup.look is None:
        recommended = next(choice for choice in decision_document(first).choices if choice.recommended)
        assert (said.course, said.wanted_first) == (recommended.title, recommended.missing)


@pytest.mark.parametrize("path", some(2, 12), ids=lambda path: path.stem)
def test_nothing_is_settled_on_a_part_that_nobody_looked_at(path: Path) -> None:
    """Unless it costs nothing, or there is nothing at hand to look with, which the verdict then says."""
    workup = as_it_stood(path)
    if workup.look is not None:
        return
    said = verdict(workup)
    if said.kind == "settled" and said.choice != "free":
        direct = looking_at(workup.outlook.bare, said.lead.fault)
        assert direct & {given.check for given in workup.record.given} or said.wanted_first or not direct


@pytest.mark.parametrize("path", some(0, 12), ids=lambda path: path.stem)
def test_what_tells_next_to_nothing_is_not_asked(path: Path) -> None:
    """However little a question costs; unless the decision hangs on that very answer."""
    case = load_sound(path)
    told = [event for event in case.events if event.kind in ("told", "codes")]
    workup = garage().begin(vehicle_of(case), told)
    assert workup.ranked
    for option in workup.ranked:
        saves = workup.outlook.stakes.little
        assert option.gain >= workup.costs.least_gain or option.saves > saves, workup.tables.checks[option.check].name
