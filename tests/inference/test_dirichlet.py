"""Learning from counts against published examples."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from itertools import product

import pytest

from reasoner.inference.statistics import Dirichlet, prior_worth, rate_after


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
