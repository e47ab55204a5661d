"""The tables as this car's answers make them: how often it shows, and what a check shows that was looked at before.

All that looks ahead reads these as it would read the rules' own. For what was not looked at yet they are exact. What
was looked at has, under each cause (or all causes under which it shows the same), the mean over what the states may
have been: of a check at one place that is nearly what is believed after each of its outcomes; what is shown to a person
is worked out by believing each (`inference.foresee`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType

import numpy as np

from reasoner.inference.belief import Belief
from reasoner.inference.evidence import as_reported
from reasoner.inference.lasting import looks_likelihood
from reasoner.inference.pairs import on_the_mean
from reasoner.network.tables import Array, CheckTable, Tables

ROUND = 12  # decimals to which rows are the same


def expected_tables(
    tables: Tables,
    belief: Belief,
    right: float,
    unsure: Mapping[int, float] = MappingProxyType({}),
    only: Collection[int] | None = None,
) -> Tables:
    """The tables for what comes next, as it will be reported: right with this chance.

    unsure: the same of single checks that were hard to tell; what made it so is there the next time too. only: the
    checks that are wanted of it (None: all).
    """
    said = as_reported(tables, right)
    checks = list(said.checks)
    for number, weights, showing, quiet, share in _looked_at(tables, belief):
        if only is not None and number not in only:
            continue
        table = _after(tables.checks[number], belief.probability, weights, showing, quiet, share)
        sure = unsure.get(number, right)
        wrong = (1.0 - sure) / max(1, len(table.outcomes) - 1)
        checks[number] = replace(table, rows=table.rows * (sure - wrong) + wrong)
    shows = np.einsum("cj,ckj->ck", belief.nodes, tables.acts)
    found = replace(said, checks=tuple(checks), shows=shows, nodes=belief.nodes)
    return found if belief.pairs is None else on_the_mean(tables, belief, found)


def _looked_at(tables: Tables, belief: Belief) -> Iterator[tuple[int, Array, Array, Array, Array]]:
    """Every check that was looked at and can be again, with its looks (L, P, m), how often each was made while showing
    and quiet in each case (S, L), and the chance of each case under each cause (C, S)."""
    case = belief.case
    for looks in case.steady:
        if not tables.checks[looks.check].ever:
            ones = np.ones((1, len(looks.spells)))
            yield looks.check, looks.weights, ones, 0.0 * ones, np.ones((len(tables.prior), 1))
    for looks in case.alone:
        showed = belief.showed(looks.spells[0])
        states = np.array([[1.0], [0.0]])
        yield looks.check, looks.weights, states, 1.0 - states, np.column_stack([showed, 1.0 - showed])
    for joint in belief.joints:
        by_case = np.einsum("cj,cjs->cs", belief.nodes, joint.share)
        for looks in joint.part.shared:
            showing, quiet, of = joint.part.times(looks, joint.cases)
            share = np.zeros((len(by_case), len(showing)))
            np.add.at(share.T, of, by_case.T)
            yield looks.check, looks.weights, showing, quiet, share


def _after(
    check: CheckTable, probability: Array, weights: Array, showing: Array, quiet: Array, share: Array
) -> CheckTable:
    """The check's table after looks at it."""
    kinds, of = check.index, np.arange(len(check.index))
    if len(check.places) > 1:
        kinds, of = check.patterns[0][:-1], check.patterns[1]
    mixed = np.full((len(kinds), share.shape[1]), 1e-12) * share.mean(axis=0)
    np.add.at(mixed, of, probability[:, None] * share)
    mixed /= mixed.sum(axis=1, keepdims=True)  # (U, S)
    on = looks_likelihood(check.rows, check.again, weights, showing).next
    on[:1] = looks_likelihood(check.rows[:1], check.again[:1], weights, showing + quiet).next
    off = looks_likelihood(check.rows[:1], check.again[:1], weights, quiet).next[0]
    places = range(len(check.places))
    rows = np.stack([np.einsum("us,usm->um", mixed, on[kinds[:, p], :, p]) for p in places], axis=1)  # (U, P, m)
    hidden = np.stack([np.einsum("us,sm->um", mixed, off[:, p]) for p in places], axis=1)
    hidden = np.where((kinds == 0)[..., None], rows, hidden)
    chances = np.bincount(of, probability, len(kinds))
    nothing = np.einsum("u,upm->m", chances, hidden) / chances.sum() / len(check.places)
    flat = rows.reshape(-1, rows.shape[-1])
    again = check.again[kinds.ravel()]
    _, first, row_of = np.unique(np.round(flat, ROUND), axis=0, return_index=True, return_inverse=True)
    return replace(
        check,
        rows=np.vstack([nothing, flat[first]]),
        again=np.concatenate([check.again[:1], again[first]]),
        origins=(check.origins[0],) * (len(first) + 1),
        index=(row_of.reshape(kinds.shape) + 1)[of],
    )
