"""The belief after every prefix is the belief, to the last bit."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell
from reasoner.inference.weight import trail
from tests.inference.random_models import as_spells, random_model, random_spells
from tests.support import make_tables


@pytest.mark.parametrize("seed", range(40))
def test_same_as_believe_to_the_last_bit(seed: int) -> None:
    model = random_model(seed)
    tables, spells = make_tables(model), as_spells(random_spells(seed, model))
    ends = range(len(spells) + 1)
    prefixes = [[Spell(s.condition, s.answers if i < end else ()) for i, s in enumerate(spells)] for end in ends]
    found = list(trail(tables, prefixes))
    assert len(found) == len(prefixes)
    for prefix, probability in zip(prefixes, found, strict=True):
        assert np.array_equal(probability, believe(tables, prefix).probability)
