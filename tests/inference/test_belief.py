"""Belief against enumeration (slow.py) and the properties the design asks for."""

from __future__ import annotations

import random
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reasoner.inference.belief import Contradiction, believe, by_class, by_cylinder, by_fault, leader, ordered
from reasoner.inference.evidence import (
    Evidence,
    Spell,
    answers_of,
    as_reported,
    counted,
    reported_weights,
    without,
    would_replace,
)
from tests.inference import slow
from tests.inference.random_models import as_spells, random_check, random_model, random_spells, with_echoes
from tests.support import Plain, PlainCheck, check, make_tables, plain, posterior, seen, spell, yes_no

SEEDS = range(60)


@pytest.mark.parametrize("seed", SEEDS)
def test_belief_equals_enumeration(seed: int) -> None:
    model = random_model(seed)
    spells = random_spells(seed, model)
    found = believe(make_tables(model), as_spells(spells))
    assert found.probability == pytest.approx(slow.belief(model, spells), abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_chance_of_showing_now_equals_enumeration(seed: int) -> None:
    model = random_model(seed)
    spells = random_spells(seed, model)
    found = believe(make_tables(model), as_spells(spells))
    assert found.showing == pytest.approx(slow.showing_now(model, spells), abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_probability_of_the_answers_equals_enumeration(seed: int) -> None:
    model = random_model(seed)
    spells = random_spells(seed, model)
    found = believe(make_tables(model), as_spells(spells))
    assert np.exp(found.log_evidence) == pytest.approx(sum(slow.joint(model, spells)), rel=1e-9)


@given(st.integers(0, 10**6))
@settings(max_examples=100, deadline=None)
def test_evidence_counted_once_equals_enumeration(seed: int) -> None:
    """Second looks and looks that stand for others, in any spell and order, with some places left out."""
    model, spells = with_echoes(seed)
    found = believe(make_tables(model), as_spells(spells))
    assert found.probability == pytest.approx(slow.belief(model, slow.counted(model, spells)), abs=1e-9)


@given(st.integers(0, 10**6))
@settings(max_examples=60, deadline=None)
def test_probabilities_sum_to_one(seed: int) -> None:
    model = random_model(seed)
    spells = as_spells(random_spells(seed, model))
    tables = make_tables(model)
    for n in range(len(spells) + 1):
        p = believe(tables, spells[:n]).probability
        assert p.sum() == pytest.approx(1.0, abs=1e-12)
        assert p.min() >= 0.0


@given(st.integers(0, 10**6), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_order_of_answers_and_of_spells_does_not_matter(seed: int, shuffle: random.Random) -> None:
    model = random_model(seed)
    spells = random_spells(seed, model)
    mixed = [(condition, shuffle.sample(answers, len(answers))) for condition, answers in spells]
    shuffle.shuffle(mixed)
    tables = make_tables(model)
    straight, other = believe(tables, as_spells(spells)), believe(tables, as_spells(mixed))
    assert other.probability == pytest.approx(straight.probability, abs=1e-12)
    assert other.log_evidence == pytest.approx(straight.log_evidence, abs=1e-9)


@pytest.mark.parametrize("places", [2, 3, 4])
def test_a_look_at_all_places_is_the_product_of_its_places(places: int) -> None:
    """Places are independent given the cause and its state; the slow model multiplies them one by one."""
    rng = random.Random(places)
    model = plain([0.5, 0.3, 0.2], [random_check(rng, "look", 3, places, ever=False)], shows=[(0.7,), (0.4,), (0.2,)])
    outcomes = [rng.randrange(len(model.checks[0].otherwise)) for _ in range(places)]
    tables = make_tables(model)
    answer = seen(tables, "look", *outcomes)
    assert posterior(tables, answer) == pytest.approx(slow.belief(model, [(0, [(0, answer.weights)])]), abs=1e-12)


def test_no_answers_leave_the_prior() -> None:
    tables = make_tables(plain([0.5, 0.3, 0.2], [yes_no("a", [0.9, 0.5, 0.1])]))
    assert believe(tables, ()).probability == pytest.approx([0.5, 0.3, 0.2])


def test_an_answer_that_cannot_tell_leaves_the_prior() -> None:
    tables = make_tables(plain([0.5, 0.3, 0.2], [yes_no("a", [0.9, 0.5, 0.1])]))
    assert posterior(tables, Evidence(0, ((0.5, 0.5),))) == pytest.approx([0.5, 0.3, 0.2])


def test_only_ratios_of_weights_matter() -> None:
    tables = make_tables(plain([0.5, 0.3, 0.2], [yes_no("a", [0.9, 0.5, 0.1])]))
    small, large = Evidence(0, ((0.1, 0.4),)), Evidence(0, ((20.0, 80.0),))
    assert posterior(tables, small) == pytest.approx(posterior(tables, large))


def test_an_unsure_answer_moves_less_than_a_sure_one() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1])]))
    sure, think, guess = (posterior(tables, seen(tables, "a", 1, right=r))[0] for r in (0.98, 0.8, 0.6))
    assert 0.5 < guess < think < sure < 0.9


def test_virtual_evidence_by_hand() -> None:
    """J. Pearl, Probabilistic Reasoning in Intelligent Systems (1988), 2.2.2: the likelihood vector multiplies.

    Right with chance 0.8: .5 (.9 x .8 + .1 x .2) = .37 against .5 (.1 x .8 + .9 x .2) = .13; 37/50.
    """
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1])]))
    assert posterior(tables, seen(tables, "a", 1, right=0.8))[0] == pytest.approx(37 / 50)


def test_thousands_of_answers_do_not_underflow() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.8], ever=False, weight=inf)]))
    found = believe(tables, [spell(seen(tables, "a", 1))] * 5000)
    assert found.probability == pytest.approx([1.0, 0.0], abs=1e-12)
    assert found.log_evidence == pytest.approx(5000 * np.log(0.9) + np.log(0.5))


def test_impossible_answers_are_a_contradiction() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [1.0, 1.0])]))
    with pytest.raises(Contradiction):
        posterior(tables, seen(tables, "a", 0))


def test_a_cause_that_cannot_be_shows_nothing() -> None:
    """What an answer rules out for sure has neither a chance nor a chance to be acting now: 0, not nan."""
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.0, 0.5])]))
    found = believe(tables, [spell(seen(tables, "a", 1))])
    assert found.probability.tolist() == [0.0, 1.0]
    assert found.showing.tolist() == [0.0, 1.0]


@pytest.mark.parametrize("position", range(6))
def test_a_single_mistaken_answer_is_outvoted(position: int) -> None:
    """Never certain by one look: one wrong sure answer among right ones, wherever it comes."""
    checks = [yes_no(f"look-{i}", [0.8, 0.02, 0.02]) for i in range(6)]
    tables = make_tables(plain([0.2, 0.4, 0.4], checks))
    answers = [seen(tables, f"look-{i}", int(i != position), right=0.98) for i in range(6)]
    assert posterior(tables, *answers)[0] > 0.99


def test_by_class_sums_causes_mended_alike() -> None:
    tables = make_tables(plain([0.1, 0.2, 0.3, 0.4], [yes_no("a", [0.5] * 4)], classes=[0, 0, 1, 2]))
    assert by_class(tables, tables.prior) == pytest.approx([0.3, 0.3, 0.4])


def test_by_fault_sums_places() -> None:
    from dataclasses import replace

    tables = make_tables(plain([0.1, 0.2, 0.3, 0.4], [yes_no("a", [0.5] * 4)]))
    tables = replace(tables, fault_of=np.array([1, 0, 1, 0]), faults=("x", "y"))
    assert by_fault(tables, tables.prior) == pytest.approx([0.6, 0.4])


def test_by_cylinder_leaves_out_engine_and_bank() -> None:
    from dataclasses import replace

    from reasoner.network.graph import Cause

    tables = make_tables(plain([0.1, 0.2, 0.3, 0.4], [yes_no("a", [0.5] * 4)]))
    causes = (
        Cause("a", "a", "engine", frozenset({1, 2, 3, 4}), 0.1),
        Cause("b", "b", "bank 1", frozenset({1, 2, 3, 4}), 0.2),
        Cause("c", "c", "cylinder 2", frozenset({2}), 0.3),
        Cause("d", "d", "cylinders 2 and 4", frozenset({2, 4}), 0.4),
    )
    assert by_cylinder(replace(tables, causes=causes), tables.prior) == pytest.approx([0.0, 0.7, 0.0, 0.4])


def test_leader_and_order() -> None:
    tables = make_tables(plain([0.1, 0.4, 0.3, 0.2], [yes_no("a", [0.5] * 4)], classes=[0, 0, 1, 1]))
    assert ordered(tables.prior, 3) == [1, 2, 3]
    assert leader(tables, tables.prior) == 1
    assert leader(tables, tables.prior, repair_class=1) == 2
    assert leader(tables, tables.prior, fault=3) == 3


# --- counted once ---------------------------------------------------------------------------------------------------


def two_readings(first: tuple[float, float] = (0.8, 0.2), **more: object) -> list[PlainCheck]:
    """`rough` and `fitted` speak about the same thing; fitted (number 1) stands for rough (number 0)."""
    more = {"ever": False, **more}
    return [yes_no("rough", first, **more), yes_no("fitted", (0.9, 0.1), stands_for=frozenset({0}), **more)]


def test_what_an_answer_stands_for_adds_nothing_in_the_same_spell() -> None:
    tables = make_tables(plain([0.5, 0.5], two_readings()))
    both = believe(tables, [spell(seen(tables, "rough", 1), seen(tables, "fitted", 1))])
    assert both.probability == pytest.approx(posterior(tables, seen(tables, "fitted", 1)))
    assert both.spells == (spell(seen(tables, "fitted", 1)),)


def test_what_an_answer_stands_for_counts_in_another_spell() -> None:
    tables = make_tables(plain([0.5, 0.5], two_readings()))
    apart = believe(tables, (spell(seen(tables, "rough", 1)), spell(seen(tables, "fitted", 1)))).probability
    assert apart[0] == pytest.approx(0.9 * 0.8 / (0.9 * 0.8 + 0.1 * 0.2))


def test_standing_for_something_that_stays_holds_in_the_whole_case() -> None:
    tables = make_tables(plain([0.5, 0.5], two_readings(ever=True)))
    apart = believe(tables, (spell(seen(tables, "rough", 1)), spell(seen(tables, "fitted", 1)))).probability
    assert apart[0] == pytest.approx(0.9)


def test_standing_for_looks_in_other_conditions_holds_in_the_whole_case() -> None:
    """A fitted curve stands for readings typed in one by one, each in a condition the curve has not."""
    rough = yes_no("rough", (0.8, 0.2), ever=False, conditions=(0,))
    fitted = yes_no("fitted", (0.9, 0.1), ever=False, conditions=(1,), stands_for=frozenset({0}))
    tables = make_tables(plain([0.5, 0.5], [rough, fitted], shows=[(1.0, 1.0), (1.0, 1.0)]))
    spells = (spell(seen(tables, "rough", 1)), spell(seen(tables, "fitted", 1), condition=1))
    assert believe(tables, spells).probability[0] == pytest.approx(0.9)


@pytest.mark.parametrize("turned", [False, True])
def test_order_of_spells_does_not_matter_to_what_stands_for_what(turned: bool) -> None:
    """A look that stays, given twice, stands for the rough reading in either spell."""
    rough = yes_no("rough", (0.8, 0.2), ever=False)
    fitted = yes_no("fitted", (0.9, 0.1), stands_for=frozenset({0}))
    tables = make_tables(plain([0.5, 0.5], [rough, fitted]))
    spells = [spell(seen(tables, "fitted", 1)), spell(seen(tables, "fitted", 1), seen(tables, "rough", 1))]
    found = believe(tables, spells[::-1] if turned else spells).probability
    assert found[0] == pytest.approx(0.9)


def test_a_partial_look_stands_only_for_the_places_it_looked_at() -> None:
    at_all = PlainCheck("as-found", (0.9, 0.1), (((0.1, 0.9), (0.9, 0.1)), ((0.9, 0.1), (0.1, 0.9))), ever=False)
    better = PlainCheck(
        "cleaned",
        (0.95, 0.05),
        (((0.05, 0.95), (0.95, 0.05)), ((0.95, 0.05), (0.05, 0.95))),
        False,
        stands_for=frozenset({0}),
    )
    tables = make_tables(plain([0.5, 0.5], [at_all, better]))
    found = posterior(tables, seen(tables, "as-found", 0, 1), seen(tables, "cleaned", 0, None))
    # place 1: only the better look (.05 against .95); place 2: the look at all places (.1 against .9)
    assert found[1] / found[0] == pytest.approx(0.95 / 0.05 * 0.9 / 0.1)


def test_a_second_look_in_the_same_spell_replaces_the_first() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1], ever=False)]))
    twice = posterior(tables, seen(tables, "a", 1), seen(tables, "a", 1))
    assert twice == pytest.approx(posterior(tables, seen(tables, "a", 1)))


def test_a_second_look_in_a_new_spell_counts() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1], ever=False)]))
    twice = believe(tables, (spell(seen(tables, "a", 1)), spell(seen(tables, "a", 1)))).probability
    assert twice[0] == pytest.approx(0.81 / 0.82)


def test_what_stays_counts_once_in_the_case() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1])]))
    twice = believe(tables, (spell(seen(tables, "a", 1)), spell(seen(tables, "a", 1)))).probability
    assert twice[0] == pytest.approx(0.9)


@pytest.mark.parametrize("turned", [False, True])
def test_of_two_looks_in_a_spell_the_surer_counts(turned: bool) -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1], ever=False)]))
    looks = [seen(tables, "a", 1, right=0.98), seen(tables, "a", 0, right=0.6)]
    found = posterior(tables, *(looks[::-1] if turned else looks))
    assert found == pytest.approx(posterior(tables, looks[0]))


@pytest.mark.parametrize("turned", [False, True])
def test_of_two_equally_sure_looks_the_later_counts_however_listed(turned: bool) -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1], ever=False)]))
    looks = [seen(tables, "a", 1, number=3), seen(tables, "a", 0, number=8)]
    found = posterior(tables, *(looks[::-1] if turned else looks))
    assert found[0] == pytest.approx(0.1)


def test_looks_at_different_places_add_up() -> None:
    at = PlainCheck("look", (0.9, 0.1), (((0.1, 0.9), (0.9, 0.1)), ((0.9, 0.1), (0.1, 0.9))), ever=False)
    tables = make_tables(plain([0.5, 0.5], [at]))
    apart = posterior(tables, seen(tables, "look", 1, None), seen(tables, "look", None, 0))
    assert apart == pytest.approx(posterior(tables, seen(tables, "look", 1, 0)))


@pytest.mark.parametrize("fresh", [False, True])
@pytest.mark.parametrize("seed", range(40))
def test_what_a_check_would_replace_is_what_its_answer_takes_out(seed: int, fresh: bool) -> None:
    """Foreseen before it is asked is exactly what no longer counts once it is answered at all places."""
    model, slow_spells = with_echoes(seed)
    tables, spells = make_tables(model), as_spells(slow_spells)

    def counting(case: tuple[Spell, ...]) -> set[tuple[int, int]]:
        answers = answers_of(counted(tables, case))
        return {(i, a.check) for i, a in answers if a.check != number and any(w is not None for w in a.weights)}

    for number, table in enumerate(tables.checks):
        new = Evidence(number, (reported_weights(0, len(table.outcomes), 1.0),) * len(table.places))
        last = Spell(spells[-1].condition, (*spells[-1].answers, new))
        then = (*spells, spell(new)) if fresh else (*spells[:-1], last)
        foreseen = {(i, answer.check) for i, answer in would_replace(tables, spells, number, fresh)}
        assert counting(spells) - counting(then) == foreseen & counting(spells)


def test_what_would_be_replaced_in_this_spell_and_in_a_new_one() -> None:
    """A rough reading of the spell under way, one of a spell before, and one of what stays."""
    fitted = yes_no("fitted", (0.9, 0.1), stands_for=frozenset({0, 1}), ever=False)
    tables = make_tables(
        plain([0.5, 0.5], [yes_no("rough", (0.8, 0.2), ever=False), yes_no("stored", (0.8, 0.2)), fitted])
    )
    rough, stored = seen(tables, "rough", 1), seen(tables, "stored", 1)
    spells = (spell(rough, stored), spell(seen(tables, "rough", 0), seen(tables, "fitted", 0)))
    assert would_replace(tables, spells, 2, fresh=False) == [(0, stored), (1, seen(tables, "rough", 0))]
    assert would_replace(tables, spells, 2, fresh=True) == [(0, stored)]
    assert would_replace(tables, spells, 0, fresh=False) == []
    assert without(spells, [(0, stored)]) == (spell(rough), spells[1])


# --- what is said of it ---------------------------------------------------------------------------------------------


def test_what_will_be_reported_is_now_and_then_a_mistake() -> None:
    """Right in 98 of 100, else one of the others, each as likely: 0.7 * 0.98 + 0.3 * 0.01, and so on, by hand."""
    tables = make_tables(plain([0.5, 0.5], [check("a", [(0.7, 0.2, 0.1), (0.0, 0.0, 1.0)], (1.0, 0.0, 0.0))]))
    found = as_reported(tables, 0.98).checks[0].rows
    assert found == pytest.approx(np.array([(0.98, 0.01, 0.01), (0.689, 0.204, 0.107), (0.01, 0.01, 0.98)]))


# --- provoking ------------------------------------------------------------------------------------------------------


def provoking_model() -> Plain:
    """Warm one place (cause 0 sits there, cause 1 does not), then look while the fault may show."""
    warm = PlainCheck("warm", (0.95, 0.05), (((0.2, 0.8),), ((0.95, 0.05),)), ever=False, provokes=True)
    look = yes_no("look", [0.9, 0.1], otherwise=(0.95, 0.05), ever=False)
    return plain([0.5, 0.5], [warm, look], shows=[(0.05,), (0.05,)])


def test_a_provocation_speaks_whatever_the_state() -> None:
    tables = make_tables(provoking_model())
    assert posterior(tables, seen(tables, "warm", 1))[0] == pytest.approx(0.8 / 0.85)


def test_after_a_provocation_a_normal_look_exonerates() -> None:
    tables = make_tables(provoking_model())
    quiet = posterior(tables, seen(tables, "look", 0))
    brought_on = posterior(tables, seen(tables, "warm", 1), seen(tables, "look", 0))
    # odds of cause 0 against 1: without provocation a normal look is nearly neutral, after it it weighs nearly .1 / .9
    assert quiet[0] == pytest.approx(0.49, abs=0.01)
    assert brought_on[0] / brought_on[1] / (0.8 / 0.05) == pytest.approx(0.1 / 0.9, rel=0.1)


def test_a_provocation_that_brought_nothing_on_leaves_the_state_open() -> None:
    tables = make_tables(provoking_model())
    found = believe(tables, (spell(seen(tables, "warm", 0)),))
    assert found.showing == pytest.approx([0.05, 0.05])


def test_an_unsure_provocation_brings_on_in_proportion() -> None:
    tables = make_tables(provoking_model())
    found = believe(tables, (spell(seen(tables, "warm", 1, right=0.8)),))
    assert found.showing == pytest.approx([0.05 + 0.8 * 0.945] * 2)
