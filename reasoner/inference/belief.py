"""The probability of each cause given all the answers.

P(c | answers) is proportional to prior(c) * product over spells of L_e(c): Bayes' rule with one hidden state a spell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.inference.evidence import Spell, chance_showing, counted, spell_likelihood
from reasoner.network.tables import Array, Tables


class Contradiction(ValueError):
    """The answers are impossible under every cause. Cannot happen while no outcome has probability 0."""


@dataclass(frozen=True, eq=False)
class Belief:
    """probability: (C,). showing: (C,), P(the present spell is showing | cause, answers).

    log_evidence: natural logarithm of P(answers). spells: as counted.
    """

    probability: Array
    showing: Array
    log_evidence: float
    spells: tuple[Spell, ...]


def believe(tables: Tables, spells: Sequence[Spell]) -> Belief:
    """Belief after all answers of all spells. The last spell is the present one.

    Raises Contradiction when no cause allows the answers.
    """
    spells = counted(tables, spells)
    with np.errstate(divide="ignore"):
        log = np.log(tables.prior)
        present = chance_showing(tables, None)
        for spell in spells:
            showing, quiet = spell_likelihood(tables, spell)
            either = showing + quiet
            log = log + np.log(either)
            present = np.divide(showing, either, out=np.zeros_like(either), where=either > 0)
    peak = log.max()
    if not np.isfinite(peak):
        raise Contradiction("no cause allows these answers together")
    weights = np.exp(log - peak)
    total = weights.sum()
    return Belief(weights / total, present, float(peak + np.log(total)), spells)


def normal(log: Array) -> Array:
    """Probabilities from their logarithms, which are right but for a constant."""
    weights = np.exp(log - log.max())
    found: Array = weights / weights.sum()
    return found


def by_class(tables: Tables, probability: Array) -> Array:
    """Probability of each repair class (R,)."""
    return np.add.reduceat(probability, tables.class_starts)


def by_fault(tables: Tables, probability: Array) -> Array:
    """Probability of each fault, whatever its place (F,)."""
    return np.bincount(tables.fault_of, weights=probability, minlength=len(tables.faults)).astype(float)


def by_cylinder(tables: Tables, probability: Array) -> Array:
    """Probability that a cause sits at each cylinder, among causes that do not touch the whole engine or bank."""
    found = np.zeros(tables.vehicle.cylinders)
    for i, cause in enumerate(tables.causes):
        if cause.where.startswith("cylinder"):
            for cylinder in cause.cylinders:
                found[cylinder - 1] += probability[i]
    return found


def ordered(chances: Array, count: int) -> list[int]:
    """Numbers of the `count` largest, largest first; ties in the order of the tables."""
    return [int(i) for i in np.argsort(-chances, kind="stable")[:count]]


def leader(tables: Tables, probability: Array, *, repair_class: int | None = None, fault: int | None = None) -> int:
    """The likeliest cause of a repair class, or of a fault, or of all."""
    own = np.ones(len(probability), dtype=bool)
    if repair_class is not None:
        own &= tables.class_of == repair_class
    if fault is not None:
        own &= tables.fault_of == fault
    return int(np.where(own, probability, -1.0).argmax())
