"""The repair sheet for a piece of work: cautions, what to have at hand, steps with blanks, what to check off.

A repair without a sheet of its own is done by the sentences of its `do`; a caution that a sentence calls for is put
above it all the same.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from reasoner.repair.jobs import ENGINE, Job, in_order
from reasoner.rulebook.model import Place, Rulebook, Step


@dataclass(frozen=True)
class Line:
    """One step of the work. number: as it is checked off. cautions: names. places: checked off for each; none: once."""

    number: int
    text: str
    cautions: tuple[str, ...]
    figures: tuple[str, ...]
    places: tuple[str, ...]

    @property
    def boxes(self) -> tuple[str, ...]:
        """What is checked off: `4`, or `4 cylinder 3` for every place."""
        return tuple(f"{self.number} {place}" for place in self.places) or (str(self.number),)


@dataclass(frozen=True)
class Section:
    """One repair of the work. values: parts carry calibration values that are entered by cylinder."""

    title: str
    job: Job
    at_hand: tuple[str, ...]
    single_use: tuple[str, ...]
    lines: tuple[Line, ...]
    values: bool
    learned: tuple[str, ...]


@dataclass(frozen=True)
class RepairSheet:
    """cautions: names, those of hazards first; every one that any step has, and those of the repairs."""

    sections: tuple[Section, ...]
    cautions: tuple[str, ...]

    @property
    def boxes(self) -> tuple[str, ...]:
        return tuple(box for section in self.sections for line in section.lines for box in line.boxes)


def sheet_for(book: Rulebook, work: Sequence[Job]) -> RepairSheet:
    """The sheet of a piece of work; steps are numbered through."""
    sections: list[Section] = []
    for job in work:
        sections.append(_section(book, job, sum(len(section.lines) for section in sections) + 1))
    named = dict.fromkeys(name for section in sections for line in section.lines for name in line.cautions)
    named |= dict.fromkeys(name for job in work for name in book.repairs[job.repair].cautions)
    return RepairSheet(tuple(sections), tuple(sorted(named, key=lambda name: not book.cautions[name].hazard)))


def _section(book: Rulebook, job: Job, first: int) -> Section:
    repair = book.repairs[job.repair]
    places = tuple(in_order(job.places)) if job.places != {ENGINE} else ()
    sheet = next((sheet for sheet in book.sheets.values() if repair.name in sheet.repairs), None)
    steps = sheet.steps if sheet else _sentences(book, repair.do, repair.origin.place)
    lines = tuple(
        Line(number, step.do, step.cautions, step.figures, places if step.each else ())
        for number, step in enumerate(steps, start=first)
    )
    none: tuple[str, ...] = ()
    at_hand, single_use, learned = (sheet.at_hand, sheet.single_use, sheet.learned) if sheet else (none, none, none)
    return Section(repair.title, job, at_hand, single_use, lines, bool(sheet and sheet.values), learned)


def _sentences(book: Rulebook, do: str, place: Place) -> tuple[Step, ...]:
    sentences = re.split(r"(?<=\.)\s+(?=[A-Z])", " ".join(do.split()))
    return tuple(Step(s, called_for(book, s), (), False, place) for s in sentences)


def called_for(book: Rulebook, text: str) -> tuple[str, ...]:
    """Cautions that a step calls for by its words; those of hazards first."""
    said = " ".join(text.lower().split())
    found = [c for c in book.cautions.values() if any(re.search(rf"\b{re.escape(w)}", said) for w in c.called_for_by)]
    return tuple(c.name for c in sorted(found, key=lambda c: not c.hazard))
