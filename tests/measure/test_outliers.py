"""Which cylinder stands out. Student's t, Grubbs's and binomial tables as published."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.measure.computations.cylinders import (
    binomial_tail,
    counts_stand_out,
    leaker_and_others,
    stands_out,
    student_tails,
)


@pytest.mark.parametrize(
    ("t", "freedom", "tails"),
    [
        (12.706, 1, 0.05),
        (4.303, 2, 0.05),
        (3.182, 3, 0.05),
        (2.776, 4, 0.05),
        (2.571, 5, 0.05),
        (2.228, 10, 0.05),
        (2.042, 30, 0.05),
        (63.657, 1, 0.01),
        (4.032, 5, 0.01),
        (3.169, 10, 0.01),
        (0.0, 4, 1.0),
    ],
)
def test_students_t(t: float, freedom: int, tails: float) -> None:
    """Abramowitz & Stegun, table 26.10, from memory."""
    assert student_tails(t, freedom) == pytest.approx(tails, rel=1.5e-3)  # t is printed to 0.001
    assert student_tails(-t, freedom) == student_tails(t, freedom)


@pytest.mark.parametrize(
    ("n", "g", "level"),
    [
        (4, 1.481, 0.05),
        (5, 1.715, 0.05),
        (6, 1.887, 0.05),
        (8, 2.126, 0.05),
        (10, 2.290, 0.05),
        (12, 2.412, 0.05),
        (4, 1.496, 0.01),
        (6, 1.973, 0.01),
        (8, 2.274, 0.01),
        (10, 2.482, 0.01),
    ],
)
def test_grubbs_critical_values(n: int, g: float, level: float) -> None:
    """Harvey, Analytical Chemistry 2.1, appendix 7 (critical values for Grubbs's test, n and two-sided level)."""
    assert chance_at(n, g - 0.001) > level > chance_at(n, g + 0.001)


def chance_at(n: int, g: float) -> float:
    """The chance reported for n readings of which one is put so far out that its G is `g`."""
    others = [(-1.0) ** i for i in range(n - 1)]
    low, high = 1.0, 1e6
    for _ in range(200):
        far = (low + high) / 2
        values = np.array([*others, far])
        low, high = (far, high) if (far - values.mean()) / values.std(ddof=1) < g else (low, far)
    got = stands_out(dict(enumerate([*others, far], 1)))
    assert got is not None and got.place == n
    return got.chance


def test_with_a_known_spread() -> None:
    """One of four 2.5 sd off the mean of the rest, of which the sd is sqrt(4/3): n times two tails of the normal."""
    got = stands_out({1: 0.0, 2: 0.0, 3: -2.5 * math.sqrt(4 / 3), 4: 0.0}, spread=1.0)
    assert got is not None and got.place == 3
    assert got.by == pytest.approx(-2.5 * math.sqrt(4 / 3))
    assert got.chance == pytest.approx(4 * 2 * 0.0062096653, rel=1e-6)  # Q(2.5), Abramowitz & Stegun table 26.1


def test_chance_holds_in_repetition() -> None:
    """Alike cylinders, 3000 engines: `chance` at or below 5 % must come up in about 5 % of them, not more."""
    rng = np.random.default_rng(3)
    for spread in (None, 1.0):
        found = [stands_out(dict(enumerate(row, 1)), spread) for row in rng.normal(0, 1, (3000, 6))]
        rate = sum(f is not None and f.chance <= 0.05 for f in found) / 3000
        assert 0.035 <= rate <= 0.06


def test_all_alike_or_too_few() -> None:
    alike = stands_out({1: 5.0, 2: 5.0, 3: 5.0})
    assert alike is not None and alike.chance == 1.0 and alike.by == 0
    assert stands_out({1: 1.0, 2: 2.0}) is None and stands_out({}, 1.0) is None
    with pytest.raises(ValueError):
        stands_out({1: math.nan, 2: 1.0, 3: 1.0})
    with pytest.raises(ValueError):
        stands_out({1: 0.0, 2: 1.0}, spread=0)


@pytest.mark.parametrize(("least", "dice", "chance"), [(1, 6, 0.6651), (2, 12, 0.6187), (3, 18, 0.5973)])
def test_binomial_as_newton_told_pepys(least: int, dice: int, chance: float) -> None:
    """Newton to Pepys, 1693: at least one six of 6 dice, two of 12, three of 18."""
    assert binomial_tail(least, dice, 1 / 6) == pytest.approx(chance, abs=5e-5)


@given(st.integers(1, 40), st.integers(0, 40), st.sampled_from([1 / 3, 1 / 4, 1 / 8]))
def test_binomial_tail_by_plain_sum(of: int, least: int, p: float) -> None:
    plain = sum(math.comb(of, i) * p**i * (1 - p) ** (of - i) for i in range(least, of + 1))
    assert binomial_tail(least, of, p) == pytest.approx(plain, rel=1e-9, abs=1e-15)


def test_misfire_counts() -> None:
    """Ten of ten on one of four cylinders: 4 x (1/4)^10."""
    got = counts_stand_out({1: 0, 2: 10, 3: 0, 4: 0})
    assert got is not None and got.place == 2 and got.by == 10
    assert got.chance == pytest.approx(4 * 0.25**10, rel=1e-9)
    even = counts_stand_out({1: 3, 2: 2, 3: 3, 4: 2})
    assert even is not None and even.chance == 1.0
    assert counts_stand_out({1: 0, 2: 0}) is None and counts_stand_out({1: 5}) is None
    many = counts_stand_out({1: 60000, 2: 100, 3: 100, 4: 100})
    assert many is not None and many.chance == 0.0
    with pytest.raises(ValueError):
        counts_stand_out({1: -1, 2: 3})


@pytest.mark.parametrize(
    ("trim", "cylinders", "leaker", "others"),
    [(-15, 4, 0.690, 1.176), (-25, 4, 0.571, 1.333), (-20, 3, 0.714, 1.25), (0, 4, 1.0, 1.0)],
)
def test_one_leaker_makes_the_others_lean(trim: float, cylinders: int, leaker: float, others: float) -> None:
    """Recomputed: extra x on one of n, bank trim -x/n, leaker 1/(1 - x/n + x), others 1/(1 - x/n)."""
    got = leaker_and_others(trim, cylinders)
    assert got == pytest.approx((leaker, others), abs=6e-4)
    mean_fuel = (1 / got[0] + (cylinders - 1) / got[1]) / cylinders
    assert mean_fuel == pytest.approx(1.0)  # the bank as a whole is what the controller wants


def test_no_leaker_on_a_bank_that_is_not_rich() -> None:
    for wrong in ((5, 4), (-100, 4), (-10, 1)):
        with pytest.raises(ValueError):
            leaker_and_others(*wrong)
