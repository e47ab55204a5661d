"""Looks at the same thing on the same car: what was seen once lasts, so that seeing it again tells less.

What a check shows at a place, under one row of its probabilities, is a lasting property of the car: two draws from
that row, made once for the car. Every look sees one of the two, either as likely as the other. So a single look has
the row's own probabilities, a second one is the same draw again with even chance, and no number of looks ever tells as
much as two different checks with the same numbers would: all they can find out are the two draws.

`again` is the chance that a second look sees the same draw: 1/2 for the two draws alone. Above it the car has, with
chance 2 again - 1, one single draw; below it, with chance 1 - 2 again, every look is a draw of its own. From 2/3 on
each further look that says the same tells less than the one before, whatever the numbers. A row of little weight is
wrong by the same at every look, which makes looks alike too: see `CheckTable.again`.

Of a check that looks at several places, what is seen where there is nothing to see is, with chance `alike`, one draw
for all of them: a fault of the whole engine of which such a check says nothing may do the same to every cylinder, and
is then spoken against once and not by each cylinder anew. Of a check that looks at both banks the same holds, with
chance `together`, of what is seen while a cause shows that does the same to both: one clean bank clears it.

A look is a likelihood for each outcome (virtual evidence). For looks i with likelihoods w_i the two draws (a, b) have
the chance row[a] row[b] and the likelihood product over i of (w_i[a] + w_i[b]) / 2: exact, and in no order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reasoner.network.tables import Array, CheckTable, Index

TINY = 1e-300


@dataclass(frozen=True, eq=False)
class LooksSeen:
    """log: (..., D, S, P) log likelihood of what was seen at each place under each row.

    next: (..., D, S, P, m) chance of each outcome of one look more."""

    log: Array
    next: Array


def looks_likelihood(rows: Array, again: Array, weights: Array, times: Array) -> LooksSeen:
    """Likelihood of looks under each row. rows: (..., D, m); again: (D,); weights: (L, P, m) of L looks, all 1 where a
    place was not looked at; times: (S, L) how often each look counts, in S cases."""
    one = np.tensordot(times, np.log(np.maximum(weights, TINY)), 1)  # (S, P, m): the same draw at every look
    pairs = np.log(np.maximum((weights[..., :, None] + weights[..., None, :]) / 2.0, TINY))
    two = np.tensordot(times, pairs, 1)  # (S, P, m, m)
    peak = two.max(axis=(-1, -2))  # (S, P)
    row = rows[..., :, None, None, :]
    found = np.einsum("spab,...db->...dspa", np.exp(two - peak[..., None, None]), rows)
    found = (2.0 * np.minimum(again, 1.0 - again))[:, None, None, None] * row * found
    if (again > 0.5).any():
        lasting = np.exp(one - peak[..., None])
        found = found + np.maximum(0.0, 2.0 * again - 1.0)[:, None, None, None] * row * lasting
    if (again < 0.5).any():
        anew = np.log(np.maximum(np.einsum("lpm,...dm->...dlp", weights, rows), TINY))
        anew = np.einsum("sl,...dlp->...dsp", times, anew)
        higher = np.maximum(peak, anew)
        part = np.maximum(0.0, 1.0 - 2.0 * again)[:, None, None]
        found = found * np.exp(peak - higher)[..., None] + row * (part * np.exp(anew - higher))[..., None]
        peak = higher
    total = found.sum(axis=-1)
    with np.errstate(divide="ignore"):
        return LooksSeen(np.log(total) + peak, found / np.maximum(total, TINY)[..., None])


def likelihood(check: CheckTable, looks: Array, showing: Array, quiet: Array, rows: Array | None = None) -> Array:
    """(..., U, S) log likelihood of all looks at a check under each pattern of its index, in S cases.

    looks: (L, P, m). showing, quiet: (S, L) how often each look was made while the fault was showing, and quiet. Where
    a cause has the row that holds with nothing to see, the state makes no difference to what is seen there.
    """
    rows = check.rows if rows is None else rows
    kinds, first, again = check.patterns[0][:-1], rows[..., :1, :], check.again[:1]
    by_row = looks_likelihood(rows, check.again, looks, showing).log
    by_row[..., :1, :, :] = 0.0
    all_, off = (
        looks_likelihood(first, again, looks, times).log[..., 0, :, :] for times in (showing + quiet, quiet)
    )  # (..., S, P)
    nothing: Array | float = 0.0
    for place in range(kinds.shape[1]):
        silent = (kinds[:, place] == 0)[:, None]
        nothing = nothing + np.where(silent, all_[..., None, :, place], off[..., None, :, place])
    if check.alike:
        same = _same_everywhere(first[..., 0, :], kinds, looks, showing + quiet, quiet)
        nothing = np.logaddexp(np.log1p(-check.alike) + nothing, np.log(check.alike) + same)
    found = placed(by_row, kinds)
    both = (kinds[:, 0] > 0) & (kinds == kinds[:, :1]).all(axis=1)
    if check.together and both.any():
        each = np.tensordot(showing, np.log(np.maximum(looks, TINY)), 1).sum(axis=1)  # (S, m)
        same = one_draw(rows[..., kinds[both, 0], :], each)
        with np.errstate(divide="ignore"):  # always together: no chance is left for anything else
            apart = np.log1p(-check.together)
        found[..., both, :] = np.logaddexp(apart + found[..., both, :], np.log(check.together) + same)
    return found + nothing


def _same_everywhere(row: Array, kinds: Index, looks: Array, times: Array, quiet: Array) -> Array:
    """(..., U, S) log likelihood of all that was seen under the row that holds with nothing to see, if one draw holds
    at all places. row: (..., m)."""
    logs = np.log(np.maximum(looks, TINY))
    all_, off = np.tensordot(times, logs, 1), np.tensordot(quiet, logs, 1)  # (S, P, m)
    each: Array | float = 0.0
    for place in range(kinds.shape[1]):
        each = each + np.where((kinds[:, place] == 0)[:, None, None], all_[:, place], off[:, place])  # (U, S, m)
    assert not isinstance(each, float)
    peak = each.max(axis=-1)
    with np.errstate(divide="ignore"):
        found: Array = np.log(np.einsum("usm,...m->...us", np.exp(each - peak[..., None]), row)) + peak
    return found


def one_draw(rows: Array, each: Array) -> Array:
    """(..., U, S) log likelihood of looks that all see one draw. rows: (..., U, m); each: (S, m) their log weights."""
    peak = each.max(axis=-1)
    with np.errstate(divide="ignore"):
        found: Array = np.log(np.einsum("sm,...um->...us", np.exp(each - peak[:, None]), rows)) + peak
    return found


def placed(by_row: Array, kinds: Index) -> Array:
    """(..., U, S) sums over the places of the row that holds at each. by_row: (..., D, S, P); kinds: (U, P)."""
    found: Array = by_row[..., 0][..., kinds[:, 0], :]
    for place in range(1, kinds.shape[1]):
        found = found + by_row[..., place][..., kinds[:, place], :]
    return found
