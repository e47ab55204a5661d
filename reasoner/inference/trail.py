"""How belief moved: after each of many prefixes of the same answers, every spell worked out once.

The arithmetic is that of `belief.believe`, in the same order, so the numbers are the same to the last bit.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from reasoner.inference.belief import normal
from reasoner.inference.evidence import Spell, counted, spell_likelihood
from reasoner.network.tables import Array, Tables


def trail(tables: Tables, prefixes: Iterable[Sequence[Spell]]) -> Iterator[Array]:
    """The probability of each cause (C,) after each prefix."""
    known: dict[Spell, Array] = {}
    with np.errstate(divide="ignore"):  # after work, some causes cannot be
        start = np.log(tables.prior)
    for spells in prefixes:
        log = start
        for spell in counted(tables, spells):
            if spell.answers:  # an empty one adds log 1
                if spell not in known:
                    showing, quiet = spell_likelihood(tables, spell)
                    known[spell] = np.log(showing + quiet)
                log = log + known[spell]
        yield normal(log)
