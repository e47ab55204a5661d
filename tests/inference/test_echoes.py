"""What a check tells that takes the place of answers already given."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.choose import gains, rank
from reasoner.inference.echoes import echoes
from reasoner.inference.evidence import Evidence, Spell
from reasoner.inference.gain import class_entropy
from reasoner.inference.plan import Costs, Option, follow
from reasoner.network.tables import Tables
from tests.support import PlainCheck, make_tables, plain, seen, situation, spell, yes_no


def case(ever: bool = False) -> tuple[Tables, tuple[Spell, ...]]:
    """`rough` was read; `fitted`, the same read better, stands for it; `other` is about something else."""
    checks: list[PlainCheck] = [
        yes_no("rough", [0.8, 0.4, 0.3], otherwise=(0.8, 0.2), ever=ever),
        yes_no("fitted", [0.9, 0.3, 0.2], otherwise=(0.9, 0.1), ever=ever, stands_for=frozenset({0}), minutes=5.0),
        yes_no("other", [0.6, 0.7, 0.2], otherwise=(0.9, 0.1), ever=ever),
    ]
    tables = make_tables(plain([0.4, 0.3, 0.3], checks, shows=[(0.6, 0.4), (0.5, 0.5), (0.7, 0.8)]))
    return tables, (spell(seen(tables, "other", 1)), spell(seen(tables, "rough", 1)))


def planned(tables: Tables, spells: tuple[Spell, ...], name: str, fresh: bool = False) -> Option:
    now = situation(tables, spells, instead=echoes(tables, spells))
    (found,) = gains(tables, now, [Option(tables.check_number[name], 0, fresh)])
    return found


def after(tables: Tables, spells: tuple[Spell, ...], answer: Evidence, fresh: bool) -> np.ndarray:
    if fresh:
        return believe(tables, (*spells, Spell(0, (answer,)))).probability
    return believe(tables, (*spells[:-1], Spell(0, (*spells[-1].answers, answer)))).probability


@pytest.mark.parametrize("ever", [False, True])
@pytest.mark.parametrize("fresh", [False, True])
def test_gain_is_the_fall_of_entropy_that_the_answers_bring(ever: bool, fresh: bool) -> None:
    tables, spells = case(ever)
    option = planned(tables, spells, "fitted", fresh)
    now = situation(tables, spells, instead=echoes(tables, spells))
    left = 0.0
    for branch in follow(tables, now, option):
        then = after(tables, spells, seen(tables, "fitted", branch.outcome), fresh)
        assert branch.then.probability == pytest.approx(then, abs=1e-9)
        left += branch.chance * class_entropy(tables, then)
    expected = class_entropy(tables, now.probability) - left
    assert option.gain == pytest.approx(expected, abs=1e-9)


def test_reading_the_same_better_tells_less_than_reading_it_first() -> None:
    tables, spells = case()
    first = planned(tables, (spells[0], spell()), "fitted").gain
    assert 0.0 <= planned(tables, spells, "fitted").gain < 0.6 * first


def test_in_a_new_spell_nothing_is_replaced() -> None:
    tables, spells = case()
    assert (1, False) in echoes(tables, spells)
    assert (1, True) not in echoes(tables, spells)


def test_what_stays_is_replaced_in_a_new_spell_too() -> None:
    tables, spells = case(ever=True)
    assert (1, True) in echoes(tables, spells)


def test_what_is_not_answered_is_not_replaced() -> None:
    tables, spells = case()
    assert not echoes(tables, spells[:1])
    assert not echoes(tables, ())


def test_without_what_it_replaces_the_belief_is_that_without_the_answer() -> None:
    tables, spells = case()
    showing, quiet = echoes(tables, spells)[1, False]
    assert showing + quiet == pytest.approx(believe(tables, (spells[0], spell())).probability)


def test_the_planner_turns_to_something_new() -> None:
    """Read once, the same read better no longer comes before something else."""
    tables, spells = case()
    now = situation(tables, (spell(seen(tables, "rough", 1)),))
    told = replace(now, instead=echoes(tables, (spell(seen(tables, "rough", 1)),)))
    fitted = {o.check: o.gain for o in rank(tables, now, Costs(), compared=0)}[1]
    honest = {o.check: o.gain for o in rank(tables, told, Costs(), compared=0)}.get(1, 0.0)
    assert honest < fitted
