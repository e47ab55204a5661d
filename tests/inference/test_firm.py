"""The belief with the rules' own uncertainty counted in, against formulas and against averages over drawn rules."""

from __future__ import annotations

from dataclasses import replace
from math import exp, lgamma

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell
from reasoner.inference.firm import firm_belief
from reasoner.inference.perturb import perturbed
from reasoner.network.tables import Array, Tables
from tests.inference.random_models import as_spells, random_model, random_spells
from tests.support import make_tables, origin, plain, seen, yes_no


def beta_binomial(hits: int, misses: int, mean: float, cases: float) -> float:
    """Probability of one order of so many hits and misses when the rate is Beta distributed: Gelman et al., "Bayesian
    Data Analysis", 3rd edition, appendix A (from memory)."""
    a, b = cases * mean, cases * (1.0 - mean)
    return exp(
        lgamma(a + hits) + lgamma(b + misses) - lgamma(a + b + hits + misses) + lgamma(a + b) - lgamma(a) - lgamma(b)
    )


def looks(tables: Tables, outcomes: list[int], condition: int = 0) -> tuple[Spell, ...]:
    return tuple(Spell(condition, (seen(tables, "look", o, number=i),)) for i, o in enumerate(outcomes))


def test_one_use_of_each_number_is_the_plain_belief() -> None:
    checks = [yes_no("look", [0.9, 0.2, 0.5], ever=False), yes_no("other", [0.3, 0.6, 0.1])]
    tables = make_tables(plain([0.5, 0.3, 0.2], checks, shows=[(0.7,), (0.4,), (1.0,)]))
    spells = (Spell(0, (seen(tables, "look", 1), seen(tables, "other", 0, number=1))),)
    assert firm_belief(tables, spells) == pytest.approx(believe(tables, spells).probability, abs=1e-12)


@pytest.mark.parametrize("outcomes", [[1, 1], [1, 1, 1, 1, 1], [0, 1, 1, 0], [0, 0, 0]])
def test_a_number_used_again_learns(outcomes: list[int]) -> None:
    """Two causes that always show: the likelihood of the looks is beta-binomial under each."""
    rates, cases = (0.8, 0.3), 8.0
    tables = make_tables(plain([0.5, 0.5], [yes_no("look", rates, ever=False, weight=cases)], shows=[(1.0,), (1.0,)]))
    hits = sum(outcomes)
    by_hand = np.array([beta_binomial(hits, len(outcomes) - hits, rate, cases) for rate in rates])
    found = firm_belief(tables, looks(tables, outcomes))
    assert found == pytest.approx(by_hand / by_hand.sum(), abs=1e-9)
    surer = believe(tables, looks(tables, outcomes)).probability
    assert found.max() < surer.max()  # never firmer than with numbers that are known


def test_how_often_it_shows_learns_too() -> None:
    """One cause that shows in half of the spells, one in a tenth; the look tells without fail whether it does."""
    shows, cases = (0.5, 0.1), 8.0
    look = yes_no("look", [1.0, 1.0], otherwise=(1.0, 0.0), ever=False, weight=1e9)
    tables = make_tables(plain([0.5, 0.5], [look], shows=[(s,) for s in shows], weight=cases))
    by_hand = np.array([beta_binomial(4, 1, rate, cases) for rate in shows])
    found = firm_belief(tables, looks(tables, [1, 1, 0, 1, 1]))
    assert found == pytest.approx(by_hand / by_hand.sum(), abs=1e-6)


@pytest.mark.parametrize(
    ("rows", "values", "one_number"),
    [((0, 0), (0.5, 0.5), True), ((0, 1), (0.5, 0.5), False), ((0, 0), (0.5, 0.2), False)],
)
def test_conditions_learn_together_only_where_one_number_speaks_for_both(
    rows: tuple[int, int], values: tuple[float, float], one_number: bool
) -> None:
    """Three spells in either condition, the look telling without fail whether the first cause acts; the second acts
    in half of all spells as a fact. One statement with one value is one rate, everything else two."""
    look, cases = yes_no("look", [1.0, 1.0], otherwise=(1.0, 0.0), ever=False, weight=1e9), (8.0, 1e9)
    model = plain([0.5, 0.5], [look], shows=[values, (0.5, 0.5)])
    tables = replace(
        make_tables(model),
        shows_row=np.array([rows, (2, 2)]),
        shows_origins=tuple(origin(w) for w in (cases[0], cases[0], cases[1])),
    )
    first, second = [1, 1, 0], [1, 1, 1]
    spells = looks(tables, first, 0) + looks(tables, second, 1)
    apart = beta_binomial(2, 1, values[0], cases[0]) * beta_binomial(3, 0, values[1], cases[0])
    by_hand = np.array([beta_binomial(5, 1, values[0], cases[0]) if one_number else apart, 0.5**6])
    assert firm_belief(tables, spells) == pytest.approx(by_hand / by_hand.sum(), abs=1e-6)


def test_a_spell_in_which_it_was_provoked_says_nothing_of_how_often_it_shows() -> None:
    """Brought on for sure, then left alone: every number is used once, so the belief is the plain one."""
    look = yes_no("look", [0.9, 0.7], otherwise=(0.95, 0.05), ever=False)
    heat = yes_no("heat", [0.8, 0.3], otherwise=(0.9, 0.1), ever=False, provokes=True)
    tables = make_tables(plain([0.5, 0.5], [look, heat], shows=[(0.5,), (0.1,)], weight=4.0))
    spells = (Spell(0, (seen(tables, "heat", 1),)), Spell(0, (seen(tables, "look", 1, number=1),)))
    assert firm_belief(tables, spells) == pytest.approx(believe(tables, spells).probability, abs=1e-12)


def test_what_is_seen_while_it_acts_says_nothing_of_what_is_seen_while_it_does_not() -> None:
    """Each cause acts for sure in one condition and never in the other: two rates under each, learned apart."""
    rates, quiet, cases = (0.8, 0.3), 0.4, 8.0
    look = yes_no("look", rates, otherwise=(1.0 - quiet, quiet), ever=False, weight=cases)
    tables = make_tables(plain([0.5, 0.5], [look], shows=[(1.0, 0.0), (0.0, 1.0)]))
    spells = looks(tables, [1, 1, 0], 0) + looks(tables, [0, 1], 1)
    by_hand = np.array(
        [
            beta_binomial(2, 1, rates[0], cases) * beta_binomial(1, 1, quiet, cases),
            beta_binomial(2, 1, quiet, cases) * beta_binomial(1, 1, rates[1], cases),
        ]
    )
    assert firm_belief(tables, spells) == pytest.approx(by_hand / by_hand.sum(), abs=1e-9)


def drawn(tables: Tables, spells: tuple[Spell, ...], draws: int) -> tuple[Array, Array]:
    """The average over drawn rules of prior times likelihood, and its standard error, both as beliefs."""
    likelihoods = []
    for seed in range(draws):
        one = replace(perturbed(tables, seed), prior=tables.prior)
        belief = believe(one, spells)
        likelihoods.append(belief.probability * np.exp(belief.log_evidence))
    found = np.array(likelihoods)
    total = found.mean(axis=0).sum()
    return found.mean(axis=0) / total, found.std(axis=0) / draws**0.5 / total


@pytest.mark.parametrize("seed", range(8))
def test_near_the_average_over_what_the_rules_may_be(seed: int) -> None:
    """Several spells of a random case, the fault showing in some of them as nobody knows: what was seen is counted by
    the chance that it showed, which is an approximation."""
    model = random_model(seed)
    tables = make_tables(model)
    spells = as_spells(random_spells(seed, model)) * 2
    average, error = drawn(tables, spells, 1500)
    firm, plainly = firm_belief(tables, spells), believe(tables, spells).probability
    assert abs(firm - average).max() < 0.02 + 3 * error.max()
    assert abs(firm - average).sum() <= abs(plainly - average).sum() + 6 * error.max()  # and nearer than without


def test_it_stays_a_belief_where_an_answer_is_impossible_under_a_cause() -> None:
    look = yes_no("look", [1.0, 0.5], ever=False)
    tables = make_tables(plain([0.5, 0.5], [look], shows=[(1.0,), (1.0,)]))
    found = firm_belief(tables, looks(tables, [0, 0, 1]))
    assert found == pytest.approx([0.0, 1.0])
