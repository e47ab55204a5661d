"""What will be believed after a look, outcome by outcome: the very numbers that giving that answer gives.

Each outcome is believed as a sure answer. Over all outcomes, chance times belief is the belief now. Where the look
would take the place of an earlier answer, that one is left out of the belief after it, and the chances are those that
all answers together give.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Evidence, Spell, reported_weights, would_replace
from reasoner.inference.gain import marks
from reasoner.network.tables import Array, Tables

LAST = 10**9  # later than any answer given


class Foreseen(NamedTuple):
    """A joint outcome by its number, last place fastest; its chance; the probability of each cause after it (C,)."""

    outcome: int
    chance: float
    probability: Array


def foresee(
    tables: Tables,
    spells: Sequence[Spell],
    check: int,
    place: int | None,
    begins: tuple[int | None] | None,
    outcomes: Iterable[tuple[int, float]],
    right: float,
) -> Iterator[Foreseen]:
    """Of outcomes, each with its chance where that is known from elsewhere (of a look that takes the place of others).

    place: at that place only. begins: the condition of a new spell that is begun for it; None: in the present spell.
    right: the chance that what is said is what is there.
    """
    table = tables.checks[check]
    now = believe(tables, spells).log_evidence
    replaces = bool(table.stands_for and spells and would_replace(tables, spells, check, begins is not None))
    for outcome, known in outcomes:
        weights: list[tuple[float, ...] | None] = [None] * len(table.places)
        for p, o in marks(table, outcome, place):
            weights[p] = reported_weights(o, len(table.outcomes), right)
        look = Evidence(check, tuple(weights), LAST)
        after = spells if begins is None else begun(spells, begins[0])
        if table.provokes and outcome > 0 and after:
            after = begun(after, after[-1].condition)
        last = after[-1] if after else Spell(None)
        then = believe(tables, (*after[:-1], Spell(last.condition, (*last.answers, look))))
        chance = known if replaces else float(np.exp(then.log_evidence - now))
        yield Foreseen(outcome, chance, then.probability)


def begun(spells: Sequence[Spell], condition: int | None) -> Sequence[Spell]:
    """The spells with a new one in a condition; one in which nothing was seen takes that condition itself."""
    if spells and not spells[-1].answers:
        return (*spells[:-1], Spell(condition))
    return (*spells, Spell(condition))
