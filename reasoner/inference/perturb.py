"""The same tables with every number of the rules drawn anew from its own uncertainty.

Distributions are drawn from Dirichlet, showing chances from Beta and shares from Gamma distributions, each with its
written value as mean and as many cases as it is worth (its weight): the uncertainty that `span` gives a belief's range
by. Misreading is not in doubt: the floor is kept, and what is above it is drawn.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reasoner.network.tables import Array, CheckTable, Tables

LEAST = 1e-3  # least parameter of a Gamma distribution, so that an outcome never seen can be drawn at all


def perturbed(tables: Tables, seed: int, loosened: float = 1.0) -> Tables:
    """Tables drawn around `tables`. loosened: every weight is divided by this (more: further off than is claimed)."""
    random = np.random.default_rng(seed)
    floor = tables.unlikeliest
    weights = tables.prior_weights / loosened
    shares = random.gamma(np.maximum(weights, LEAST)) / weights
    prior = tables.prior * np.maximum(shares, 1e-9)[tables.fault_of]
    return replace(
        tables,
        prior=prior / prior.sum(),
        shows=_shows(tables, random, loosened),
        checks=tuple(_check(check, random, loosened, floor) for check in tables.checks),
    )


def _shows(tables: Tables, random: np.random.Generator, loosened: float) -> Array:
    """Cells that one number of the rules speaks for share its draw."""
    cells = np.stack([tables.shows_row.ravel().astype(float), tables.shows.ravel()])
    (numbers, values), of = np.unique(cells, axis=1, return_inverse=True)
    weights = np.array([tables.shows_origins[int(n)].weight for n in numbers]) / loosened
    drawn = random.beta(np.maximum(weights * values, LEAST), np.maximum(weights * (1 - values), LEAST))
    floor = tables.unlikeliest
    found: Array = np.clip(drawn, floor, 1 - floor)[of.ravel()].reshape(tables.shows.shape)
    return found


def _check(check: CheckTable, random: np.random.Generator, loosened: float, floor: float) -> CheckTable:
    weights = np.array([origin.weight for origin in check.origins]) / loosened
    above = np.maximum(check.rows - floor, 0.0)
    drawn = random.gamma(np.maximum(weights[:, None] * above, LEAST))
    share = above.sum(axis=1, keepdims=True) / np.maximum(drawn.sum(axis=1, keepdims=True), 1e-300)
    rows = check.rows - above + share * drawn
    return replace(check, rows=rows / rows.sum(axis=1, keepdims=True))
