"""The range of a belief: every number of the rules drawn anew with its weight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell
from reasoner.inference.span import draw, fault_span, span
from reasoner.network.tables import Tables
from tests.inference.random_models import as_spells, random_model, random_spells
from tests.support import PlainCheck, make_tables, plain, seen, spell, yes_no


def case(weight: float) -> tuple[Tables, tuple[Spell, ...]]:
    """Three causes, two looks, all the numbers worth `weight` cases."""
    looks = [
        yes_no("a", [0.8, 0.3, 0.2], otherwise=(0.9, 0.1), ever=False, weight=weight),
        yes_no("b", [0.6, 0.5, 0.1], otherwise=(0.9, 0.1), ever=False, weight=weight),
    ]
    tables = make_tables(plain([0.5, 0.3, 0.2], looks, shows=[(0.6,), (0.5,), (0.3,)], weight=weight))
    return tables, (spell(seen(tables, "a", 1)), spell(seen(tables, "b", 0)))


def width(weight: float) -> np.ndarray:
    low, high = span(draw(*case(weight)))
    return high - low


@pytest.mark.parametrize("seed", range(12))
def test_it_contains_the_belief(seed: int) -> None:
    model = random_model(seed)
    tables, spells = make_tables(model), as_spells(random_spells(seed, model))
    low, high = span(draw(tables, spells))
    p = believe(tables, spells).probability
    assert (low <= p).all() and (p <= high).all()


def test_every_draw_is_a_belief() -> None:
    found = draw(*case(20))
    assert found.shape == (200, 3)
    assert found.sum(axis=1) == pytest.approx(np.ones(200))
    assert (found >= 0).all()


def test_it_is_the_same_each_time() -> None:
    assert (draw(*case(20)) == draw(*case(20))).all()


def test_it_narrows_as_weights_grow() -> None:
    wide, middle, narrow = width(8), width(40), width(400)
    assert (wide > middle).all() and (middle > narrow).all()


def test_it_tends_to_the_belief_when_weights_are_huge() -> None:
    tables, spells = case(1e8)
    low, high = span(draw(tables, spells))
    p = believe(tables, spells).probability
    assert low == pytest.approx(p, abs=1e-3)
    assert high == pytest.approx(p, abs=1e-3)


@pytest.mark.parametrize("seed", range(12))
def test_huge_weights_give_the_belief_in_any_model(seed: int) -> None:
    """Places, provocations, unsure answers, conditions not known: the draws follow the same model as the belief."""
    model = random_model(seed)
    heavy = replace(model, weight=1e10, checks=tuple(replace(c, weight=1e10) for c in model.checks))
    tables, spells = make_tables(heavy), as_spells(random_spells(seed, heavy))
    p = believe(tables, spells).probability
    assert draw(tables, spells, 5) == pytest.approx(np.tile(p, (5, 1)), abs=2e-4)


def test_more_answers_do_not_make_doubtful_numbers_sure() -> None:
    """The numbers are drawn once a draw, not once an answer: ten looks share their doubt."""
    tables, (look, _) = case(8)
    low, high = span(draw(tables, [look] * 3))
    assert (high - low)[0] > 0.1


def test_without_answers_the_range_is_that_of_the_shares() -> None:
    tables, _ = case(20)
    low, high = span(draw(tables, ()))
    assert low[0] < 0.5 < high[0]
    assert high[0] - low[0] < 0.45


def test_one_number_of_the_rules_is_one_number_in_a_draw() -> None:
    """A statement that speaks for two causes moves them together: their ratio stays."""
    shared = PlainCheck("a", (0.9, 0.1), (((0.4, 0.6),), ((0.4, 0.6),), ((0.8, 0.2),)), ever=True, weight=8.0)
    tables = replace(make_tables(plain([0.4, 0.4, 0.2], [shared], shows=[(0.5,)] * 3)), prior_weights=np.full(3, 1e12))
    found = draw(tables, (spell(seen(tables, "a", 1)),))
    assert found[:, 0] == pytest.approx(found[:, 1], rel=1e-4)
    assert found[:, 2].std() > 0.01


def test_places_of_a_fault_sum() -> None:
    tables, spells = case(20)
    tables = replace(tables, fault_of=np.array([0, 0, 1]), faults=("x", "y"), prior_weights=np.array([20.0, 20.0]))
    found = draw(tables, spells)
    low, high = fault_span(tables, found)
    assert low == pytest.approx(np.quantile(np.column_stack([found[:, 0] + found[:, 1], found[:, 2]]), 0.05, axis=0))
    assert (low < high).all()


def test_one_showing_chance_is_one_number_in_every_condition() -> None:
    """`any: often` holds in both conditions: a draw that makes it seldom does so in both."""
    look = yes_no("a", [0.9, 0.1], otherwise=(0.9, 0.1), ever=False, weight=1e12)
    tables = make_tables(plain([0.5, 0.5], [look], shows=[(0.5, 0.5), (0.5, 0.5)], weight=8.0))
    tables = replace(tables, shows_row=np.array([[0, 0], [1, 1]]), prior_weights=np.full(2, 1e12))
    one = draw(tables, (spell(seen(tables, "a", 1)),))
    other = draw(tables, (spell(seen(tables, "a", 1), condition=1),))
    assert one == pytest.approx(other, abs=1e-4)
    assert one[:, 0].std() > 0.02
