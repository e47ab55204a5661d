"""What choices are reckoned with: families of a fault, harms of driving on, parts that wear out, order of trying."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import expm1, log

from reasoner.rulebook.model import Risk, Rulebook

# ---- Families of a fault ---------------------------------------------------------------------------------------------
# Which families a fault acts as, by the rules alone: nearest first, each with its wider ones after it.


def lineage(book: Rulebook, name: str) -> tuple[str, ...]:
    """A fault or family, then the families it belongs to."""

    def walk(names: tuple[str, ...]) -> Iterator[str]:
        for wider in names:
            yield wider
            yield from walk(book.families[wider].part_of)

    fault = book.faults.get(name)
    return tuple(dict.fromkeys((name, *walk(fault.acts_as if fault else book.families[name].part_of))))


def members_of(book: Rulebook, name: str) -> frozenset[str]:
    """A fault or family, and every fault and family that belongs to it."""

    def work() -> frozenset[str]:
        return frozenset(n for n in (*book.faults, *book.families) if name in lineage(book, n))

    return book.kept.once("members", name, work)


# ---- Harms of driving on ---------------------------------------------------------------------------------------------
# What driving on with a fault can do: the chance of each harm over a distance, and what it costs.


@dataclass(frozen=True)
class Harm:
    """Something that driving on can do. chance: that it happens over the distance asked about."""

    risk: Risk
    chance: float

    @property
    def expected(self) -> float:
        return self.chance * self.risk.costs


def driving_on(book: Rulebook, fault: str, km: float) -> tuple[Harm, ...]:
    """Harms of driving this far with a fault; per km as likely at the end as at the beginning."""
    found = []
    for risk in book.risks.values():
        said = next((risk.given[name] for name in lineage(book, fault) if name in risk.given), None)
        if said is not None:
            found.append(Harm(risk, 1 - (1 - said.value) ** (km / risk.over)))
    return tuple(found)


# ---- Parts that wear out ---------------------------------------------------------------------------------------------
# How likely a part of a known age gives out soon, when half of its kind do between two distances.
#
# Weibull's law with the quartiles at these two distances (W. Weibull, J. Appl. Mech. 18:293-297, 1951; from memory):
# the share still good after d km is exp(-(d / scale) ** shape), both numbers following exactly from the quartiles.

LOWER, UPPER = 0.25, 0.75


def law(lasts: tuple[float, float]) -> tuple[float, float]:
    """(shape, scale in km) of the law with these quartiles in km."""
    lower, upper = -log(1 - LOWER), -log(1 - UPPER)
    shape = log(upper / lower) / log(lasts[1] / lasts[0])
    return shape, float(lasts[0] / lower ** (1 / shape))


def goes_within(lasts: tuple[float, float], driven: float, within: float) -> float:
    """Chance that a part still good after `driven` km wears out in the next `within` km."""
    shape, scale = law(lasts)
    return -expm1((driven / scale) ** shape - ((driven + within) / scale) ** shape)


def any_of(count: int, chance: float) -> float:
    """Chance that at least one of several does, each by itself."""
    return float(1 - (1 - chance) ** count)


# ---- The order of trying ---------------------------------------------------------------------------------------------
# In which order to try repairs.
#
# P over C: with one cause, each step conclusive, the least expected cost comes from falling p / C (Kalagnanam &
# Henrion, "A comparison of decision analysis and expert rules for sequential diagnosis", UAI 1988, arXiv:1304.2362). It
# holds only where the last one is tried too, not inferred from what is left, and each step works for sure.


@dataclass(frozen=True)
class Try:
    """One thing to look at and mend. chance: that it is this one. look: cost of finding out."""

    name: str
    chance: float
    look: float


def by_chance_over_cost(tries: Iterable[Try]) -> list[Try]:
    """The largest p / C first, C being the cost of the look (what it costs to mend is paid in any order)."""
    return sorted(tries, key=lambda t: -t.chance / t.look if t.look > 0 else float("-inf"))
