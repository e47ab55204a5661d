"""A closer look at what was looked at before: it takes the place of the rougher one, and is worth what it adds."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reasoner.inference.belief import believe
from reasoner.inference.choose import gains
from reasoner.inference.evidence import Evidence, Spell, reported_weights
from reasoner.inference.plan import Instead, Option, Situation, follow
from reasoner.network.tables import Tables
from tests.inference import slow
from tests.support import Plain, make_tables, plain, seen, situation, spell, yes_no

ROUGH, FINE = 0, 1


def model() -> Plain:
    """Three causes that come and go; `fine` tells more of them than `rough`, and stands for it."""
    rough = yes_no("rough", [0.7, 0.3, 0.4], otherwise=(0.9, 0.1), ever=False)
    fine = yes_no("fine", [0.95, 0.1, 0.3], otherwise=(0.97, 0.03), ever=False, stands_for=frozenset({ROUGH}))
    return plain([0.5, 0.3, 0.2], [rough, fine], shows=[(0.7, 0.4), (0.5, 0.9), (0.6, 0.2)])


def shows(condition: int) -> list[float]:
    return [row[condition] for row in model().shows]


def after_rough(tables: Tables) -> Situation:
    """Rough was answered in the spell under way: made now or in a new spell, fine takes its place."""
    told = slow.gain(model(), ROUGH, list(model().prior), shows(0))
    instead = Instead(tables.prior * tables.shows[:, 0], tables.prior * (1.0 - tables.shows[:, 0]), told)
    now = situation(tables, (spell(seen(tables, "rough", 1)),))
    return replace(now, instead={(FINE, False): instead, (FINE, True): instead})


@pytest.mark.parametrize(("condition", "fresh"), [(0, False), (0, True), (1, True)])
def test_it_is_worth_what_it_tells_in_place_of_the_other_less_what_that_told(condition: int, fresh: bool) -> None:
    tables = make_tables(model())
    (found,) = gains(tables, after_rough(tables), [Option(FINE, condition, fresh)])
    prior = list(model().prior)
    adds = slow.gain(model(), FINE, prior, shows(condition)) - slow.gain(model(), ROUGH, prior, shows(0))
    assert found.gain == pytest.approx(max(0.0, adds), abs=1e-9)


@pytest.mark.parametrize("outcome", [0, 1])
def test_what_is_believed_after_it_is_believed_without_the_other(outcome: int) -> None:
    """How likely it comes out so hangs on everything that was seen, the rougher look too."""
    tables = make_tables(model())
    (branch,) = (b for b in follow(tables, after_rough(tables), Option(FINE, 0, False)) if b.outcome == outcome)
    answer = Evidence(FINE, (reported_weights(outcome, 2, 1.0),))
    then = believe(tables, (spell(seen(tables, "rough", 1), answer),))
    assert then.probability == pytest.approx(believe(tables, (spell(answer),)).probability)  # as counted
    assert branch.then.probability == pytest.approx(then.probability)
    assert branch.then.showing == pytest.approx(then.probability * then.showing)
    both: slow.SlowSpell = (0, [(ROUGH, (reported_weights(1, 2, 1.0),)), (FINE, answer.weights)])
    alone: slow.SlowSpell = (0, [(ROUGH, (reported_weights(1, 2, 1.0),))])
    assert branch.chance == pytest.approx(sum(slow.joint(model(), [both])) / sum(slow.joint(model(), [alone])))


@pytest.mark.parametrize("outcome", [0, 1])
def test_foreseen_it_adds_as_much_whatever_the_rougher_look_would_say(outcome: int) -> None:
    tables = make_tables(model())
    now = situation(tables, (Spell(0),))
    (branch,) = (b for b in follow(tables, now, Option(ROUGH, 0, False)) if b.outcome == outcome)
    (found,) = gains(tables, branch.then, [Option(FINE, 0, False)])
    prior = list(model().prior)
    adds = slow.gain(model(), FINE, prior, shows(0)) - slow.gain(model(), ROUGH, prior, shows(0))
    assert adds > 0.01
    assert found.gain == pytest.approx(adds, abs=1e-9)
