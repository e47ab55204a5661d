"""The order of trying, against a published rule and against all orders gone through; wear: the law, its quartiles, and
what is left of it for a part that has lasted so far."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import permutations
from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.repair.reckoning import Try, any_of, by_chance_over_cost, driving_on, goes_within, law
from tests.repair.cars import small_car

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


# ---- parts that wear out ---------------------------------------------------------------------------------------------


LASTS = (160000.0, 220000.0)


def gone_by(lasts: tuple[float, float], km: float) -> float:
    """Share of the parts that have worn out by this distance: of new ones, within it."""
    return goes_within(lasts, 0.0, km)


def test_a_quarter_is_gone_at_each_end() -> None:
    """Half of them wear out between the two distances: how the rules' `lasts` is read."""
    assert gone_by(LASTS, 160000) == pytest.approx(0.25)
    assert gone_by(LASTS, 220000) == pytest.approx(0.75)


def test_the_law_is_weibulls() -> None:
    """63.2 % are gone at the scale, whatever the shape (1 - 1/e): the property that names the scale."""
    shape, scale = law(LASTS)
    assert gone_by(LASTS, scale) == pytest.approx(1 - exp(-1))
    assert shape == pytest.approx(4.938, abs=1e-3)  # ln(ln 4 / ln(4/3)) / ln(220/160), by hand


def test_old_ones_go_sooner() -> None:
    by_age = [goes_within(LASTS, km, 20000) for km in (0, 60000, 120000, 160000, 200000)]
    assert by_age == sorted(by_age)
    assert by_age[0] < 1e-4 and by_age[-1] == pytest.approx(0.405, abs=0.005)


@given(st.floats(0, 400000), st.floats(1, 100000))
def test_given_that_it_has_lasted(driven: float, within: float) -> None:
    shape, scale = law(LASTS)
    left, later = (exp(-((km / scale) ** shape)) for km in (driven, driven + within))
    if left > 1e-9:
        assert goes_within(LASTS, driven, within) == pytest.approx(1 - later / left, abs=1e-6)


def test_any_of_three() -> None:
    assert any_of(3, 0.5) == 0.875 and any_of(0, 0.5) == 0


def test_driving_twice_as_far_is_driving_on_twice() -> None:
    """By hand: 2 % over 10 000 km is what two halves of it come to, and 0.98 squared is left after two of them."""
    chances = {km: sum(harm.chance for harm in driving_on(small_car().book, "drips", km)) for km in (0, 5e3, 1e4, 2e4)}
    assert chances == pytest.approx({0: 0.0, 5e3: 1 - 0.98**0.5, 1e4: 0.02, 2e4: 1 - 0.98**2})
    (harm,) = driving_on(small_car().book, "drips", 1e4)
    assert harm.expected == pytest.approx(50)  # of 2500
    book = small_car().book  # and what acts as a family has its harms
    assert [name for name in book.faults if driving_on(book, name, 1e4)] == ["leak", "all-worn"]
