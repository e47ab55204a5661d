"""One case in progress: rules, vehicle, and the events so far. Pure: every act returns the events to be kept.

Drivers (a screen, a script, another program, a replay) ask `step`, show it, and keep what `acts` returns.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from reasoner.inference.belief import Belief, believe, by_fault
from reasoner.inference.choose import rank
from reasoner.inference.evidence import Spell, reaches_far, without
from reasoner.inference.plan import REPEATS, Costs, Option, Situation, dominates, settled
from reasoner.network.tables import Array, Tables, compile_tables
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Rulebook
from reasoner.session.record import Event, Record, fold, spells_of


@dataclass(frozen=True)
class Workup:
    """by: what counts as cost (time, money, gain)."""

    book: Rulebook
    vehicle: Vehicle
    tables: Tables
    events: tuple[Event, ...] = ()
    by: str = "time"

    @cached_property
    def record(self) -> Record:
        return fold(self.book, self.events, self.vehicle)

    @cached_property
    def spells(self) -> tuple[Spell, ...]:
        return spells_of(self.book, self.record, self.tables)

    @cached_property
    def belief(self) -> Belief:
        return believe(self.tables, self.spells)

    @cached_property
    def costs(self) -> Costs:
        s = self.book.settings
        return Costs(
            by=self.by,  # type: ignore[arg-type]
            asking_minutes=s.asking_minutes,
            waiting_counts=s.waiting_counts,
            hazard_minutes=s.hazard_minutes,
            hour_costs=s.hour_costs,
            least_gain=s.least_gain,
            dominates=s.dominates,
            lead=s.lead,
        )

    @cached_property
    def situation(self) -> Situation:
        """Where the case stands, for the planner."""
        record, tables = self.record, self.tables
        done: set[tuple[int, int | None]] = set()
        answered: set[int] = set()
        for check, evidence in self._asked():
            table = tables.checks[check]
            answered.add(check)
            if table.ever or evidence is None or evidence == record.present:
                done.add((check, None))
        for given in record.given:
            number = tables.check_number.get(given.check)
            if number is not None and tables.checks[number].provokes:
                # Brought on place by place: a place is done once, in whatever spell.
                done.discard((number, None))
                done.update((number, max(0, place - 1)) for place in given.values)
                if {(number, p) for p in range(len(tables.checks[number].places))} <= done:
                    done.add((number, None))
        unclear = {
            (tables.check_number[name], tables.condition_number.get(condition or ""))
            for name, condition in record.unclear
            if name in tables.check_number
        }
        answered |= {check for check, _ in unclear}
        done |= {(check, None) for check, _ in unclear if tables.checks[check].ever}
        barred = {tables.check_number[n] for n in record.passed if n in tables.check_number}
        done |= {(other, None) for check, _ in list(done) for other in tables.checks[check].stands_for}
        # What another answer stands for in the whole case would not be counted in any spell.
        barred |= {
            other
            for check in answered
            for other in tables.checks[check].stands_for
            if reaches_far(tables.checks[check], tables.checks[other])
        }
        looks = Counter(name for name, _ in {(g.check, g.spell) for g in record.given} | record.unclear)
        probability, showing = self.belief.probability, self.belief.showing
        return Situation(
            showing=probability * showing,
            quiet=probability * (1.0 - showing),
            condition=tables.condition_number.get(record.condition or ""),
            done=frozenset(done),
            unclear=frozenset(unclear),
            barred=frozenset(barred),
            avoided=frozenset(tables.condition_number[n] for n in record.avoided if n in tables.condition_number),
            lacking=record.lacking,
            answered=frozenset(answered | barred),
            visited=frozenset(
                tables.condition_number[n] for n in set(record.spells) if n is not None and n in tables.condition_number
            ),
            without=self._without(done),
            often=frozenset(
                tables.check_number[n]
                for n, times in looks.items()
                if times >= REPEATS[-1] and n in tables.check_number
            ),
        )

    def _without(self, done: set[tuple[int, int | None]]) -> dict[tuple[int, bool], tuple[Array, Array]]:
        """What is believed without the answers that a check would take the place of, made here or in a new spell."""
        found: dict[tuple[int, bool], tuple[Array, Array]] = {}
        here = self.tables.condition_number.get(self.record.condition or "")
        for number, table in enumerate(self.tables.checks):
            if not table.stands_for or table.needs & self.record.lacking:
                continue
            fits = not table.conditions or here in table.conditions
            ways = {not fits} if table.steady else {True, not fits}
            if (number, None) in done:
                ways -= {False, table.steady}
            for fresh in ways:
                spells = without(self.tables, self.spells, number, fresh)
                if spells is not None:
                    left = believe(self.tables, spells)
                    found[number, fresh] = left.probability * left.showing, left.probability * (1.0 - left.showing)
        return found

    def _asked(self) -> list[tuple[int, int | None]]:
        """(check, its spell in the record) of everything answered; None for what the list of codes answers."""
        numbers = self.tables.check_number
        found: list[tuple[int, int | None]] = [
            (numbers[g.check], g.spell) for g in self.record.given if g.check in numbers
        ]
        if self.record.codes_complete:
            # The whole list has been read: nothing about codes is left to ask.
            found += [(n, None) for name, n in numbers.items() if self.book.checks[name].codes]
        return found

    @cached_property
    def ranked(self) -> list[Option]:
        """Checks to do next, best first."""
        return rank(self.tables, self.situation, self.costs)

    @cached_property
    def settled(self) -> bool:
        return settled(self.tables, self.belief.probability, self.costs)

    @cached_property
    def fault_settled(self) -> bool:
        """One fault dominates, wherever it sits."""
        return dominates(by_fault(self.tables, self.belief.probability), self.costs)

    def after(self, events: Sequence[Event]) -> Workup:
        """The same case with more events."""
        return replace(self, events=(*self.events, *events)) if events else self

    def at_step(self, step: int) -> Workup:
        """The case as it stood after a step."""
        return replace(self, events=tuple(e for e in self.events if e.get("step", 0) <= step))


def begin(book: Rulebook, vehicle: Vehicle, events: Sequence[Event] = (), by: str = "time") -> Workup:
    """A case from rules, a vehicle and whatever is already known."""
    return Workup(book, vehicle, compile_tables(book, vehicle), tuple(events), by)
