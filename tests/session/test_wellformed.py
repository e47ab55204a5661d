"""Messages of another program against the schema of the conversation.

Outside check: the package jsonschema (an independent validator of JSON Schema 2020-12) judges the same messages.
"""

from __future__ import annotations

import json
import random
from copy import deepcopy
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from reasoner.network.vehicle import vehicle_from
from reasoner.session import wellformed
from reasoner.session.acts import Refused
from reasoner.session.protocol import Talk, hear
from tests.events import as_written
from tests.shipped import garage

ROOT = Path(__file__).parents[2]
DEFINED = json.loads((ROOT / "reasoner/session/protocol.schema.json").read_text(encoding="utf-8"))["$defs"]
VALIDATOR = jsonschema.Draft202012Validator({"$ref": "#/$defs/said", "$defs": DEFINED})
LEGAL: list[dict[str, Any]] = [
    {"type": "answer", "check": "trim-idle", "values": {"1": "rich"}, "rest": "none", "sure": "guess"},
    {"type": "answer", "values": {"1": {"rich": 0.5, "lean": 1}}, "seen in": "warm-idle"},
    {"type": "answer", "numbers": {"1": -12, "2": 0.5}},
    {"type": "answer", "check": "trims-by-airflow", "inputs": {"idle air": "3 g/s 750 rpm", "idle trim": {"1": -18}}},
    {"type": "work out", "check": "trims-by-airflow", "inputs": {"ethanol": 10}},
    {"type": "pass", "why": "cant-tell"},
    {"type": "condition", "condition": None},
    {"type": "note", "text": "the customer waits"},
    {"type": "codes", "codes": [{"code": "P0172", "states": ["pending"]}, {"code": "P0301"}], "complete": False},
    {"type": "tools", "lacking": ["code-reader"], "at hand": ["hot-air-gun"]},
    {"type": "take", "choice": "best", "prices": {"hour": 80, "parts": {"direct-injector": 200}}},
    {"type": "tick", "boxes": ["1", "2"], "off": True},
    {"type": "figure", "line": 2, "figure": "rail bolts, N m", "value": "20"},
    {"type": "values", "first": {"1": "A1B2"}},
    {"type": "drive", "counts": {"km": 20}},
    {"type": "close", "state": "proven", "fault": "injector-leaks", "where": "cylinder 3"},
    {"type": "undo"},
]
JUNK: list[Any] = [None, True, -1, 0, 2.5, 10**400, "", "x", "pending", [], ["x"], {}, {"1": "x"}, {"x": {"y": []}}]


def spoilt(message: dict[str, Any], chance: random.Random) -> dict[str, Any]:
    """The message with something in it put in, left out or changed."""
    message = deepcopy(message)
    inside: list[Any] = [message]
    while isinstance(inside[-1], dict | list) and inside[-1] and chance.random() < 0.7:
        inside.append(chance.choice(list(inside[-1].values()) if isinstance(inside[-1], dict) else inside[-1]))
    at = next(found for found in reversed(inside) if isinstance(found, dict | list))
    junk = deepcopy(chance.choice(JUNK))
    if isinstance(at, list):
        at.insert(chance.randint(0, len(at)), junk)
        return message
    key = chance.choice([k for k in (*at, "x", "-1", "values", "rest", "text") if at is not message or k != "type"])
    if key in at and chance.random() < 0.3:
        del at[key]
    else:
        at[key] = junk
    return message


@pytest.mark.parametrize("seed", range(20))
def test_form_is_judged_as_an_independent_validator_does(seed: int) -> None:
    chance, refused = random.Random(seed), 0
    for message in LEGAL * 5:
        assert wellformed.slip(message) == ""
        worse = spoilt(message, chance)
        fits = VALIDATOR.is_valid(worse) and str(10**400) not in repr(worse)  # larger than any number that is kept
        assert (wellformed.slip(worse) == "") == fits, worse
        refused += not fits
    assert refused > 30


@pytest.mark.parametrize(
    ("message", "words"),
    [
        ({"type": "answer", "chek": "trim-idle", "outcome": "rich"}, 'it has no "chek" (did you mean "check"?)'),
        ({"type": "answer", "outcome": "rich", "values": {"1": "rich"}}, 'has one of "outcome", "values"'),
        ({"type": "answer", "values": {"1": {"rich": "0.5"}}}, '"values.1.rich" is not a plain number'),
        ({"type": "answer", "values": {"1": {"rich": -1, "normal": 2}}}, '"values.1.rich" is 0 or more'),
        ({"type": "answer", "values": {"1": {"rich": 1e308}}}, '"values.1.rich" is not a plain number'),
        ({"type": "answer", "check": "trim-idle", "values": {"1": {"rich": 0}}}, "not all 0"),
        ({"type": "answer", "check": "trim-idle", "values": {"1": {}}}, "not all 0"),
        ({"type": "codes", "codes": [{"code": "P0172", "states": "pending"}]}, '"codes.0.states" is not a list'),
        ({"type": "codes", "codes": [{"code": "P0172"}], "complete": "no"}, '"complete" is not true or false'),
        ({"type": "codes", "codes": [{"code": "hello"}]}, '"hello" is no code'),
        ({"type": "answer", "check": "trim-load", "numbers": {"1": -3}}, "is not made in the condition warm-idle"),
    ],
)
def test_what_is_wrong_is_said(message: dict[str, Any], words: str) -> None:
    with pytest.raises(Refused) as refused:
        hear(talk(), message)
    assert words in refused.value.message


def talk() -> Talk:
    vehicle, _ = vehicle_from({"layout": "inline 4", "injection": "direct"})
    assert vehicle is not None
    start = garage().begin(vehicle)
    return hear(Talk(start), {"type": "condition", "condition": "warm-idle"})[0]


def test_codes_are_known_however_they_are_written() -> None:
    _, events, _ = hear(talk(), {"type": "codes", "codes": [{"code": " p0172"}]})
    assert as_written(events)[0]["codes"] == [{"code": "P0172", "states": []}]


def test_of_what_provokes_only_the_places_named_were_done() -> None:
    _, events, _ = hear(talk(), {"type": "answer", "check": "heat-on-injector", "values": {"3": "falls"}})
    assert as_written(events)[-1]["values"] == {"3": "falls"}


def test_what_was_provoked_at_another_time_leaves_the_present_spell_whole() -> None:
    before = hear(talk(), {"type": "answer", "check": "trim-idle", "values": {"1": "rich"}})[0]
    seen = {"type": "answer", "check": "heat-on-injector", "values": {"3": "falls"}, "seen in": "long-idle"}
    after = hear(before, seen)[0].workup.record
    assert after.spells == ("long-idle", "warm-idle")
    assert {given.check: given.spell for given in after.given} == {"heat-on-injector": 0, "trim-idle": 1}
