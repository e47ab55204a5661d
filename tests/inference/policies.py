"""Deterministic test problems, the exact optimum by dynamic programming, and what a policy costs on them.

Plain Python on outcome tables; the engine is asked only through `choose` and `follow`. The program's own policy is
`two_steps`; the others are what it is compared with.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from functools import cache

from reasoner.inference.choose import gains, rank
from reasoner.inference.plan import Costs, Option, Situation, follow, options, settled
from reasoner.network.tables import Tables
from tests.support import BARE, check, make_tables, plain, situation

Policy = Callable[[Tables, Situation, Costs], Option | None]


def problem(
    prior: Sequence[float],
    outcomes: Sequence[Sequence[int]],
    costs: Sequence[float],
    classes: Sequence[int] | None = None,
) -> Tables:
    """States with a prior, tests that give a sure outcome in each state (S rows, T columns), each with its cost."""
    tests = []
    for t, cost in enumerate(costs):
        column = [row[t] for row in outcomes]
        kinds = max(2, max(column) + 1)
        given = [[float(o == k) for k in range(kinds)] for o in column]
        tests.append(check(f"test-{t}", given, minutes=float(cost)))
    return make_tables(plain(prior, tests, classes=classes))


def optimum(
    prior: Sequence[float],
    outcomes: Sequence[Sequence[int]],
    costs: Sequence[float],
    classes: Sequence[int] | None = None,
) -> float:
    """Least expected cost until one class is left, over all test trees."""
    group = list(range(len(prior)) if classes is None else classes)

    @cache
    def best(left: frozenset[int]) -> float:
        """Expected cost from here, times the probability of being here."""
        if len({group[s] for s in left}) == 1:
            return 0.0
        found = float("inf")
        for t, cost in enumerate(costs):
            parts: dict[int, set[int]] = {}
            for s in left:
                parts.setdefault(outcomes[s][t], set()).add(s)
            if len(parts) > 1:
                here = cost * sum(prior[s] for s in left)
                found = min(found, here + sum(best(frozenset(part)) for part in parts.values()))
        return found

    return best(frozenset(range(len(prior))))


def expected_cost(tables: Tables, policy: Policy, costs: Costs = BARE) -> float:
    """Expected cost until settled when the policy is asked at every step."""

    def go(now: Situation) -> float:
        if settled(tables, now.probability, costs):
            return 0.0
        option = policy(tables, now, costs)
        assert option is not None, "nothing to ask, and not settled"
        return option.cost + sum(b.chance * go(b.then) for b in follow(tables, now, option))

    return go(situation(tables))


def greedy(tables: Tables, now: Situation, costs: Costs) -> Option | None:
    """The best gain per cost, and nothing else."""
    return max(gains(tables, now, options(tables, now, costs)), key=lambda o: o.gain / o.cost, default=None)


def rollout(tables: Tables, now: Situation, costs: Costs) -> Option | None:
    """Each check followed to the end by gain per cost (Tu & Pattipati 2003): the cheapest, or what says as much for
    less."""
    ways = rank(tables, now, costs, compared=0)
    best = min(ways, key=lambda o: _until_settled(tables, now, o, costs))
    for other in ways:
        if other.gain >= best.gain - 1e-9 and other.cost < best.cost:
            best = other
    return best


def _until_settled(tables: Tables, now: Situation, option: Option, costs: Costs) -> float:
    """Expected cost until settled when this is done now and then always the best gain per cost."""

    def go(then: Situation) -> float:
        best = None if settled(tables, then.probability, costs) else greedy(tables, then, costs)
        return 0.0 if best is None else _until_settled(tables, then, best, costs)

    return option.cost + sum(b.chance * go(b.then) for b in follow(tables, now, option))


def two_steps(tables: Tables, now: Situation, costs: Costs) -> Option | None:
    """The program's choice."""
    return rank(tables, now, costs)[0]


def random_problem(
    rng: random.Random, states: int, tests: int, kinds: int, most: int, classes: int | None
) -> tuple[list[float], list[list[int]], list[int], list[int]]:
    """Prior, outcomes, costs 1 to `most` and classes; every pair of classes can be told apart."""
    while True:
        drawn = [rng.random() for _ in range(states)]
        prior = [x / sum(drawn) for x in drawn]
        outcomes = [[rng.randrange(kinds) for _ in range(tests)] for _ in range(states)]
        costs = [rng.randint(1, most) for _ in range(tests)]
        group = sorted(range(states) if classes is None else [s % classes for s in range(states)])
        rows = [tuple(row) for row in outcomes]
        if all(rows[a] != rows[b] for a in range(states) for b in range(a) if group[a] != group[b]):
            return prior, outcomes, costs, group
