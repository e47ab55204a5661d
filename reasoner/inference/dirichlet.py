"""Learning from counts: a distribution that is worth so many cases, and what cases do to it.

A statement worth w cases with the probabilities m is a Dirichlet distribution with the parameters w * m; counts are
added to them. Rows are learned apart from each other: local and global independence of D. J. Spiegelhalter and
S. L. Lauritzen, "Sequential updating of conditional probabilities on directed graphical structures", Networks
20:579-605, 1990. Counts may be fractions, where it is only probable which state a case was in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, lgamma


@dataclass(frozen=True)
class Dirichlet:
    """alpha: one parameter for each outcome, more than 0; two outcomes: a Beta distribution."""

    alpha: tuple[float, ...]

    @property
    def weight(self) -> float:
        """How many cases it is worth."""
        return sum(self.alpha)

    @property
    def mean(self) -> tuple[float, ...]:
        """The probability of each outcome in the next case: (a + n) / (sum of a + n)."""
        return tuple(a / self.weight for a in self.alpha)

    def after(self, counts: Sequence[float]) -> Dirichlet:
        """With so many cases of each outcome."""
        return Dirichlet(tuple(a + n for a, n in zip(self.alpha, counts, strict=True)))

    def log_chance(self, counts: Sequence[float]) -> float:
        """Natural logarithm of the probability of one given sequence with these counts, each case learned from."""
        each = sum(lgamma(a + n) - lgamma(a) for a, n in zip(self.alpha, counts, strict=True))
        return each + lgamma(self.weight) - lgamma(self.weight + sum(counts))

    def chance(self, counts: Sequence[float]) -> float:
        return exp(self.log_chance(counts))


def prior_worth(mean: Sequence[float], cases: float) -> Dirichlet:
    """What a rule says, worth so many cases."""
    return Dirichlet(tuple(m * cases for m in mean))


def rate_after(mean: float, weight: float, came: float, expected: float) -> float:
    """A rate (any unit) that is worth `weight` cases, after `came` cases where it gave `expected` of them.

    Gamma-Poisson: Gamma with shape `weight` and mean `mean`; exposure is expected / mean. Shares of faults that each
    have their own weight are learned so, and stay relative to each other; with weights in proportion to the shares
    this is the Dirichlet distribution.
    """
    return mean * (weight + came) / (weight + expected)
