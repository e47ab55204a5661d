"""How active a fault is on this one car: the rules say how often it shows on the mean of all cars that have it.

Under each cause an activity u, drawn once for the car from a normal distribution with mean 0 and deviation sigma,
shifts the log odds of showing in all conditions alike. It takes five values (Gauss-Hermite quadrature, exact for
polynomials up to the ninth degree: Abramowitz & Stegun, Handbook of Mathematical Functions, 25.4.46, from memory), and
is centred so that the mean over them is what the rules say.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NODES = 5
_ROUNDS = 60  # Newton steps; it stops when nothing moves


@lru_cache(maxsize=8)
def activities(sigma: float) -> tuple[Array, Array]:
    """(J,) activities and (J,) their chances. One, 0, where cars do not differ."""
    if sigma == 0:
        return np.zeros(1), np.ones(1)
    x, weights = np.polynomial.hermite_e.hermegauss(NODES)
    return sigma * x, weights / weights.sum()


def acts(shows: Array, sigma: float) -> Array:
    """(..., J) the chance of showing at each activity, from what it is on the mean (...), strictly within 0 and 1 or
    just these."""
    u, chances = activities(sigma)
    values, of = np.unique(shows, return_inverse=True)
    odds = _centred(values, u, chances)
    found: Array = _logistic(odds[:, None] + u)[of.reshape(shows.shape)]
    return found


def acts_of_many(shows: Array, sigma: float) -> Array:
    """`acts` of very many different numbers, interpolated between the entries of a table (to 1e-5)."""
    u, _ = activities(sigma)
    grid, odds = _table(sigma)
    with np.errstate(divide="ignore"):
        found: Array = _logistic(np.interp(np.log(shows) - np.log1p(-shows), grid, odds)[..., None] + u)
    return found


@lru_cache(maxsize=8)
def _table(sigma: float) -> tuple[Array, Array]:
    grid = np.linspace(-9.0, 9.0, 721)
    return grid, _centred(_logistic(grid), *activities(sigma))


def _centred(values: Array, u: Array, chances: Array) -> Array:
    """The log odds whose mean chance over the activities is each of the values."""
    with np.errstate(divide="ignore"):
        odds = np.log(values) - np.log1p(-values)
    inside = np.isfinite(odds)
    for _ in range(_ROUNDS):
        q = _logistic(odds[inside, None] + u)
        slope = np.maximum((q * (1.0 - q)) @ chances, 1e-12)
        step = np.clip((q @ chances - values[inside]) / slope, -1.0, 1.0)
        odds[inside] -= step
        if not step.size or np.abs(step).max() < 1e-14:
            break
    return odds


def _logistic(x: Array) -> Array:
    found: Array = 1.0 / (1.0 + np.exp(-np.clip(x, -700.0, 700.0))) if np.isfinite(x).all() else _edges(x)
    return found


def _edges(x: Array) -> Array:
    with np.errstate(over="ignore"):
        found: Array = 1.0 / (1.0 + np.exp(-x))
    return found
