"""Small statistics: how far a share may be off, learning from counts, how good stated probabilities were."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import exp, lgamma, sqrt

# ---- How far a share may be off --------------------------------------------------------------------------------------
# How far a share that was seen n times may be off: the score interval for a binomial proportion.
#
# E. B. Wilson, "Probable inference, the law of succession, and statistical inference", Journal of the American
# Statistical Association 22:209-212, 1927. It stays within 0..1 and behaves with few cases, also where all or none came
# true, which the usual p +- 1.96 s does not (R. G. Newcombe, Statistics in Medicine 17:857-872, 1998).

Z95 = 1.959963984540054  # 97.5 % quantile of the standard normal distribution


def wilson(came: float, cases: float, z: float = Z95) -> tuple[float, float]:
    """Low and high end (0..1) for `came` of `cases`. Raises ValueError without a case."""
    if cases <= 0:
        raise ValueError("no case, no share")
    p, square = came / cases, z * z
    middle = 2 * cases * p + square
    half = z * sqrt(square + 4 * cases * p * (1 - p))
    below, above = (middle - half) / (2 * (cases + square)), (middle + half) / (2 * (cases + square))
    return max(0.0, below), min(1.0, above)


# ---- Learning from counts --------------------------------------------------------------------------------------------
# Learning from counts: a distribution that is worth so many cases, and what cases do to it.
#
# A statement worth w cases with the probabilities m is a Dirichlet distribution with the parameters w * m; counts are
# added to them. Rows are learned apart from each other: local and global independence of D. J. Spiegelhalter and
# S. L. Lauritzen, "Sequential updating of conditional probabilities on directed graphical structures", Networks
# 20:579-605, 1990. Counts may be fractions, where it is only probable which state a case was in.


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
        """The distribution after so many more cases of each outcome."""
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


# ---- How good stated probabilities were ------------------------------------------------------------------------------
# How good stated probabilities were: Brier score with Murphy's decomposition, and expected calibration error.
#
# A. H. Murphy, "A new vector partition of the probability score", Journal of Applied Meteorology 12:595-600, 1973:
# BS = reliability - resolution + uncertainty, exactly so where forecasts are grouped by their value. Binning forecasts
# that differ adds two terms within the bins (D. B. Stephenson et al., Weather and Forecasting 23:752-757, 2008): then
# `brier` is that of the forecasts as made, and the three parts are those of the bins' means.
# Expected calibration error: sum over bins of share * |observed frequency - mean forecast| (C. Guo et al., "On
# calibration of modern neural networks", ICML 2017).

BINS = 10


@dataclass(frozen=True)
class Group:
    """Forecasts counted together: their mean, how often it came true, how many (any unit)."""

    forecast: float
    observed: float
    weight: float


@dataclass(frozen=True)
class Score:
    """brier = reliability - resolution + uncertainty for groups of one forecast each; rate: how often it came true."""

    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    calibration_error: float
    rate: float
    groups: tuple[Group, ...] = ()


def score_groups(groups: Sequence[Group]) -> Score:
    """The score of groups, each of one forecast value. Raises ValueError without any weight."""
    total = sum(g.weight for g in groups)
    if total <= 0:
        raise ValueError("no forecast, no score")
    rate = sum(g.weight * g.observed for g in groups) / total
    reliability = sum(g.weight * (g.forecast - g.observed) ** 2 for g in groups) / total
    resolution = sum(g.weight * (g.observed - rate) ** 2 for g in groups) / total
    uncertainty = rate * (1.0 - rate)
    error = sum(g.weight * abs(g.forecast - g.observed) for g in groups) / total
    return Score(
        reliability - resolution + uncertainty, reliability, resolution, uncertainty, error, rate, tuple(groups)
    )


def score(forecasts: Sequence[float], true: Sequence[bool], bins: int | None = BINS) -> Score:
    """The score of forecasts (0..1) and what came true. bins: so many of equal width; None: by distinct value."""
    found: dict[float, list[tuple[float, bool]]] = {}
    for forecast, came in zip(forecasts, true, strict=True):
        key = forecast if bins is None else min(int(forecast * bins), bins - 1)
        found.setdefault(key, []).append((forecast, bool(came)))
    groups = []
    for key in sorted(found):
        pairs = found[key]
        groups.append(Group(sum(f for f, _ in pairs) / len(pairs), sum(t for _, t in pairs) / len(pairs), len(pairs)))
    binned = score_groups(groups)
    brier = sum((f - t) ** 2 for f, t in zip(forecasts, true, strict=True)) / len(forecasts)
    return replace(binned, brier=brier)
