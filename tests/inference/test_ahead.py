"""What ranks the best few: the best rate of one step or two, against the same worked out by enumeration (slow.py)."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from reasoner.inference.choose import COMPARED, FOLLOWED, rank
from reasoner.inference.evidence import Spell, reported_weights
from reasoner.inference.plan import Costs, Option
from tests.inference import slow
from tests.inference.random_models import random_check
from tests.support import BARE, Plain, make_tables, plain, situation, yes_no

AWAY = 10.0  # minutes to bring about a new spell of any condition


def drawn(seed: int) -> Plain:
    """Looks at one thing or two, in any condition or in some, now and for ever, from one minute to half an hour."""
    rng = random.Random(seed)
    bound = [(), (0,), (1,), (), (1,)]
    checks = [
        random_check(rng, f"look-{i}", 5, rng.choice((1, 2)), ever=i % 2 == 0, conditions=c, minutes=rng.uniform(1, 30))
        for i, c in enumerate(bound)
    ]
    prior = [rng.uniform(0.1, 1.0) for _ in range(5)]
    shows = [(rng.random(), rng.random()) for _ in range(5)]
    model = plain([p / sum(prior) for p in prior], checks, shows=shows, classes=[0, 0, 1, 2, 3])
    return replace(model, reach=(((AWAY, 0.0),) * 2,) * 3)


def bits(model: Plain, check: int, spells: list[slow.SlowSpell], condition: int | None) -> float:
    """Gain of a check after what was seen: in the spell under way (None), or in a new one of a condition."""
    shows = slow.showing_now(model, spells) if condition is None else [row[condition] for row in model.shows]
    return slow.gain(model, check, slow.belief(model, spells), shows)


def seen_first(model: Plain, option: Option) -> list[tuple[float, list[slow.SlowSpell]]]:
    """The likeliest outcomes that make up `FOLLOWED`, each with its share among them and the spells after it."""
    check = model.checks[option.check]
    found = []
    places, kinds = len(check.given[0]), len(check.otherwise)
    for number in range(kinds**places):
        outcomes = [number // kinds ** (places - 1 - p) % kinds for p in range(places)]
        answer = (option.check, tuple(reported_weights(o, kinds, 1.0) for o in outcomes))
        spells: list[slow.SlowSpell] = [(0, []), (option.condition, [answer])] if option.fresh else [(0, [answer])]
        found.append((sum(slow.joint(model, spells)), spells))
    found.sort(key=lambda pair: -pair[0])
    kept = [pair for i, pair in enumerate(found) if sum(p for p, _ in found[:i]) < FOLLOWED][:8]
    return [(p / sum(q for q, _ in kept), spells) for p, spells in kept]


def best_rate(model: Plain, option: Option, others: list[Option], costs: Costs) -> float:
    """Of the step alone, or with the best one after it."""
    told, cost = option.gain, option.cost
    for share, spells in seen_first(model, option):
        here, after = spells[-1][0], []
        belief = slow.belief(model, spells)
        classes = [sum(p for p, c in zip(belief, model.classes, strict=True) if c == k) for k in range(4)]
        if max(classes) >= costs.dominates and max(classes) >= costs.lead * sorted(classes)[-2]:
            continue
        for other in others:
            check = model.checks[other.check]
            if other.check != option.check:
                stays = other.condition == here or (check.ever and (not check.conditions or here in check.conditions))
                gain = bits(model, other.check, spells, None if stays else other.condition)
                after.append((gain, check.minutes + (0.0 if stays else AWAY)))
        gain, minutes = max(after, key=lambda pair: pair[0] / pair[1])
        told, cost = told + share * gain, cost + share * minutes
    return max(option.gain / option.cost, told / cost)


@pytest.mark.parametrize("dominates", [0.6, 1.0])
@pytest.mark.parametrize("seed", range(12))
def test_the_best_few_are_ranked_by_the_best_rate_of_one_step_or_two(seed: int, dominates: float) -> None:
    model, costs = drawn(seed), replace(BARE, dominates=dominates)
    tables = make_tables(model)
    now = situation(tables, (Spell(0),))
    found = rank(tables, now, costs, allowed=lambda option: option.times == 1)
    few = [o for o in found if o.ahead == o.ahead]  # the others were not compared
    assert len(few) == min(COMPARED, len(found))
    for option in few:
        assert option.ahead == pytest.approx(best_rate(model, option, found, costs), rel=1e-9)
    assert few == sorted(few, key=lambda o: -o.ahead)


def test_of_repeated_looks_only_their_own_rate_counts() -> None:
    """Their outcomes are counts over several spells, not followed one by one."""
    look = yes_no("look", [0.9, 0.1], otherwise=(0.9, 0.1), ever=False, minutes=1.0)
    other = yes_no("other", [0.7, 0.3], minutes=2.0)
    tables = make_tables(plain([0.5, 0.5], [look, other], shows=[(0.4,), (0.4,)]))
    found = rank(tables, situation(tables, (Spell(0),)), replace(BARE, asking_minutes=5.0))
    (repeated,) = (o for o in found if o.check == 0)
    assert repeated.times > 1
    assert repeated.ahead == pytest.approx(repeated.gain / repeated.cost)


def test_what_says_as_much_for_less_comes_first_whatever_follows() -> None:
    """`there` is done where `late` can be made next; `here` says the same a little sooner."""
    there = yes_no("there", [0.8, 0.3], conditions=(1,), minutes=1.0)
    here = yes_no("here", [0.8, 0.3], minutes=10.9)
    late = yes_no("late", [0.9, 0.2], ever=False, conditions=(1,), minutes=1.0)
    reach = (((0.0, 0.0), (AWAY, 0.0)),) * 3
    tables = make_tables(plain([0.5, 0.5], [there, here, late], shows=[(1.0, 0.5), (1.0, 0.5)], reach=reach))
    found = {o.check: o for o in rank(tables, situation(tables, (Spell(0),)), BARE)}
    assert found[0].gain == pytest.approx(found[1].gain)
    assert found[0].ahead > found[1].ahead
    assert list(found).index(1) < list(found).index(0)
