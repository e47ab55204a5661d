"""How often the fault was showing in the spells of a case, given a cause and what was seen."""

from __future__ import annotations

from collections.abc import Sequence

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell, provoked
from reasoner.network.tables import Array, Tables


def seen_showing(tables: Tables, spells: Sequence[Spell]) -> list[tuple[int, Array]]:
    """For every spell of a known condition in which something was seen that hangs on the state, and in which nothing
    brought the fault on: the condition, and P(showing | cause, all answers), (C,)."""
    belief = believe(tables, spells)
    return [
        (spell.condition, belief.showed(n))
        for n, spell in enumerate(belief.spells)
        if spell.condition is not None and n in belief.case.telling and not provoked(tables, spell)
    ]
