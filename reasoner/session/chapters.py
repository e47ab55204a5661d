"""A case in chapters: up to the first finished work, and after each; and how it is closed. What is seen in one is about
another car.

The answers of a chapter belong to whatever was wrong then. Which fault that was is told by how the case was closed: it
was there in every chapter before its cure, as far back as it can have been.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher, get_close_matches
from functools import cached_property, partial

from reasoner.casebook.correcting import last_step, standing
from reasoner.casebook.events import Answered, Closed, CodesRead, Event, Finished, WorkTaken
from reasoner.inference.plan import By
from reasoner.network.graph import Cause, build_graph
from reasoner.network.tables import Tables, compile_tables
from reasoner.network.vehicle import Vehicle, limits, vehicle_key
from reasoner.repair.followup import prior_after
from reasoner.repair.jobs import CLOSING_STATES, Job
from reasoner.repair.rounds import parted, rounds_of
from reasoner.rulebook.model import AND, Rulebook
from reasoner.session.acts import Refused
from reasoner.session.after_work import CARRIED
from reasoner.session.record import known_car
from reasoner.session.words import at_place
from reasoner.session.workup import Workup

KINDS_KEPT = 40  # tables of so many kinds of vehicle are kept, some 0.3 MB each
ALIKE = 0.6  # likeness of two names, of 1, from which one may be meant by the other; as `difflib` has it
A_SLIP = 0.93  # from which a name is one of the rules' own but for a letter or two; judgement

PROVEN = ("proven",)
CURED = ("cured", "cured but unproven")  # the first as older files have it


@dataclass(frozen=True, eq=False)
class Chapter:
    """work: what was done before it (nothing before the first). events: those that stand.

    workup: the case at its end; worked out when it is asked for, which most chapters never are.
    """

    number: int
    work: tuple[Job, ...]
    events: tuple[Event, ...]
    make: Callable[[], Workup]

    @cached_property
    def workup(self) -> Workup:
        return self.make()


@dataclass(frozen=True)
class Found:
    """What was found to be wrong: as the case was closed. chapters: the numbers of those in which it was there.

    known: whether these rules have this fault at this place, so that the answers can be held against it.
    """

    fault: str
    where: str
    state: str
    confirmed: str
    chapters: tuple[int, ...]
    known: bool

    @property
    def cause(self) -> str:
        return cause_name(self.fault, self.where)

    @property
    def proven(self) -> bool:
        return self.state in PROVEN

    @property
    def cured(self) -> bool:
        return self.state in PROVEN + CURED


def cause_name(fault: str, where: str) -> str:
    """A fault at a place as the tables name it: `fault`, `fault@cylinder-3`, `fault@cylinders-1-2`."""
    return fault if where in ("engine", "") else f"{fault}@{where.replace(' and ', '-').replace(' ', '-')}"


class Garage:
    """Rules, and the tables they make for every kind of vehicle that comes by: made once, and not too many kept."""

    def __init__(self, book: Rulebook, most: int = KINDS_KEPT) -> None:
        self.book, self.most = book, most

    def tables(self, vehicle: Vehicle, work: Collection[str] = ()) -> Tables:
        """The tables of a vehicle; work: the repairs done to it, without what was believed when they were done."""
        kept, done = self.book.kept, frozenset(work)
        key = vehicle_key(kept.once("limits", (), lambda: limits(self.book)), vehicle), done

        def make() -> Tables:
            return compile_tables(self.book, vehicle, build_graph(self.book, vehicle, done))

        return kept.once(f"garage of {self.most}", key, make, self.most)

    def begin(self, vehicle: Vehicle, events: Sequence[Event] = (), by: By = "time") -> Workup:
        car = known_car(vehicle, events)
        return Workup(self.book, car, self.tables(car), tuple(events), by, vehicle)

    def chapters(self, vehicle: Vehicle, events: Sequence[Event]) -> tuple[Chapter, ...]:
        """The chapters of a case under these rules, each with the case at its end."""
        parts, vehicle = parted(events), known_car(vehicle, events)
        found = [Chapter(0, (), parts[0], partial(self.begin, vehicle, parts[0]))]
        done = [work.jobs for work in rounds_of(self.book, events) if work.finished is not None]
        for number, since in enumerate(parts[1:], start=1):
            work = done[number - 1] if number <= len(done) else ()
            kept = [e for part in parts[:number] for e in part if isinstance(e, CARRIED)]
            make = partial(self._after, vehicle, found[-1], work, (*kept, *since))
            found.append(Chapter(number, work, since, make))
        return tuple(found)

    def _after(self, vehicle: Vehicle, last: Chapter, work: tuple[Job, ...], events: tuple[Event, ...]) -> Workup:
        """The case after work: what may be wrong then follows from what was believed before it."""
        before = last.workup
        names = (cause.name for cause in before.tables.causes)
        chances = dict(zip(names, map(float, before.belief.probability), strict=True))
        tables = self.tables(vehicle, {job.repair for job in work})
        prior = prior_after(self.book, vehicle, tables.causes, chances, work)
        return Workup(self.book, vehicle, tables.with_prior(prior), events)


def tried(book: Rulebook, events: Iterable[Event]) -> frozenset[str]:
    """The rules that a solved case has tried: what was found in it, the checks answered and those its codes answered.

    A check of codes is tried where one of its codes was on the reader; that a code was absent tries nothing. Empty for
    a case in which nothing was found.
    """
    events = standing(events)
    last = filter(None, map(last_closing, parted(events)))
    ends = {event.fault for event in last if event.fault}
    if not ends:
        return frozenset()
    listed = {code.code for event in events if isinstance(event, CodesRead) for code in event.codes}
    by_codes = {
        name
        for name, check in book.checks.items()
        if any(listed & {*codes} or (listed and "any" in codes) for codes in check.codes.values())
    }
    answered = {event.check for event in events if isinstance(event, Answered)}
    return frozenset(ends | answered | by_codes)


def last_closing(events: Sequence[Event]) -> Closed | None:
    """How these events close the case, if they do; of several closings the last counts."""
    return next((event for event in reversed(events) if isinstance(event, Closed)), None)


def closing(events: Iterable[Event]) -> Closed | None:
    """How the case was closed last, if it was and has not gone on since."""
    last = None
    for event in standing(events):
        if isinstance(event, Closed):
            last = event
        elif isinstance(event, Answered | WorkTaken | Finished):
            last = None
    return last


def found_in(chapters: Sequence[Chapter]) -> tuple[Found, ...]:
    """What was found to be wrong, in the order found: usually one thing, more where work brought something in.

    A closing without a fault finds nothing. What was cured was there until the work that began its chapter; what was
    not cured is there still.
    """
    found: list[Found] = []
    first = 0  # the first chapter that is not spoken for
    for chapter in chapters:
        event = last_closing(chapter.events)
        if event is None or not event.fault:
            continue
        fault, where, state = event.fault, event.where or "engine", event.state
        last = max(first, chapter.number - 1) if state in PROVEN + CURED else chapter.number
        there = _there(chapters[first : last + 1], cause_name(fault, where))
        found.append(Found(fault, where, state, event.confirmed_by, there or (last,), bool(there)))
        first = last + 1
    return tuple(found)


def _there(chapters: Sequence[Chapter], cause: str) -> tuple[int, ...]:
    """The numbers of the chapters, from the last one back, in which a cause can have been there."""
    there: list[int] = []
    for chapter in reversed(chapters):
        workup = chapter.workup
        if cause not in workup.ruled.cause_number and (AND not in cause or cause not in workup.tables.cause_number):
            break
        there.insert(0, chapter.number)
    return tuple(there)


# ---- closing ---------------------------------------------------------------------------------------------------------


def close_case(
    garage: Garage,
    vehicle: Vehicle,
    events: Sequence[Event],
    state: str,
    fault: str = "",
    where: str = "",
    confirmed: str = "",
    not_in_rules: bool = False,
) -> list[Event]:
    """The event that closes a case. Raises Refused for a fault or a place that this vehicle cannot have.

    not_in_rules: the fault is one that the rules do not have, in the shop's own words.
    """
    if state not in CLOSING_STATES:
        raise Refused(f'"{state}" is no way to end', "one of: " + ", ".join(CLOSING_STATES))
    if state == "proven" and not fault:
        raise Refused(
            '"proven" says what was wrong: which fault was it?',
            "--fault NAME; or close it as `cured but unproven` or `given up`",
        )
    if where and not fault:
        raise Refused("a place without a fault", "name the fault too")
    if fault and not not_in_rules:
        causes = [cause for chapter in garage.chapters(vehicle, events) for cause in chapter.workup.tables.causes]
        fault, where = cause_meant(garage.book, causes, fault, where)
        _known(garage.book, vehicle, causes, fault, where)
    place = (where or "engine") if fault else ""
    return [Closed(step=last_step(events) + 1, state=state, fault=fault, where=place, confirmed_by=confirmed)]


def cause_meant(book: Rulebook, causes: Iterable[Cause], fault: str, where: str = "") -> tuple[str, str]:
    """The fault and the place meant by what was typed: the name in the rules, or the title that the screens show, in
    small letters or not, with its place or without. As typed where it is none of these."""
    if fault in book.faults:
        return fault, where
    said = _plain(fault)
    for cause in causes:
        title = at_place(book.faults[cause.fault].title, cause.where)
        if where in ("", cause.where) and said == _plain(title):
            return cause.fault, cause.where
    named = (name for name, entry in book.faults.items() if said in (_plain(name), _plain(entry.title)))
    return next(named, fault), where


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", text.lower()))


def _faults_near(book: Rulebook, said: str) -> list[str]:
    """Titles of the faults that share most words with what was typed, the likest first. So the opposite of a fault,
    which has all its words but one, is never named before it."""
    wanted = [word for word in _plain(said).split() if len(word) > 2]

    def shared(name: str) -> int:
        words = _plain(f"{book.faults[name].title} {name}").split()
        return sum(any(word.startswith(each) for word in words) for each in wanted)

    def like(name: str) -> float:
        texts = _plain(name), _plain(book.faults[name].title)
        return max(SequenceMatcher(None, _plain(said), text).ratio() for text in texts)

    most = max(map(shared, book.faults), default=0)
    near = [name for name in book.faults if shared(name) == most and (most or like(name) >= ALIKE)]
    return [book.faults[name].title for name in sorted(near, key=like, reverse=True)[:3]]


def _known(book: Rulebook, vehicle: Vehicle, causes: Sequence[Cause], fault: str, where: str) -> None:
    if fault not in book.faults:
        a_slip = get_close_matches(fault, book.faults, n=1, cutoff=A_SLIP)
        near = " or ".join(f'"{name}"' for name in a_slip or _faults_near(book, fault))
        mend = f"did you mean {near}?" if near else "See `reasoner rules list faults`."
        raise Refused(f'no fault is called "{fault}"', f"{mend} One that the rules do not have: --not-in-rules")
    if any(cause.name == cause_name(fault, where) for cause in causes):
        return
    places = list(dict.fromkeys(cause.where for cause in causes if cause.fault == fault))
    if not places:
        raise Refused(
            f"by the rules this vehicle ({vehicle.title}) cannot have {fault}, or not without work before it",
            "`reasoner rules show` says on which vehicles it can be; `cases correct --vehicle` puts the vehicle right",
        )
    message = f"{fault} cannot sit at {where} of this vehicle" if where else f"{fault} sits at one place: --where?"
    single, pairs = [p for p in places if " and " not in p], [p for p in places if " and " in p]
    raise Refused(message, "one of: " + ", ".join(single) + (f"; or two, such as {pairs[0]}" if pairs else ""))
