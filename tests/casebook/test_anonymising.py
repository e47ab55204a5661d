"""What can be given away: nothing of who and when, all of what was seen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reasoner.casebook.anonymising import anonymous, rounded
from reasoner.casebook.casefile import CaseFile, load_case
from reasoner.casebook.shape import sound
from reasoner.history.trace import trace, vehicle_of
from tests.casebook.small import plain_data
from tests.events import wrong_with
from tests.shipped import LONG, garage, some

HEAD = {
    "format": 1, "case": "AB 12 CDE", "opened": "2026-03-09T08:10:00+00:00", "rules": "0" * 64,
    "owner": "Jane Roe", "vehicle": {"name": "Jane's estate", "layout": "inline 4", "distance": "198321 km"},
}  # fmt: skip
EVENTS: list[dict[str, Any]] = [
    {"at": "2026-03-09T08:14:00+00:00", "event": "told", "step": 1, "complaint": "Mrs Roe says it shakes. AB12 CDE"},
    {"at": "2026-03-10T08:14:00+00:00", "event": "note", "step": 2, "text": "ring 0171 234567"},
    {"event": "answer", "step": 3, "check": "plugs", "values": {"3": "wet"}, "sure": "think so", "reading": "by Jane"},
    {"event": "values", "step": 4, "first": {"3": "C4KD7A"}},
    {"event": "something new", "step": 5, "who": "Jane Roe", "clean": True, "fault": "Jane's mistake"},
    {
        "event": "closed",
        "step": 6,
        "state": "proven",
        "fault": "leak",
        "where": "cylinder 3",
        "confirmed by": "Jane Roe",
    },
]
SECRETS = ("Jane", "Roe", "AB12", "AB 12", "0171", "C4KD7A", "2026", "198321")


def test_nobody_is_named() -> None:
    done = anonymous(CaseFile(Path("x"), HEAD, tuple(EVENTS)), "leaking-injector")
    text = repr((done.head, done.events))
    assert not [secret for secret in SECRETS if secret in text]
    assert done.head["vehicle"] == {"layout": "inline 4", "distance": "198000 km"}
    assert [e["event"] for e in done.events] == ["told", "answer", "values", "something new", "closed"]
    assert done.events[1] == {
        "event": "answer",
        "step": 3,
        "check": "plugs",
        "values": {"3": "wet"},
        "sure": "think so",
    }
    assert done.events[0]["at"] == "2000-01-01T08:04:00+00:00"
    assert set(done.dropped) == {
        "the vehicle's name", '"owner" of the head', "the complaint", "a note", "a reading in words", "values of parts",
        '"who"', '"fault"', "what confirmed it",
    }  # fmt: skip


def test_words_are_kept_only_where_that_is_asked_for() -> None:
    done = anonymous(CaseFile(Path("x"), HEAD, tuple(EVENTS)), "x", keep_words=True)
    assert done.events[0]["complaint"] == "Mrs Roe says it shakes. ..."
    assert "0171" not in repr(done.events)


@pytest.mark.parametrize("path", some(2, 12), ids=lambda p: p.stem)
def test_the_beliefs_of_the_copy_are_the_same(path: Path) -> None:
    """But for the distance, which is rounded: none of the shipped ones lies near a limit."""
    file = load_case(path)
    done = anonymous(file, "copy")
    case, copy = sound(file), sound(CaseFile(path, {"format": 1, **done.head}, done.events))
    one, other = (garage().chapters(vehicle_of(c), c.events) for c in (case, copy))
    assert len(one) == len(other)
    for mine, its in zip(one, other, strict=True):
        beliefs, others = trace(mine.workup).beliefs, trace(its.workup).beliefs
        assert len(beliefs) == len(others)
        assert all((a == b).all() for a, b in zip(beliefs, others, strict=True))
    assert all(not wrong_with(event) for event in done.events)


@settings(max_examples=300 if LONG else 40)
@given(st.dictionaries(st.text(max_size=12), plain_data, max_size=5), st.booleans())
def test_any_event_can_be_made_anonymous(rest: dict[str, Any], keep: bool) -> None:
    event = {**rest, "event": "something"}
    done = anonymous(CaseFile(Path("x"), HEAD, (event,)), "x", keep)
    assert len(done.events) == 1


@pytest.mark.parametrize(
    ("said", "found"),
    [("198321 km", "198000 km"), ("198'321 km", "198000 km"), ("123400 mi", "123000 mi"), ("500", "0 km"), ("far", "")],
)
def test_distance_is_rounded(said: str, found: str) -> None:
    assert rounded(said) == found


def test_what_the_car_has_stays_and_who_owns_it_goes() -> None:
    vehicle = {
        "layout": "inline 4",
        "rail vacuum hose": "yes",
        "fuel pump": "by demand",
        "owner": "smith",
        "Smith": "yes",
    }
    told = {"event": "facts", "step": 1, "facts": {"secondary air": "no", "found by": "smith"}}
    done = anonymous(CaseFile(Path("x"), {**HEAD, "vehicle": vehicle}, (told,)), "x")
    assert done.head["vehicle"] == {"layout": "inline 4", "rail vacuum hose": "yes", "fuel pump": "by demand"}
    assert done.events[0]["facts"] == {"secondary air": "no"}
