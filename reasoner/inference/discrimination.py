"""How well single checks tell causes from each other, at even odds: what the rules can do, whatever the case.

Between two causes held equally likely, the expected information of a check is the Jensen-Shannon divergence of its
outcomes under the two (J. Lin, Divergence measures based on the Shannon entropy, IEEE Transactions on Information
Theory 37(1), 1991, 145-151): 0 where it shows the same under both, 1 bit where it settles the matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.network.tables import Array, CheckTable, Index, Tables

ALIKE_FROM = 3  # places from which it pays to look whether they are alike


def outcomes_seen(tables: Tables, check: CheckTable, causes: Sequence[int], condition: int | None) -> Array:
    """(N, P, m): how often each outcome is seen, one look in a new spell of the condition, at each of the places that
    are not alike for all these causes.

    condition None: while the fault is showing.
    """
    index = check.index[list(causes)]
    showing = check.rows[index if index.shape[1] < ALIKE_FROM else np.unique(index, axis=1)]
    if check.steady or condition is None:
        return showing
    shows = tables.shows[list(causes), condition][:, None, None]
    mixed: Array = shows * showing + (1.0 - shows) * check.rows[0]
    return mixed


def even_odds(first: Array, second: Array) -> Array:
    """Bits that one look brings between two distributions over the last axis, held equally likely."""
    middle = (first + second) / 2.0
    return _entropy(middle) - (_entropy(first) + _entropy(second)) / 2.0


def _entropy(p: Array) -> Array:
    """Bits over the last axis; all probabilities are above 0."""
    found: Array = (p * np.log2(p)) @ np.full(p.shape[-1], -1.0)
    return found


@dataclass(frozen=True, eq=False)
class Telling:
    """bits: (N, N) of the best single look. check: (N, N) its number. causes: which cause each row stands for.

    says: (T,) bits of each check's best look between the two causes that it tells apart best, or between one of them
    and nothing to be seen.
    """

    causes: tuple[int, ...]
    bits: Array
    check: Index
    says: Array


def telling(tables: Tables, causes: Sequence[int]) -> Telling:
    """For each pair of causes, the check and the bits of the one look that tells them apart best.

    A look at several places counts by the place that says most.
    """
    n, numbers = len(causes), np.array(causes, dtype=np.intp)
    bits, which = np.zeros((n, n)), np.full((n, n), -1, dtype=np.intp)
    says = np.zeros(len(tables.checks))
    for number, check in enumerate(tables.checks):
        speaks = check.index[numbers].any(axis=1)
        kinds = np.concatenate([np.flatnonzero(speaks), np.flatnonzero(~speaks)[:1]])  # one for all it says nothing of
        of = np.where(speaks, np.cumsum(speaks) - 1, len(kinds) - 1)
        found = np.stack(
            [outcomes_seen(tables, check, numbers[kinds].tolist(), k) for k in conditions_to_look_in(tables, check)]
        )
        pairs = even_odds(found[:, :, None], found[:, None]).max(axis=(0, -1))[of[:, None], of]
        better = pairs > bits
        bits[better], which[better] = pairs[better], number
        says[number] = max(pairs.max(), even_odds(found, check.rows[0]).max())
    return Telling(tuple(causes), bits, which, says)


def conditions_to_look_in(tables: Tables, check: CheckTable) -> Sequence[int | None]:
    """The conditions in which a look can differ."""
    return (None,) if check.steady else check.conditions or tuple(range(len(tables.conditions)))


def raises(tables: Tables, check: CheckTable, first: int = 0) -> Array:
    """(C,) How many times likelier an outcome is under a cause, while it shows, than under the rest: at the most.

    The rest is all other faults, weighed by their priors. first: 1 leaves out what a sound car shows.
    NaN for a fault beside which there is none.
    """

    def work() -> Array:
        rows = check.rows[check.index]  # (C, P, m)
        weighed = tables.prior[:, None, None] * rows
        own = np.zeros((len(tables.faults), *rows.shape[1:]))
        np.add.at(own, tables.fault_of, weighed)
        share = np.bincount(tables.fault_of, weights=tables.prior, minlength=len(tables.faults))
        with np.errstate(divide="ignore", invalid="ignore"):
            rest = (weighed.sum(axis=0) - own) / (1.0 - share)[:, None, None]
            times: Array = (rows / rest[tables.fault_of]).max(axis=1)
        return times

    found: Array = tables.kept.once("raises", check.name, work)[:, first:].max(axis=1)
    return found
