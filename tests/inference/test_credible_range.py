"""The range of a belief: every number of the rules drawn anew with its weight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.credible_range import DRAWS, credible_bounds, draw, fault_bounds
from reasoner.inference.evidence import Spell
from reasoner.network.tables import Tables
from tests.inference.random_models import as_spells, random_model, random_spells
from tests.support import PlainCheck, make_tables, origin, plain, seen, spell, yes_no


def case(weight: float) -> tuple[Tables, tuple[Spell, ...]]:
    """Three causes, two looks, all the numbers worth `weight` cases."""
    looks = [
        yes_no("a", [0.8, 0.3, 0.2], otherwise=(0.9, 0.1), ever=False, weight=weight),
        yes_no("b", [0.6, 0.5, 0.1], otherwise=(0.9, 0.1), ever=False, weight=weight),
    ]
    tables = make_tables(plain([0.5, 0.3, 0.2], looks, shows=[(0.6,), (0.5,), (0.3,)], weight=weight))
    return tables, (spell(seen(tables, "a", 1)), spell(seen(tables, "b", 0)))


def width(weight: float) -> np.ndarray:
    low, high = credible_bounds(draw(*case(weight)))
    return high - low


@pytest.mark.parametrize("seed", range(12))
def test_it_contains_the_belief(seed: int) -> None:
    model = random_model(seed)
    tables, spells = make_tables(model), as_spells(random_spells(seed, model))
    low, high = credible_bounds(draw(tables, spells))
    p = believe(tables, spells).probability
    assert (low <= p).all() and (p <= high).all()


def test_every_draw_is_a_belief() -> None:
    found = draw(*case(20))
    assert found.shape == (DRAWS, 3)
    assert found.sum(axis=1) == pytest.approx(np.ones(DRAWS))
    assert (found >= 0).all()


def test_it_is_the_same_each_time() -> None:
    assert (draw(*case(20)) == draw(*case(20))).all()


def test_it_narrows_as_weights_grow() -> None:
    wide, middle, narrow = width(8), width(40), width(400)
    assert (wide > middle).all() and (middle > narrow).all()


def test_it_tends_to_the_belief_when_weights_are_huge() -> None:
    tables, spells = case(1e8)
    low, high = credible_bounds(draw(tables, spells))
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
    low, high = credible_bounds(draw(tables, [look] * 3))
    assert (high - low)[0] > 0.1


def test_without_answers_the_range_is_that_of_the_shares() -> None:
    tables, _ = case(20)
    low, high = credible_bounds(draw(tables, ()))
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
    low, high = fault_bounds(tables, found)
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


# --- the distributions that are drawn from, by their moments (Gelman et al., "Bayesian Data Analysis", 3rd edition,
# --- appendix A: Dirichlet mean m, variance m (1 - m) / (w + 1) for a weight of w cases; from memory) -----------------

MANY = 4000  # draws: a mean is known to a hundredth of what the numbers spread, a spread to a fiftieth


def agrees(found: np.ndarray, mean: float, cases: float) -> None:
    spread = (mean * (1 - mean) / (cases + 1)) ** 0.5
    assert found.mean() == pytest.approx(mean, abs=4 * spread / MANY**0.5)
    assert found.std() == pytest.approx(spread, rel=0.06)


def test_shares_with_weights_in_proportion_are_drawn_from_a_dirichlet() -> None:
    prior, cases = [0.5, 0.3, 0.2], 12.0
    tables = make_tables(plain(prior, [yes_no("a", [0.5] * 3)], shows=[(0.5,)] * 3))
    found = draw(replace(tables, prior_weights=cases * tables.prior), (), MANY)
    for cause, share in enumerate(prior):
        agrees(found[:, cause], share, cases)


def odds(tables: Tables, answer: Spell) -> np.ndarray:
    """How likely the answer is under the first cause, in draws where under the second it is 0.5 as a fact."""
    found = draw(replace(tables, prior_weights=np.full(2, 1e12)), (answer,), MANY)
    return 0.5 * found[:, 0] / found[:, 1]


def test_a_number_of_a_check_is_drawn_with_its_own_weight() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.3, 0.5])], shows=[(0.5,)] * 2, unlikeliest=1e-9))
    look = replace(tables.checks[0], origins=(origin(1e12), origin(9.0)))
    tables = replace(tables, checks=(look,))
    agrees(odds(tables, spell(seen(tables, "a", 1))), 0.3, 9.0)


def test_a_chance_of_showing_is_drawn_with_its_own_weight() -> None:
    look = yes_no("a", [1.0, 1.0], otherwise=(1.0, 0.0), ever=False, weight=1e12)
    tables = make_tables(plain([0.5, 0.5], [look], shows=[(0.3,), (0.5,)], unlikeliest=1e-9))
    tables = replace(tables, shows_origins=(origin(9.0), origin(1e12)))
    agrees(odds(tables, spell(seen(tables, "a", 1))), 0.3, 9.0)


def test_thousands_of_answers_still_have_a_range() -> None:
    tables, (look, other) = case(20)
    found = draw(tables, [look, other] * 1000)
    assert np.isfinite(found).all() and found.sum(axis=1) == pytest.approx(np.ones(DRAWS))
