"""Checks found by words, and how acts and outcomes read in words."""

from __future__ import annotations

from typing import Any

import pytest

from reasoner.casebook.events import Answered, ConditionMet
from reasoner.session import acts
from reasoner.session.asking import question
from reasoner.session.finding import find_checks
from reasoner.session.words import step_text, values_text
from tests.events import read
from tests.terminal.consoles import case


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("smell", "smell"),
        ("it SMELLS of petrol", "smell"),
        ("stench", "smell"),
        ("sooty plugs", "plugs"),
        ("fouled", "plugs"),
        ("trim", "trim"),
        ("pressure falling", "pressure"),
    ],
)
def test_found_by_title_words_question_and_outcomes(text: str, first: str) -> None:
    assert find_checks(case(), text)[0].name == first


@pytest.mark.parametrize("text", ["", "   ", "zebra", "is the of", "\x1b[31m", "\u202e"])
def test_nothing_is_found_by_nothing(text: str) -> None:
    assert find_checks(case(), text) == ()


def test_more_of_the_words_come_first() -> None:
    names = [check.name for check in find_checks(case(), "fuel pressure")]
    assert names[0] == "pressure" and "smell" in names


def test_a_check_that_cannot_apply_is_not_found() -> None:
    port = case(injection="port")
    assert all(check.name in port.tables.check_number for check in find_checks(port, "fuel trim pressure plug smell"))


@pytest.mark.parametrize(
    ("values", "text"),
    [
        ({1: "same", 2: "same", 3: "wet", 4: "same"}, "cylinder 3 wet with fuel, the rest like the others"),
        ({1: "same", 2: "same", 3: "darker", 4: "darker"}, "cylinders 3 and 4 darker, the rest like the others"),
        ({1: "wet", 2: "wet", 3: "darker", 4: "wet"}, "cylinder 3 darker, the rest wet with fuel"),
        ({1: "same", 2: "same", 3: "same", 4: "same"}, "each cylinder like the others"),
        ({1: "same", 3: "wet"}, "cylinder 3 wet with fuel, cylinder 1 like the others"),
    ],
)
def test_outcomes_by_cylinder_in_words(values: dict[int, str], text: str) -> None:
    workup = case()
    assert values_text(workup, workup.book.checks["plugs"], values) == text


def test_outcomes_that_differ_only_in_the_cylinder_are_told_as_one() -> None:
    workup = case(events=[ConditionMet(step=1, condition="hot-restart")])
    number = workup.tables.check_number["plugs"]
    asked = question(workup, next(o for o in workup.ranked if o.check == number and not o.fresh))
    merged = next(s for s in asked.separates if "1, 2, 3 or 4 darker" in s.outcome)
    assert merged.outcome == "cylinder 1, 2, 3 or 4 darker, the rest like the others"
    assert merged.lead == "Injector leaks when shut, that cylinder"
    assert merged.lead_after > 3 * merged.lead_before


def test_once_the_cylinders_differ_they_are_told_apart() -> None:
    seen = [
        ConditionMet(step=1, condition="hot-restart"),
        Answered(step=2, check="plugs", values={3: "darker"}),
        ConditionMet(step=3, condition="hot-restart"),
    ]
    workup = case(events=seen)
    number = workup.tables.check_number["plugs"]
    asked = question(workup, next(o for o in workup.ranked if o.check == number))
    assert any(s.outcome.startswith("cylinder 3 darker") for s in asked.separates)


@pytest.mark.parametrize(
    ("events", "text"),
    [
        (
            [{"event": "answer", "check": "smell", "values": {"0": "yes"}, "sure": "guess"}],
            "Smell of fuel: smells of fuel (guess)",
        ),
        ([{"event": "pass", "check": "plugs", "why": "cant-tell"}], "Plug colour: can't tell"),
        ([{"event": "condition", "condition": "hot-restart"}], "the car's condition: hot restart"),
        ([{"event": "condition", "condition": None}], "the car's condition: not known"),
        ([{"event": "avoid", "condition": "hot-restart"}], "never to be brought about: hot restart"),
        ([{"event": "codes", "codes": [{"code": "P0172"}], "complete": True}], "the codes read: P0172"),
        ([{"event": "codes", "codes": [], "complete": True}], "the codes read: none"),
        ([{"event": "tools", "lacking": ["reader"], "at hand": []}], "tools: code reader"),
        ([{"event": "told", "complaint": "rich"}], "the complaint"),
        ([{"event": "note", "text": "x"}], "a note"),
    ],
)
def test_a_step_in_words(events: list[dict[str, Any]], text: str) -> None:
    assert step_text(case(events=read(*({**e, "step": 1} for e in events))), 1) == text


def test_a_verdict_is_kept_once_and_taken_back_with_its_answer() -> None:
    from reasoner.session.concluding import verdict
    from tests.terminal.test_loop import settled

    workup = settled()
    events = acts.conclude(workup, verdict(workup))
    assert [e.kind for e in events] == ["verdict"]
    kept = workup.after(events)
    assert acts.conclude(kept, verdict(kept)) == []
    undone = kept.after(acts.undo(kept))
    assert undone.record.verdicts == ()
