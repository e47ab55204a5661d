"""Whole screens as they are seen, compared letter by letter.

After a wanted change look at the difference, then: REFRESH_GOLDEN=1 python -m pytest tests/terminal/test_golden.py
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from reasoner.casebook.events import Event
from reasoner.report.text import RichPages
from reasoner.session.plain import GLUE
from reasoner.session.workup import Workup
from reasoner.terminal.intake import ask_vehicle, intake
from reasoner.terminal.loop import run_loop
from tests.terminal.consoles import Kept, case, console_with, shown
from tests.terminal.test_loop import ALL_CODES, WARM, asking, leaking, settled

GOLDEN = Path(__file__).parent / "golden"
V6: list[Event] = [ALL_CODES, WARM]

SITTINGS: dict[str, tuple[Workup, tuple[str, ...]]] = {
    "first-question": (case(), ()),
    "fresh-condition": (case(events=[ALL_CODES]), ("",)),
    "cylinders": (asking("plugs"), ("3=wet 2=2?", "")),
    "banks": (asking("trim", "V 6"), ("1=-18 2=-2", "")),
    "why": (leaking(), ("w", "1", "")),
    "other": (case(events=V6), ("o", "2")),
    "tell": (case(events=V6), ("t sooty", "1", "2", "2=2", "")),
    "changed": (case(events=V6), ("c", "3")),
    "kit": (case(events=V6), ("k", "3")),
    "help": (case(events=V6), ("h",)),
    "wrong-entries": (asking("plugs"), ("", "999", "3=purple", "9=wet", "\U0001f697", "x" * 300)),
    "verdict-settled": (settled(), ("w 1", "", "g", "s")),
    "verdict-so-far": (leaking(), ("v", "", "s")),
    "hostile-text": (
        case(events=V6),
        ("n \x1b[2J\x1b]0;gone\x07 \u202eback", "t \x1b[31m", ""),
    ),
}


def compare(name: str, text: str) -> None:
    file = GOLDEN / f"{name}.txt"
    assert GLUE not in text
    if os.environ.get("REFRESH_GOLDEN"):
        file.write_text(text, encoding="utf-8")
    assert text == file.read_text(encoding="utf-8"), f"{file} differs; see the module's docstring"


@pytest.mark.parametrize("width", [80, 140])
@pytest.mark.parametrize("name", SITTINGS)
def test_a_sitting(name: str, width: int) -> None:
    workup, lines = SITTINGS[name]
    typed = [line for line in lines if "\x1b" not in line]
    console = console_with(lines, width)
    console.echo = typed == list(lines)  # what is typed is not echoed by the program where it is hostile
    run_loop(workup, Kept(workup), console, RichPages())
    text = shown(console)
    assert "\x1b" not in text and "\x07" not in text and "\u202e" not in text
    if console.echo:
        assert all(len(line) <= min(width, 100) for line in text.split("\n") if "x" * 60 not in line)
    compare(f"{name}-{width}", text)


@pytest.mark.parametrize("width", [80, 140])
def test_taking_in(width: int) -> None:
    lines = (
        "inline 6",
        "2",
        "",
        "2",
        "",
        "1",
        "198,000 km",
        "rich when hot",
        "P0172 pending P9",
        "",
        "1",
        "l",
        "idle -4 -14 / +1 -3 ect 92",
    )
    console = console_with([*lines, "", "3"], width)
    fields = ask_vehicle(console, {})
    workup = case(**fields)
    intake(workup, Kept(workup), console)
    compare(f"taking-in-{width}", shown(console))


@pytest.mark.parametrize("name", ["fresh-condition", "verdict-settled"])
def test_colour_adds_styles_and_nothing_else(name: str) -> None:
    """No colour carries a meaning alone: without its escape sequences the coloured screen is the plain one."""
    import re

    workup, lines = SITTINGS[name]
    console = console_with(lines, colour=True)
    run_loop(workup, Kept(workup), console, RichPages())
    coloured = shown(console)
    styles = set(re.findall(r"\x1b\[([0-9;]*)m", coloured))
    assert styles - {"0"}
    assert all(set(style.split(";")) <= {"0", "1", "2", "4", "22", "31", "39"} for style in styles), styles
    plain = re.sub(r" +$", "", re.sub(r"\x1b\[[0-9;]*m", "", coloured), flags=re.M)
    assert plain == (GOLDEN / f"{name}-80.txt").read_text(encoding="utf-8").replace("> \n", ">\n")


@pytest.mark.parametrize("height", [24, 40])
@pytest.mark.parametrize("name", SITTINGS)
def test_every_page_of_a_question_fits_the_screen(name: str, height: int) -> None:
    from reasoner.session.concluding import belief
    from reasoner.session.document import Question
    from reasoner.session.protocol import Talk
    from reasoner.terminal.step import Surroundings, step_pages

    workup, _ = SITTINGS[name]
    document = Talk(workup, go_on=True).next()
    assert isinstance(document, Question)
    console = console_with([], 80, height)
    pages = step_pages(document, belief(workup), Surroundings(said=("Kept: something",)), console)
    assert all(len(page.lines) < height for page in pages)
    text = "\n".join(line for page in pages for line in page.lines)
    for caution in document.cautions:  # before the steps, and on the first page
        assert caution.split(".")[0] in " ".join(" ".join(pages[0].lines).split())
        assert text.index("TAKE CARE FIRST") < text.index("HOW")
