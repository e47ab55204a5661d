"""The repair sheet at the car: step by step, and the calibration values typed in twice. Saved after every line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import click

from reasoner.cli.round import Round
from reasoner.cli.say import say
from reasoner.repair import rounds
from reasoner.repair.calibration import plain
from reasoner.repair.jobs import VALUES, Work
from reasoner.repair.sheet import LineDoc, RepairSheet, SheetDoc, sheet_document, sheet_of

BACK, STOP = ("b", "back"), ("s", "stop", "q")
KEYS = "Enter: done, l: later, b: back, s: stop"


def open_boxes(document: SheetDoc) -> Iterator[tuple[str, LineDoc]]:
    """Boxes that are not ticked yet, in order, each with its step."""
    for part in document.sections:
        for line in part.lines:
            yield from ((box.name, line) for box in line.boxes if not box.done)


def in_full(line: LineDoc) -> LineDoc:
    """A step that stands by itself: its cautions in full."""
    return replace(line, full=frozenset(caution.number for caution in line.cautions))


def walk_through(on: Round) -> None:
    """Every open box in turn: its step with the cautions above it, the blanks, then done or later."""
    from reasoner.report.work_text import step_text

    names = [name for name, _ in open_boxes(sheet_document(on.workup, _work(on)))]
    at, shown = 0, 0
    while at < len(names):
        line = _line(on, names[at])
        if line.number != shown:
            say("\n".join(["", *step_text(in_full(line))]))
            shown = line.number
            key = _figures(on, line)
        else:
            key = ""
        place = names[at].partition(" ")[2]
        key = key or _typed(f"{place}. {KEYS}" if place else KEYS).lower()
        if key in STOP:
            return
        if key in BACK:
            at, shown = max(0, at - 1), 0
            if names[at] in _work(on).ticked:
                on.keep(rounds.tick(on.workup, _sheet(on), [names[at]], off=True))
        elif key in ("l", "later"):
            at += 1
        elif key in ("", "d", "done"):
            on.keep(rounds.tick(on.workup, _sheet(on), [names[at]]))
            at += 1


def _figures(on: Round, line: LineDoc) -> str:
    """The blanks of a step, one after another; b or s typed there is a word to the walk, not a figure: returned."""
    for figure in line.figures:
        if not figure.value and (value := _typed(f"{figure.what}, Enter: leave it blank")):
            if value.lower() in (*BACK, *STOP):
                return value.lower()
            on.keep(rounds.fill_in(on.workup, _sheet(on), line.number, figure.what, value))
    return ""


def ask_values(on: Round) -> None:
    """The values of the parts that are fitted, twice, each kept as it is typed; then once more where the two differ.

    What was typed before a break is not asked again; once all is there, it begins anew.
    """
    cylinders = [c for c in range(1, on.workup.vehicle.cylinders + 1) if _fitted(_work(on), c)]
    work = _work(on)
    if all(c in work.first and c in work.second for c in cylinders):
        none = dict.fromkeys(cylinders, "")
        on.keep(rounds.enter_values(on.workup, none, none, {}))
    for how, key in (("First time, off the part", "first"), ("Second time, off the part again", "second")):
        left = [c for c in cylinders if c not in getattr(_work(on), key)]
        if left:
            say(f"{how}, by cylinder number. Enter leaves one out.", err=True)
        for cylinder in left:
            if value := _typed(f"  cylinder {cylinder}"):
                _keep(on, key, cylinder, value)
    for cylinder in cylinders:
        first, second = (typed.get(cylinder, "") for typed in (_work(on).first, _work(on).second))
        if first and second and plain(first) != plain(second):
            say(f"cylinder {cylinder}: {first}, then {second}. Look at the part once more.", err=True)
            if value := _typed(f"  cylinder {cylinder}"):
                _keep(on, "first" if plain(value) == plain(second) else "second", cylinder, value)


def _keep(on: Round, key: str, cylinder: int, value: str) -> None:
    typed = {name: {cylinder: value} if name == key else {} for name in VALUES}
    on.keep(rounds.enter_values(on.workup, **typed))


def _fitted(work: Work, cylinder: int) -> bool:
    places = frozenset().union(*(job.places for job in work.jobs))
    return f"cylinder {cylinder}" in places or not any(place.startswith("cylinder") for place in places)


def _typed(question: str) -> str:
    return str(click.prompt(question, default="", show_default=False, prompt_suffix=" > ", err=True)).strip()


def _work(on: Round) -> Work:
    work = on.work
    assert work is not None
    return work


def _sheet(on: Round) -> RepairSheet:
    return sheet_of(on.workup, _work(on))


def _line(on: Round, box: str) -> LineDoc:
    document = sheet_document(on.workup, _work(on))
    lines = (line for part in document.sections for line in part.lines)
    return next(line for line in lines if any(each.name == box for each in line.boxes))
