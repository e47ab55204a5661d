"""What an order of trying costs, and the least that any course costs: what `decide.order` is held against.

The expected cost of repair is that of Heckerman, Breese & Rommelse, "Decision-theoretic troubleshooting", CACM
38(3):49-57, 1995 (the formula from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

from reasoner.decide.order import Try


def expected_cost(order: Sequence[Try], mend: Mapping[str, float] | None = None, otherwise: float = 0.0) -> float:
    """Cost of going through them until it is mended. mend: what it costs to mend each, by name; `otherwise`: what it
    costs when it is none of them."""
    left, total = 1.0, 0.0
    for each in order:
        total += left * each.cost + each.chance * (mend or {}).get(each.name, 0.0)
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
