"""The repair sheet in words: what is to be done, what was checked off, the maker's figures and the values typed in."""

from __future__ import annotations

import re
from collections.abc import Iterable

from reasoner.repair.calibration import Slip, slips
from reasoner.repair.jobs import ENGINE, Job
from reasoner.repair.sheet import RepairSheet, Section, sheet_for
from reasoner.session.afterdoc import BoxDoc, CautionDoc, FigureDoc, LineDoc, SectionDoc, SheetDoc, ValueDoc
from reasoner.session.deciding import places_text
from reasoner.session.repairing import Work
from reasoner.session.workup import Workup


def sheet_of(workup: Workup, work: Work) -> RepairSheet:
    return sheet_for(workup.book, work.jobs)


def document(workup: Workup, work: Work, case: str = "") -> SheetDoc:
    """The sheet of a round of work as it stands."""
    book, sheet = workup.book, sheet_of(workup, work)
    cautions = {
        name: CautionDoc(number, book.cautions[name].say, book.cautions[name].hazard)
        for number, name in enumerate(sheet.cautions, start=1)
    }
    said: set[str] = set()
    proof = dict.fromkeys(name for job in work.jobs for name in book.repairs[job.repair].proof)
    return SheetDoc(
        case=case,
        vehicle=workup.vehicle.title,
        title=work_text(workup, work),
        cautions=tuple(cautions.values()),
        sections=tuple(_section(workup, work, section, cautions, said) for section in sheet.sections),
        proof=tuple(book.checks[name].title for name in proof if name in workup.tables.check_number),
        done=len(work.ticked & set(sheet.boxes)),
        boxes=len(sheet.boxes),
    )


def work_text(workup: Workup, work: Work) -> str:
    """`Replace the direct injector at its cylinder: cylinder 3`."""
    return "; ".join(_job(workup, job) for job in work.jobs)


def _job(workup: Workup, job: Job) -> str:
    repair = workup.book.repairs[job.repair].title
    return repair if job.places == {ENGINE} else f"{repair}: {places_text(job.places)}"


def _section(
    workup: Workup, work: Work, section: Section, cautions: dict[str, CautionDoc], said: set[str]
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
    values, wrong = _values(workup, work) if section.values else ((), ())
    return SectionDoc(
        _job(workup, section.job), section.at_hand, section.single_use, tuple(lines), values, wrong, section.learned
    )


def _values(workup: Workup, work: Work) -> tuple[tuple[ValueDoc, ...], tuple[str, ...]]:
    """The values typed in, by cylinder, and what looks wrong with them once there are any. Cylinders that nothing was
    done to are left out, unless something was typed in for them."""
    done = {place for job in work.jobs for place in job.places}
    typed = {*work.first, *work.second, *work.old}
    whole = range(1, workup.vehicle.cylinders + 1)
    cylinders = [c for c in whole if f"cylinder {c}" in done or c in typed] or whole
    table = tuple(ValueDoc(c, work.first.get(c, ""), work.second.get(c, ""), work.old.get(c, "")) for c in cylinders)
    if not (work.first or work.second):
        return table, ()
    return table, tuple(slip_texts(workup, work))


def slip_texts(workup: Workup, work: Work) -> Iterable[str]:
    """What looks wrong with the values typed in, in words."""
    cylinders = range(1, workup.vehicle.cylinders + 1)
    new = [c for c in cylinders if any(f"cylinder {c}" in job.places for job in work.jobs)]
    order = [int(number) for number in re.findall(r"\d+", workup.vehicle.fields.get("firing order", ""))]
    return (_slip(slip) for slip in slips(work.first, work.second, cylinders, new, work.old, order))


def _slip(slip: Slip) -> str:
    where = places_text(f"cylinder {c}" for c in slip.cylinders)
    return {
        "missed": f"{where}: not typed in twice",
        "stranger": f"{where}: there is none",
        "equal": f"{where} have the same value, {slip.one}; look at both parts again",
        "transposed": f"{where}: two characters next to each other look exchanged, {slip.one} and {slip.other}",
        "alike": f"{where}: letter or digit? {slip.one} and {slip.other}",
        "differs": f"{where}: typed in differently, {slip.one} and {slip.other}",
        "exchanged": f"{where}: the values look exchanged between the first and the second time",
        "firing order": "typed in once by cylinder number and once by firing order; it goes by cylinder number",
        "old order": f"{where}: the stored values in another order; were injectors moved, or the values exchanged?",
    }[slip.kind]
