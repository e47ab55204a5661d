"""Tables into cases: what fits is kept, what does not is refused by its line with what would mend it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reasoner.casebook.events import Answered
from reasoner.casebook.rows import TableLine, read_rows
from reasoner.history.importing import EXAMPLE_COLUMNS, NewCase, mapping_of, read_cases
from reasoner.history.trace import trace
from reasoner.session import acts
from tests.events import as_written, wrong_with
from tests.fleet import a_vehicle
from tests.shipped import book, garage

LONG = """\
Job;Day;Says;Codes;Engine;Mileage;Test;Result;Cyl;When;Sure;Cause;At;End
101;2026-03-09;shakes;P0172, P0303;inline 4;181 000;how-warm;hot-restart;;;;injector-leaks-after-soak;\
cylinder 3;proven
101;;;;;;hot-restart-misfire;misfires;3;hot restart;think so;;;
101;;;;;;Trim at idle;rich;;hot restart;;;;
101;;;;;;plug look;black;3;a minute's idle after clearing;;;;
"""
COLUMNS = {
    "case": "Job", "opened": "Day", "complaint": "Says", "codes": "Codes", "vehicle layout": "Engine",
    "vehicle distance": "Mileage", "check": "Test", "outcome": "Result", "place": "Cyl", "condition": "When",
    "sure": "Sure", "fault": "Cause", "where": "At", "state": "End",
}  # fmt: skip
WORDS = {"check": {"Plug look": "plugs-after-clearing"}, "outcome": {"Black": "sooty"}}


def made(text: str, said: Any = None, **columns: str) -> tuple[tuple[NewCase, ...], list[tuple[int, str, str]]]:
    rows = read_rows(text.encode(), Path("jobs.csv"))
    mapping = mapping_of({"columns": COLUMNS, "words": WORDS} if said is None else said, rows.headings, columns)
    cases, refused = read_cases(rows.lines, mapping, garage())
    return cases, [(r.number, r.message, r.mend) for r in refused]


def test_a_row_for_each_answer() -> None:
    (case,), refused = made(LONG)
    assert not refused
    assert (case.name, case.opened, case.lines) == ("101", "2026-03-09T00:00:00+00:00", (2, 3, 4, 5))
    assert case.vehicle["layout"] == "inline 4" and case.vehicle["distance"] == "181 000 km"
    events = as_written(case.events)
    kinds = [e.kind for e in case.events]
    assert kinds == ["told", "codes", "answer", "condition", "answer", "answer", "condition", "answer", "closed"]
    assert [e.step for e in case.events] == list(range(1, 10))
    assert [c["code"] for c in events[1]["codes"]] == ["P0172", "P0303"]
    assert events[4]["values"] == {"1": "even", "2": "even", "3": "misfires", "4": "even"}
    assert events[4]["sure"] == "think so" and events[3]["condition"] == "hot-restart"
    assert events[5]["values"] == {"1": "rich"}
    assert events[7]["values"]["3"] == "sooty"
    assert events[8]["fault"] == "injector-leaks-after-soak" and events[8]["where"] == "cylinder 3"
    assert not [e for e in events if wrong_with(e)]


def test_what_was_imported_is_weighed_like_any_case() -> None:
    (case,), _ = made(LONG)
    vehicle = a_vehicle(**dict(case.vehicle))
    workup = garage().begin(vehicle, case.events)
    assert workup.record.unread == () and len(workup.record.given) == 4
    assert len(trace(workup).points) == 5


def test_a_column_for_each_check() -> None:
    text = "Job,Engine,Plugs,Smell\n7,inline 4,2=wet 3=sooty,yes\n8,V 6,all the same,no\n"
    said = {
        "columns": {"case": "Job", "vehicle layout": "Engine"},
        "answers": {"plugs-as-found": "Plugs", "smell-of-fuel": "Smell"},
        "words": {"outcome": {"all the same": "same"}},
    }
    (one, other), refused = made(text, said)
    assert not refused
    plugs = [
        next(e for e in as_written(case.events) if e.get("check") == "plugs-as-found")["values"]
        for case in (one, other)
    ]
    assert plugs[0] == {"1": "same", "2": "wet", "3": "sooty", "4": "same"}
    assert plugs[1] == dict.fromkeys("123456", "same")


REFUSED = [
    ("101;;;;;;plug lok;black;;;;;;", "no check is called"),
    ("101;;;;;;trim-idle;purple;;;;;;", "no outcome of trim-idle"),
    ("101;;;;;;trim-idle;rich;3;;;;;", "has no bank 3"),
    ("101;;;;;;trim-idle;;;;;;;", "without its outcome"),
    ("101;;;;;;;rich;;;;;;", "without its check"),
    ("101;;;;;;trim-idle;rich;;on the moon;;;;", "no condition"),
    ("101;;;;;;trim-idle;rich;;;certain;;;", "no degree of sureness"),
    ("101;;;;;;injector-tips-after-soak;drips;3;;;;;", "cannot apply to this vehicle"),
    ("101;;;;V 6;;trim-idle;rich;;;;;;", "vehicle layout"),
    (";;;;;;trim-idle;rich;;;;;;", "belongs to no case"),
]


@pytest.mark.parametrize(("row", "said"), REFUSED, ids=lambda x: x[:30])
def test_a_row_that_does_not_fit_is_refused_and_the_rest_is_kept(row: str, said: str) -> None:
    (case,), refused = made(LONG + row + "\n")
    (only,) = refused
    assert only[0] == 6 and said in only[1] and only[2]
    whole = made(LONG)[0][0]
    answers = [e for e in case.events if isinstance(e, Answered)]
    assert len(answers) >= 4
    assert [e for e in answers if e.step < 9][:4] == [e for e in whole.events if isinstance(e, Answered)]
    if not row.startswith(";"):
        assert "refused: 6" in as_written(case.events)[-1]["text"]


def test_a_case_without_a_vehicle_is_refused_with_all_its_rows() -> None:
    cases, refused = made(LONG.replace("inline 4", "inline 9"))
    assert not cases and [number for number, _, _ in refused] == [2, 3, 4, 5]


def test_a_closing_that_does_not_fit_leaves_the_case_open() -> None:
    (case,), refused = made(LONG.replace("cylinder 3", "cylinder 9"))
    assert [e for e in case.events if e.kind == "closed"] == []
    assert "cannot sit at cylinder 9" in refused[0][1]


def test_a_fault_without_a_state_is_taken_to_be_unproven() -> None:
    (case,), _ = made(LONG.replace(";proven", ";"))
    assert as_written(case.events)[-1]["state"] == "cured but unproven"


def test_headings_that_are_our_words_need_no_mapping() -> None:
    (case,), refused = made("case,check,outcome,condition\n1,trim-idle,rich,warm-idle\n", {})
    assert not refused and as_written(case.events)[-1]["check"] == "trim-idle"


@pytest.mark.parametrize(
    "said",
    [
        {"columns": {"case": "Nobody"}},
        {"columns": {"jobs": "Job"}},
        {"columns": {"case": "Job"}},
        {"columns": {"case": "Job", "check": "Test"}},
        {"columns": ["Job"]},
        {"words": {"colour": {}}},
        {"words": {"check": ["x"]}},
        {"collumns": {}},
        {"answers": {"plugs-as-found": "Nobody"}, "columns": {"case": "Job"}},
    ],
)
def test_a_mapping_that_makes_no_sense_is_refused(said: Any) -> None:
    with pytest.raises(acts.Refused) as found:
        mapping_of(said, ["Job", "Test"])
    assert found.value.mend


def test_the_example_of_a_mapping_is_one() -> None:
    from reasoner.casebook.casefile import read_plain

    said = read_plain(EXAMPLE_COLUMNS, typed=False)
    assert isinstance(said, dict)
    headings = [*said["columns"].values(), *said["answers"].values()]
    assert mapping_of(said, headings).words["check"] == {"plug check": "plugs-after-clearing"}


cell = st.sampled_from(
    ["", "1", "trim-idle", "rich", "3=wet", "hot restart", "sure", "P0172", "inline 4", "\x1b[2J", "=", "x" * 300]
)


@settings(max_examples=60)
@given(st.lists(st.lists(cell, min_size=14, max_size=14), max_size=4))
def test_any_cells_make_sound_cases_or_refusals(rows: list[list[str]]) -> None:
    headings = list(COLUMNS.values())
    lines = [
        TableLine(n, {h: c for h, c in zip(headings, row, strict=True) if c}) for n, row in enumerate(rows, start=2)
    ]
    cases, refused = read_cases(lines, mapping_of({"columns": COLUMNS}, headings), garage())
    for case in cases:
        assert not [e for e in as_written(case.events) if wrong_with(e)]
        assert garage().begin(a_vehicle(**dict(case.vehicle)), case.events).record.unread == ()
    assert all(r.message for r in refused)
    assert book().checks
