"""The range of a belief under the rules' own uncertainty.

Every number of the rules is worth so many observed cases (its weight). Each is drawn from the Dirichlet distribution
with that many cases and its written value as mean (Spiegelhalter & Lauritzen 1990: independent rows), the prior
shares from Gamma distributions in the same way, and the belief is computed again for each draw. The draws use a
fixed seed, so the same case gives the same range.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reasoner.inference.evidence import Spell, counted, provoked
from reasoner.network.tables import Array, CheckTable, Tables

DRAWS = 200
SEED = 20
LOW, HIGH = 0.05, 0.95  # nine draws in ten lie between


def draw(tables: Tables, spells: Sequence[Spell], count: int = DRAWS) -> Array:
    """(N, C) beliefs, one for each draw of the rules' numbers."""
    random = np.random.default_rng(SEED)
    floor = tables.unlikeliest
    shares = random.gamma(tables.prior_weights, 1.0 / tables.prior_weights, size=(count, len(tables.faults)))
    with np.errstate(divide="ignore"):
        log = np.log(tables.prior * np.maximum(shares, 1e-12)[:, tables.fault_of])
    rows: dict[int, Array] = {}
    shows = _draw_showing(tables, count, random)
    for spell in counted(tables, spells):
        before = shows.mean(axis=2) if spell.condition is None else shows[:, :, spell.condition]
        before = before + provoked(tables, spell) * np.maximum(0.0, (1 - floor) - before)
        showing, quiet = before, 1.0 - before
        for answer in spell.answers:
            check = tables.checks[answer.check]
            if answer.check not in rows:
                rows[answer.check] = _draw_rows(check, count, floor, random)
            if_showing, if_quiet = np.ones((count, len(tables.causes))), np.ones((count, 1))
            for place, weights in enumerate(answer.weights):
                if weights is not None:
                    by_row = rows[answer.check] @ np.array(weights)
                    if_showing = if_showing * by_row[:, check.index[:, place]]
                    if_quiet = if_quiet * by_row[:, :1]
            showing = showing * if_showing
            quiet = quiet * (if_showing if check.steady else if_quiet)
        log = log + np.log(np.maximum(showing + quiet, 1e-300))
    log -= log.max(axis=1, keepdims=True)
    weights_of = np.exp(log)
    found: Array = weights_of / weights_of.sum(axis=1, keepdims=True)
    return found


def span(draws: Array) -> tuple[Array, Array]:
    """Low and high ends, (X,) each, of draws (N, X)."""
    low, high = np.quantile(draws, (LOW, HIGH), axis=0)
    return low, high


def fault_span(tables: Tables, draws: Array) -> tuple[Array, Array]:
    """Low and high ends, (F,) each, of every fault's probability with its places summed."""
    return span(np.stack([np.bincount(tables.fault_of, weights=row, minlength=len(tables.faults)) for row in draws]))


def _draw_rows(check: CheckTable, count: int, floor: float, random: np.random.Generator) -> Array:
    """(N, D, m) draws of a check's distributions. The floor holds for every draw: misreading is not in doubt."""
    weights = np.array([origin.weight for origin in check.origins])
    drawn = random.gamma(np.maximum(weights[:, None] * check.rows, 1e-3), size=(count, *check.rows.shape))
    drawn = np.maximum(drawn / np.maximum(drawn.sum(axis=2, keepdims=True), 1e-300), floor)
    found: Array = drawn / drawn.sum(axis=2, keepdims=True)
    return found


def _draw_showing(tables: Tables, count: int, random: np.random.Generator) -> Array:
    """(N, C, K) draws of the chance that a cause shows. What is one number in the rules is one number in a draw."""
    written: Array = np.column_stack([tables.shows_row.ravel(), tables.shows.ravel()]).astype(float)
    distinct, of = np.unique(written, axis=0, return_inverse=True)
    weights = np.array([tables.shows_origins[int(n)].weight for n in distinct[:, 0]])
    drawn = random.beta(weights * distinct[:, 1], weights * (1 - distinct[:, 1]), size=(count, len(distinct)))
    found: Array = np.clip(drawn, tables.unlikeliest, 1 - tables.unlikeliest)[:, of.reshape(-1)]
    return found.reshape(count, *tables.shows.shape)
