"""A virtual car: what is wrong with it, and what would be seen on it, whatever is asked and in whatever order.

Everything is drawn from tables (the truth) by streams named after what is looked at: the same car shows the same
thing to every way of choosing, so that ways can be compared on the same cars. Pure: no clock, no global random state.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from random import Random

from reasoner.network.tables import CheckTable, Tables
from reasoner.rulebook.model import Rulebook
from reasoner.session.record import Record

# How sure the observer says to be, and how often. Judgement, no source: most readings are read off a display.
SURE = {"sure": 0.9, "think so": 0.08, "guess": 0.02}

Spelled = tuple[str | None, int]  # a condition, and the number of its spell on this car


@dataclass(frozen=True, eq=False)
class Car:
    """One car. truth: the tables it is drawn from. cause: what it has. name: of its random streams.

    brought_on: spells in which a check brought the fault on (added to as the car is worked on).
    """

    truth: Tables
    cause: int
    name: str
    brought_on: set[Spelled] = field(default_factory=set)

    def _dice(self, *what: object) -> Random:
        return Random("/".join(map(str, (self.name, *what))))

    def showing(self, spell: Spelled) -> bool:
        """Whether the fault acts in a spell: one state for all of it."""
        condition, _ = spell
        number = self.truth.condition_number.get(condition or "")
        shows = self.truth.shows[self.cause]
        chance = float(shows.mean() if number is None else shows[number])
        if spell in self.brought_on:
            chance = 1.0 - self.truth.unlikeliest
        return self._dice("showing", *spell).random() < chance

    def there(self, check: str, spell: Spelled, place: int | None = None) -> dict[int, int]:
        """The outcome that is there at each place (or at one), by number. `ever`: the same at any time."""
        table = self.truth.checks[self.truth.check_number[check]]
        showing = table.steady or self.showing(spell)
        found = {}
        for p in range(len(table.places)) if place is None else (place,):
            row = table.rows[table.index[self.cause, p] if showing else 0]
            when = () if table.ever else spell
            found[p] = _draw(row, self._dice(check, p, *when))
        return found

    def reported(
        self, check: str, there: Mapping[int, int], spell: Spelled, right: Mapping[str, float]
    ) -> tuple[str, dict[int, int]]:
        """How sure the observer is, and what is reported: what is there, or by mistake another outcome."""
        table = self.truth.checks[self.truth.check_number[check]]
        dice = self._dice("report", check, *spell)
        sure = list(SURE)[_draw(list(SURE.values()), dice)]
        said = {}
        for place, outcome in there.items():
            others = [o for o in range(len(table.outcomes)) if o != outcome]
            mistaken = self._dice("mistake", check, place, *spell)
            said[place] = outcome if mistaken.random() < right[sure] else mistaken.choice(others)
        return sure, said

    def codes(self, book: Rulebook) -> list[str]:
        """The codes in the reader, drawn by the checks that speak of codes. Codes are copied, not misread.

        A code that would also say something that is not so on this car is left out: the rich code of a bank cannot be
        there for its region and not for the bank.
        """
        told: dict[tuple[str, int], tuple[str, ...]] = {}  # (check, place) -> codes that mean yes
        hits: set[tuple[str, int]] = set()
        for table in self.truth.checks:
            codes = book.checks[table.name].codes
            for place, outcome in self.there(table.name, (None, 0)).items() if codes else ():
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
        open_hits = set(hits)
        dice = self._dice("codes")
        for key in sorted(hits):
            if key in open_hits:
                ways = sorted(name for name in told[key] if name in allowed)
                most = max((len(allowed[name] & open_hits) for name in ways), default=0)
                best = [name for name in ways if len(allowed[name] & open_hits) == most]
                if best:
                    listed.append(dice.choice(best))
                    open_hits -= allowed[listed[-1]]
        return sorted(listed)


def car(truth: Tables, seed: int, number: int) -> Car:
    """Car `number` of a seed."""
    name = f"{seed}/{number}"
    return Car(truth, _draw(truth.prior.tolist(), Random(f"{name}/cause")), name)


def spelled(record: Record, spell: int | None = None) -> Spelled:
    """A spell of a record (the present one) by its condition and how many of that condition came before it."""
    number = record.present if spell is None else spell
    condition = record.spells[number]
    return condition, sum(name == condition for name in record.spells[:number])


def outcomes(table: CheckTable, said: Mapping[int, int]) -> dict[int, str]:
    """Outcomes by name and by the place number a person types (0: the whole engine)."""
    engine = table.places == ("engine",)
    return {0 if engine else place + 1: table.outcomes[outcome] for place, outcome in said.items()}


def _draw(chances: Sequence[float], dice: Random) -> int:
    """A number drawn by chances that add up to 1."""
    left = dice.random()
    for number, chance in enumerate(chances):
        left -= float(chance)
        if left < 0:
            return number
    return len(chances) - 1
