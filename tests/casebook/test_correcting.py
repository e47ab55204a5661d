"""Corrections: what is written stays, what counts changes, and the reason is kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from reasoner.casebook.correcting import correct_answer, correct_vehicle, standing, take_step_back, vehicle_fields
from reasoner.casebook.events import Answered, Corrected, Event, Told, Undone
from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError
from tests.events import as_written

TOLD = Told(step=1, complaint="lamp")
PLUGS = Answered(
    step=2, check="plugs", values={1: "wet", 2: "same"}, sure="guess", reading="as typed", asked=True, at="then"
)
TRIM = Answered(step=3, check="trim", values={1: "rich"})
CASE: list[Event] = [TOLD, PLUGS, TRIM]


def test_an_answer_is_corrected_where_it_stands() -> None:
    events = [*CASE, *correct_answer(CASE, 2, "plugs", {1: "same", 2: "wet"}, "sure", "numbered from the back")]
    assert events[:3] == CASE
    last = events[3]
    assert isinstance(last, Corrected) and last.because == "numbered from the back" and last.step == 4
    told, plugs, trim = standing(events)
    assert (told, trim) == (TOLD, TRIM)
    assert plugs == Answered(step=2, check="plugs", values={1: "same", 2: "wet"}, asked=True) and plugs.at == "then"


def test_the_last_correction_counts_and_can_be_taken_back_too() -> None:
    events = [*CASE, *correct_answer(CASE, 3, "trim", {1: "normal"}, "sure", "wrong car")]
    events += correct_answer(events, 3, "trim", {1: "lean"}, "guess", "no, that one")
    assert as_written(standing(events))[2]["values"] == {"1": "lean"}
    events.append(Undone(step=6, undone=5))
    assert as_written(standing(events))[2]["values"] == {"1": "normal"}
    events.append(Undone(step=7, undone=4))
    assert standing(events) == CASE


def test_a_step_is_taken_back_with_its_reason() -> None:
    events = [*CASE, *take_step_back(CASE, 2, "looked at the wrong car")]
    assert standing(events) == [TOLD, TRIM]
    assert as_written(events)[-1]["because"] == "looked at the wrong car"


@pytest.mark.parametrize(
    "act",
    [
        lambda: correct_answer(CASE, 3, "plugs", {1: "same"}, "sure", "x"),
        lambda: correct_answer(CASE, 9, "plugs", {1: "same"}, "sure", "x"),
        lambda: correct_answer(CASE, 2, "plugs", {1: "same"}, "sure", "  "),
        lambda: take_step_back(CASE, 8, "x"),
        lambda: take_step_back([*CASE, *take_step_back(CASE, 2, "x")], 2, "again"),
        lambda: correct_vehicle(CASE, {"distance": "1 km"}, ""),
    ],
)
def test_what_makes_no_sense_is_refused(act: Any) -> None:
    with pytest.raises(CasebookError):
        act()


def test_the_vehicle_is_put_right() -> None:
    head = {"layout": "V 6", "distance": "90 km"}
    events = [*CASE, *correct_vehicle(CASE, {"distance": "90000 km", "layout": ""}, "misread")]
    assert vehicle_fields(Case(Path("x"), head, tuple(events))) == {"distance": "90000 km"}
    back = [*events, Undone(step=5, undone=4)]
    assert vehicle_fields(Case(Path("x"), head, tuple(back))) == {"layout": "V 6", "distance": "90 km"}
    assert standing(events) == CASE  # it is no answer
