"""The repair sheet for a piece of work: cautions, what to have at hand, steps with blanks, what to check off.

A repair without a sheet of its own is done by the sentences of its `do`; a caution that a sentence calls for is put
above it all the same.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reasoner.mistake import Place
from reasoner.repair.calibration import ValueSlip, slips
from reasoner.repair.jobs import ENGINE, Job, Work, in_order, places_text
from reasoner.repair.standing import Standing
from reasoner.rulebook.model import Rulebook, Step


@dataclass(frozen=True)
class SheetLine:
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
class SheetSection:
    """One repair of the work. at_hand: in words, or the name of a tool. values: parts carry calibration values that are
    entered by cylinder."""

    title: str
    job: Job
    at_hand: tuple[str, ...]
    single_use: tuple[str, ...]
    lines: tuple[SheetLine, ...]
    values: bool
    learned: tuple[str, ...]


@dataclass(frozen=True)
class RepairSheet:
    """cautions: names, those of hazards first; every one that any step has, and those of the repairs."""

    sections: tuple[SheetSection, ...]
    cautions: tuple[str, ...]

    @property
    def boxes(self) -> tuple[str, ...]:
        return tuple(box for section in self.sections for line in section.lines for box in line.boxes)


def sheet_for(book: Rulebook, work: Sequence[Job]) -> RepairSheet:
    """The sheet of a piece of work; steps are numbered through."""
    sections: list[SheetSection] = []
    for job in work:
        sections.append(_section(book, job, sum(len(section.lines) for section in sections) + 1))
    named = dict.fromkeys(name for section in sections for line in section.lines for name in line.cautions)
    named |= dict.fromkeys(name for job in work for name in book.repairs[job.repair].cautions)
    return RepairSheet(tuple(sections), tuple(sorted(named, key=lambda name: not book.cautions[name].hazard)))


def _section(book: Rulebook, job: Job, first: int) -> SheetSection:
    repair = book.repairs[job.repair]
    places = tuple(in_order(job.places)) if job.places != {ENGINE} else ()
    sheet = next((sheet for sheet in book.sheets.values() if repair.name in sheet.repairs), None)
    steps = sheet.steps if sheet else _sentences(book, repair.do, repair.origin.place)
    lines = tuple(
        SheetLine(number, step.do, step.cautions, step.figures, places if step.each else ())
        for number, step in enumerate(steps, start=first)
    )
    none: tuple[str, ...] = ()
    at_hand, single_use, learned = (sheet.at_hand, sheet.single_use, sheet.learned) if sheet else (none, none, none)
    return SheetSection(repair.title, job, at_hand, single_use, lines, bool(sheet and sheet.values), learned)


def _sentences(book: Rulebook, do: str, place: Place) -> tuple[Step, ...]:
    sentences = re.split(r"(?<=\.)\s+(?=[A-Z])", " ".join(do.split()))
    return tuple(Step(s, called_for(book, s), (), False, place) for s in sentences)


def called_for(book: Rulebook, text: str) -> tuple[str, ...]:
    """Cautions that a step calls for by its words; those of hazards first."""
    said = " ".join(text.lower().split())
    found = [c for c in book.cautions.values() if any(re.search(rf"\b{re.escape(w)}", said) for w in c.called_for_by)]
    return tuple(c.name for c in sorted(found, key=lambda c: not c.hazard))


# ---- the document ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class CautionDoc:
    """A caution, numbered as the sheet refers to it. hazard: it is about being hurt."""

    number: int
    say: str
    hazard: bool


@dataclass(frozen=True)
class BoxDoc:
    """Something to check off. place: empty where the step is done once."""

    name: str
    place: str
    done: bool


@dataclass(frozen=True)
class FigureDoc:
    """A blank for the maker's own figure; value: empty until somebody has filled it in."""

    what: str
    value: str


@dataclass(frozen=True)
class LineDoc:
    """One step. cautions: numbers of those above it; full: of these, those that are said here for the first time."""

    number: int
    text: str
    cautions: tuple[CautionDoc, ...]
    full: frozenset[int]
    figures: tuple[FigureDoc, ...]
    boxes: tuple[BoxDoc, ...]


@dataclass(frozen=True)
class ValueDoc:
    """A calibration value by cylinder: as typed in the first and the second time, and as stored before."""

    cylinder: int
    first: str
    second: str
    old: str


@dataclass(frozen=True)
class SectionDoc:
    """One repair of the work: what to have at hand, its steps, values and what looks wrong with them."""

    title: str
    at_hand: tuple[str, ...]
    single_use: tuple[str, ...]
    lines: tuple[LineDoc, ...]
    values: tuple[ValueDoc, ...]
    slips: tuple[str, ...]
    learned: tuple[str, ...]


@dataclass(frozen=True)
class SheetDoc:
    """cautions: all of them, those of hazards first. proof: what must be seen afterwards."""

    case: str
    vehicle: str
    title: str
    cautions: tuple[CautionDoc, ...]
    sections: tuple[SectionDoc, ...]
    proof: tuple[str, ...]
    done: int
    boxes: int
    type: str = "sheet"


def sheet_of(case: Standing, work: Work) -> RepairSheet:
    """The sheet of a round of work under the rules of the case."""
    return sheet_for(case.book, work.jobs)


def sheet_document(case: Standing, work: Work, name: str = "") -> SheetDoc:
    """The sheet of a round of work, with what is done so far."""
    book, sheet = case.book, sheet_of(case, work)
    cautions = {
        name: CautionDoc(number, book.cautions[name].say, book.cautions[name].hazard)
        for number, name in enumerate(sheet.cautions, start=1)
    }
    said: set[str] = set()
    proof = dict.fromkeys(name for job in work.jobs for name in book.repairs[job.repair].proof)
    return SheetDoc(
        case=name,
        vehicle=case.vehicle.title,
        title=work_text(case, work),
        cautions=tuple(cautions.values()),
        sections=tuple(_section_document(case, work, section, cautions, said) for section in sheet.sections),
        proof=tuple(book.checks[name].title for name in proof if name in case.tables.check_number),
        done=len(work.ticked & set(sheet.boxes)),
        boxes=len(sheet.boxes),
    )


def work_text(case: Standing, work: Work) -> str:
    """`Replace the direct injector at its cylinder: cylinder 3`."""
    return "; ".join(_job(case, job) for job in work.jobs)


def _job(case: Standing, job: Job) -> str:
    repair = case.book.repairs[job.repair].title
    return repair if job.places == {ENGINE} else f"{repair}: {places_text(job.places)}"


def _section_document(
    case: Standing, work: Work, section: SheetSection, cautions: dict[str, CautionDoc], said: set[str]
) -> SectionDoc:
    lines = []
    for line in section.lines:
        new = frozenset(cautions[name].number for name in line.cautions if name not in said)
        said.update(line.cautions)
        lines.append(
            LineDoc(
                line.number,
                line.text,
                tuple(cautions[name] for name in line.cautions),
                new,
                tuple(FigureDoc(what, work.figures.get((line.number, what), "")) for what in line.figures),
                tuple(BoxDoc(box, box.partition(" ")[2], box in work.ticked) for box in line.boxes),
            )
        )
    values, wrong = _values(case, work) if section.values else ((), ())
    return SectionDoc(
        _job(case, section.job),
        _to_have(case, section.at_hand),
        section.single_use,
        tuple(lines),
        values,
        wrong,
        section.learned,
    )


def _to_have(case: Standing, wanted: Sequence[str]) -> tuple[str, ...]:
    """What is to be at hand, tools by their titles. Those that the shop has not got say so."""
    tools, lacking = case.book.tools, case.record.lacking
    return tuple(
        f"{tools[name].title if name in tools else name}{' (NOT AT HAND in this shop)' if name in lacking else ''}"
        for name in wanted
    )


def _values(case: Standing, work: Work) -> tuple[tuple[ValueDoc, ...], tuple[str, ...]]:
    """The values typed in, by cylinder, and what looks wrong with them once there are any. Cylinders that nothing was
    done to are left out, unless something was typed in for them."""
    done = {place for job in work.jobs for place in job.places}
    typed = {*work.first, *work.second, *work.old}
    whole = range(1, case.vehicle.cylinders + 1)
    cylinders = [c for c in whole if f"cylinder {c}" in done or c in typed] or whole
    table = tuple(ValueDoc(c, work.first.get(c, ""), work.second.get(c, ""), work.old.get(c, "")) for c in cylinders)
    if not (work.first or work.second):
        return table, ()
    return table, tuple(slip_texts(case, work))


def slip_texts(case: Standing, work: Work) -> Iterable[str]:
    """What looks wrong with the values typed in, in words."""
    cylinders = range(1, case.vehicle.cylinders + 1)
    new = [c for c in cylinders if any(f"cylinder {c}" in job.places for job in work.jobs)]
    order = [int(number) for number in re.findall(r"\d+", case.vehicle.fields.get("firing order", ""))]
    return (_slip(slip) for slip in slips(work.first, work.second, cylinders, new, work.old, order))


def _slip(slip: ValueSlip) -> str:
    where = places_text(f"cylinder {c}" for c in slip.cylinders)
    return {
        "missed": f"{where}: not typed in twice",
        "stranger": f"{where}: there is none",
        "equal": f"{where} have the same value, {slip.one}; look at both parts again",
        "transposed": f"{where}: two characters next to each other look swapped, {slip.one} and {slip.other}",
        "alike": f"{where}: letter or digit? {slip.one} and {slip.other}",
        "differs": f"{where}: typed in differently, {slip.one} and {slip.other}",
        "exchanged": f"{where}: the values look swapped between the first and the second time",
        "firing order": "typed in once by cylinder number and once by firing order; it goes by cylinder number",
        "old order": f"{where}: the stored values in another order; were injectors moved, or the values swapped?",
    }[slip.kind]
