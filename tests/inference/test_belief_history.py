"""The belief after every prefix is the belief, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell
from reasoner.inference.pairs import tables_with_pairs
from reasoner.inference.weight import belief_moved
from tests.inference.random_models import as_spells, random_model, random_spells
from tests.support import make_tables

TWO, FROM = 0.3, -3.0  # so often, and from so little on, that most of these cars have pairs and some have none


@pytest.mark.parametrize("seed", range(40))
def test_same_as_believe_to_the_last_bit(seed: int) -> None:
    model = random_model(seed)
    tables, spells = make_tables(model), as_spells(random_spells(seed, model))
    ends = range(len(spells) + 1)
    prefixes = [[Spell(s.condition, s.answers if i < end else ()) for i, s in enumerate(spells)] for end in ends]
    found = belief_moved(tables, prefixes, TWO, FROM)
    assert len(found.beliefs) == len(prefixes)
    for prefix, belief in zip(prefixes, found.beliefs, strict=True):
        own = tables_with_pairs(tables, prefix, TWO, FROM)
        at = [found.tables.cause_number[cause.name] for cause in own.causes]
        assert np.array_equal(belief[at], believe(own, prefix).probability)
        assert not np.delete(belief, at).any()  # a pair that was not weighed then
