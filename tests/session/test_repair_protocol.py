"""Another program takes a case from the complaint to the proof, in the JSON conversation alone.

The child process is in tests/cli/test_after.py.
"""

from __future__ import annotations

import json
from functools import lru_cache
from itertools import takewhile
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from reasoner.casebook.events import Closed, Event, WorkTaken
from reasoner.casebook.shape import load_sound
from reasoner.network.vehicle import vehicle_from
from reasoner.session import after_work
from reasoner.session.acts import Refused
from reasoner.session.protocol import Talk, hear
from tests.shipped import book

ROOT = Path(__file__).parents[2]
CASES = ROOT / "cases"
SCHEMA = json.loads((ROOT / "reasoner" / "session" / "protocol.schema.json").read_text(encoding="utf-8"))
Message = dict[str, Any]


@lru_cache
def till_work() -> tuple[Event, ...]:
    """What a solved case's events say from the complaint up to the work."""
    events = load_sound(CASES / "estate-hot-restart.yaml").events
    return tuple(takewhile(lambda event: not isinstance(event, WorkTaken), events))


class Program:
    """The other side: what it says and hears holds to the schema, and what is kept is written down."""

    def __init__(self) -> None:
        vehicle, _ = vehicle_from(
            {"layout": "inline 4", "injection": "direct", "charging": "charged", "distance": "198000 km"}
        )
        assert vehicle is not None
        self.talk = Talk(after_work.workup_now(book(), vehicle, till_work()), events=till_work())

    def say(self, *messages: Message) -> Message:
        """The answer to the last of them; where it is the state, without it being worked out: {}."""
        reply: Message = {}
        for message in messages:
            _holds("said", message)
            self.talk, _, document = hear(self.talk, message)
            reply = json.loads(json.dumps(document or {}))
            if reply:
                _holds("told", reply)
        return reply

    def refused(self, message: Message) -> str:
        before = self.talk
        with pytest.raises(Refused) as found:
            self.say(message)
        assert self.talk is before
        return str(found.value)


def _holds(side: str, thing: Message) -> None:
    jsonschema.validate(thing, {"$ref": f"#/$defs/{side}", "$defs": SCHEMA["$defs"]})


def test_from_the_complaint_to_proven() -> None:
    program = Program()
    decision = program.say({"type": "decide"})
    (best,) = [choice for choice in decision["choices"] if choice["recommended"]]
    assert (best["kind"], best["missing"]) == ("alone", []) and "cylinder 3" in best["title"]
    dear = {"type": "decide", "prices": {"currency": "EUR", "parts": {"direct-injector": 95}, "comeback costs": 400}}
    other = program.say(dear)  # a shop's prices turn it
    assert [c["kind"] for c in other["choices"] if c["recommended"]] == ["all"] and other["currency"] == "EUR"

    sheet = program.say({"type": "take", "choice": "best"})
    (section,) = sheet["sections"]
    assert any(caution["hazard"] for caution in sheet["cautions"]) and section["values"] and sheet["done"] == 0
    blank = next(line for line in section["lines"] if line["figures"])
    boxes = [box["name"] for line in section["lines"] for box in line["boxes"]]
    filled = {"type": "figure", "line": blank["number"], "figure": blank["figures"][0]["what"], "value": "0.4"}
    typed = {"type": "values", "first": {"3": "AB12CD"}, "second": {"3": "AB21CD"}}
    slips = program.say({"type": "tick", "boxes": boxes}, filled, typed)
    assert slips["done"] == slips["boxes"] == len(boxes)
    assert "swapped" in slips["sections"][0]["slips"][0]
    right = program.say({"type": "values", "second": {"3": "AB12CD"}})
    assert right["sections"][0]["slips"] == []
    again = program.say({"type": "take", "choice": "best"})  # the same work: no mark is lost
    assert again["done"] == len(boxes)

    program.say({"type": "finished"})
    state = json.loads(json.dumps(program.talk.state(ranges=False)))
    _holds("told", state)
    # What the codes say takes nobody's time; to ask the owner takes more.
    assert state["next"]["way"]["check"] in ("code-rich", "since-the-work")
    assert max(state["belief"]["all"], key=lambda name: state["belief"]["all"][name]) == "nothing-wrong"
    well = {"type": "answer", "check": "since-the-work", "outcome": "well"}
    plan = program.say(well, {"type": "cleared", "cleared": True}, {"type": "proof"})
    assert plan["state"] == "cured but unproven" and plan["missing"]
    end = {"type": "close", "state": "proven", "fault": "injector-leaks-after-soak", "where": "cylinder 3"}
    assert "not proven yet" in program.refused(end)

    clean = {"type": "provoked", "condition": plan["provocation"]["condition"], "clean": True}
    assert "is no day" in program.refused({**clean, "on": "last week"})
    counts = {"type": "drive", "counts": {count["name"]: max(3, count["least"]) for count in plan["counts"]}}
    program.say(*[clean] * plan["provocation"]["needed"], counts, {"type": "codes", "codes": []}, *_sound())
    now = program.say({"type": "proof"})
    assert now["state"] == "proven", now["missing"]
    assert program.say({**end, "confirmed by": "tip wet after a soak"})["state"] == "proven"
    last = program.talk.events[-1]
    assert isinstance(last, Closed) and (last.state, last.confirmed_by) == ("proven", "tip wet after a soak")


def _sound() -> list[Message]:
    """What has to be looked at, as on a sound car, each in the condition it is looked at in."""
    found: list[Message] = []
    for condition, checks in {
        "warm-idle": ["trim-idle", "misfire-since-work", "lines-look", "oil-level", "oil-smell", "codes-read"],
        "raised-speed": ["trim-2500"],
        "cruise": ["trim-cruise", "trims-by-airflow"],
        "hot-restart": ["hot-restart-watched"],
        "hot-soak": ["rail-hold-hot"],
        "drive": [],
    }.items():
        for number, check in enumerate(checks):
            if not number:
                found.append({"type": "condition", "condition": condition})
            found.append({"type": "answer", "check": check, "values": {}, "rest": "first"})
    return found


def test_what_makes_no_sense_changes_nothing() -> None:
    program = Program()
    for message, words in (
        ({"type": "sheet"}, "no work was taken up"),
        ({"type": "values", "first": {"1": "A"}}, "no work was taken up"),
        ({"type": "finished"}, "no work is under way"),
        ({"type": "proof"}, "no finished work"),
        ({"type": "provoked", "condition": "hot-restart", "clean": True}, "no finished work"),
        ({"type": "take", "choice": "bank"}, "no such choice"),
        ({"type": "decide", "prices": {"parts": {"direct-injektor": 3}}}, "no part is called"),
        ({"type": "close", "state": "proven", "fault": "injector-leaks", "where": "cylinder 3"}, "finished work"),
    ):
        assert words in program.refused(message)


def test_the_last_thing_told_is_taken_back() -> None:
    program = Program()
    program.say({"type": "take", "choice": "alone"}, {"type": "finished"})
    assert "nothing to take back" in program.refused({"type": "undo"})  # never behind finished work by itself
    program.say({"type": "take back"})
    assert "nothing-wrong" not in program.talk.workup.tables.cause_number  # the case is before the work again
    assert "no finished work" in program.refused({"type": "proof"})
    assert program.say({"type": "finished"}, {"type": "proof"})["missing"]
