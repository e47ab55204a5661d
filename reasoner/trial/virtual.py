"""A virtual car: what is wrong with it, and what would be seen on it, whatever is asked and in whatever order.

Everything is drawn from tables (the truth) by streams named after what is looked at: the same car shows the same
thing to every way of choosing, so that ways can be compared on the same cars. Pure: no clock, no global random state.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from random import Random

from reasoner.network.tables import CheckTable, Tables
from reasoner.rulebook.model import Rulebook
from reasoner.session.record import Record

# How sure the observer says to be, and how often. Judgement, no source: most readings are read off a display.
SURENESS_DRAWN = {"sure": 0.9, "think so": 0.08, "guess": 0.02}

Spelled = tuple[str | None, int]  # a condition, and the number of its spell on this car


@dataclass(frozen=True, eq=False)
class World:
    """What cars are drawn from: rules, and their tables as they are in truth."""

    book: Rulebook
    tables: Tables

    def table(self, check: str) -> CheckTable | None:
        number = self.tables.check_number.get(check)
        return None if number is None else self.tables.checks[number]

    @cached_property
    def same(self) -> Mapping[str, str]:
        """Checks that read the same thing at the same places, as one stands for the other: a name they share.

        They are drawn by the same die, so that two readings of one thing agree. Several codes under one check are
        several things: they are left alone.
        """
        found = {table.name: table.name for table in self.tables.checks}
        for table in self.tables.checks:
            others = [self.tables.checks[n] for n in sorted(table.stands_for)]
            coded = sum(bool(self.book.checks[other.name].codes) for other in others)
            for other in others:
                if other.places == table.places and not (coded > 1 and self.book.checks[other.name].codes):
                    ours, theirs = found[table.name], found[other.name]
                    found = {name: ours if shared == theirs else shared for name, shared in found.items()}
        return found


@dataclass(frozen=True, eq=False)
class Car:
    """One car of a world. cause: what it has. name: of its random streams.

    brought_on: spells in which a check brought the fault on (added to as the car is worked on).
    """

    world: World
    cause: int
    name: str
    brought_on: set[Spelled] = field(default_factory=set)

    def _dice(self, *what: object) -> Random:
        return Random("/".join(map(str, (self.name, *what))))

    def showing(self, spell: Spelled) -> bool:
        """Whether the fault acts in a spell: one state for all of it."""
        condition, _ = spell
        tables = self.world.tables
        number, shows = tables.condition_number.get(condition or ""), tables.shows[self.cause]
        chance = float(shows.mean() if number is None else shows[number])
        if spell in self.brought_on:
            chance = 1.0 - tables.unlikeliest
        return self._dice("showing", *spell).random() < chance

    def there(self, table: CheckTable, spell: Spelled, place: int | None = None) -> dict[int, int]:
        """The outcome of a check that is there at each place (or at one), by number. `ever`: the same at any time."""
        showing = table.steady or self.showing(spell)
        thing = self.world.same[table.name]
        found = {}
        for p in range(len(table.places)) if place is None else (place,):
            row = table.rows[table.index[self.cause, p] if showing else 0]
            when = () if table.ever else spell
            die = 0 if showing and self._together(table, spell) else p
            found[p] = _draw(row.tolist(), self._dice(thing, die, *when))
        return found

    def _together(self, table: CheckTable, spell: Spelled) -> bool:
        """Whether both banks show the same in a spell: of what does the same to both."""
        if not table.together or len(set(table.index[self.cause].tolist())) > 1:
            return False
        return self._dice("together", self.world.same[table.name], *spell).random() < table.together

    def reported(
        self, table: CheckTable, there: Mapping[int, int], spell: Spelled, right: Mapping[str, float]
    ) -> tuple[str, dict[int, int]]:
        """How sure the observer is, and what is reported: what is there, or by mistake another outcome."""
        when = () if table.ever else spell
        sure = list(SURENESS_DRAWN)[_draw(SURENESS_DRAWN.values(), self._dice("report", table.name, *when))]
        said = {}
        for place, outcome in there.items():
            others = [o for o in range(len(table.outcomes)) if o != outcome]
            mistaken = self._dice("mistake", table.name, place, *when)
            said[place] = outcome if mistaken.random() < right[sure] else mistaken.choice(others)
        return sure, said

    def codes(self) -> list[str]:
        """The codes in the reader, drawn by the checks that speak of codes. Codes are copied, not misread.

        A code that would also say something that is not so on this car is left out: the rich code of a bank cannot be
        there for its region and not for the bank.
        """
        told: dict[tuple[str, int], tuple[str, ...]] = {}  # (check, place) -> codes that mean yes
        hits: set[tuple[str, int]] = set()
        for table in self.world.tables.checks:
            codes = self.world.book.checks[table.name].codes
            for place, outcome in self.there(table, (None, 0)).items() if codes else ():
                names = codes.get(0 if table.places == ("engine",) else place + 1, ())
                if names and "any" not in names:
                    told[table.name, place] = names
                    if outcome == 1:
                        hits.add((table.name, place))
        says: dict[str, set[tuple[str, int]]] = {}
        for key, names in told.items():
            for name in names:
                says.setdefault(name, set()).add(key)
        allowed = {name: keys for name, keys in says.items() if keys <= hits}
        listed: list[str] = []
        dice = self._dice("codes")
        still = set(hits)
        for key in sorted(hits):
            if key in still:
                ways = sorted(name for name in told[key] if name in allowed)
                most = max((len(allowed[name] & still) for name in ways), default=0)
                best = [name for name in ways if len(allowed[name] & still) == most]
                if best:
                    listed.append(dice.choice(best))
                    still -= allowed[listed[-1]]
        return sorted(listed)


def virtual_car(world: World, seed: int, number: int) -> Car:
    """Car `number` of a seed."""
    name = f"{seed}/{number}"
    return Car(world, _draw(world.tables.prior.tolist(), Random(f"{name}/cause")), name)


def spell_key(record: Record) -> Spelled:
    """The present spell of a record by its condition and how many of that condition came before it."""
    condition = record.condition
    return condition, sum(name == condition for name in record.spells[: record.present])


def outcomes_by_name(table: CheckTable, said: Mapping[int, int]) -> dict[int, str]:
    """Outcomes by name and by the place number a person types (0: the whole engine)."""
    engine = table.places == ("engine",)
    return {0 if engine else place + 1: table.outcomes[outcome] for place, outcome in said.items()}


def _draw(chances: Iterable[float], dice: Random) -> int:
    """A number drawn by chances that add up to 1."""
    left = dice.random()
    last = 0
    for number, chance in enumerate(chances):
        left -= chance
        last = number
        if left < 0:
            break
    return last
