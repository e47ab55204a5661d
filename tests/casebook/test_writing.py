"""What is written is read back the same: as JSON, by both of PyYAML's readers, and by this program."""

from __future__ import annotations

import enum
import json
import math
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest
import yaml
from hypothesis import example, given

from reasoner.casebook.casefile import parse_case
from reasoner.casebook.writing import LONGEST_KEY, event_line, flow, head_text
from tests.casebook.small import HEAD, NOTE, events, heads


def same(left: object, right: object) -> bool:
    """Equal, and of the same types all the way down (1 is not True, 1.0 is not 1, -0.0 is not 0.0)."""
    return repr(left) == repr(right)


@given(events)
@example({"tiny": 1e-07, "huge": 1e16, "long": 1.5e300, "zero": -0.0, "digits": 10**40})
@example({"": NOTE, "y": ["no", "12:30", "<<", "="]})
def test_json_and_yaml_read_the_same_event(event: dict[str, Any]) -> None:
    line = event_line(event)
    assert len(line.splitlines()) == 1  # which knows every kind of line break there is
    assert same(json.loads(line[2:]), event)
    assert same(yaml.safe_load(line), [event])
    assert same(yaml.load(line, Loader=yaml.CSafeLoader), [event])


@given(heads, events, events)
def test_a_whole_file_is_read_alike_by_all(head: Mapping[str, Any], one: dict[str, Any], two: dict[str, Any]) -> None:
    text = "format: 1\n" + head_text(head) + event_line(one) + event_line(two)
    expected = {"format": 1, **head, "events": [one, two]}
    assert same(yaml.safe_load(text), expected)
    assert same(yaml.load(text, Loader=yaml.CSafeLoader), expected)
    case, indent = parse_case(text.encode(), Path("x.yaml"))
    assert same({**case.head, "events": list(case.events)}, expected)
    assert indent == "" and case.notes == ()


def test_the_head_is_pleasant_to_read() -> None:
    assert head_text(HEAD) == (
        "case: kestrel\n"
        'opened: "2026-11-25T08:53:00+01:00"\n'
        'rules: "12345678"\n'
        "vehicle:\n"
        "  layout: inline 4\n"
        "  injection: direct\n"
        '  distance: "160000 km"\n'
        '  charged: "no"\n'
        "events:\n"
    )


def test_what_cannot_be_in_a_file_is_replaced() -> None:
    line = event_line({"a\udc80": "\ud83d\ude00 \udfff"})
    assert json.loads(line[2:]) == {"a\ufffd": "\ufffd\ufffd \ufffd"}
    assert yaml.load(line, Loader=yaml.CSafeLoader) == [{"a\ufffd": "\ufffd\ufffd \ufffd"}]


class Word(enum.StrEnum):
    YES = "yes"


class Number(enum.IntEnum):
    TWO = 2


class Reading(float):
    def __repr__(self) -> str:
        return f"Reading({float(self)})"


def test_kinds_of_plain_data() -> None:
    value = MappingProxyType({"a": Word.YES, "b": Number.TWO, "c": Reading(0.5), "d": (1, [True])})
    assert flow(value) == '{"a": "yes", "b": 2, "c": 0.5, "d": [1, [true]]}'


ALIKE = dict.fromkeys(["a\ud800", "a\ufffd"])


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, ALIKE, {"k" * 1000: 1}])
def test_what_json_or_yaml_cannot_say_is_refused(value: object) -> None:
    with pytest.raises(ValueError):
        event_line({"event": value})


@pytest.mark.parametrize("value", [{1: "a"}, {None: "a"}, {1, 2}, b"bytes", object(), 1j])
def test_what_is_no_plain_data_is_refused(value: object) -> None:
    with pytest.raises(TypeError):
        event_line({"event": value})
    with pytest.raises(TypeError):
        head_text({"case": value})


@pytest.mark.parametrize("event", [None, [], "text", 1])
def test_an_event_is_a_mapping(event: Any) -> None:
    with pytest.raises(TypeError):
        event_line(event)


@pytest.mark.parametrize("value", [1, 1.5, True, None, {"a": 1}])
def test_the_head_holds_text(value: object) -> None:
    with pytest.raises(TypeError, match="holds text"):
        head_text({"case": value})


def test_too_deep_is_refused() -> None:
    value: list[object] = []
    for _ in range(60):
        value = [value]
    with pytest.raises(ValueError, match="50 deep"):
        event_line({"event": value})


@pytest.mark.parametrize("character", ["k", "\x85", '"', "\U0001f600"])
def test_the_longest_key_is_one_that_yaml_reads(character: str) -> None:
    key = character * ((LONGEST_KEY - 2) // len(flow(character)[1:-1]))
    line = event_line({key: "a", "b": {key: "c"}})
    assert yaml.safe_load(line) == yaml.load(line, Loader=yaml.CSafeLoader) == [{key: "a", "b": {key: "c"}}]
    with pytest.raises(ValueError, match="key longer"):
        event_line({key + character: "a"})
