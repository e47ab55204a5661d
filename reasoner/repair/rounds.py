"""Rounds of work: what is told of them, as events beside the answers, and what these come to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from reasoner.casebook.correcting import last_step, standing
from reasoner.casebook.events import (
    KEPT_BESIDE,
    Cleared,
    Drove,
    Event,
    FilledIn,
    Finished,
    JobTaken,
    Provoked,
    Ticked,
    Undone,
    ValuesTyped,
    WorkTaken,
)
from reasoner.casebook.trouble import Refused
from reasoner.repair.choices import Choice, at_once
from reasoner.repair.jobs import VALUE_SETS, Job, TryMade, Work, in_order
from reasoner.repair.sheet import RepairSheet, sheet_for
from reasoner.repair.standing import Standing
from reasoner.rulebook.model import Rulebook


def rounds_of(book: Rulebook, events: Iterable[Event]) -> tuple[Work, ...]:
    """Every round of work, the present one last. Work these rules do not have is left out of its round."""
    found: list[Work] = []
    for event in standing(events):
        if isinstance(event, WorkTaken):
            jobs = (Job(job.repair, frozenset(job.places)) for job in event.jobs)
            found.append(Work(event.what, tuple(job for job in jobs if job.repair in book.repairs)))
        elif found:
            found[-1] = _with(found[-1], _as_the_sheet_is_now(book, found[-1], event))
    return tuple(found)


def _as_the_sheet_is_now(book: Rulebook, work: Work, event: Event) -> Event:
    """A tick without the boxes of steps that said something else then: under changed rules a number may have come to
    mean another step, and nobody has done that one."""
    if not isinstance(event, Ticked) or event.steps is None:
        return event
    then, now = event.steps, _steps(sheet_for(book, work.jobs))
    return replace(event, boxes=tuple(box for box in event.boxes if now.get(_step(box)) == then.get(_step(box))))


def _steps(sheet: RepairSheet) -> dict[str, str]:
    return {str(line.number): line.text for section in sheet.sections for line in section.lines}


def _step(box: str) -> str:
    return box.partition(" ")[0]


def _with(work: Work, event: Event) -> Work:
    match event:
        case Ticked(boxes=boxes, off=True):
            return replace(work, ticked=work.ticked - set(boxes))
        case Ticked(boxes=boxes):
            return replace(work, ticked=work.ticked | set(boxes))
        case FilledIn():
            return replace(work, figures={**work.figures, (event.line, event.figure): event.value})
        case ValuesTyped():
            first, second, old = (_changed(getattr(work, key), getattr(event, key)) for key in VALUE_SETS)
            return replace(work, first=first, second=second, old=old)
        case Finished():
            return replace(work, finished=event.step)
        case Provoked():
            return replace(
                work, provoked=(*work.provoked, TryMade(event.condition, event.clean, event.made_so, _day(event)))
            )
        case Drove():
            return replace(work, drives=(*work.drives, event.counts))
        case Cleared():
            at = f", at {event.km} km" if event.km is not None else ""
            return replace(work, cleared=event.cleared, cleared_when=f"{_day(event)}{at}" if event.cleared else "")
    return work


def _day(event: Provoked | Cleared) -> str:
    """The day it was, else the day it was kept."""
    return event.on or event.at[:10]


def _changed(before: Mapping[int, str], values: Mapping[int, str]) -> dict[int, str]:
    """Values by cylinder, with those typed in now instead of what was there; an empty one takes it away."""
    now = {**before, **values}
    return {cylinder: value for cylinder, value in now.items() if value}


def parted(events: Iterable[Event]) -> list[tuple[Event, ...]]:
    """The events that stand, parted at every finished work (which begins the next part)."""
    parts: list[list[Event]] = [[]]
    for event in standing(events):
        if isinstance(event, Finished):
            parts.append([])
        parts[-1].append(event)
    return [tuple(part) for part in parts]


# ---- acts ------------------------------------------------------------------------------------------------------------


def take_choice(case: Standing, choice: Choice, present: Work | None = None) -> list[Event]:
    """A choice is taken: its work is what the sheet is about. Raises Refused where there is no work in it.

    present: the round under way; taking the same work again changes nothing, so that no mark on its sheet is lost.
    """
    work = at_once(choice.kind, choice.work)
    if not work:
        raise Refused("nothing is to be repaired in this choice", "take one with work in it")
    if present is not None and present.finished is None and present.jobs == work:
        return []
    jobs = tuple(JobTaken(job.repair, tuple(in_order(job.places))) for job in work)
    return [WorkTaken(step=case.record.steps + 1, what=choice.kind, jobs=jobs)]


def tick(case: Standing, sheet: RepairSheet, boxes: Sequence[str], off: bool = False) -> list[Event]:
    """Boxes of the sheet checked off, or no longer; a bare number stands for all its places, `5, 6` for both."""
    known = {box: box for box in sheet.boxes}
    wanted: list[str] = []
    for box in (part.strip() for text in boxes for part in text.split(",")):
        meant = [known[box]] if box in known else [b for b in sheet.boxes if _step(b) == box]
        if not meant:
            raise Refused(f'the sheet has no box "{box}"', "such as 3, or `4 cylinder 2`")
        wanted += meant
    texts = _steps(sheet)
    steps = {_step(box): texts[_step(box)] for box in wanted}
    return [Ticked(step=case.record.steps + 1, boxes=tuple(wanted), steps=steps, off=off)]


def fill_in(case: Standing, sheet: RepairSheet, line: int, figure: str, value: str) -> list[Event]:
    """One of the maker's own figures, by its words or the beginning of them."""
    lines = {each.number: each for section in sheet.sections for each in section.lines}
    blanks = lines[line].figures if line in lines else ()
    meant = [blank for blank in blanks if blank.startswith(figure)]
    if len(meant) != 1:
        raise Refused(f"step {line} has no blank `{figure}`", "blanks there: " + ("; ".join(blanks) or "none"))
    return [FilledIn(step=case.record.steps + 1, line=line, figure=meant[0], value=value.strip())]


def enter_values(
    case: Standing, first: Mapping[int, str], second: Mapping[int, str], old: Mapping[int, str]
) -> list[Event]:
    """Calibration values, typed in twice; those of other cylinders stay, and an empty one takes one away. Kept as
    typed: what looks wrong with them is said, not mended. Raises Refused for a cylinder that there is not."""
    typed = (first, second, old)
    cylinders = range(1, case.vehicle.cylinders + 1)
    for cylinder in (c for values in typed for c in values if c not in cylinders):
        raise Refused(f"there is no cylinder {cylinder} here", f"there are 1 to {case.vehicle.cylinders}")
    if not any(typed):
        raise Refused("no value was given", 'such as "first": {"3": "AB12"}')
    return [ValuesTyped(step=case.record.steps + 1, first=dict(first), second=dict(second), old=dict(old))]


def take_last_back(events: Sequence[Event]) -> list[Undone]:
    """Take back the last thing told of any kind, that the work is finished too. Raises Refused where there is none."""
    steps = [e.step for e in standing(events) if e.step and not isinstance(e, KEPT_BESIDE)]
    if not steps:
        raise Refused("there is nothing to take back")
    return [Undone(step=last_step(events) + 1, undone=steps[-1])]


def finish(case: Standing, work: Work | None) -> list[Event]:
    """The work is done. Raises Refused where none was taken up, or it is finished already."""
    if work is None or work.finished is not None:
        raise Refused("no work is under way", "choose first what to replace")
    return [Finished(step=case.record.steps + 1)]


def condition_meant(book: Rulebook, said: str) -> str:
    """The name of the condition that was typed as the screens show it, or as values are typed; else as typed."""
    plain = " ".join(said.lower().replace("-", " ").split())
    for condition in book.conditions.values():
        words = (condition.name, condition.title, *condition.typed_as)
        if plain in (word.lower().replace("-", " ") for word in words):
            return condition.name
    return said


def provoke(case: Standing, condition: str, clean: bool, made_so: bool = False, on: str = "") -> list[Event]:
    """The fault was provoked in a condition; made_so: as the rules ask of a try; on: the day, else the day it is kept.
    Raises Refused where these rules have no such condition."""
    if condition not in case.book.conditions:
        raise Refused(f'no condition is called "{condition}"', "one of: " + ", ".join(case.book.conditions))
    return [Provoked(step=case.record.steps + 1, condition=condition, clean=clean, made_so=made_so, on=on)]


def drove(case: Standing, counts: Mapping[str, float]) -> list[Event]:
    """What one drive brought, by the names of what is counted."""
    counted = [proof.name for proof in case.book.proofs.values() if proof.least is not None]
    for name, value in counts.items():
        if name not in counted:
            raise Refused(f'"{name}" is not counted', "one of: " + ", ".join(counted))
        if value < 0:
            raise Refused(f"{value:g} cannot be", "a number from 0 on")
    return [Drove(step=case.record.steps + 1, counts=dict(counts))]


def say_cleared(case: Standing, cleared: bool, on: str = "", km: int | None = None) -> list[Event]:
    """Codes were cleared after the work, or were not. on: the day, else the day it is kept; km: the odometer then."""
    return [Cleared(step=case.record.steps + 1, cleared=cleared, on=on, km=km)]
