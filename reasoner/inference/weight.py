"""Weight of evidence in decibans: how far each answer moved each cause.

Ten times the common logarithm of the factor on the odds (A. Turing, "The Applications of Probability to
Cryptography", c. 1941, arXiv:1505.04714; I. J. Good, "Weighing Evidence", 1950). About one deciban is the smallest
change a person perceives.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Evidence, Spell, answers_of, without
from reasoner.network.tables import Array, Tables


@dataclass(frozen=True, eq=False)
class Weight:
    """decibans: (C,), the change in the log odds of each cause when this answer is added to all the others."""

    answer: Evidence
    spell: int
    decibans: Array


def decibans(factor: float) -> float:
    """Decibans of a factor on the odds."""
    return 10.0 * float(np.log10(factor))


def log_odds(probability: Array) -> Array:
    """Ten times the common logarithm of p / (1 - p); the others are summed, not subtracted, so that nothing cancels."""
    before, after = np.cumsum(probability), np.cumsum(probability[::-1])[::-1]
    others = np.append(0.0, before[:-1]) + np.append(after[1:], 0.0)
    tiny = np.finfo(float).tiny
    found: Array = 10.0 * (np.log10(np.maximum(probability, tiny)) - np.log10(np.maximum(others, tiny)))
    return found


def weigh_answers(tables: Tables, spells: Sequence[Spell]) -> tuple[Weight, ...]:
    """Each answer's weight for and against each cause, all the other answers given.

    Order does not matter: an answer weighs what the odds lose when it is taken out.
    """
    full = believe(tables, spells)
    with_all = log_odds(full.probability)
    return tuple(
        Weight(answer, n, with_all - log_odds(believe(tables, without(full.spells, [(n, answer)])).probability))
        for n, answer in answers_of(full.spells)
    )


def believed_without(tables: Tables, spells: Sequence[Spell], checks: Collection[int]) -> Array:
    """(C,) what would be believed without any answer of these checks."""
    rest = [Spell(s.condition, tuple(a for a in s.answers if a.check not in checks)) for s in spells]
    return believe(tables, rest).probability


def decibans_moved(now: Array, before: Array, causes: Sequence[int]) -> float:
    """Decibans by which the odds of these causes, taken together, are higher now. now, before: (C,).

    Of several answers at once that is not the sum of their weights: of three looks that say the same, each is worth
    little beside the other two. Nor is it the weight for one of the causes: what speaks for all four injectors alike
    moves none of them against the others.
    """

    def odds(probability: Array) -> float:
        own = list(causes)
        ours, others = float(probability[own].sum()), float(np.delete(probability, own).sum())
        tiny = float(np.finfo(float).tiny)
        return decibans(max(ours, tiny)) - decibans(max(others, tiny))

    return odds(now) - odds(before)
