"""How good stated probabilities were: Brier score with Murphy's decomposition, and expected calibration error.

A. H. Murphy, "A new vector partition of the probability score", Journal of Applied Meteorology 12:595-600, 1973:
BS = reliability - resolution + uncertainty, exactly so where forecasts are grouped by their value. Binning forecasts
that differ adds two terms within the bins (D. B. Stephenson et al., Weather and Forecasting 23:752-757, 2008): then
`brier` is that of the forecasts as made, and the three parts are those of the bins' means.
Expected calibration error: sum over bins of share * |observed frequency - mean forecast| (C. Guo et al., "On
calibration of modern neural networks", ICML 2017).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

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
