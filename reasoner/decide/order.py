"""In which order to try repairs or checks.

P over C: with one cause, each step conclusive, the least expected cost comes from falling p / C (Kalagnanam & Henrion,
"A comparison of decision analysis and expert rules for sequential diagnosis", UAI 1988, arXiv:1304.2362). The expected
cost of repair is that of Heckerman, Breese & Rommelse, "Decision-theoretic troubleshooting", CACM 38(3):49-57, 1995
(the formula from memory). P over C holds only where the last one is tried too, not inferred from what is left, and each
step works for sure; `least_cost` is exact without either, for small problems.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import inf


@dataclass(frozen=True)
class Try:
    """One thing to look at and mend. chance: that it is this one. look: cost of finding out; mend: of mending it."""

    name: str
    chance: float
    look: float
    mend: float = 0.0


def by_chance_over_cost(tries: Iterable[Try]) -> list[Try]:
    """Falling p / C, where C is the cost of the look (what it costs to mend is paid in any order)."""
    return sorted(tries, key=lambda t: -t.chance / t.look if t.look > 0 else float("-inf"))


def expected_cost(order: Sequence[Try], otherwise: float = 0.0) -> float:
    """Cost of going through them until it is mended; `otherwise`: what it costs when it is none of them."""
    left, total = 1.0, 0.0
    for each in order:
        total += left * each.look + each.chance * each.mend
        left -= each.chance
    return total + left * otherwise


@dataclass(frozen=True)
class Act:
    """Mending something. works: cause -> chance that it is mended by this (0 where not named)."""

    name: str
    cost: float
    works: Mapping[str, float]


@dataclass(frozen=True)
class Look:
    """A test. shows: outcome -> cause -> chance."""

    name: str
    cost: float
    shows: Mapping[str, Mapping[str, float]]


def least_cost(chances: Mapping[str, float], acts: Sequence[Act], looks: Sequence[Look] = ()) -> tuple[float, str]:
    """The least expected cost until mended, and what to do first. Every act and look is done at most once.

    Exact: all courses are gone through. Infinite where the acts together do not mend every cause for sure. Numbers
    may be Fractions.
    """
    known: dict[object, tuple[float, str]] = {}

    def best(belief: Mapping[str, float], left: frozenset[str]) -> tuple[float, str]:
        key = (left, tuple(sorted(belief.items())))
        if key not in known:
            courses = [
                (act.cost + go_on([_failed(belief, act)], left, act.name), act.name) for act in acts if act.name in left
            ]
            for look in looks:
                if look.name in left:
                    branches = [_times(belief, seen) for seen in look.shows.values()]
                    courses.append((look.cost + go_on(branches, left, look.name), look.name))
            known[key] = min(courses, default=(inf, ""))
        return known[key]

    def go_on(branches: Sequence[Mapping[str, float]], left: frozenset[str], done: str) -> float:
        """Expected cost after something was done; each branch has the chance that its beliefs add up to."""
        total: float = 0
        for branch in branches:
            if weight := sum(branch.values()):
                total += weight * best({c: p / weight for c, p in branch.items() if p}, left - {done})[0]
        return total

    return best(chances, frozenset(a.name for a in acts) | frozenset(look.name for look in looks))


def _failed(belief: Mapping[str, float], act: Act) -> dict[str, float]:
    return {cause: p * (1 - act.works.get(cause, 0)) for cause, p in belief.items()}


def _times(belief: Mapping[str, float], seen: Mapping[str, float]) -> dict[str, float]:
    return {cause: p * seen.get(cause, 0) for cause, p in belief.items()}
