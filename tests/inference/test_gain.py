"""Gains against mutual information listed outcome by outcome (slow.py), to 1e-9 bits."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from reasoner.inference.choose import gains
from reasoner.inference.gain import cause_bits, entropy, gain, gain_repeated, information, marks, single_place_gains
from reasoner.inference.plan import Costs, options
from tests.inference import slow
from tests.inference.random_models import as_spells, random_check, random_model, random_spells
from tests.support import Plain, check, make_tables, plain, situation, yes_no

SEEDS = range(25)


def after_answers(seed: int, causes: int = 7) -> tuple[Plain, list[float], list[float]]:
    """A random model, and P(cause), P(showing | cause) after random answers, both by enumeration."""
    model = random_model(seed, causes)
    spells = random_spells(seed, model)
    return model, slow.belief(model, spells), slow.showing_now(model, spells)


@pytest.mark.parametrize("seed", SEEDS)
def test_gain_of_every_check_equals_enumeration(seed: int) -> None:
    model, p, showing = after_answers(seed)
    tables = make_tables(model)
    states = np.array(p) * showing, np.array(p) * (1 - np.array(showing))
    for number, table in enumerate(tables.checks):
        assert gain(tables, table, *states) == pytest.approx(slow.gain(model, number, p, showing), abs=1e-9)


@pytest.mark.parametrize("places", [3, 4])
def test_joint_gain_over_cylinders_equals_enumeration(places: int) -> None:
    rng = random.Random(places)
    model = plain([0.1] * 10, [random_check(rng, "look", 10, places, ever=False)], shows=[(0.3,)] * 10)
    tables = make_tables(model)
    exact = slow.gain(model, 0, [0.1] * 10, [0.3] * 10)
    assert gain(tables, tables.checks[0], np.full(10, 0.03), np.full(10, 0.07)) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_gain_at_one_place_equals_enumeration(seed: int) -> None:
    model, p, showing = after_answers(seed)
    tables = make_tables(model)
    states = np.array(p) * showing, np.array(p) * (1 - np.array(showing))
    for number, table in enumerate(tables.checks):
        for place in range(len(table.places)):
            exact = slow.gain(model, number, p, showing, place)
            assert gain(tables, table, *states, place) == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("times", [1, 2, 3, 5])
@pytest.mark.parametrize("outcomes", [2, 3])
def test_gain_repeated_over_new_spells_equals_enumeration(times: int, outcomes: int) -> None:
    """All sequences of outcomes listed, against the engine's counts."""
    rng = random.Random(times * 10 + outcomes)
    rows = [[rng.random() for _ in range(outcomes)] for _ in range(6)]
    given = [[x / sum(row) for x in row] for row in rows]
    shows = [rng.random() for _ in range(5)]
    model = plain(
        [0.4, 0.3, 0.15, 0.1, 0.05],
        [check("look", given[:5], given[5], ever=False)],
        shows=[(s,) for s in shows],
        classes=[0, 0, 1, 2, 3],
    )
    tables = make_tables(model)
    exact = slow.gain(model, 0, list(model.prior), shows, times=times)
    found = gain_repeated(tables, tables.checks[0], tables.prior, 0, times)
    assert found == pytest.approx(exact, abs=1e-9)


def test_gain_repeated_over_places_equals_enumeration() -> None:
    model = plain(
        [0.5, 0.3, 0.2], [random_check(random.Random(5), "look", 3, 2, ever=False)], shows=[(0.6,), (0.3,), (0.5,)]
    )
    tables = make_tables(model)
    exact = slow.gain(model, 0, list(model.prior), [0.6, 0.3, 0.5], times=3)
    found = gain_repeated(tables, tables.checks[0], tables.prior, 0, 3)
    assert found == pytest.approx(exact, abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_planner_gives_every_option_its_exact_gain(seed: int) -> None:
    """In the present spell, in a new one in each condition, repeated, and at one place."""
    model = random_model(seed)
    spells = random_spells(seed, model)
    tables = make_tables(model)
    p, showing = slow.belief(model, spells), slow.showing_now(model, spells)
    now = situation(tables, as_spells(spells))
    found = gains(tables, now, options(tables, now, Costs()))
    assert len(found) >= len(tables.checks)
    for option in found:
        if option.times == 5 and tables.checks[option.check].joint_outcomes > 4:
            continue  # 9 ** 5 sequences: the smaller cases above cover the counting
        fresh = (
            [row[option.condition] for row in model.shows] if option.fresh and option.condition is not None else showing
        )
        exact = slow.gain(model, option.check, p, fresh, option.place, option.times)
        assert option.gain == pytest.approx(exact, abs=1e-9), option


@pytest.mark.parametrize("seed", [s for s in SEEDS if s not in (3, 4)])  # 3, 4: no check has a single place
def test_many_single_places_at_once_equal_gains_one_by_one(seed: int) -> None:
    model, p, showing = after_answers(seed)
    tables = make_tables(model)
    states = np.array(p) * showing, np.array(p) * (1 - np.array(showing))
    single = np.flatnonzero([len(table.places) == 1 for table in tables.checks])
    moment = np.zeros(len(single), dtype=np.intp)
    found = single_place_gains(tables, single, moment, states[0][None], states[1][None])
    assert len(found)
    for number, bits in zip(single, found, strict=True):
        assert bits == pytest.approx(gain(tables, tables.checks[number], *states), abs=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_gain_is_never_below_zero_nor_above_what_is_open(seed: int) -> None:
    model = random_model(seed)
    tables = make_tables(model)
    now = situation(tables, as_spells(random_spells(seed, model)))
    left = entropy(np.add.reduceat(now.probability, tables.class_starts))
    for option in gains(tables, now, options(tables, now, Costs())):
        assert 0.0 <= option.gain <= left + 1e-12


@pytest.mark.parametrize("times", [1, 3, 5])
@pytest.mark.parametrize("seed", range(10))
def test_repeats_never_pass_their_bound(times: int, seed: int) -> None:
    """Classes of several causes, where looks together can tell more about the repair than their sum."""
    model = plain(
        [1 / 6] * 6,
        [random_check(random.Random(seed), "look", 6, 1, ever=False)],
        shows=[(random.Random(seed + c).random(),) for c in range(6)],
        classes=[0, 0, 0, 1, 1, 2],
    )
    tables = make_tables(model)
    found = gain_repeated(tables, tables.checks[0], tables.prior, 0, times)
    one_by_one = slow.gain(replace(model, classes=tuple(range(6))), 0, list(model.prior), [s for (s,) in model.shows])
    assert cause_bits(tables, tables.checks[0], tables.prior, tables.shows)[0] == pytest.approx(one_by_one, abs=1e-9)
    assert found <= times * one_by_one + 1e-12


def test_looks_together_can_say_more_about_the_repair_than_one_by_one() -> None:
    """One look: odd half the time under either repair. Two: always alike under the first, not under the second."""
    look = yes_no("look", [1.0, 0.0, 0.5], ever=False)
    tables = make_tables(plain([0.25, 0.25, 0.5], [look], classes=[0, 0, 1]))
    one, two = (gain_repeated(tables, tables.checks[0], tables.prior, 0, n) for n in (1, 2))
    assert one == pytest.approx(0.0, abs=1e-12)
    assert two == pytest.approx(0.311278, abs=5e-7)


def test_more_looks_never_say_less() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.8, 0.1], ever=False)], shows=[(0.3,), (0.3,)]))
    found = [gain_repeated(tables, tables.checks[0], tables.prior, 0, n) for n in range(1, 9)]
    assert found == sorted(found)


def test_a_check_that_says_the_same_under_every_cause_gains_nothing() -> None:
    tables = make_tables(plain([0.5, 0.3, 0.2], [yes_no("a", [0.4, 0.4, 0.4])]))
    assert gain(tables, tables.checks[0], tables.prior, 0 * tables.prior) == pytest.approx(0.0, abs=1e-12)


def test_causes_with_the_same_repair_need_not_be_told_apart() -> None:
    told_apart = [yes_no("a", [0.99, 0.01])]
    apart = make_tables(plain([0.5, 0.5], told_apart))
    together = make_tables(plain([0.5, 0.5], told_apart, classes=[0, 0]))
    assert gain(apart, apart.checks[0], apart.prior, 0 * apart.prior) > 0.9
    assert gain(together, together.checks[0], together.prior, 0 * together.prior) == pytest.approx(0.0, abs=1e-12)


def test_entropy_of_certainty_is_nothing() -> None:
    assert entropy(np.array([1.0, 0.0])) == 0.0


def test_information_of_an_identity_is_its_entropy() -> None:
    assert information(np.diag([0.5, 0.25, 0.25])) == pytest.approx(1.5)


def test_marks_number_joint_outcomes_last_place_fastest() -> None:
    table = make_tables(plain([1.0], [random_check(random.Random(1), "look", 1, 3)])).checks[0]
    m = len(table.outcomes)
    assert marks(table, 1 * m * m + 0 * m + 1, None) == [(0, 1), (1, 0), (2, 1)]
    assert marks(table, 1, 2) == [(2, 1)]


def test_what_tells_nothing_is_never_less_than_nothing() -> None:
    """Of independent outcomes rounding makes a little more or less than nothing; less is not said."""
    draw = np.random.default_rng(5)
    found = [information(np.outer(draw.dirichlet(np.ones(5)), draw.dirichlet(np.ones(3)))) for _ in range(200)]
    assert min(found) == 0.0 and max(found) < 1e-12
