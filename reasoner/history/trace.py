"""How the belief of a case moved, after the codes and after every answer; and the vehicle of a case on disk."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from reasoner.casebook.correcting import vehicle_fields
from reasoner.casebook.events import CodesRead, Event
from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError
from reasoner.inference.belief import by_class
from reasoner.inference.evidence import Spell
from reasoner.inference.plan import settled
from reasoner.inference.weight import belief_moved
from reasoner.network.tables import Array, Tables
from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.session.record import code_answers, standing
from reasoner.session.words import given_text
from reasoner.session.workup import Workup

# ---- The vehicle of a case on disk, and what putting it right takes away ---------------------------------------------


def vehicle_of(case: Case) -> Vehicle:
    """The vehicle of a case, as last put right. Raises CasebookError."""
    vehicle, mistakes = vehicle_from(vehicle_fields(case))
    if vehicle is None:
        raise CasebookError(f"the vehicle cannot be read: {mistakes[0].message}", mistakes[0].mend, case.path)
    return vehicle


def no_longer_counted(before: Workup, after: Workup) -> tuple[str, ...]:
    """The answers of a case that counted before its vehicle was put right, and do not now, each with its step: checks
    that the car cannot be asked, and places that it has not got."""
    left = {given.number: set(given.values) for given in after.record.given if given.check in after.tables.check_number}
    found = []
    for given in before.record.given:
        gone = {place: said for place, said in given.values.items() if place not in left.get(given.number, ())}
        if gone and given.check in before.tables.check_number:
            found.append(f"step {given.step}, {given_text(before, replace(given, values=gone))}")
    return tuple(found)


# ---- How the belief of a case moved ----------------------------------------------------------------------------------
# After the codes, and after every answer, under some rules.
#
# The numbers are those that a session with these rules has at the same step, to the last bit.


@dataclass(frozen=True, eq=False)
class Trace:
    """points: the numbers of the events (among those that stand) that told something. beliefs: (C,) after each.

    tables: with every pair of causes that was weighed at any point; where one was not, it has no chance.
    """

    workup: Workup
    tables: Tables
    events: tuple[Event, ...]
    points: tuple[int, ...]
    before: Array
    beliefs: tuple[Array, ...]

    @property
    def last(self) -> Array:
        return self.beliefs[-1] if self.beliefs else self.before

    @cached_property
    def settled(self) -> tuple[bool, ...]:
        """Whether what to do was settled at each point."""
        tables, costs = self.tables, self.workup.costs
        return tuple(settled(tables, p, costs) for p in self.beliefs)

    @cached_property
    def classes(self) -> tuple[int, ...]:
        """The leading repair class at each point."""
        return tuple(int(by_class(self.tables, p).argmax()) for p in self.beliefs)

    def settles(self) -> int | None:
        """The first point from which on what is done at the end was settled; None where it is not settled then."""
        if not self.beliefs or not self.settled[-1]:
            return None
        first = len(self.beliefs) - 1
        while first > 0 and self.settled[first - 1] and self.classes[first - 1] == self.classes[-1]:
            first -= 1
        return first


def trace(workup: Workup) -> Trace:
    """The belief of a chapter after everything that told something."""
    events = tuple(standing(workup.events))
    telling = {given.number for given in workup.record.given}
    codes = {number: event for number, event in enumerate(events) if isinstance(event, CodesRead)}
    codes = {number: event for number, event in codes.items() if number not in workup.record.said_nothing}
    points = tuple(sorted(telling | codes.keys()))
    prefixes = _prefixes(workup, points, codes)
    settings = workup.book.settings
    found = belief_moved(workup.ruled, prefixes, settings.two_faults, settings.two_faults_from)
    return Trace(workup, found.tables, events, points, found.before, found.beliefs)


def _prefixes(workup: Workup, points: Sequence[int], codes: Mapping[int, CodesRead]) -> Iterator[Sequence[Spell]]:
    """The spells of the case as far as each point, the codes as they were listed by then."""
    spells = [spell for spell in workup.spells if not _is_codes(spell)]
    listed = {number: _codes(workup, event) for number, event in codes.items()}
    for point in points:
        upto = [Spell(s.condition, tuple(a for a in s.answers if a.number <= point)) for s in spells]
        known = [listed[number] for number in codes if number <= point]
        yield [known[-1], *upto] if known and known[-1].answers else upto


def _is_codes(spell: Spell) -> bool:
    return bool(spell.answers) and spell.answers[0].number < 0


def _codes(workup: Workup, event: CodesRead) -> Spell:
    listed = tuple((c.code, c.states) for c in event.codes)
    record = replace(workup.record, codes=listed, codes_complete=event.complete)
    return Spell(None, code_answers(workup.book, record, workup.tables))
