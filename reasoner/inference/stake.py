"""What a check is worth for what is done afterwards: the expected value of its outcome, in whatever losses count.

The value of information of Howard ("Information Value Theory", IEEE Trans. SSC 2:22-26, 1966): the least expected loss
now, less the mean over the outcomes of the least expected loss when the outcome is known. Exact: every joint outcome.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reasoner.inference.cells import joint_table
from reasoner.inference.gain import repeated
from reasoner.inference.plan import Option, Situation, states
from reasoner.network.tables import Array, CheckTable, Index, Tables


def loss_table(losses: Sequence[Sequence[float]]) -> Array:
    """(X, C): the loss of each course under each cause."""
    return np.array(losses, dtype=float)


def expected_losses(losses: Array, weights: Sequence[float]) -> list[float]:
    """(X,) losses of the courses, weighted by cause. losses: (X, C); weights: (C,)."""
    found: list[float] = (losses @ np.array(weights)).tolist()
    return found


def least_after(tables: Tables, now: Situation, option: Option, losses: Array) -> float:
    """Expected loss when the outcome of a check is known before one of several courses is taken. losses: (X, C)."""
    found = _by_outcome if option.times == 1 else _by_counts
    return float(found(tables, now, option, losses).min(axis=0).sum())


def _by_outcome(tables: Tables, now: Situation, option: Option, losses: Array) -> Array:
    """(X, O): loss of each course times the chance of each joint outcome. Causes of one pattern are summed first."""
    check = tables.checks[option.check]
    showing, quiet = states(tables, now, option)
    by_pattern, of = _patterns(tables, check, option.place)
    sums = np.zeros((len(by_pattern), len(losses)))
    np.add.at(sums, of, (losses * (showing + quiet if check.steady else showing)).T)
    if not check.steady:
        sums[-1] = losses @ quiet
    found: Array = sums.T @ by_pattern
    return found


def _by_counts(tables: Tables, now: Situation, option: Option, losses: Array) -> Array:
    """The same for the counts of each outcome over several looks, each in a new spell of the condition."""
    assert option.condition is not None  # repeats are done in new spells of a condition
    many = repeated(tables, tables.checks[option.check], option.condition, option.times)
    found: Array = (losses * now.probability) @ many
    return found


def _patterns(tables: Tables, check: CheckTable, place: int | None) -> tuple[Array, Index]:
    """(U, O) joint outcomes by pattern, the quiet one last, and each cause's pattern; made once."""
    made: dict[tuple[str, int | None], tuple[Array, Index]] = tables.__dict__.setdefault("_joint", {})
    key = (check.name, place)
    if key not in made:
        if place is None:
            made[key] = joint_table(check)
        else:
            rows, of = np.unique(check.index[:, place], return_inverse=True)
            made[key] = np.vstack([check.rows[rows], check.rows[:1]]), of.reshape(-1)
    return made[key]
