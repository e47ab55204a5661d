"""The gain of many looks with checks that have a single place, worked out together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reasoner.inference.exchangeable import negative_plogp
from reasoner.network.tables import Array, Index, Tables


def sweep(tables: Tables, showing: Array, quiet: Array) -> Array:
    """(T,) gain in bits of one look with every check that has a single place; nan for the others."""
    checks = stacked(tables).checks
    found = np.full(len(tables.checks), np.nan)
    found[checks] = swept(tables, checks, np.zeros(len(checks), dtype=np.intp), showing[None], quiet[None])
    return found


def swept(tables: Tables, checks: Index, at: Index, showing: Array, quiet: Array) -> Array:
    """(N,) gain in bits of N looks with checks of a single place, look i at the moment `at[i]`.

    showing, quiet: (K, C), P(cause, showing) and P(cause, quiet) at each of the moments.
    """
    stack, moments = stacked(tables), len(showing)
    sizes = stack.sizes[checks]
    begin = np.cumsum(sizes) - sizes
    rows = np.arange(int(sizes.sum())) + np.repeat(stack.first[checks] - begin, sizes)
    # A check that the state does not matter to sees the fault at any moment: moments K to 2 K.
    moment = np.repeat(at, sizes) + moments * stack.steady[rows]
    either = showing + quiet
    seen = stack.showing[rows] * np.concatenate([showing, either])[moment]
    by_class = np.add.reduceat(seen, tables.class_starts, axis=1)
    unseen = np.add.reduceat(quiet, tables.class_starts, axis=1)
    by_class += stack.quiet[rows] * np.concatenate([unseen, np.zeros_like(unseen)])[moment]
    by_row = negative_plogp(by_class.sum(axis=1)) - negative_plogp(by_class).sum(axis=1)
    open_bits = negative_plogp(np.add.reduceat(either, tables.class_starts, axis=1)).sum(axis=1)
    found: Array = np.maximum(0.0, np.add.reduceat(by_row, begin) + open_bits[at])
    return found


@dataclass(frozen=True, eq=False)
class Stack:
    """All checks with a single place on top of one another.

    showing: (N, C) outcome probabilities while showing; quiet: (N, 1) while quiet; steady: (N,), 1 where the state does
    not matter. first, sizes: (T,) where each check begins among the N rows and how many it has; checks: which have any.
    """

    showing: Array
    quiet: Array
    steady: Index
    first: Index
    sizes: Index
    checks: Index


def stacked(tables: Tables) -> Stack:
    """The stack of these tables, made once: tables never change."""
    return tables.kept.once("stack", None, lambda: _stacked(tables))


def _stacked(tables: Tables) -> Stack:
    sizes = np.array([len(c.outcomes) if len(c.places) == 1 else 0 for c in tables.checks])
    picked = [c for c in tables.checks if len(c.places) == 1]
    return Stack(
        np.vstack([c.rows[c.index[:, 0]].T for c in picked]),
        np.concatenate([c.rows[0] for c in picked])[:, None],
        np.repeat([int(c.steady) for c in picked], [len(c.outcomes) for c in picked]),
        np.cumsum(sizes) - sizes,
        sizes,
        np.flatnonzero(sizes),
    )
