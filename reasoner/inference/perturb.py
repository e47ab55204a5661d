"""Tables with every number of the rules drawn anew from its own uncertainty.

Distributions are drawn from Dirichlet, showing chances from Beta and shares from Gamma distributions, each with its
written value as mean and as many cases as it is worth (its weight: Spiegelhalter & Lauritzen 1990, independent rows).
Misreading is not in doubt: the floor is kept, and what is above it is drawn. Virtual cars are drawn from such tables,
and the range of a belief is what many of them say.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from reasoner.network import activity
from reasoner.network.tables import Array, CheckTable, Index, Tables

LEAST_GAMMA = 1e-3  # least parameter of a Gamma distribution, so that an outcome never seen can be drawn at all


def perturbed(tables: Tables, seed: int, loosened: float = 1.0) -> Tables:
    """Tables drawn around `tables`. loosened: every weight is divided by this (more: further off than is claimed)."""
    random = np.random.default_rng(seed)
    prior = drawn_prior(tables, 1, random, loosened)[0]
    drawn, of = drawn_showing(tables, 1, random, loosened)
    shows = drawn[0][of]
    checks = [
        replace(check, rows=drawn_rows(check, 1, random, tables.unlikeliest, loosened)[0]) for check in tables.checks
    ]
    return replace(tables, prior=prior, shows=shows, acts=activity.acts(shows, tables.sigma), checks=tuple(checks))


def drawn_prior(tables: Tables, count: int, random: np.random.Generator, loosened: float = 1.0) -> Array:
    """(N, C) draws of the prior."""
    weights = tables.prior_weights / loosened
    shares = random.gamma(np.maximum(weights, LEAST_GAMMA), size=(count, len(weights))) / weights
    prior = tables.prior * np.maximum(shares, 1e-9)[:, tables.fault_of]
    found: Array = prior / prior.sum(axis=1, keepdims=True)
    return found


def drawn_showing(
    tables: Tables, count: int, random: np.random.Generator, loosened: float = 1.0
) -> tuple[Array, Index]:
    """(N, V) draws of the chances that causes show, and (C, K) which of the V holds for a cause in a condition: cells
    that one number of the rules speaks for share its draw."""
    cells = np.stack([tables.shows_row.ravel().astype(float), tables.shows.ravel()])
    (numbers, values), of = np.unique(cells, axis=1, return_inverse=True)
    weights = np.array([tables.shows_origins[int(n)].weight for n in numbers]) / loosened
    ends = np.maximum(weights * values, LEAST_GAMMA), np.maximum(weights * (1 - values), LEAST_GAMMA)
    drawn = random.beta(*ends, size=(count, len(values)))
    floor = tables.unlikeliest
    return np.clip(drawn, floor, 1 - floor), of.reshape(tables.shows.shape)


def drawn_rows(
    check: CheckTable, count: int, random: np.random.Generator, floor: float, loosened: float = 1.0
) -> Array:
    """(N, D, m) draws of a check's distributions."""
    weights = np.array([origin.weight for origin in check.origins]) / loosened
    above = np.maximum(check.rows - floor, 0.0)
    drawn = random.gamma(np.maximum(weights[:, None] * above, LEAST_GAMMA), size=(count, *above.shape))
    share = above.sum(axis=1, keepdims=True) / np.maximum(drawn.sum(axis=2, keepdims=True), 1e-300)
    rows = check.rows - above + share * drawn
    found: Array = rows / rows.sum(axis=2, keepdims=True)
    return found
