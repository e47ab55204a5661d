"""Small statistics against published data, published examples and exact fractions."""

from __future__ import annotations

import random
from collections import Counter
from fractions import Fraction
from itertools import product

import pytest

from reasoner.inference.statistics import Dirichlet, Group, prior_worth, rate_after, score, score_groups, wilson

# D. S. Wilks, Statistical Methods in the Atmospheric Sciences, Table 7.3 (12-24 h probability-of-precipitation
# forecasts), as given in the data of the R package `verification`: forecast, observed frequency, share of forecasts.
WILKS = [
    (0.0, 0.006, 0.4112), (0.05, 0.019, 0.0671), (0.1, 0.059, 0.1833), (0.2, 0.15, 0.0986), (0.3, 0.277, 0.0616),
    (0.4, 0.377, 0.0366), (0.5, 0.511, 0.0303), (0.6, 0.587, 0.0275), (0.7, 0.723, 0.0245), (0.8, 0.779, 0.022),
    (0.9, 0.934, 0.017), (1.0, 0.933, 0.0203),
]  # fmt: skip


def test_murphy_1973_on_the_table_of_wilks() -> None:
    """The parts were recomputed from that table independently of this program; the rate .162 is printed with it."""
    found = score_groups([Group(*row) for row in WILKS])
    assert found.rate == pytest.approx(0.162, abs=5e-4)
    assert found.rate == pytest.approx(0.1615034, abs=5e-7)
    assert found.reliability == pytest.approx(0.000828, abs=5e-7)
    assert found.resolution == pytest.approx(0.062787, abs=5e-7)
    assert found.uncertainty == pytest.approx(0.135420, abs=5e-7)
    assert found.brier == pytest.approx(0.073461, abs=5e-7)
    assert found.calibration_error == pytest.approx(0.022906, abs=5e-7)


def test_ten_forecasts_in_exact_fractions() -> None:
    forecasts = [0.1] * 5 + [0.5] * 4 + [0.9]
    true = [bool(y) for y in (0, 0, 0, 0, 1, 1, 1, 0, 0, 1)]
    found = score(forecasts, true, bins=None)
    assert found.brier == pytest.approx(93 / 500)
    assert found.reliability == pytest.approx(3 / 500)
    assert found.resolution == pytest.approx(3 / 50)
    assert found.uncertainty == pytest.approx(6 / 25)
    assert found.calibration_error == pytest.approx(3 / 50)


@pytest.mark.parametrize("seed", range(20))
def test_by_distinct_value_the_decomposition_is_exact(seed: int) -> None:
    dice = random.Random(seed)
    forecasts = [dice.choice([0.0, 0.2, 0.5, 0.7, 0.95, 1.0]) for _ in range(50)]
    true = [dice.random() < f for f in forecasts]
    found = score(forecasts, true, bins=None)
    assert found.brier == pytest.approx(found.reliability - found.resolution + found.uncertainty)


def test_binned_the_brier_score_is_that_of_the_forecasts_as_made() -> None:
    found = score([0.91, 0.99, 0.93], [True, False, True])
    assert found.brier == pytest.approx((0.09**2 + 0.99**2 + 0.07**2) / 3)
    assert len(found.groups) == 1 and found.groups[0].weight == 3
    assert found.calibration_error == pytest.approx(abs((0.91 + 0.99 + 0.93) / 3 - 2 / 3))


def test_certain_forecasts_have_a_bin() -> None:
    found = score([1.0, 0.0], [True, False])
    assert found.brier == 0 and found.calibration_error == 0


def test_nothing_forecast_is_no_score() -> None:
    with pytest.raises(ValueError, match="no forecast"):
        score([], [])


# ---- learning from counts --------------------------------------------------------------------------------------------


def test_beta_after_one_head() -> None:
    """S. Rogers, M. Girolami, A First Course in Machine Learning, 2nd ed., p. 105: Beta(1, 1), one head."""
    after = Dirichlet((1, 1)).after((1, 0))
    assert after == Dirichlet((2, 1))
    assert after.mean[0] == pytest.approx(2 / 3)


def test_thumbtack() -> None:
    """D. Heckerman, A Tutorial on Learning with Bayesian Networks, MSR-TR-95-06: P(heads) = (a + n) / (sum a + n)
    (from memory); imaginary counts (7, 3) as in public slides. With 2 heads and 8 tails: 9 of 20 (recomputed)."""
    assert Dirichlet((7, 3)).mean[0] == pytest.approx(0.7)
    assert Dirichlet((7, 3)).after((2, 8)).mean[0] == pytest.approx(0.45)


def test_three_outcomes() -> None:
    """Recomputed in exact fractions from the formula of the tutorial above: alpha (4, 4, 2), counts (1, 0, 5)."""
    prior = Dirichlet((4, 4, 2))
    assert prior.after((1, 0, 5)).mean == pytest.approx((0.3125, 0.25, 0.4375))
    assert prior.chance((1, 0, 5)) == pytest.approx(0.0007992007992007992)
    one_by_one = Fraction(1)
    for n, outcome in enumerate((0, 2, 2, 2, 2, 2)):
        seen = (0, 2, 2, 2, 2, 2)[:n].count(outcome)
        one_by_one *= Fraction((4, 4, 2)[outcome] + seen, 10 + n)
    assert prior.chance((1, 0, 5)) == pytest.approx(float(one_by_one))


def test_cooper_and_herskovits() -> None:
    """G. F. Cooper, E. Herskovits, Machine Learning 9:309-347, 1992: ten cases of three variables; the chance of the
    data under two structures is 2.23e-9 and 2.23e-10 (data and values from memory; exact fractions recomputed)."""
    cases = ["100", "111", "001", "111", "000", "011", "111", "000", "111", "000"]

    def chance(child: int, parents: tuple[int, ...]) -> float:
        found = 1.0
        for state in product("01", repeat=len(parents)):
            own = [case[child] for case in cases if tuple(case[p] for p in parents) == state]
            count = Counter(own)
            found *= Dirichlet((1, 1)).chance((count["0"], count["1"]))
        return found

    chain = chance(0, ()) * chance(1, (0,)) * chance(2, (1,))
    fork = chance(0, ()) * chance(1, (0,)) * chance(2, (0,))
    assert chain == pytest.approx(1 / 449_064_000)
    assert fork == pytest.approx(1 / 4_490_640_000)
    assert chain == pytest.approx(2.23e-9, rel=0.005)
    assert fork == pytest.approx(2.23e-10, rel=0.005)


def test_what_a_rule_is_worth_is_what_it_holds_against_cases() -> None:
    assert prior_worth((0.75, 0.25), 8).after((0, 0)).mean == pytest.approx((0.75, 0.25))
    assert prior_worth((0.75, 0.25), 8).after((2, 6)).mean == pytest.approx((0.5, 0.5))
    assert prior_worth((0.75, 0.25), 8).after((2, 6)).weight == pytest.approx(16)


def test_shares_with_weights_in_proportion_are_a_dirichlet() -> None:
    """Gamma-Poisson rates, normalised: with weight 2 for each of 10, 20 and 30 the same as Dirichlet (2, 4, 6)."""
    shares, came = (10.0, 20.0, 30.0), (3, 0, 1)
    total = sum(shares)
    rates = [rate_after(s, s / 5, n, 4 * s / total) for s, n in zip(shares, came, strict=True)]
    expected = Dirichlet((2, 4, 6)).after(came).mean
    assert [rate / sum(rates) for rate in rates] == pytest.approx(expected)


def test_a_rate_that_was_right_stays() -> None:
    assert rate_after(40.0, 8, 3, 3.0) == pytest.approx(40.0)
    assert rate_after(40.0, 8, 8, 0.0) == pytest.approx(80.0)


# ---- how far a share may be off --------------------------------------------------------------------------------------


# R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17:857-872, 1998,
# Table I, score method without continuity correction. The values are from memory.
@pytest.mark.parametrize(
    ("came", "cases", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_newcombe_table(came: int, cases: int, low: float, high: float) -> None:
    found = wilson(came, cases)
    assert found[0] == pytest.approx(low, abs=5e-5)
    assert found[1] == pytest.approx(high, abs=5e-5)


@pytest.mark.parametrize("came", range(8))
def test_it_holds_the_values_the_score_test_does_not_refuse(came: int) -> None:
    """Its ends are where (p - p0) ** 2 = z ** 2 * p0 * (1 - p0) / n, by definition."""
    for end in wilson(came, 7, z=1.5):
        if 0 < end < 1:
            assert (came / 7 - end) ** 2 == pytest.approx(1.5**2 * end * (1 - end) / 7)


def test_one_case_says_little() -> None:
    """All of n: from n / (n + z ** 2) to 1, by solving the score test for it."""
    assert wilson(1, 1, z=2.0) == pytest.approx((1 / 5, 1.0))


def test_no_case_is_no_share() -> None:
    with pytest.raises(ValueError, match="no case"):
        wilson(0, 0)


def test_what_is_certain_is_in_the_last_group_with_the_nearly_certain() -> None:
    found = score([0.85, 0.95, 1.0], [True, False, True])
    assert [(group.weight, group.forecast, group.observed) for group in found.groups] == [
        (1, 0.85, 1.0),
        (2, pytest.approx(0.975), 0.5),
    ]


def test_no_share_and_no_end_of_its_range_is_beyond_all_or_nothing() -> None:
    for cases in range(1, 400):
        assert wilson(cases, cases)[1] <= 1.0 and wilson(0, cases)[0] >= 0.0
