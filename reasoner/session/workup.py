"""One case in progress: rules, vehicle, and the events so far. Pure: every act returns the events to be kept.

Drivers (a screen, a script, another program, a replay) ask `step`, show it, and keep what `acts` returns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

from reasoner.casebook.events import Event, FactsTold, Undone
from reasoner.inference.belief import Belief, believe, by_class, by_fault
from reasoner.inference.choose import rank
from reasoner.inference.evidence import Spell, reaches_far, without, would_replace
from reasoner.inference.expected import expected_tables
from reasoner.inference.gain import gain
from reasoner.inference.pairs import tables_with_pairs
from reasoner.inference.plan import By, Costs, Instead, Option, Situation, dominates
from reasoner.measure.computations.table import COMPUTATIONS
from reasoner.network.tables import Tables, tables_of
from reasoner.network.vehicle import Vehicle
from reasoner.repair.choices import Stake
from reasoner.repair.guards import Known
from reasoner.repair.outlook import Outlook
from reasoner.repair.prices import Prices, usual
from reasoner.repair.standing import named_conditions
from reasoner.rulebook.model import Rulebook
from reasoner.session.record import Record, fold, known_car, spells_of, states_read

LEADER_FROM = 0.7  # on talk alone something often leads with half and more; judgement
PLAINLY_SHOWING = 0.9  # a chance of showing from which nobody is asked whether it does; judgement


@dataclass(frozen=True)
class Workup:
    """A case now. ruled: the tables as the rules make them, of single causes. by: what counts as cost. vehicle: with
    all that is known of it; stated: as it was before facts were told (None: none were). prices: what the shop pays and
    charges (None: as the rules say)."""

    book: Rulebook
    vehicle: Vehicle
    ruled: Tables
    events: tuple[Event, ...] = ()
    by: By = "time"
    stated: Vehicle | None = None
    prices: Prices | None = None

    @cached_property
    def record(self) -> Record:
        return fold(self.book, self.events, self.vehicle)

    @cached_property
    def spells(self) -> tuple[Spell, ...]:
        return spells_of(self.book, self.record, self.ruled)

    @cached_property
    def tables(self) -> Tables:
        """The tables that hold now: with pairs of causes, where no single cause explains what was seen."""
        return self.weighed(self.ruled, self.spells)

    @property
    def weighs_two(self) -> bool:
        """Whether pairs of faults are weighed, as far as that is known by now: asking begins no work."""
        tables = self.__dict__.get("tables")
        return tables is not None and len(tables.causes) > len(self.ruled.causes)

    def weighed(self, tables: Tables, spells: Sequence[Spell]) -> Tables:
        """The tables with those pairs that these spells ask for."""
        settings = self.book.settings
        return tables_with_pairs(tables, spells, settings.two_faults, settings.two_faults_from)

    @cached_property
    def belief(self) -> Belief:
        return believe(self.tables, self.spells)

    @cached_property
    def costs(self) -> Costs:
        s = self.book.settings
        return Costs(
            by=self.by,
            asking_minutes=s.asking_minutes,
            waiting_counts=s.waiting_counts,
            hazard_minutes=s.hazard_minutes,
            hour_costs=self.prices.hour if self.prices else s.hour_costs,
            least_gain=s.least_gain,
            dominates=s.dominates,
            lead=s.lead,
            waiting_most=s.waiting_most,
            dearer=s.looks_dearer,
        )

    @cached_property
    def situation(self) -> Situation:
        """How the case stands, as the planner reads it."""
        record, tables = self.record, self.tables
        unclear = {
            (tables.check_number[name], tables.condition_number.get(condition or ""))
            for name, condition in record.unclear
            if name in tables.check_number
        }
        answered = {check for check, _ in (*self._asked(), *unclear)}
        done = self._done({check for check, _ in unclear})
        barred = {tables.check_number[n] for n in record.passed if n in tables.check_number}
        if record.codes_complete and not record.codes:  # a frame is stored with a code and goes with it
            read = ((n, self.book.checks[check.name]) for n, check in enumerate(tables.checks))
            barred |= {n for n, c in read if c.kind == "code" and c.computed and COMPUTATIONS[c.computed.by].frame}
        barred |= {number for number in range(len(tables.checks)) if self.nothing_to_ask(number)}
        # What another answer stands for in the whole case would not be counted in any spell.
        barred |= {
            other
            for check in answered
            for other in tables.checks[check].stands_for
            if reaches_far(tables.checks[check], tables.checks[other])
        }
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
            instead=self._instead(done),
            named=self._named(),
        )

    def nothing_to_ask(self, number: int) -> bool:
        """Whether another check was answered so that there is nothing for this one to ask about: no frame is stored; or
        whether it asks for codes that were cleared, and the car was not driven since."""
        tables, check = self.tables, self.book.checks[self.tables.checks[number].name]
        if self.record.cleared and check.codes:
            return True
        not_where = check.not_where
        for answer in (answer for spell in self.spells for answer in spell.answers if not_where):
            table = tables.checks[answer.check]
            if all(w and table.outcomes[w.index(max(w))] in not_where.get(table.name, ()) for w in answer.weights):
                return True
        return False

    def _named(self) -> frozenset[int]:
        """Conditions in which it happens, by what was told and read, and in which nobody has looked. None once one
        repair leads: from then on a look has to earn its trip."""
        if by_class(self.tables, self.belief.probability).max() >= LEADER_FROM:
            return frozenset()
        record, book, numbers = self.record, self.book, self.tables.condition_number
        named = named_conditions(book, record.given)
        looked = {record.spells[given.spell] for given in record.given if given.asked}
        return frozenset(numbers[name] for name in named - looked if name in numbers)

    def _done(self, unclear: set[int]) -> set[tuple[int, int | None]]:
        """(check, place) of what is not asked again in the present spell; place None: all of them. unclear: checks that
        could not be told."""
        record, tables = self.record, self.tables
        done: set[tuple[int, int | None]] = set()
        for check, spell in self._asked():
            if tables.checks[check].ever or spell is None or spell == record.present:
                done.add((check, None))
        for given in record.given:
            number = tables.check_number.get(given.check)
            if number is not None and tables.checks[number].provokes:
                # Brought on place by place: a place is done once, in whatever spell.
                done.discard((number, None))
                done.update((number, max(0, place - 1)) for place in given.values)
                if {(number, p) for p in range(len(tables.checks[number].places))} <= done:
                    done.add((number, None))
        done |= {(check, None) for check in unclear if tables.checks[check].ever}
        if self.rich_now is False:
            done |= {(n, None) for name, n in tables.check_number.items() if self.book.checks[name].while_rich}
        return done | {(other, None) for check, _ in done for other in tables.checks[check].stands_for}

    @property
    def rich_now(self) -> bool | None:
        """Whether it is seen to be rich in the present spell: as it was said, as a check that needs it was answered, or
        as everything seen in it leaves no doubt. None: not known."""
        said = self.record.rich.get(self.record.present)
        seen = {
            max(value, key=lambda outcome: value[outcome]) != check.while_rich
            for given in self.record.given
            if given.spell == self.record.present and (check := self.book.checks.get(given.check)) and check.while_rich
            for value in given.values.values()
        }
        if False in seen or said is not None:
            return False if False in seen else said
        return True if seen or self.showing_now > PLAINLY_SHOWING else None

    @property
    def showing_now(self) -> float:
        """The chance that the fault shows in the present spell, after all that was seen in it."""
        return float((self.belief.probability * self.belief.showing).sum())

    def _instead(self, done: set[tuple[int, int | None]]) -> dict[tuple[int, bool], Instead]:
        """What each check that stands for others would take the place of, made here or in a new spell."""
        tables, found = self.tables, dict[tuple[int, bool], Instead]()
        here = tables.condition_number.get(self.record.condition or "")
        for number, table in enumerate(tables.checks):
            if not table.stands_for or table.needs & self.record.lacking:
                continue
            fits = not table.conditions or here in table.conditions
            ways = {not fits} if table.steady else {True, not fits}
            if (number, None) in done:
                ways -= {False, table.steady}
            for fresh in ways:
                gone = would_replace(tables, self.spells, number, fresh)
                if gone:
                    left = believe(tables, without(self.spells, gone))
                    told = [self._told(left, spell, answer.check) for spell, answer in gone]
                    p, showing = left.probability, left.showing
                    found[number, fresh] = Instead(p * showing, p * (1.0 - showing), max(told))
        return found

    def _told(self, left: Belief, spell: int, check: int) -> float:
        """Bits that an answer's check was expected to tell, from what is believed without it."""
        shows, tables = left.showed(spell), expected_tables(self.tables, left, self._right, only=(check,))
        return gain(tables, tables.checks[check], left.probability * shows, left.probability * (1.0 - shows))

    def _asked(self) -> list[tuple[int, int | None]]:
        """(check, its spell in the record) of everything answered; None for what the list of codes answers."""
        numbers = self.tables.check_number
        found: list[tuple[int, int | None]] = [
            (numbers[g.check], g.spell) for g in self.record.given if g.check in numbers
        ]
        if self.record.codes_complete:
            # The whole list has been read: nothing about codes is left to ask.
            found += [(n, None) for name, n in numbers.items() if self.book.checks[name].codes]
        for name, number in numbers.items():
            check = self.book.checks[name]
            read = states_read(self.book, self.record, check) if check.codes_of else None
            if read or (check.codes_of and read is None and self.record.codes_complete):
                found.append((number, None))  # the state was said with the code, or there is no such code
        return found

    @cached_property
    def ranked(self) -> list[Option]:
        """Checks to do next, best first."""
        return rank(self.expected, self.situation, self.costs, stakes=self.outlook.stakes)

    @cached_property
    def outlook(self) -> Outlook:
        """Everything that can be done now, and what it costs."""
        stake = Stake(self.book, self.tables, self.situation, self.prices or usual(self.book))
        return Outlook(stake, Known(self.spells, frozenset(given.check for given in self.record.given)))

    @property
    def look(self) -> Option | None:
        """The check to go on with; None where acting is worth more than any look."""
        return next((o for o in self.ranked[:1] if o.saves > self.outlook.stakes.little), None)

    @cached_property
    def expected(self) -> Tables:
        """The tables as this car's answers make them, of what will be said, everybody being mistaken now and then: what
        a check is worth."""
        right, numbers = self.book.settings.report_right, self.tables.check_number
        given = [g for g in self.record.given if g.check in numbers]
        unsure = {numbers[g.check]: right.get(g.sure, right["sure"]) for g in given if g.sure != "sure"}
        return expected_tables(self.tables, self.belief, right["sure"], unsure)

    @property
    def _right(self) -> float:
        return self.book.settings.report_right["sure"]

    @cached_property
    def settled(self) -> bool:
        """No look is worth more than acting, and it is sure enough what to do, or that there is nothing to do."""
        from reasoner.session.deciding import concluded, kind_of

        return self.look is None and kind_of(concluded(self)) in ("settled", "watch")

    @cached_property
    def fault_settled(self) -> bool:
        """One fault dominates, wherever it sits."""
        return dominates(by_fault(self.tables, self.belief.probability), self.costs)

    def after(self, events: Sequence[Event]) -> Self:
        """The same case with more events."""
        if not events:
            return self
        later = replace(self, events=(*self.events, *events))
        return later._refitted() if any(isinstance(e, FactsTold | Undone) for e in events) else later

    def _refitted(self) -> Self:
        """With the tables of the car as it is known now; as it is, where nothing new is known of it."""
        stated = self.stated or self.vehicle
        car = known_car(stated, self.events)
        if car.fields == self.vehicle.fields:
            return self
        return replace(self, vehicle=car, stated=stated, ruled=self._tables_of(car))

    def _tables_of(self, car: Vehicle) -> Tables:
        return tables_of(self.book, car)


def begin(
    book: Rulebook,
    vehicle: Vehicle,
    events: Sequence[Event] = (),
    by: By = "time",
    prices: Prices | None = None,
) -> Workup:
    """A case from rules, a vehicle and whatever is already known."""
    car = known_car(vehicle, events)
    return Workup(book, car, tables_of(book, car), tuple(events), by, vehicle, prices)
