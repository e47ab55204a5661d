"""How often the fault was showing in the spells of a case, given a cause and what was seen in each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from reasoner.inference.evidence import Spell, counted, spell_likelihood
from reasoner.network.tables import Array, Tables


def seen_showing(tables: Tables, spells: Sequence[Spell]) -> list[tuple[int, Array]]:
    """For every spell of a known condition in which something was seen: the condition, and P(showing | cause, answers
    of the spell), (C,)."""
    found = []
    for spell in counted(tables, spells):
        if spell.condition is not None and spell.answers:
            showing, quiet = spell_likelihood(tables, spell)
            either = showing + quiet
            found.append((spell.condition, np.divide(showing, either, out=np.zeros_like(either), where=either > 0)))
    return found
