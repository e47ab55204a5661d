"""How belief moved: after each of many prefixes of the same answers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell
from reasoner.inference.pairs import tables_with_pairs, with_pairs
from reasoner.network.tables import Array, Tables


def trail(tables: Tables, prefixes: Iterable[Sequence[Spell]]) -> Iterator[Array]:
    """The probability of each cause (C,) after each prefix."""
    return (believe(tables, spells).probability for spells in prefixes)


@dataclass(frozen=True, eq=False)
class Moved:
    """tables: with every pair of causes that was weighed after any prefix. before, beliefs: (C,), 0 for a pair where it
    was not weighed."""

    tables: Tables
    before: Array
    beliefs: tuple[Array, ...]


def belief_moved(tables: Tables, prefixes: Iterable[Sequence[Spell]], share: float, least: float) -> Moved:
    """How belief moved, pairs of causes weighed where asked for. share, least: as in `tables_with_pairs`."""
    each = [(tables_with_pairs(tables, spells, share, least), spells) for spells in prefixes]
    found = [believe(own, spells).probability for own, spells in each]
    pairs = sorted({(int(a), int(b)) for own, _ in each for a, b in own.pairs})
    if not pairs:
        return Moved(tables, tables.prior, tuple(found))
    whole, many = with_pairs(tables, pairs, share), len(tables.prior)
    before = np.zeros(len(whole.prior))
    before[:many] = tables.prior
    beliefs = []
    for (own, _), p in zip(each, found, strict=True):
        belief = np.zeros(len(whole.prior))
        belief[[whole.cause_number[cause.name] for cause in own.causes]] = p
        beliefs.append(belief)
    return Moved(whole, before, tuple(beliefs))
