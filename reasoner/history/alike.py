"""Solved cases that looked like one: by what was seen in both, not by words.

Each thing seen counts with its surprise: the bits -log2 of how likely the rules think it on a car with a rich code
before anything is known. What everybody sees says little about likeness, what is rare says much. Where both looked and
saw different things, the less surprising of the two counts against (a normal look may only have met a quiet spell).

    alike = bits that agree / (bits that agree + bits that differ + ROOM)

Numbers of cylinders and banks are put aside: what counts is whether none, one, some or all of them differed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import log2

from reasoner.casebook.shape import Case
from reasoner.history.trace import vehicle_of
from reasoner.inference.evidence import Evidence, counted
from reasoner.network.tables import CheckTable, Tables
from reasoner.session.chapters import Chapter, Garage, found_in
from reasoner.session.concluding import answer_text

ROOM = 8.0  # bits; so many have to agree before two cases count as half alike. Presentation: it moves no belief
MOST_REASONS = 4

CheckInCondition = tuple[str, str]  # a check, and the condition it was seen in ("" where that does not matter)


@dataclass(frozen=True)
class Sight:
    """What one check showed. what: the outcomes that are not the usual one, with where: one, some or all places."""

    what: tuple[tuple[str, str], ...]
    bits: float
    text: str


@dataclass(frozen=True)
class CaseLooks:
    """What was seen in a case, and what it turned out to be ("" = not found). state: as it was closed."""

    case: str
    vehicle: str
    seen: Mapping[CheckInCondition, Sight]
    fault: str
    where: str
    state: str


@dataclass(frozen=True)
class SharedLook:
    """Something seen in both cases. other: what the other saw, where that differs. bits: how much it counts."""

    text: str
    other: str
    condition: str
    bits: float


@dataclass(frozen=True)
class Likeness:
    """alike: 0 to 1. agrees, differs: what counts most, the most first. both: how many things both looked at."""

    case: str
    vehicle: str
    fault: str
    title: str
    where: str
    state: str
    alike: float
    both: int
    agrees: tuple[SharedLook, ...]
    differs: tuple[SharedLook, ...]


@dataclass(frozen=True)
class Alike:
    """The nearest cases, the nearest first, and how their likeness is shared among the faults that were found."""

    case: str
    nearest: tuple[Likeness, ...]
    turned_out: tuple[tuple[str, float, int], ...]
    looked_at: int


def looks_of_case(case: Case, garage: Garage) -> CaseLooks:
    """What was seen in a case, in the chapters in which what was found was there. Raises CasebookError."""
    vehicle = vehicle_of(case)
    chapters = garage.chapters(vehicle, case.events)
    found = next(iter(found_in(chapters)), None)
    there = found.chapters if found else (0,)
    seen: dict[CheckInCondition, Sight] = {}
    for chapter in chapters:
        if chapter.number in there:
            _look(chapter, seen)
    fault, where, state = (found.fault, found.where, found.state) if found else ("", "", "")
    return CaseLooks(case.path.stem, vehicle.title, seen, fault, where, state)


def _look(chapter: Chapter, seen: dict[CheckInCondition, Sight]) -> None:
    workup = chapter.workup
    tables = workup.ruled
    for spell in counted(tables, workup.spells):
        condition = "" if spell.condition is None else tables.conditions[spell.condition]
        for answer in spell.answers:
            table = tables.checks[answer.check]
            text = answer_text(workup, answer.number, answer.check, answer.weights)
            sight = _sight(tables, table, spell.condition, answer, text)
            key = table.name, "" if table.steady else condition
            old = seen.get(key)
            if old is None or (sight.what and (not old.what or sight.bits > old.bits)):
                seen[key] = sight  # of several looks, one that showed something


def _sight(tables: Tables, table: CheckTable, condition: int | None, answer: Evidence, text: str) -> Sight:
    likeliest = [w.index(max(w)) for w in answer.weights if w is not None]
    sure = max(max(w) / sum(w) for w in answer.weights if w is not None)
    odd = {o: likeliest.count(o) for o in sorted(set(likeliest)) if o}
    what = tuple((table.outcomes[o], _extent(count, len(table.places))) for o, count in odd.items())
    chance = min((_chance(tables, table, condition, o) for o in odd), default=_chance(tables, table, condition, 0))
    return Sight(what, -log2(chance) * sure, text)


def _extent(count: int, places: int) -> str:
    if places == 1:
        return ""
    return "all" if count == places else "one" if count == 1 else "some"


def _chance(tables: Tables, table: CheckTable, condition: int | None, outcome: int) -> float:
    """How likely it is, before anything is known, to see an outcome anywhere (the usual one: everywhere)."""
    by_place = table.rows[table.index, outcome]  # (C, P)
    showing = by_place.min(axis=1) if outcome == 0 else by_place.max(axis=1)
    if table.steady:
        return float(tables.prior @ showing)
    shows = tables.shows.mean(axis=1) if condition is None else tables.shows[:, condition]
    return float(tables.prior @ (shows * showing + (1 - shows) * table.rows[0, outcome]))


def compare(one: CaseLooks, other: CaseLooks) -> tuple[float, int, tuple[SharedLook, ...], tuple[SharedLook, ...]]:
    """How alike, how many things both looked at, what agrees and what differs, the most first."""
    agrees, differs = [], []
    for key in sorted(one.seen.keys() & other.seen.keys()):  # in one order, so that the sums are the same every time
        mine, its = one.seen[key], other.seen[key]
        bits = min(mine.bits, its.bits)
        if _agree(mine, its):
            agrees.append(SharedLook(mine.text, "", key[1], bits))
        else:
            differs.append(SharedLook(mine.text, its.text, key[1], bits))
    for_it, against = sum(s.bits for s in agrees), sum(s.bits for s in differs)

    def most(found: list[SharedLook]) -> tuple[SharedLook, ...]:
        return tuple(sorted(found, key=lambda s: (-s.bits, s.text))[:MOST_REASONS])

    return for_it / (for_it + against + ROOM), len(agrees) + len(differs), most(agrees), most(differs)


def _agree(one: Sight, other: Sight) -> bool:
    """The same outcomes, at none, one, some or all of the places; of a single place nobody can say which of these."""
    if [o for o, _ in one.what] != [o for o, _ in other.what]:
        return False
    return all(a == b or not a or not b for (_, a), (_, b) in zip(one.what, other.what, strict=True))


def most_alike(mine: CaseLooks, others: Iterable[CaseLooks], garage: Garage, most: int = 5) -> Alike:
    """The solved cases most like one."""
    found: list[Likeness] = []
    count = 0
    for other in others:
        if other.case == mine.case or not other.fault:
            continue
        count += 1
        share, both, agrees, differs = compare(mine, other)
        fault = garage.book.faults.get(other.fault)
        title = fault.title if fault else other.fault
        vehicle = other.vehicle
        found.append(
            Likeness(other.case, vehicle, other.fault, title, other.where, other.state, share, both, agrees, differs)
        )
        if len(found) > 4 * most:
            found = _best(found, most)
    found = _best(found, most)
    return Alike(mine.case, tuple(found), _turned_out(found), count)


def _best(found: Sequence[Likeness], most: int) -> list[Likeness]:
    return sorted(found, key=lambda one: (-one.alike, one.case))[:most]


def _turned_out(found: Sequence[Likeness]) -> tuple[tuple[str, float, int], ...]:
    total = sum(one.alike for one in found)
    if not total:
        return ()
    titles = dict.fromkeys(one.title for one in found)
    shares = [
        (title, sum(o.alike for o in found if o.title == title) / total, sum(o.title == title for o in found))
        for title in titles
    ]
    return tuple(sorted(shares, key=lambda share: -share[1]))
