"""The order of trying, against a published rule and against all orders gone through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.repair.reckoning import Try, by_chance_over_cost

CHANCES, COSTS = (0.4, 0.3, 0.2, 0.1), (8.0, 3.0, 4.0, 1.0)
TRIES = [Try(str(number), p, c) for number, (p, c) in enumerate(zip(CHANCES, COSTS, strict=True), start=1)]


def expected_cost(order: Sequence[Try], mending: Mapping[str, float] | None = None) -> float:
    """Cost of going through them until it is mended: each with the chance that none before it was (Heckerman, Breese &
    Rommelse, CACM 38(3):49-57, 1995; the formula from memory)."""
    left, total = 1.0, 0.0
    for each in order:
        total += left * each.look + each.chance * (mending or {}).get(each.name, 0.0)
        left -= each.chance
    return total


def test_the_smallest_cost_over_chance_first() -> None:
    """The optimal rule of Kalagnanam & Henrion, UAI 1988 (arXiv:1304.2362, text seen); the instance and its 9.3, 11.1
    were worked out here, by going through all orders."""
    best = by_chance_over_cost(TRIES)
    assert expected_cost(best) == pytest.approx(9.3)
    assert expected_cost(TRIES) == pytest.approx(11.1)  # by chance alone
    assert expected_cost(best) == pytest.approx(min(expected_cost(order) for order in permutations(TRIES)))


@given(st.lists(st.tuples(st.integers(1, 20), st.integers(1, 20), st.integers(0, 20)), min_size=1, max_size=5))
def test_what_it_costs_to_mend_does_not_change_the_order(rows: list[tuple[int, int, int]]) -> None:
    total = sum(p for p, _, _ in rows)
    tries = [Try(str(i), p / total, c) for i, (p, c, _) in enumerate(rows)]
    mending = {str(i): float(mend) for i, (_, _, mend) in enumerate(rows)}
    best = expected_cost(by_chance_over_cost(tries), mending)
    assert best <= min(expected_cost(order, mending) for order in permutations(tries)) + 1e-9


def test_what_costs_nothing_to_try_comes_first() -> None:
    tries = [Try("likely", 0.9, 1.0), Try("free", 0.0, 0.0), Try("free too", 0.1, 0.0)]
    assert [t.name for t in by_chance_over_cost(tries)] == ["free", "free too", "likely"]
