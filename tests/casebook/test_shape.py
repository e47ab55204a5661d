"""Events that lack what everything else relies on are refused with their line, and nothing else is."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.casebook.casefile import load_case
from reasoner.casebook.events import event_as_written
from reasoner.casebook.shape import EVENT_SHAPES, load_sound, read_event
from reasoner.casebook.trouble import CasebookError
from reasoner.casebook.writing import flow
from tests.casebook.small import HEAD, plain_data, write
from tests.events import wrong_with

ROOT = Path(__file__).parent.parent.parent
FORMS = Path(__file__).parent / "forms"

WRONG = [
    ({}, "an event has no `event`"),
    ({"event": 3}, "`event` of an event is not text"),
    ({"event": "answer", "values": {"0": "wet"}}, 'an event "answer" has no `check`'),
    ({"event": "answer", "check": "x"}, 'an event "answer" has no `values`'),
    ({"event": "answer", "check": "x", "values": {"left": "wet"}}, "`values`"),
    ({"event": "answer", "check": "x", "values": {"1": ["wet"]}}, "`values`"),
    ({"event": "answer", "check": "x", "values": {"1": {"wet": "much"}}}, "`values`"),
    ({"event": "answer", "check": "x", "values": {"1": {}}}, "`values`"),
    ({"event": "answer", "check": "x", "values": {"1": "wet"}, "sure": 1}, "`sure`"),
    ({"event": "answer", "check": "x", "values": {"1": "wet"}, "step": "one"}, "`step`"),
    ({"event": "answer", "check": "x", "values": {"1": "wet"}, "step": -1}, "`step`"),
    ({"event": "answer", "check": "x", "values": {"1": "wet"}, "step": True}, "`step`"),
    ({"event": "codes", "codes": ["P0172"]}, "`codes`"),
    ({"event": "codes", "codes": [{"code": "P0172", "states": [1]}]}, "`codes`"),
    ({"event": "undo"}, "`undone`"),
    ({"event": "undo", "undone": None}, "`undone`"),
    ({"event": "verdict", "kind": "settled", "cause": "x", "probability": "high"}, "`probability`"),
    ({"event": "closed", "state": None}, "`state`"),
    ({"event": "correct", "corrected": 3}, "`because`"),
    ({"event": "work", "jobs": [{"repair": "x"}]}, "`jobs`"),
    ({"event": "provoked", "condition": "x", "clean": "yes"}, "`clean`"),
]


@pytest.mark.parametrize(("event", "said"), WRONG, ids=lambda x: x if isinstance(x, str) else str(x)[:40])
def test_what_is_wrong_is_said_with_the_line(tmp_path: Path, event: dict[str, object], said: str) -> None:
    path = write(tmp_path, {"event": "note", "text": "fine"}, event, {"event": "note", "text": "fine too"})
    line = path.read_text(encoding="utf-8").split("\n").index("events:") + 3
    with pytest.raises(CasebookError) as found:
        load_sound(path)
    assert said in found.value.message
    assert (found.value.path, found.value.line) == (path, line)
    assert "\n" not in found.value.one_line


BY_THE_PROGRAM = [
    *sorted((ROOT / "cases").glob("*.yaml")),
    FORMS / "4-with-work.yaml",
    FORMS / "6-readings-and-a-log.yaml",
]


@pytest.mark.parametrize("path", BY_THE_PROGRAM, ids=lambda p: p.stem)
def test_what_the_program_wrote_is_read_and_written_again_to_the_letter(path: Path) -> None:
    for raw in load_case(path).events:
        assert flow(event_as_written(read_event(raw))) == flow(raw)


def test_an_event_of_an_unknown_kind_is_not_written() -> None:
    with pytest.raises(TypeError):
        event_as_written(read_event({"event": "something new"}))


@given(st.dictionaries(st.sampled_from(["event", "step", "check", "values", "codes", "undone", "at"]), plain_data))
def test_any_event_is_judged(event: dict[str, object]) -> None:
    assert isinstance(wrong_with(event), str)


@given(st.sampled_from(sorted(EVENT_SHAPES)), st.dictionaries(st.text(max_size=9), plain_data, max_size=3))
def test_whatever_passes_has_what_its_kind_needs(kind: str, rest: dict[str, object]) -> None:
    event = {"event": kind, **{k: v for k, v in rest.items() if k not in ("event", "step", "at")}}
    needed = [key for key in EVENT_SHAPES[kind] if not key.endswith("?")]
    if not wrong_with(event):
        assert all(key in event for key in needed)


def test_kinds_from_elsewhere_pass() -> None:
    assert wrong_with({"event": "something new", "values": 7}) == ""


def test_kinds_from_elsewhere_are_noted_with_their_line_and_the_nearest_that_is_known(tmp_path: Path) -> None:
    """A slip of the pen would otherwise make an answer vanish without a word."""
    path = write(tmp_path, {"event": "note", "text": "fine"}, {"event": "anwser", "check": "smell-of-fuel"})
    line = path.read_text(encoding="utf-8").split("\n").index("events:") + 3
    (note,) = load_sound(path).notes
    assert note.startswith(f'line {line}: "anwser" is no event') and 'did you mean "answer"?' in note


@pytest.mark.parametrize("path", sorted((ROOT / "cases").glob("*.yaml")), ids=lambda p: p.stem)
def test_the_shipped_cases_are_sound(path: Path) -> None:
    assert load_sound(path).events


def test_a_vehicle_is_text(tmp_path: Path) -> None:
    path = write(tmp_path)
    text = path.read_text(encoding="utf-8").replace("layout: inline 4", "layout: [inline, 4]")
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CasebookError, match="layout"):
        load_sound(path)
    assert HEAD["vehicle"]
