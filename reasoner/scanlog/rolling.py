"""Means, least and greatest values over a sliding window; NaN are left out. Vectorised, linear in the length."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog.numerals import Array

Flags = NDArray[np.bool_]


def rolling_mean(values: Array, reach: int) -> Array:
    """Over `reach` cells either side; NaN where there is none."""
    there = np.isfinite(values)
    sums = _summed(np.where(there, values, 0.0), reach)
    counts = _summed(there.astype(float), reach)
    return np.asarray(np.divide(sums, counts, out=np.full(len(values), np.nan), where=counts > 0.5))


def rolling_spread(values: Array, back: int, ahead: int | None = None) -> Array:
    """Greatest less least over `back` cells before and `ahead` (else as many) after; NaN where there is none."""
    ahead = back if ahead is None else ahead
    high, low = np.full(len(values), -np.inf), np.full(len(values), np.inf)
    there = np.isfinite(values)
    up, down = np.where(there, values, -np.inf), np.where(there, values, np.inf)
    for shift in range(-back, ahead + 1):
        a, b = max(0, shift), len(values) + min(0, shift)
        c, d = max(0, -shift), len(values) + min(0, -shift)
        if a < b:
            np.maximum(high[c:d], up[a:b], out=high[c:d])
            np.minimum(low[c:d], down[a:b], out=low[c:d])
    width = np.full(len(values), np.nan)
    known = np.isfinite(high)
    width[known] = high[known] - low[known]
    return width


def since(flags: Flags, time: Array) -> Array:
    """Seconds since a flag was last set (0 while it is), infinite before the first."""
    index = np.arange(len(flags))
    last = np.maximum.accumulate(np.where(flags, index, -1))
    return np.where(last >= 0, time - time[np.maximum(last, 0)], np.inf)


def runs(flags: Flags) -> Iterator[tuple[int, int]]:
    """(first, one past the last) of each stretch of set flags."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _summed(values: Array, reach: int) -> Array:
    total = np.concatenate([[0.0], np.cumsum(values)])
    index = np.arange(len(values))
    return np.asarray(total[np.minimum(index + reach + 1, len(values))] - total[np.maximum(index - reach, 0)])
