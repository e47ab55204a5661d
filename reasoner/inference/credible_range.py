"""The range of a belief under the rules' own uncertainty: what is believed when every number is drawn again and again.

The draws are those of `inference.perturb`, from a fixed seed, so the same case gives the same range.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy

import numpy as np

from reasoner.inference.belief import Belief, Numbers, believe, by_activity, log_sum, weigh_part
from reasoner.inference.evidence import Spell
from reasoner.inference.lasting import TINY
from reasoner.inference.perturb import drawn_prior, drawn_rows, drawn_showing
from reasoner.network.activity import acts_of_many
from reasoner.network.tables import Array, Index, Tables

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


def span(draws: Array) -> tuple[Array, Array]:
    """Low and high ends, (X,) each, of draws (N, X)."""
    low, high = np.quantile(draws, (LOW, HIGH), axis=0)
    return low, high


def fault_span(tables: Tables, draws: Array) -> tuple[Array, Array]:
    """Low and high ends, (F,) each, of every fault's probability with its places summed."""
    return span(np.stack([np.bincount(tables.fault_of, weights=row, minlength=len(tables.faults)) for row in draws]))
