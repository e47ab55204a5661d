"""Two faults at once: by enumeration, in plain Python that shares no code with the engine, and as properties."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from itertools import combinations, product
from math import log10, prod

import numpy as np
import pytest

from reasoner.inference import pairs as engine
from reasoner.inference.belief import believe
from reasoner.inference.pairs import MOST_ALIKE, shown_together, tables_with_pairs, with_pairs
from tests.inference import slow
from tests.inference.random_models import as_spells
from tests.inference.slow import SlowSpell
from tests.inference.test_one_belief import random_case
from tests.support import Plain, PlainCheck, explained, make_tables, plain, seen, spell, yes_no

SHARE = 0.1
Row = tuple[float, ...]


def in_words(sound: Row, one: Row, other: Row) -> list[float]:
    """What both together show, as rules/README.md says it, outcome by outcome."""

    def parted(row: Row) -> tuple[float, list[float]]:
        none = min(r / s for r, s in zip(row, sound, strict=True))
        return 1 - none, [(r - none * s) / (1 - none) for r, s in zip(row, sound, strict=True)]

    if tuple(one) == tuple(sound):
        return list(other)
    if tuple(other) == tuple(sound):
        return list(one)
    (e, f), (d, g) = parted(one), parted(other)
    less = sum(x * max(0.0, 1 - r / s) for x, r, s in zip(f, other, sound, strict=True))
    more = sum(x * max(0.0, 1 - r / s) for x, r, s in zip(g, one, sound, strict=True))
    found = []
    for s, x, y in zip(sound, f, g, strict=True):
        both = less * more * s + (1 - less * more) * (x + y) / 2
        found.append((1 - e) * (1 - d) * s + e * (1 - d) * x + (1 - e) * d * y + e * d * both)
    return found


def slow_row(model: Plain, number: int, place: int, a: int, b: int, s: bool, t: bool) -> Row:
    check = model.checks[number]
    sees = check.ever or check.provokes
    one = check.given[a][place] if s or sees else check.otherwise
    other = check.given[b][place] if t or sees else check.otherwise
    if check.otherwise in (one, other):
        return other if one == check.otherwise else one
    raised = [max(p, model.unlikeliest) for p in in_words(check.otherwise, one, other)]
    return tuple(p / sum(raised) for p in raised)


def slow_pair(model: Plain, a: int, b: int, spells: list[SlowSpell]) -> dict[tuple[tuple[bool, bool], ...], float]:
    """P(states of both in all spells, all answers | pair)."""
    found = {}
    for states in product(product((True, False), repeat=2), repeat=len(spells)):
        things: dict[tuple[int, int, Row], list[slow.Weights]] = {}
        for (_, answers), (s, t) in zip(spells, states, strict=True):
            for number, weights in answers:
                for place, w in enumerate(weights):
                    if w is not None:
                        things.setdefault((number, place, slow_row(model, number, place, a, b, s, t)), []).append(w)
        told, nothing = 1.0, dict[int, list[tuple[float, list[slow.Weights]]]]()
        banks = dict[tuple[int, Row], list[tuple[float, list[slow.Weights]]]]()
        for (number, _, row), looks in things.items():
            check = model.checks[number]
            again = model.same_again + (1 - model.same_again) / (check.weight + 1)
            held = [
                {slow_row(model, number, p, a, b, s, t) for p in range(len(check.given[0]))}
                for (_, answers), (s, t) in zip(spells, states, strict=True)
                if number in [n for n, _ in answers]
            ]
            if row == check.otherwise:
                nothing.setdefault(number, []).append((slow.lasting(row, looks, again), looks))
            elif check.together and all(rows == {row} for rows in held if row in rows):
                banks.setdefault((number, row), []).append((slow.lasting(row, looks, again), looks))
            else:
                told *= slow.lasting(row, looks, again)
        for (number, row), each in banks.items():
            check = model.checks[number]
            own = [w for _, looks in each for w in looks if w]
            same = sum(p * prod(w[o] for w in own) for o, p in enumerate(row))
            told *= (1 - check.together) * prod(each_[0] for each_ in each) + check.together * same
        for number, each in nothing.items():
            check = model.checks[number]
            own = [w for _, looks in each for w in looks if w]
            same = sum(p * prod(w[o] for w in own) for o, p in enumerate(check.otherwise))
            told *= (1 - check.alike) * prod(each_[0] for each_ in each) + check.alike * same
        total = 0.0
        points = slow.activities(model.sigma)
        for (i, (_, p)), (j, (_, q)) in product(enumerate(points), enumerate(points)):
            weight = p * q
            for (condition, given), (s, t) in zip(spells, states, strict=True):
                forced = slow.brought_on(model, given)
                one, other = (slow.chance(model, c, condition, n, forced) for c, n in ((a, i), (b, j)))
                weight *= (one if s else 1 - one) * (other if t else 1 - other)
            total += weight
        found[states] = total * told
    return found


def bank_by_bank(seed: int, spells: int) -> tuple[Plain, list[SlowSpell]]:
    """A random case in which `together` holds only of what is looked at in one spell, or where all causes say something
    of all places or of none: else the engine leaves it out (see `pairs._looks`)."""
    model, found = random_case(seed, spells=spells)
    checks = []
    for number, check in enumerate(model.checks):
        mixed = any(len({row == check.otherwise for row in rows}) > 1 for rows in check.given)
        often = sum(number in [n for n, _ in answers] for _, answers in found) > 1
        checks.append(replace(check, together=0.0) if mixed and often else check)
    return replace(model, checks=tuple(checks)), found


@pytest.mark.parametrize("seed", range(30))
def test_it_equals_enumeration(seed: int) -> None:
    model, spells = bank_by_bank(seed, spells=3)
    tables = make_tables(model)
    pairs = [(a, b) for a, b in combinations(range(5), 2) if model.classes[a] != model.classes[b]][:4]
    paired = with_pairs(tables, pairs, SHARE)
    found = believe(paired, as_spells(spells))
    singles = slow.joint(model, spells)
    each = {pair: slow_pair(model, *pair, spells) for pair in pairs}
    both = {p: 2 * SHARE * model.prior[p[0]] * model.prior[p[1]] * sum(each[p].values()) for p in pairs}
    total = sum(singles) + sum(both.values())
    assert found.probability[:5] == pytest.approx([p / total for p in singles], abs=1e-9)
    for q, pair in enumerate(map(tuple, paired.pairs.tolist())):
        assert found.probability[5 + q] == pytest.approx(both[pair] / total, abs=1e-9)
        for number in range(len(spells)):
            some = sum(p for states, p in each[pair].items() if any(states[number]))
            assert found.showed(number)[5 + q] == pytest.approx(some / sum(each[pair].values()), abs=1e-9)
    assert found.probability.sum() == pytest.approx(1.0, abs=1e-12)


def equal_looks(seed: int) -> tuple[Plain, list[SlowSpell]]:
    """The same look in four spells of two conditions, so that spells make groups."""
    model, spells = bank_by_bank(seed, spells=1)
    model = replace(model, checks=tuple(replace(c, together=0.0) for c in model.checks))
    now = next((n for n, c in enumerate(model.checks) if not (c.ever or c.provokes)), None)
    if now is None:
        return model, spells
    look = (now, tuple((0.9, 0.1, 0.1)[: len(model.checks[now].otherwise)] for _ in model.checks[now].given[0]))
    return model, [*spells, (0, [look]), (1, [look]), (0, [look]), (0, [])]


@pytest.mark.parametrize("seed", range(8))
def test_equal_looks_make_groups(seed: int) -> None:
    model, spells = equal_looks(seed)
    paired = with_pairs(make_tables(model), [(0, 4)], SHARE)
    found, each = believe(paired, as_spells(spells)), slow_pair(model, 0, 4, spells)
    single = slow.joint(model, spells)[0] / model.prior[0]
    ratio = found.probability[5] / found.probability[0] * model.prior[0] / (2 * SHARE * model.prior[0] * model.prior[4])
    assert ratio == pytest.approx(sum(each.values()) / single, rel=1e-9)
    for number in range(len(spells)):
        some = sum(p for states, p in each.items() if any(states[number])) / sum(each.values())
        assert found.showed(number)[5] == pytest.approx(some, abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_a_beam_is_near_what_is_exact(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    model, spells = random_case(seed, spells=4)
    exact = believe(with_pairs(make_tables(model), [(0, 4)], SHARE), as_spells(spells)).probability
    monkeypatch.setattr(engine, "PAIR_WIDTH", 24)
    cut = believe(with_pairs(make_tables(model), [(0, 4)], SHARE), as_spells(spells)).probability
    assert cut == pytest.approx(exact, abs=0.02)


@pytest.mark.parametrize("times", [8, MOST_ALIKE])
def test_with_as_many_looks_alike_as_are_weighed_the_beam_is_near_what_is_exact(
    times: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Signs of two faults that come and go, looked for in vain as often as they were seen, on cars that differ in how
    often they show: 165 or 286 counts of each kind of spell, and their products."""
    signs = tuple(map(of_now, clear(0.9).checks))
    model = replace(clear(0.9), shows=((0.6,),) * 4, checks=signs, sigma=0.7)

    def fits(width: int) -> float:
        """Log likelihood of the pair."""
        monkeypatch.setattr(engine, "PAIR_WIDTH", width)
        tables = with_pairs(make_tables(model), [(0, 1)], SHARE)
        spells = [spell(seen(tables, f"sign-{i}", o)) for i in (0, 1) for o in (0, 1) for _ in range(times)]
        return float(engine.pair_sums(tables, believe(tables, spells).case).log[0])

    # Half a deciban. To cut each kind of spell by itself, before they are joined, is off by 1.7.
    assert fits(engine.PAIR_WIDTH) == pytest.approx(fits(10**6), abs=0.1)


# ---- what both show --------------------------------------------------------------------------------------------------


def drawn(rng: random.Random, outcomes: int) -> Row:
    found = [rng.uniform(0.02, 1.0) for _ in range(outcomes)]
    return tuple(p / sum(found) for p in found)


@pytest.mark.parametrize("seed", range(50))
def test_together_is_a_distribution_in_no_order_and_what_is_sound_changes_nothing(seed: int) -> None:
    rng = random.Random(seed)
    sound, one, other = (np.array(drawn(rng, 3)) for _ in range(3))
    found = shown_together(sound, one, other)
    assert found.sum() == pytest.approx(1.0)
    assert (found >= 0).all()
    assert found == pytest.approx(shown_together(sound, other, one))
    assert shown_together(sound, one, sound) == pytest.approx(one)
    assert found == pytest.approx(in_words(tuple(sound), tuple(one), tuple(other)))


def test_two_outcomes_that_both_make_likelier_are_a_noisy_or() -> None:
    """By its formula: 1 - p = (1 - leak) times, for each cause, (1 - p_i) / (1 - leak). Pearl 1988, from memory."""
    for leak, p, q in ((0.1, 0.6, 0.3), (0.005, 0.05, 0.05), (0.3, 0.9, 0.95)):
        found = shown_together(np.array([1 - leak, leak]), np.array([1 - p, p]), np.array([1 - q, q]))[1]
        assert 1 - found == pytest.approx((1 - p) * (1 - q) / (1 - leak))


def test_opposite_effects_cancel_and_equal_ones_add() -> None:
    sound, rich, lean = np.array([0.9, 0.05, 0.05]), np.array([0.2, 0.795, 0.005]), np.array([0.2, 0.005, 0.795])
    found = shown_together(sound, rich, lean)
    assert found[1] == pytest.approx(found[2])
    assert found[0] > 2 * rich[0]
    assert shown_together(sound, rich, rich)[1] > rich[1]


@pytest.mark.parametrize("seed", range(20))
def test_what_two_show_together_takes_the_place_of_either(seed: int) -> None:
    """Both effects drawn one by one, and looked up: what the rules say of the two outcomes, else either of them."""
    rng = random.Random(seed)
    sound = np.array([1.0, 0.0, 0.0, 0.0])  # no effect is ever made unlikelier than it is with nothing there
    one, other = (np.array([0.0, *drawn(rng, 3)]) for _ in range(2))
    found = shown_together(sound, one, other, [(1, 3, 2)])
    wanted = np.zeros(4)
    for a, b in itertools.product(range(4), repeat=2):
        for outcome in (2, 2) if {a, b} == {1, 3} else (a, b):
            wanted[outcome] += one[a] * other[b] / 2
    assert found == pytest.approx(wanted) and (found >= 0).all()
    assert found == pytest.approx(shown_together(sound, other, one, [(1, 3, 2)]))


# ---- which are weighed -----------------------------------------------------------------------------------------------


def two_clear_signs(sure: float) -> Plain:
    """Each of the first two causes alone has a sign that a sound part hardly ever shows."""
    rows = [[sure, 0.02, 0.02, 0.02], [0.02, sure, 0.02, 0.02]]
    return plain((0.3, 0.3, 0.2, 0.2), [yes_no(f"sign-{i}", row) for i, row in enumerate(rows)])


def by_how_much(sure: float) -> float:
    """Decibans by which both explain two signs better than one alone, by hand: of the second sign the pair says `sure`
    where one alone says 0.02, and of the first they say the same."""
    return 10 * log10(sure / 0.02)


def clear(sure: float) -> Plain:
    model = two_clear_signs(sure)
    return replace(model, checks=tuple(replace(c, otherwise=(0.98, 0.02)) for c in model.checks))


@pytest.mark.parametrize("sure", [0.3, 0.5, 0.9])
def test_pairs_are_weighed_from_the_setting_on_and_not_below(sure: float) -> None:
    tables = make_tables(clear(sure))
    spells = (spell(seen(tables, "sign-0", 1), seen(tables, "sign-1", 1)),)
    limit = by_how_much(sure)
    paired = tables_with_pairs(tables, spells, SHARE, limit - 0.01)
    assert paired.pairs.tolist() == [[0, 1]]
    assert explained(paired, believe(paired, spells))[0] == pytest.approx(limit, abs=1e-6)
    assert tables_with_pairs(tables, spells, SHARE, limit + 0.01) is tables


@pytest.mark.filterwarnings("error")
def test_a_cause_that_cannot_be_is_in_no_pair() -> None:
    model = replace(clear(0.9), prior=(0.3, 0.3, 0.4, 0.0))
    spells = (spell(seen(make_tables(model), "sign-0", 1), seen(make_tables(model), "sign-1", 1)),)
    assert tables_with_pairs(make_tables(model), spells, SHARE, 3.0).pairs.tolist() == [[0, 1]]


def test_not_reckoned_with_at_all_where_the_rules_say_so() -> None:
    tables = make_tables(clear(0.9))
    spells = (spell(seen(tables, "sign-0", 1), seen(tables, "sign-1", 1)),)
    assert tables_with_pairs(tables, spells, 0.0, 0.0) is tables


def test_where_one_look_was_made_more_often_than_anybody_does_no_pair_is_weighed() -> None:
    """Its cost grows by the cube of the looks alike: eighty of them took gigabytes. One fewer, and it is weighed."""
    found = []
    for more in (0, 1):
        tables = make_tables(replace(clear(0.9), shows=((0.6,),) * 4, checks=tuple(map(of_now, clear(0.9).checks))))
        signs = [spell(seen(tables, f"sign-{i}", 1)) for i in (0, 1) for _ in range(MOST_ALIKE + more)]
        found.append(len(tables_with_pairs(tables, signs, SHARE, 3.0).pairs))
    assert found == [1, 0]


def of_now(sign: PlainCheck) -> PlainCheck:
    return replace(sign, ever=False)


def test_one_sign_is_no_reason_for_two_faults() -> None:
    tables = make_tables(clear(0.9))
    for signs in ((1, 0), (0, 1), (0, 0)):
        spells = (spell(*(seen(tables, f"sign-{i}", o) for i, o in enumerate(signs))),)
        assert tables_with_pairs(tables, spells, SHARE, 3.0) is tables


def test_what_one_repair_mends_is_no_pair() -> None:
    tables = make_tables(replace(clear(0.9), classes=(0, 0, 1, 2)))
    spells = (spell(seen(tables, "sign-0", 1), seen(tables, "sign-1", 1)),)
    assert tables_with_pairs(tables, spells, SHARE, 3.0) is tables


@pytest.mark.parametrize("seed", range(40))
def test_the_look_from_afar_misses_no_pair_that_would_matter(seed: int) -> None:
    """Of all pairs there are, worked out exactly: those that explain much more and are believed at all are weighed."""
    model, spells = random_case(seed, spells=3)
    tables, least = make_tables(model), 4.0
    every = [(a, b) for a, b in combinations(range(5), 2) if model.classes[a] != model.classes[b]]
    whole = with_pairs(tables, every, SHARE)
    belief = believe(whole, as_spells(spells))
    better = explained(whole, belief)
    wanted = {
        (int(a), int(b))
        for (a, b), much, p in zip(whole.pairs, better, belief.probability[5:], strict=True)
        if much >= least and p >= 1.5 * engine.LEAST_PAIR
    }
    found = tables_with_pairs(tables, as_spells(spells), SHARE, least)
    assert wanted <= {(int(a), int(b)) for a, b in found.pairs}
