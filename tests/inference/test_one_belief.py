"""What must hold of the belief: by enumeration (slow.py) and as properties, on random tables."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import product
from math import log10

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reasoner.inference import belief as engine
from reasoner.inference.belief import believe
from reasoner.inference.counting import seen_showing
from reasoner.inference.evidence import Evidence, Spell, reported_weights
from reasoner.inference.expected import expected_tables
from reasoner.inference.gain import gain, gain_repeated
from reasoner.network.tables import Tables
from tests.inference import slow
from tests.inference.random_models import as_spells, random_check, random_model, random_weights
from tests.inference.slow import SlowSpell
from tests.support import Plain, PlainCheck, make_tables, plain, seen, spell, yes_no

SAME_AGAIN = 0.67  # as shipped
TWO = st.tuples(st.floats(0.01, 0.99), st.floats(0.01, 0.99)).filter(lambda pair: pair[0] - pair[1] > 0.02)


def random_case(seed: int, spells: int = 4, same_again: float | None = None) -> tuple[Plain, list[SlowSpell]]:
    """Cars that differ, looks that last: few checks, so that the same is looked at in several spells."""
    rng = random.Random(seed)
    model = random_model(seed, causes=5, checks=3)
    again = rng.choice((0.5, 0.5, 0.6, 0.8, 0.95, 0.3)) if same_again is None else same_again
    checks = tuple(
        replace(c, weight=rng.choice((4.0, 8.0, 20.0)), alike=rng.choice((0.0, 0.25, 0.9)) * (len(c.given[0]) > 1))
        for c in model.checks
    )
    checks = tuple(replace(c, together=rng.choice((0.0, 0.3, 0.8)) * (len(c.given[0]) > 1)) for c in checks)
    model = replace(model, sigma=rng.choice((0.0, 0.7, 1.2)), same_again=again, checks=checks)
    found: list[SlowSpell] = []
    used: set[int] = set()
    for _ in range(spells):
        answers = []
        for number in rng.sample(range(len(checks)), rng.randint(0, len(checks))):
            if number not in used:
                answers.append((number, random_weights(rng, checks[number])))
                used |= {number} if checks[number].ever else set()
        found.append((rng.choice((None, 0, 1, 2)), answers))
    return model, found


@pytest.mark.parametrize("seed", range(40))
def test_it_equals_enumeration(seed: int) -> None:
    model, spells = random_case(seed)
    found = believe(make_tables(model), as_spells(spells))
    assert found.probability == pytest.approx(slow.belief(model, spells), abs=1e-9)
    assert np.exp(found.log_evidence) == pytest.approx(sum(slow.joint(model, spells)), rel=1e-9)
    assert found.showing == pytest.approx(slow.showing_now(model, spells), abs=1e-9)
    for number in range(len(spells)):
        assert found.showed(number) == pytest.approx(slow.showed(model, spells, number), abs=1e-9)


@given(st.integers(0, 10**6), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_neither_order_matters(seed: int, shuffle: random.Random) -> None:
    model, spells = random_case(seed, spells=6)
    mixed = [(condition, shuffle.sample(answers, len(answers))) for condition, answers in spells]
    shuffle.shuffle(mixed)
    tables = make_tables(model)
    straight, other = believe(tables, as_spells(spells)), believe(tables, as_spells(mixed))
    assert other.probability == pytest.approx(straight.probability, abs=1e-12)
    assert other.log_evidence == pytest.approx(straight.log_evidence, abs=1e-9)


@given(st.integers(0, 10**6), st.integers(0, 2), st.sampled_from((None, 0, 1, 2)))
@settings(max_examples=60, deadline=None)
def test_what_is_expected_of_a_look_is_what_is_believed(seed: int, number: int, condition: int | None) -> None:
    """Over all outcomes of one look more, chance times belief after it is the belief now."""
    model, slow_spells = random_case(seed)
    tables, spells = make_tables(model), as_spells(slow_spells)
    if any(a.check == number for s in spells for a in s.answers) and tables.checks[number].ever:
        return
    now = believe(tables, spells)
    total, mean = 0.0, np.zeros(len(tables.prior))
    m = len(tables.checks[number].outcomes)
    for outcomes in product(range(m), repeat=len(tables.checks[number].places)):
        look = Evidence(number, tuple(reported_weights(o, m, 0.98) for o in outcomes))
        then = believe(tables, (*spells, Spell(condition, (look,))))
        chance = np.exp(then.log_evidence - now.log_evidence)
        total, mean = total + chance, mean + chance * then.probability
    assert total == pytest.approx(1.0, abs=1e-9)
    assert mean == pytest.approx(now.probability, abs=1e-9)


def looks(tables: Tables, outcomes: list[int], condition: int = 0) -> tuple[Spell, ...]:
    return tuple(Spell(condition, (seen(tables, "look", o, number=i),)) for i, o in enumerate(outcomes))


def told(tables: Tables, spells: tuple[Spell, ...]) -> float:
    """Decibans that the answers speak for the first of two causes held equally likely."""
    p = believe(tables, spells).probability
    return 10 * log10(p[0] / p[1])


def alike(rates: tuple[float, float], shows: float = 1.0, times: int = 8) -> tuple[list[float], float]:
    """Decibans after 0, 1, 2 ... equal looks at what is seen under two causes at such rates; and after two looks with
    different checks."""
    checks = [yes_no(n, rates, ever=False, weight=20.0) for n in ("look", "other")]
    tables = make_tables(plain([0.5, 0.5], checks, shows=[(shows,)] * 2, sigma=0.7, same_again=SAME_AGAIN))
    each = [told(tables, looks(tables, [1] * n)) for n in range(times + 1)]
    return each, told(tables, (spell(seen(tables, "look", 1), seen(tables, "other", 1)),))


@given(TWO)
@settings(max_examples=200, deadline=None)
def test_each_equal_look_tells_less_than_the_one_before(rates: tuple[float, float]) -> None:
    each, different = alike(rates)
    news = np.diff(each)
    assert (news > 0).all()
    assert (np.diff(news) < 1e-9).all()
    assert each[-1] < different


@pytest.mark.parametrize("rates", [(0.9, 0.01), (0.99, 0.01), (0.6, 0.2), (0.95, 0.9)])
def test_no_number_of_equal_looks_tells_as_much_as_two_different_checks(rates: tuple[float, float]) -> None:
    each, different = alike(rates, times=200)
    assert each[200] < different
    assert each[200] - each[100] < 1e-6


def test_a_constant_fault_seen_each_time_is_not_lowered() -> None:
    """One always shows, the other half the time; something is to be seen every time."""
    look = yes_no("look", [0.9, 0.9], otherwise=(0.95, 0.05), ever=False, weight=20.0)
    tables = make_tables(plain([0.5, 0.5], [look], shows=[(0.99,), (0.5,)], sigma=0.7, same_again=0.5))
    each = [believe(tables, looks(tables, [1] * n)).probability[0] for n in range(7)]
    assert each == sorted(each) and each[-1] > 0.6


def test_one_hard_finding_while_it_showed_is_not_undone_by_quiet_looks() -> None:
    hard = yes_no("hard", [0.95, 0.02], otherwise=(0.98, 0.02), ever=False, weight=20.0)
    look = yes_no("look", [0.8, 0.02], otherwise=(0.98, 0.02), ever=False, weight=20.0)
    tables = make_tables(plain([0.5, 0.5], [hard, look], shows=[(0.3,)] * 2, sigma=0.7, same_again=0.5))
    found = (spell(seen(tables, "hard", 1)),)
    quiet = tuple(spell(seen(tables, "look", 0, number=9 + i)) for i in range(8))
    assert believe(tables, found).probability[0] > 0.9
    assert believe(tables, (*found, *quiet)).probability[0] > 0.7


def test_a_rare_fault_is_not_acquitted_by_quiet_looks() -> None:
    """It shows in a tenth of all spells: ten looks that saw nothing halve its odds at most."""
    look = yes_no("look", [0.8, 0.02], otherwise=(0.98, 0.02), ever=False, weight=20.0)
    tables = make_tables(plain([0.5, 0.5], [look], shows=[(0.1,)] * 2, sigma=0.7, same_again=0.5))
    each = [believe(tables, looks(tables, [0] * n)).probability[0] for n in range(11)]
    assert each[10] > 1 / 3


def test_looks_while_it_shows_weigh_most() -> None:
    """The same look, in a spell known to be showing and in one of which nothing is known."""
    act = yes_no("act", [0.95, 0.95], otherwise=(0.99, 0.01), ever=False, weight=20.0)
    look = yes_no("look", [0.9, 0.1], otherwise=(0.9, 0.1), ever=False, weight=20.0)
    tables = make_tables(plain([0.5, 0.5], [look, act], shows=[(0.2,)] * 2, sigma=0.7, same_again=0.5))
    for outcome in (0, 1):
        alone = abs(told(tables, (spell(seen(tables, "look", outcome)),)))
        shown = abs(told(tables, (spell(seen(tables, "look", outcome), seen(tables, "act", 1)),)))
        assert shown > 2 * alone


@pytest.mark.parametrize("seed", range(30))
def test_what_is_silent_of_a_cause_tells_nothing_of_its_state(seed: int) -> None:
    """A cause with the row of `otherwise` everywhere: all its spells are as likely to have shown as before."""
    rng = random.Random(seed)
    check = random_check(rng, "look", 3, 1, ever=False, weight=8.0)
    silent = replace(check, given=((check.otherwise,), *check.given[1:]))
    model = plain([0.4, 0.3, 0.3], [silent], shows=[(0.3,), (0.6,), (0.2,)], sigma=0.7, same_again=0.5)
    tables = make_tables(model)
    m = len(check.otherwise)
    spells = looks(tables, [rng.randrange(m) for _ in range(4)])
    found = believe(tables, spells)
    assert [found.showed(n)[0] for n in range(4)] == pytest.approx([0.3] * 4, abs=1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_what_comes_next_is_read_from_the_tables_of_the_case(seed: int) -> None:
    """Of a check at one place, the chance of each outcome of a look in a new spell: by the tables, and by believing."""
    model, slow_spells = random_case(seed, same_again=0.5)
    tables, spells = make_tables(model), as_spells(slow_spells)
    now = believe(tables, spells)
    case = expected_tables(tables, now, 1.0)
    for number, check in enumerate(tables.checks):
        if check.steady or len(check.places) > 1:
            continue
        table = case.checks[number]
        for condition, outcome in product(range(3), range(len(check.outcomes))):
            then = believe(tables, (*spells, spell(seen(tables, check.name, outcome), condition=condition)))
            shows = case.shows[:, condition]
            on, off = table.rows[table.index[:, 0], outcome], table.rows[0, outcome]
            chance = float(now.probability @ (shows * on + (1 - shows) * off))
            looked = any(a.check == number for s in spells for a in s.answers)
            assert chance == pytest.approx(np.exp(then.log_evidence - now.log_evidence), abs=0.06 if looked else 1e-9)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("times", [1, 2, 3])
def test_the_gain_of_several_looks_equals_enumeration(seed: int, times: int) -> None:
    rng = random.Random(seed)
    check = random_check(rng, "look", 4, 1, ever=False, weight=8.0)
    shows = [(rng.random(),) for _ in range(4)]
    model = plain([0.4, 0.3, 0.2, 0.1], [check], shows=shows, classes=[0, 0, 1, 2], sigma=0.7, same_again=0.5)
    m = len(check.otherwise)
    pairs: dict[tuple[object, object], float] = {}
    for outcomes in product(range(m), repeat=times):
        spells: list[SlowSpell] = [(0, [(0, (reported_weights(o, m, 1.0),))]) for o in outcomes]
        for cause, p in enumerate(slow.joint(model, spells)):
            key = model.classes[cause], outcomes
            pairs[key] = pairs.get(key, 0.0) + p
    tables = make_tables(model)
    found = gain_repeated(tables, tables.checks[0], tables.prior, 0, times)
    assert found == pytest.approx(slow.mutual_information(pairs), abs=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_beyond_the_width_it_is_near(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    model, spells = random_case(seed, spells=7, same_again=0.5)
    tables = make_tables(model)
    exact = believe(tables, as_spells(spells)).probability
    monkeypatch.setattr(engine, "WIDTH", 8)
    cut = believe(replace(tables), as_spells(spells)).probability
    assert abs(cut - exact).sum() < 0.1


def test_provoked_spells_are_no_evidence_of_how_often_it_shows() -> None:
    heat = yes_no("heat", [0.9, 0.3], otherwise=(0.98, 0.02), ever=False, provokes=True, weight=20.0)
    look = yes_no("look", [0.9, 0.5], otherwise=(0.95, 0.05), ever=False, weight=20.0)
    tables = make_tables(plain([0.5, 0.5], [heat, look], shows=[(0.2,)] * 2, sigma=0.7, same_again=0.5))
    provoked = spell(seen(tables, "heat", 1), seen(tables, "look", 1, number=1))
    natural = spell(seen(tables, "look", 0, number=2))
    assert len(seen_showing(tables, (provoked, natural))) == 1


def test_steady_answers_say_nothing_of_the_state() -> None:
    """A spell in which only such answers were given was not observed at all."""
    code = yes_no("code", [0.9, 0.2], weight=20.0)
    look = yes_no("look", [0.9, 0.5], otherwise=(0.95, 0.05), ever=False, weight=20.0)
    tables = make_tables(plain([0.5, 0.5], [code, look], shows=[(0.2,), (0.6,)], sigma=0.7, same_again=0.5))
    code_apart = (spell(seen(tables, "code", 1)), spell(seen(tables, "look", 1)))
    same_spell = (spell(seen(tables, "look", 1), seen(tables, "code", 1)),)
    assert believe(tables, code_apart).probability == pytest.approx(believe(tables, same_spell).probability, abs=1e-12)
    assert len(seen_showing(tables, code_apart)) == 1


def test_a_fault_of_which_a_check_by_place_says_nothing_is_spoken_against_once() -> None:
    """All four places show what one named cause shows: taken one by one that is four times against the silent."""
    found = {}
    for alike_ in (0.0, 0.25):
        named, silent = ((0.4, 0.6),) * 4, ((0.92, 0.08),) * 4
        look = PlainCheck("look", (0.92, 0.08), (named, silent), ever=True, weight=20.0, alike=alike_)
        tables = make_tables(plain([0.5, 0.5], [look], same_again=0.67))
        found[alike_] = told(tables, (spell(seen(tables, "look", 1, 1, 1, 1)),))
    once = 10 * log10(0.6 / 0.08)
    assert found[0.0] == pytest.approx(4 * once)
    assert found[0.25] < 2 * once


def test_what_was_hard_to_tell_is_no_easier_to_tell_again() -> None:
    """An answer that somebody only thinks so: the same look again is worth less than if the first one had been sure."""
    look = yes_no("look", [0.9, 0.2], otherwise=(0.9, 0.1), ever=False, weight=20.0)
    tables = make_tables(plain([0.5, 0.5], [look], shows=[(0.5,)] * 2, sigma=0.7, same_again=0.5))
    unsure = (spell(Evidence(0, ((0.2, 0.8),))),)
    now = believe(tables, unsure)
    bits = []
    for case in (expected_tables(tables, now, 0.98), expected_tables(tables, now, 0.98, {0: 0.8})):
        shows = case.shows[:, 0]
        bits.append(gain(case, case.checks[0], now.probability * shows, now.probability * (1 - shows)))
    assert bits[1] < 0.6 * bits[0]


RICH, CLEAN = (0.1, 0.9), (0.9, 0.1)


def two_banks(together: float) -> Tables:
    """A fault of the whole engine, one of bank 1, one of bank 2; rich nine times in ten where and while it shows."""
    given = ((RICH, RICH), (RICH, CLEAN), (CLEAN, RICH))
    trims = PlainCheck("trims", CLEAN, given, ever=False, together=together)
    return make_tables(plain([0.5, 0.25, 0.25], [trims], shows=[(0.7,)] * 3))


def test_a_clean_bank_beside_a_rich_one_clears_what_does_the_same_to_both() -> None:
    """By hand, while it shows: rich beside clean is 0.2 * 0.9 * 0.1 under a fault of the whole engine, for 0.9 * 0.1 of
    two draws; 0.9 * 0.9 under one of that bank. While quiet it is 0.1 * 0.9 under any."""
    quiet = 0.3 * 0.09
    for together, whole in ((0.0, 0.7 * 0.09), (0.8, 0.7 * 0.2 * 0.09)):
        p = believe(two_banks(together), [spell(seen(two_banks(together), "trims", 1, 0))]).probability
        weights = np.array([0.5 * (whole + quiet), 0.25 * (0.7 * 0.81 + quiet), 0.25 * (0.7 * 0.01 + quiet)])
        assert p == pytest.approx(weights / weights.sum(), abs=1e-12)


@given(st.sampled_from((0, 1)), st.sampled_from((0, 1)), st.floats(0.0, 1.0))
@settings(max_examples=30, deadline=None)
def test_one_bank_by_itself_tells_what_it_always_did(bank: int, outcome: int, together: float) -> None:
    looks = [None, None]
    looks[bank] = outcome  # type: ignore[call-overload]
    found, plainly_ = (
        believe(two_banks(b), [spell(seen(two_banks(b), "trims", *looks))]).probability for b in (together, 0.0)
    )
    assert found == pytest.approx(plainly_, abs=1e-12)


@given(st.floats(0.0, 1.0))
@settings(max_examples=30, deadline=None)
def test_what_is_expected_of_both_banks_is_what_is_believed(together: float) -> None:
    tables = two_banks(together)
    now = believe(tables, [Spell(0)])
    mean: np.ndarray = np.zeros(3)
    for outcomes in product((0, 1), repeat=2):
        then = believe(tables, [spell(seen(tables, "trims", *outcomes))])
        mean = mean + np.exp(then.log_evidence - now.log_evidence) * then.probability
    assert mean == pytest.approx(now.probability, abs=1e-12)
