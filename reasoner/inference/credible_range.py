"""The range of a belief under the rules' own uncertainty: what is believed when every number is drawn again and again.

The draws (`perturbed`, and its parts) are from a fixed seed, so the same case gives the same range. Virtual cars are
drawn in the same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import replace

import numpy as np

from reasoner.inference.belief import Belief, Numbers, believe, by_activity, log_sum, weigh_part
from reasoner.inference.evidence import Spell
from reasoner.inference.lasting import TINY
from reasoner.network import activity
from reasoner.network.activity import acts_of_many
from reasoner.network.tables import Array, CheckTable, Index, Tables

DRAWS = 60
SEED = 20
LOW, HIGH = 0.05, 0.95  # nine draws in ten lie between


def draw(tables: Tables, spells: Sequence[Spell], count: int = DRAWS) -> Array:
    """(N, C) beliefs, one for each draw of the rules' numbers.

    Of a pair of causes the draws are not worked out anew: what a draw moves each of the two by, it moves the pair by.
    """
    single = tables.singles or tables
    belief = believe(single, spells)
    found = _weights(single, belief, count)
    if tables.singles:
        now = [np.log(np.maximum(b.probability, TINY)) for b in (belief, believe(tables, spells))]
        moved = found - now[0] - (belief.log_evidence - belief.case.scale)
        both = moved[:, tables.pairs].sum(axis=2) - np.median(moved, axis=1, keepdims=True)  # once what moves all
        found = now[1] + np.hstack([moved, both])
    weights = np.exp(found - found.max(axis=1, keepdims=True))
    beliefs: Array = weights / weights.sum(axis=1, keepdims=True)
    return beliefs


def _weights(tables: Tables, belief: Belief, count: int) -> Array:
    """(N, C) logs of the causes' weights, one for each draw."""
    case = belief.case
    prior, each, of, random = tables.kept.once("drawn", count, lambda: _drawn(tables, count))
    random = deepcopy(random)
    acts = {k: _acts(each, of, k) for k in {case.spells[n].condition for n in case.telling}}
    rows = {
        c: drawn_rows(tables.checks[c], count, random, tables.unlikeliest)
        for c in sorted({answer.check for spell in case.spells for answer in spell.answers})
    }
    numbers = Numbers(rows, acts, tables.activities)
    single, log = by_activity(tables, case, numbers)
    for joint in belief.joints:
        log = log + weigh_part(tables, joint.part, single, numbers, joint.cases)[1]
    found: Array = prior + log_sum(log)
    return found


def _drawn(tables: Tables, count: int) -> tuple[Array, Array, Index, np.random.Generator]:
    """What hangs on no answer: (N, C) logs of the prior, (N, V, J) chances of showing, (C, K) which of the V holds, and
    the generator as it is after these."""
    random = np.random.default_rng(SEED)
    with np.errstate(divide="ignore"):
        prior = np.log(drawn_prior(tables, count, random))
    shows, of = drawn_showing(tables, count, random)
    return prior, acts_of_many(shows, tables.sigma), of, random


def _acts(each: Array, of: Index, condition: int | None) -> Array:
    """(N, C, J) chance of showing at each activity; not knowing the condition, the mean over all."""
    if condition is not None:
        return each[:, of[:, condition]]
    kinds, row = np.unique(of, axis=0, return_inverse=True)
    found: Array = np.stack([each[:, kind].mean(axis=1) for kind in kinds], axis=1)[:, row.reshape(-1)]
    return found


def credible_bounds(draws: Array) -> tuple[Array, Array]:
    """Low and high ends, (X,) each, of draws (N, X)."""
    low, high = np.quantile(draws, (LOW, HIGH), axis=0)
    return low, high


def fault_bounds(tables: Tables, draws: Array) -> tuple[Array, Array]:
    """Low and high ends, (F,) each, of every fault's probability with its places summed."""
    return credible_bounds(
        np.stack([np.bincount(tables.fault_of, weights=row, minlength=len(tables.faults)) for row in draws])
    )


# ---- numbers drawn anew ----------------------------------------------------------------------------------------------
# Distributions are drawn from Dirichlet, showing chances from Beta and shares from Gamma distributions, each with its
# written value as mean and as many cases as it is worth (its weight: Spiegelhalter & Lauritzen 1990, independent rows).
# Misreading is not in doubt: the floor is kept, and what is above it is drawn.


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
