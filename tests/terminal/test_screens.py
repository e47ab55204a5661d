"""Every question page of every solved case, as somebody at a terminal of 80 by 24 sees it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from reasoner.casebook.shape import load_sound
from reasoner.history.trace import vehicle_of
from reasoner.session.concluding import belief
from reasoner.session.document import Question
from reasoner.session.protocol import Talk
from reasoner.terminal.step import LEAST_SUSPECTS, Surroundings, step_pages
from tests.shipped import LONG, book, garage, some
from tests.terminal.desks import desk_with

ROOT = Path(__file__).parents[2]
EVERY = int(
    os.environ.get("REASONER_EVERY_STEP", "1" if LONG else "6")
)  # 1: every step of every case; else every sixth


def words(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize("path", some(0, 9), ids=lambda path: path.stem)
def test_every_question_page_is_whole(path: Path) -> None:
    """Three suspects, the question, why, and all answers uncut, in 24 lines with the one that is typed on."""
    case = load_sound(path)
    bare = garage().begin(vehicle_of(case))
    desk = desk_with([], 80, 24)
    seen = 0
    for number in range(2, len(case.events), EVERY):
        events = [e for e in case.events[:number] if e.kind in ("told", "codes", "condition", "answer", "tools")]
        workup = bare.after(events)
        document = Talk(workup).next()
        if not isinstance(document, Question):
            continue
        shown = belief(workup)
        for known in (frozenset[str](), frozenset(document.cautions)):
            *before, last = step_pages(
                document, shown, Surroundings(car="warm idle", answers=number, known=known), desk
            )
            assert all(len(page.lines) <= 23 for page in (*before, last))
            page = words(last.lines)
            assert last.asks == "> " and words([document.ask]) in page
            for suspect in shown.faults[: min(LEAST_SUSPECTS, len(shown.faults))]:
                assert suspect.title.split(", and also")[0] in page  # of a pair the rest may be folded
            assert shown.anything_else is None or shown.anything_else.title in page
            if document.reading is None:
                assert all(words([outcome.text]) in page for outcome in document.outcomes)
            assert "..." not in page.replace("1=.. 2=..", "").replace("=..", "")
            assert not document.separates or "WHY THIS ONE" in page
            told = words([line for one in (*before, last) for line in one.lines])
            for caution in document.cautions:
                if caution not in known:
                    assert words([caution]) in told, "in full before the step"
            seen += 1
    assert seen


def test_every_name_fits_its_line_in_the_list_of_suspects() -> None:
    """At 80 columns a name has 47 beside its chance and its place; a longer one would be torn by the columns."""
    assert [fault.name for fault in book().faults.values() if len(fault.name) > 47] == []
