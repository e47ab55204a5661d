"""How belief moved: after each of many prefixes of the same answers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell
from reasoner.network.tables import Array, Tables


def trail(tables: Tables, prefixes: Iterable[Sequence[Spell]]) -> Iterator[Array]:
    """The probability of each cause (C,) after each prefix."""
    return (believe(tables, spells).probability for spells in prefixes)
