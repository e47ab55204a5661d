"""Cases that a person edited: read as PyYAML reads them, but words stay words and nothing is expanded."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from reasoner.casebook import casefile, journal
from reasoner.casebook.casefile import load_case, parse_case
from reasoner.casebook.writing import head_text
from tests.casebook.small import ANSWER, HEAD, NOTE, events

TOP = "format: 1\n" + head_text(HEAD)


def case_of(text: str) -> tuple[dict[str, Any], ...]:
    case, _ = parse_case((TOP + text).encode(), Path("x.yaml"))
    return case.events  # type: ignore[return-value]


class NoLabels(yaml.SafeDumper):
    def ignore_aliases(self, data: Any) -> bool:
        return True


@given(events, st.sampled_from([True, False, None]))
def test_events_that_pyyaml_wrote_are_read_as_written(event: dict[str, Any], flow: bool | None) -> None:
    text = yaml.dump([event], Dumper=NoLabels, sort_keys=False, default_flow_style=flow)
    assert repr(casefile.read_plain(text)) == repr([event])


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("yes", "yes"),
        ("no", "no"),
        ("on", "on"),
        ("12:30", "12:30"),
        ("2026-11-25", "2026-11-25"),
        ("007", "007"),
        ("1_000", "1_000"),
        ("0x1F", "0x1F"),
        ("1e5", "1e5"),
        (".5", ".5"),
        ("~", "~"),
        ("True", "True"),
        ("true", True),
        ("null", None),
        ("", None),
        ("-3", -3),
        ("0.50", 0.5),
        ("-1.5e-07", -1.5e-07),
        ("'3'", "3"),
        ('"true"', "true"),
        ("[1, 'no', no]", [1, "no", "no"]),
    ],
)
def test_words_stay_words(text: str, value: object) -> None:
    assert repr(casefile.read_plain(f"a: {text}")) == repr({"a": value})
    untyped = casefile.read_plain(f"a: {text}", typed=False)
    assert isinstance(untyped, dict) and isinstance(untyped["a"], str | list)


BLOCKS = """
# written by hand
- event: note   # a remark
  step: 3
  text: |
    first line
    # not a remark
    - not an event

    last line
-
  event: codes
  codes:
  - code: one
  - {code: two, states: [stored, yes]}

# and a remark between
- {event: pass, why: "can't tell"}
- {"event": "note", "text": "as the program writes it"}   # with a remark
  # the end
"""


def test_blocks_comments_and_blank_lines() -> None:
    assert case_of(BLOCKS) == (
        {"event": "note", "step": 3, "text": "first line\n# not a remark\n- not an event\n\nlast line\n"},
        {"event": "codes", "codes": [{"code": "one"}, {"code": "two", "states": ["stored", "yes"]}]},
        {"event": "pass", "why": "can't tell"},
        {"event": "note", "text": "as the program writes it"},
    )


@pytest.mark.parametrize("change", ["windows", "mark", "both", "indented", "no last line end", "start"])
def test_what_editors_do_to_a_file(tmp_path: Path, change: str) -> None:
    text = TOP + "".join(f"- {json.dumps(event)}\n" for event in (ANSWER, NOTE)) + "# remark\n"
    if change in ("windows", "both"):
        text = text.replace("\n", "\r\n")
    if change in ("mark", "both"):
        text = "\ufeff" + text
    if change == "indented":
        text = text.replace("\n- ", "\n    - ")
    if change == "no last line end":
        text = text.removesuffix("# remark\n").removesuffix("\n")
    if change == "start":
        text = "%YAML 1.1\n---\n" + text
    path = tmp_path / "edited.yaml"
    path.write_bytes(text.encode())
    assert load_case(path).events == (ANSWER, NOTE) and load_case(path).notes == ()
    with journal.resume(path) as kept:
        assert kept.case.events == (ANSWER, NOTE) and kept.case.notes == ()
        assert kept.append(ANSWER) == ()
        assert kept.append(NOTE) == ()
    assert load_case(path).events == (ANSWER, NOTE, ANSWER, NOTE)
    assert yaml.safe_load(path.read_bytes())["events"] == [ANSWER, NOTE, ANSWER, NOTE]


def test_the_head_is_text_and_may_hold_more(tmp_path: Path) -> None:
    path = tmp_path / "x.yaml"
    path.write_text(
        "# our shop\nformat: 1\ncase: 7\nopened: 2026-11-25 08:00\nrules: 12345678\n"
        "vehicle: {charged: no, distance: 160000}\nby: [A, 3]\nevents: # below\n"
    )
    assert load_case(path).head == {
        "format": 1,
        "case": "7",
        "opened": "2026-11-25 08:00",
        "rules": "12345678",
        "vehicle": {"charged": "no", "distance": "160000"},
        "by": ["A", "3"],
    }
