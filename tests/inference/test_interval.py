"""The score interval against published values."""

from __future__ import annotations

import pytest

from reasoner.inference.statistics import wilson


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
