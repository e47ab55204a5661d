"""Every question page of every solved case, as somebody at a terminal of 80 by 24 sees it; and cases played there, h
and b at every prompt."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from io import StringIO
from pathlib import Path

import pytest

from reasoner.casebook.correcting import standing
from reasoner.casebook.events import Answered, CodesRead, Told
from reasoner.casebook.shape import Case, load_sound
from reasoner.history.trace import vehicle_of
from reasoner.network.vehicle import vehicle_from
from reasoner.report.text import RichPages
from reasoner.rulebook.model import At
from reasoner.session.concluding import belief
from reasoner.session.document import Question
from reasoner.session.protocol import Talk
from reasoner.terminal.console import Leave
from reasoner.terminal.intake import intake
from reasoner.terminal.loop import run_loop
from reasoner.terminal.step import LEAST_SUSPECTS, Surroundings, close_suspects, step_pages
from tests.shipped import LONG, book, garage, some
from tests.terminal.consoles import Kept, console_with, shown

ROOT = Path(__file__).parents[2]
EVERY = int(
    os.environ.get("REASONER_EVERY_STEP", "1" if LONG else "6")
)  # 1: every step of every case; else every sixth


KEYS_SHOWN = "b undo h help w why t tell l live o other c changed v verdict s stop"


def words(lines: list[str]) -> str:
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize("path", some(0, 18), ids=lambda path: path.stem)
def test_every_question_page_is_whole(path: Path) -> None:
    """Three suspects, the question, why, and all answers uncut, in 24 lines with the one that is typed on."""
    case = load_sound(path)
    bare = garage().begin(vehicle_of(case))
    console = console_with([], 80, 24)
    seen = 0
    for number in range(2, len(case.events), EVERY):
        events = [e for e in case.events[:number] if e.kind in ("told", "codes", "condition", "answer", "tools")]
        workup = bare.after(events)
        document = Talk(workup).next()
        if not isinstance(document, Question):
            continue
        shown = belief(workup)
        here = document.way.condition_title or "warm idle"
        said = ("Kept: something that takes more than one line of the screen to be said in full. " * 2,) * 3
        for known in (frozenset[str](), frozenset(document.cautions)):
            around = Surroundings(said=said, car=here, answers=number, known=known)
            *before, last = step_pages(document, shown, around, console)
            assert all(len(page.lines) <= 23 for page in (*before, last))
            page = words(last.lines)
            assert last.asks == "> " and words([document.ask]) in page and KEYS_SHOWN in page
            assert "First bring about" not in page and ("Again, on another occasion" in page) == document.way.fresh
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
    """At 80 columns a name has 47 beside its chance and its bank, 44 beside its cylinder; a longer one would be torn by
    the columns."""
    room = {At.CYLINDER: 44}
    assert [f.title for f in book().faults.values() if len(f.title) > room.get(f.at, 47)] == []


# ---- played at the keyboard ------------------------------------------------------------------------------------------

QUESTIONS = 60 if LONG else 8  # of each case, and no more
TOO_LONG = 1_000_000
AGAIN = ("Type it again.", "An answer is what the list says")  # the question stands, and is not shown again
HELPED = ("keep everything and leave", "WHAT YOU CAN TYPE")


class Player(StringIO):
    """Somebody who has the case on paper, reads the screen, and types what is asked for. At every kind of prompt h is
    tried first, then b, then the answer is given."""

    def __init__(self, case: Case, titles: Mapping[str, str], out: StringIO, kept: Kept) -> None:
        super().__init__()
        self.out, self.titles, self.kept = out, titles, kept
        self.read, self.known, self.typed = 0, 0, ""
        self.events = standing(case.events)
        self.answers = {e.check: e for e in reversed(self.events) if isinstance(e, Answered)}
        self.tried: set[str] = set()
        self.asked: list[str] = []  # the last page of each question
        self.faults: list[str] = []

    def readline(self, size: int | None = -1, /) -> str:
        text = self.out.getvalue()
        page, self.read = text[self.read :], len(text)
        if len(text) > TOO_LONG:
            return ""  # it turns in circles: the end of input, which the test finds
        prompt = re.sub(r"[\"“].*?[\"”]|\d+|\(.*?\)", "", page.splitlines()[-1] if page else "")
        if prompt.strip() in (">", "> "):
            prompt = re.sub(r"\d+", "", " ".join(page.splitlines()[-3:-1])) if "ANSWER" not in page else "question"
        line = self.next_line(prompt, page)
        return line + "\n"

    def next_line(self, prompt: str, page: str) -> str:
        known = len(standing(self.kept.workup.events))  # which neither h nor b may add to
        if self.typed and known > self.known:
            self.faults.append(f"{self.typed} kept: {self.kept.workup.events[-1]}")
        if self.typed == "h" and not any(said in words([page]) for said in HELPED):
            self.faults.append(f"h does not help: {words([page])[-200:]}")
        self.known, before = known, self.typed
        self.typed = "b" if before == "h" else "" if prompt in self.tried else "h"
        self.tried.add(prompt)
        if self.typed:
            return self.typed
        return self.answer(page)

    def answer(self, page: str) -> str:
        last = " ".join(page.split())[-400:]
        if "\nANSWER" in page and page.endswith("> "):
            self.asked.append(page[page.rindex("-- ", 0, page.index("LIKELIEST")) :] if "LIKELIEST" in page else page)
            return self.to_the_question(page) if len(self.asked) < QUESTIONS else "q"
        if "to be asked about here" in last:
            return "0"  # asked of one place, which the case says nothing of
        if self.asked and page.endswith("\n> ") and any(said in last for said in AGAIN):
            return self.to_the_question(self.asked[-1])
        if "owner's words" in last:
            return next((e.complaint for e in self.events if isinstance(e, Told)), "")
        if "All codes on the scan tool" in last:
            read = next((e for e in self.events if isinstance(e, CodesRead)), None)
            return ", ".join(f"{c.code} {' '.join(c.states)}" for c in read.codes) or "none" if read else ""
        if "g go on" in last:
            return "q"
        return ""  # Enter: skipped, right, not known, the next page, the rest

    def to_the_question(self, page: str) -> str:
        title = next(line for line in page.splitlines() if line.startswith("NEXT  "))[6:].split(", at cylinder")[0]
        given = self.answers.get(self.titles.get(title, ""))
        if given is None:
            return "d" if "The number in" in page else "0"
        likeliest = {
            p: one if isinstance(one, str) else max(one, key=lambda name: one[name]) for p, one in given.values.items()
        }
        return " ".join(f"{p}={name}" for p, name in likeliest.items()) if 0 not in likeliest else likeliest[0]


@pytest.mark.parametrize("path", some(4, 18), ids=lambda path: path.stem)
def test_a_case_played_at_the_keyboard(path: Path) -> None:
    """From the complaint on, everything typed: each question's page has three suspects, its answers uncut and its keys
    in 24 lines, and h and b do what they say at every prompt there is."""
    case = load_sound(path)
    bare = garage().begin(vehicle_of(case))
    console = console_with([], 80, 24)
    assert isinstance(console.out, StringIO)
    kept = Kept(bare)
    player = Player(case, {check.title: check.name for check in book().checks.values()}, console.out, kept)
    console.source, console.echo = player, False
    try:
        run_loop(intake(bare, kept, console), kept, console, RichPages())
    except Leave as leave:
        raise AssertionError(f"left at the intake: {leave.how}") from None
    assert console.left == "stop" and not player.faults
    assert len(player.asked) >= 2
    checks = {check.title: check for check in book().checks.values()}
    for page in player.asked:
        lines = page.splitlines()
        assert KEYS_SHOWN in words(lines) and len(lines) <= 24 and max(map(len, lines)) <= 80, page
        assert len(re.findall(r"^  [1-9-]  .*? [<>]?\d+ %  ", page.split("NEXT  ")[0], re.M)) >= LEAST_SUSPECTS, page
        title = next(line for line in lines if line.startswith("NEXT  "))[6:]
        check = checks.get(title.split(", at cylinder")[0])
        if check is not None and check.measure is None:
            assert all(words([outcome.text]) in words(lines) for outcome in check.outcomes), page
    assert "Traceback" not in shown(console)


def test_a_prompt_says_what_enter_does_always_in_the_same_form() -> None:
    """`Its number, Enter: back > `, never `or Enter`: Enter does something else from prompt to prompt."""
    said = "".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "reasoner/terminal").glob("*.py")))
    assert "Enter: back > " in said and not re.findall(r"or Enter\s*> ", said)


def test_where_not_all_close_suspects_have_room_as_many_are_shown_as_have() -> None:
    """Between three and all that are within a factor of three of the first, line by line."""
    vehicle, _ = vehicle_from({"layout": "V6", "injection": "port", "metering": "airflow"})
    assert vehicle is not None
    workup = garage().begin(vehicle)
    question = Talk(workup).next()
    assert isinstance(question, Question)
    shown = belief(workup)
    assert close_suspects(shown) > LEAST_SUSPECTS + 1
    counts = set[int]()
    for lines in range(24, 40):
        *_, last = step_pages(question, shown, Surroundings(car="warm idle"), console_with([], 80, lines))
        counts.add(sum(suspect.title in words(last.lines).split("NEXT ")[0] for suspect in shown.faults))
    assert counts >= {LEAST_SUSPECTS + 1, close_suspects(shown)}, counts
