"""A case told again: what was known, what was asked and seen in which condition, how the belief moved, how it ended.

Under the rules that are given, not those of the day: that is what replay compares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reasoner.casebook.events import (
    Answered,
    Closed,
    CodesRead,
    Concluded,
    Corrected,
    Drove,
    Event,
    PassedOver,
    Provoked,
    ReadingsTaken,
    Undone,
)
from reasoner.casebook.shape import Case
from reasoner.history.trace import Trace, trace, vehicle_of
from reasoner.inference.belief import believe, by_class, by_fault, leader
from reasoner.inference.evidence import Spell
from reasoner.inference.plan import settled
from reasoner.network.tables import Array
from reasoner.repair.jobs import Job, in_order
from reasoner.repair.jobs import job_effort as job_effort
from reasoner.repair.prices import Prices, usual
from reasoner.rulebook.model import AND, Rulebook
from reasoner.session.chapters import Chapter, Found, Garage, found_in, last_closing
from reasoner.session.effort import Spent, effort_spent
from reasoner.session.readings import live_text
from reasoner.session.words import act_text, at_place, given_text, percent, rich_text, state_text
from reasoner.session.workup import Workup


@dataclass(frozen=True)
class Moment:
    """One thing told or seen. step: what it is taken back or corrected by. at: when, as written ("" = not said).

    lead, chance: what leads afterwards (see `_lead`). of_found: chance of the fault that was found, wherever it sits;
    None where none was, or it was not in the rules. settled: what to do was settled. kind: answer, codes,
    pass or readings.
    """

    step: int
    at: str
    kind: str
    text: str
    condition: str
    asked: bool
    lead: str
    chance: float
    of_found: float | None
    settled: bool


@dataclass(frozen=True)
class StoryPart:
    """A chapter of the story. work: what was done before it, in words, and what it took by the rules' own figures;
    finished: when, as written ("" = nothing was, or it is not said).

    looked: after work, by condition, how often it was brought about and how often nothing was to be seen.
    said: the verdicts that were kept; ended: how it was closed, in words ("" = it was not); gone_on: more was asked
    after that.
    """

    work: tuple[str, ...]
    work_effort: Spent
    finished: str
    moments: tuple[Moment, ...]
    looked: tuple[tuple[str, int, int], ...]
    drives: int
    said: tuple[str, ...]
    ended: str
    confirmed: str
    gone_on: bool


@dataclass(frozen=True)
class Hindsight:
    """The answers that would have been enough for the same verdict, beside what took no time to tell; what they take.

    of: how many there were that took time, and what those took.
    """

    answers: tuple[str, ...]
    effort: Spent
    of: int
    of_effort: Spent


@dataclass(frozen=True)
class Story:
    """found: what was wrong, in words, with how firmly it is known. effort: of everything seen.

    money: what looking and work cost together, an hour of work at `hour`.
    """

    case: str
    vehicle: str
    opened: str
    complaint: str
    codes: tuple[str, ...]
    parts: tuple[StoryPart, ...]
    found: tuple[tuple[str, str], ...]
    effort: Spent
    money: float
    hour: float
    hindsight: Hindsight | None
    corrected: tuple[str, ...]
    notes: tuple[str, ...]
    unread: tuple[str, ...]


def story(case: Case, garage: Garage, prices: Prices | None = None) -> Story:
    """prices: the shop's; None: the rules' usual ones. Raises CasebookError where the vehicle cannot be read."""
    prices = prices or usual(garage.book)
    vehicle = vehicle_of(case)
    chapters = garage.chapters(vehicle, case.events)
    founds = found_in(chapters)
    record = chapters[0].workup.record
    parts = tuple(_part(garage.book, prices, chapter, _found_at(founds, chapter.number)) for chapter in chapters)
    total = sum((effort_spent(c.workup) for c in chapters), Spent())
    work = sum((p.work_effort for p in parts), Spent())
    hour = prices.hour
    return Story(
        case=case.name,
        vehicle=vehicle.title,
        opened=case.opened,
        complaint=record.complaint,
        codes=tuple((f"{code} ({', '.join(states)})" if states else code) for code, states in record.codes),
        parts=parts,
        found=tuple((_named(garage.book, f.fault, f.where), f.state) for f in founds),
        effort=total,
        money=(total + work).money + (total + work).minutes / 60.0 * hour,
        hour=hour,
        hindsight=hindsight(chapters[founds[0].chapters[-1]].workup, founds[0]) if founds and founds[0].known else None,
        corrected=_corrections(case.events),
        notes=tuple(n for c in chapters for n in c.workup.record.notes),
        unread=tuple(n for c in chapters for n in c.workup.record.unread),
    )


def _found_at(founds: Sequence[Found], chapter: int) -> Found | None:
    return next((f for f in founds if f.known and chapter in f.chapters), None)


def _part(book: Rulebook, prices: Prices, chapter: Chapter, found: Found | None) -> StoryPart:
    work = chapter.work
    efforts = [job_effort(book, prices, job) for job in work]
    closed = last_closing(chapter.events)
    moments = tuple(_moments(chapter, found))
    return StoryPart(
        work=tuple(_job(book, job) for job in work),
        work_effort=sum((Spent(e.minutes, 0.0, e.money) for e in efforts), Spent()),
        finished=chapter.events[0].at if chapter.number else "",
        moments=moments,
        looked=_looked(book, chapter.events),
        drives=sum(isinstance(e, Drove) for e in chapter.events),
        said=tuple(_verdict(book, e) for e in chapter.events if isinstance(e, Concluded)),
        ended=_closing(book, closed) if closed else "",
        confirmed=closed.confirmed_by if closed else "",
        gone_on=closed is not None and any(m.step > closed.step for m in moments),
    )


def _job(book: Rulebook, job: Job) -> str:
    places = ", ".join(in_order(p for p in job.places if p != "engine"))
    title = book.repairs[job.repair].title
    return f"{title} ({places})" if places else title


TOLD_EVENTS = (
    Answered,
    CodesRead,
    PassedOver,
    ReadingsTaken,
)  # the kinds of event that a story tells, each as a moment


def _moments(chapter: Chapter, found: Found | None) -> list[Moment]:
    moved = trace(chapter.workup)
    after = dict(zip(moved.points, zip(moved.beliefs, moved.settled, strict=True), strict=True))
    given = {g.number: g for g in chapter.workup.record.given}
    book, record = chapter.workup.book, chapter.workup.record
    moments = []
    belief, is_settled = moved.before, False
    for number, event in enumerate(moved.events):
        if not isinstance(event, TOLD_EVENTS):
            continue
        condition, asked, text = "", False, ""
        if number in given:
            text = given_text(chapter.workup, given[number])
            name = record.spells[given[number].spell]
            condition = state_text(chapter.workup, given[number].spell) if name and name in book.conditions else ""
            asked = given[number].asked
        elif isinstance(event, ReadingsTaken):
            text = f"Read: {live_text(event.readings, len(chapter.workup.vehicle.banks))}"
            there = book.conditions.get(event.condition or "")
            condition = rich_text(there.title if there else "", event.rich)
        elif isinstance(event, Answered):
            text = f"{event.check}: these rules or this vehicle do not have it"
        else:
            text = act_text(book, event)
        belief, is_settled = after.get(number, (belief, is_settled))
        lead, chance = _lead(moved, belief)
        of_found = _of_found(moved, belief, found)
        moments.append(
            Moment(event.step, event.at, event.kind, text, condition, asked, lead, chance, of_found, is_settled)
        )
    return moments


def _lead(moved: Trace, belief: Array) -> tuple[str, float]:
    """What leads, and how likely it is: a repair at its place where one is likelier than not, else a fault whose place
    may still be open."""
    tables, book = moved.tables, moved.workup.book
    classes, faults = by_class(tables, belief), by_fault(tables, belief)
    if classes.max() > 0.5:
        cause = tables.causes[leader(tables, belief, repair_class=int(classes.argmax()))]
        return _named(book, cause.fault, cause.where), float(classes.max())
    fault = int(faults.argmax())
    best = leader(tables, belief, fault=fault)
    where = tables.causes[best].where if belief[best] > 0.5 * faults[fault] else ""
    return _named(book, tables.faults[fault], where), float(faults[fault])


def _of_found(moved: Trace, belief: Array, found: Found | None) -> float | None:
    """The chance of what was found, alone or beside another fault."""
    if found is None or found.fault not in moved.tables.faults:
        return None
    chances = zip(moved.tables.causes, belief.tolist(), strict=True)
    return float(sum(p for cause, p in chances if any(each.fault == found.fault for each in cause.each)))


def _named(book: Rulebook, fault: str, where: str) -> str:
    known = all(each in book.faults for each in fault.split(AND))
    return at_place(book.faults[fault].title if known else f"{fault} (not in these rules)", where)


def _verdict(book: Rulebook, event: Concluded) -> str:
    names, places = [], []
    for each in event.cause.split(AND):
        fault, _, place = each.partition("@")
        words = place.split("-")
        names.append(fault)
        places.append(" and ".join([" ".join(words[:2]), *words[2:]]))
    what = _named(book, AND.join(names), AND.join(places))
    return f"{what}: {percent(event.probability)} ({event.what.replace('-', ' ')})"


def _closing(book: Rulebook, event: Closed) -> str:
    return f"{event.state}: {_named(book, event.fault, event.where)}" if event.fault else event.state


def _looked(book: Rulebook, events: Sequence[Event]) -> tuple[tuple[str, int, int], ...]:
    found: dict[str, tuple[int, int]] = {}
    for event in events:
        if isinstance(event, Provoked):
            known = book.conditions.get(event.condition)
            title = known.title if known else event.condition
            times, clean = found.get(title, (0, 0))
            found[title] = times + 1, clean + event.clean
    return tuple((title, times, clean) for title, (times, clean) in found.items())


def _corrections(events: Sequence[Event]) -> tuple[str, ...]:
    found = []
    for event in events:
        if isinstance(event, Corrected) and event.vehicle:
            what = ", ".join(f"{key}: {value}" for key, value in event.vehicle.items())
            found.append(f"the vehicle ({what}): {event.because}")
        elif isinstance(event, Corrected):
            found.append(f"step {event.corrected}, {event.check}: {event.because}")
        elif isinstance(event, Undone) and event.because:
            found.append(f"step {event.undone} taken back: {event.because}")
    return tuple(found)


# ---- in hindsight ----------------------------------------------------------------------------------------------------


def hindsight(workup: Workup, found: Found) -> Hindsight | None:
    """Answers without any of which the right thing to do would not have been settled. None where it never was.

    What cost nothing to tell is taken as known. Of the rest, what costs most is left out first, so long as what remains
    still settles it: not the least set there is, but one from which nothing can be spared.
    """
    number = workup.tables.cause_number.get(found.cause)
    if number is None:
        return None
    right = int(workup.tables.class_of[number])
    given = workup.record.given
    free = {g.number for g in given if _cost(workup.book, g.check) == 0}
    dear = {g.number for g in given} - free
    if not _settles(workup, free | dear, right):
        return None
    kept = set(dear)
    for one in sorted((g for g in given if g.number in dear), key=lambda g: (-_cost(workup.book, g.check), g.number)):
        if _settles(workup, free | kept - {one.number}, right):
            kept -= {one.number}
    texts = tuple(given_text(workup, g) for g in given if g.number in kept)
    return Hindsight(texts, effort_spent(workup, only=kept), len(dear), effort_spent(workup, only=dear))


def _cost(book: Rulebook, name: str) -> float:
    check, settings = book.checks[name], book.settings
    return check.minutes + settings.waiting_counts * check.wait + check.money / settings.hour_costs * 60


def _settles(workup: Workup, kept: set[int], right: int) -> bool:
    known = kept | {-1}  # the codes
    spells = [Spell(s.condition, tuple(a for a in s.answers if a.number in known)) for s in workup.spells]
    p = believe(workup.tables, spells).probability
    return settled(workup.tables, p, workup.costs) and int(by_class(workup.tables, p).argmax()) == right
