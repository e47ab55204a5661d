"""What the planner foresees after an outcome is what the belief says once it is answered."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reasoner.inference.belief import believe
from reasoner.inference.choose import gains
from reasoner.inference.evidence import Evidence, Spell, reported_weights
from reasoner.inference.gain import entropy, marks
from reasoner.inference.plan import Costs, Option, Situation, follow, options
from reasoner.network.tables import Tables
from tests.inference.random_models import as_spells, random_model, random_spells
from tests.support import make_tables, plain, situation, yes_no


def answered(tables: Tables, spells: tuple[Spell, ...], option: Option, outcome: int) -> tuple[Spell, ...]:
    """The spells once the option has come out so. What provokes begins a spell of its own, as in a case."""
    table = tables.checks[option.check]
    weights: list[tuple[float, ...] | None] = [None] * len(table.places)
    for place, o in marks(table, outcome, option.place):
        weights[place] = reported_weights(o, len(table.outcomes), 1.0)
    answer = Evidence(option.check, tuple(weights))
    here = option.condition if option.fresh else spells[-1].condition
    if option.fresh or table.provokes:
        return (*spells, Spell(here, (answer,)))
    return (*spells[:-1], Spell(here, (*spells[-1].answers, answer)))


def unasked(spells: tuple[Spell, ...], now: Situation, tables: Tables) -> list[Option]:
    """Single looks that add to what is known: asking the same again would replace, not add."""
    here = {a.check for a in spells[-1].answers}
    ever = {a.check for s in spells for a in s.answers if tables.checks[a.check].ever}
    found = [o for o in gains(tables, now, options(tables, now, Costs())) if o.times == 1]
    return [
        o for o in found if o.check not in ever and (o.fresh or tables.checks[o.check].provokes or o.check not in here)
    ]


@pytest.mark.parametrize("seed", range(30))
def test_a_branch_equals_the_belief_after_that_answer(seed: int) -> None:
    model = random_model(seed)
    tables = make_tables(model)
    spells = as_spells(random_spells(seed, model))
    now = situation(tables, spells)
    before = believe(tables, spells).log_evidence
    for option in unasked(spells, now, tables):
        for branch in follow(tables, now, option):
            then = believe(tables, answered(tables, spells, option, branch.outcome))
            assert branch.then.probability == pytest.approx(then.probability, abs=1e-9)
            assert branch.then.showing == pytest.approx(then.probability * then.showing, abs=1e-9)
            assert branch.chance == pytest.approx(2.718281828459045 ** (then.log_evidence - before), abs=1e-9)


@pytest.mark.parametrize("seed", range(30))
def test_chances_of_all_branches_sum_to_one(seed: int) -> None:
    model = random_model(seed)
    tables = make_tables(model)
    now = situation(tables, as_spells(random_spells(seed, model)))
    for option in options(tables, now, Costs()):
        assert sum(b.chance for b in follow(tables, now, option)) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("seed", range(15))
def test_gain_is_the_expected_fall_of_entropy_over_the_branches(seed: int) -> None:
    import numpy as np

    model = random_model(seed)
    tables = make_tables(model)
    now = situation(tables, as_spells(random_spells(seed, model)))

    def left(p: np.ndarray) -> float:
        return entropy(np.add.reduceat(p, tables.class_starts))

    for option in gains(tables, now, options(tables, now, Costs())):
        if option.times == 1:
            after = sum(b.chance * left(b.then.probability) for b in follow(tables, now, option))
            assert option.gain == pytest.approx(left(now.probability) - after, abs=1e-9)


@pytest.mark.parametrize("outcome", [0, 1])
def test_a_check_that_leaves_the_car_elsewhere_begins_a_spell_there(outcome: int) -> None:
    looks = [yes_no("a", [0.9, 0.2], otherwise=(0.7, 0.3), ever=False), yes_no("b", [0.5, 0.5], ever=False)]
    tables = make_tables(plain([0.5, 0.5], looks, shows=[(0.8, 0.1), (0.3, 0.6)]))
    tables = replace(tables, checks=(replace(tables.checks[0], leaves=1), tables.checks[1]))
    now = situation(tables, (Spell(0),), done=frozenset({(1, None)}))
    (branch,) = (b for b in follow(tables, now, Option(0, 0, False)) if b.outcome == outcome)
    then = believe(tables, (Spell(0, (Evidence(0, (reported_weights(outcome, 2, 1.0),)),)), Spell(1)))
    assert branch.then.condition == 1
    assert branch.then.probability == pytest.approx(then.probability)
    assert branch.then.showing == pytest.approx(then.probability * then.showing)
    assert (1, None) not in branch.then.done


def test_what_a_look_stands_for_is_done_with_it() -> None:
    looks = [yes_no("rough", [0.9, 0.2], ever=False), yes_no("fine", [0.9, 0.2], ever=False, stands_for=frozenset({0}))]
    tables = make_tables(plain([0.5, 0.5], looks))
    assert (0, None) in next(follow(tables, situation(tables, (Spell(0),)), Option(1, 0, False))).then.done


def test_the_likeliest_outcome_comes_first() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.8])]))
    found = list(follow(tables, situation(tables), Option(0, None, False)))
    assert [b.outcome for b in found] == [1, 0]


def test_a_look_is_done_until_the_spell_ends() -> None:
    looks = [yes_no("a", [0.9, 0.1], ever=False), yes_no("b", [0.9, 0.1], ever=False)]
    tables = make_tables(plain([0.5, 0.5], looks, shows=[(0.5,), (0.5,)]))
    now = situation(tables, (Spell(0),))
    same = next(follow(tables, now, Option(0, 0, False))).then
    assert (0, None) in same.done
    new = next(follow(tables, same, Option(1, 0, True))).then
    assert (0, None) not in new.done and (1, None) in new.done
