"""What a check is worth for what is done afterwards, and what speaks against a cause: against sums written out."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reasoner.inference.counting import seen_showing
from reasoner.inference.information_value import expected_losses, least_after, loss_table
from reasoner.inference.plan import Option
from reasoner.inference.weight import chances_to_find, findings_against, moments_ahead, spoken_against
from tests.support import PlainCheck, check, make_tables, plain, posterior, seen, situation, spell, yes_no

CHANCE = st.floats(0.02, 0.98)
LOSSES = [[0.0, 40.0, 90.0], [30.0, 0.0, 20.0], [25.0, 25.0, 5.0]]


def test_howards_bidder_in_small() -> None:
    """A perfect test is worth what is lost for want of it: with even odds and losses 0 and 100 it saves 50, the
    expected value of perfect information (worked out by hand)."""
    tables = make_tables(plain([0.5, 0.5], [yes_no("which", [0.0, 1.0])]))
    now = situation(tables)
    table = loss_table([[0.0, 100.0], [100.0, 0.0]])
    assert min(expected_losses(table, [0.5, 0.5])) == pytest.approx(50)
    assert least_after(tables, now, Option(0, 0, False), table) == pytest.approx(0)


def test_the_car_that_does_not_start() -> None:
    """F. V. Jensen, Bayesian Networks and Decision Graphs, ch. 4: plugs 0.3, ignition 0.2, other 0.5; mending the plugs
    takes 4 minutes, the ignition 2 (and works half the time), everything 15; a test of the ignition half a minute. The
    inputs and P(plugs | ignition sound) = .38 are from its slides; the optimum of 13.1 minutes, and 14.4 without the
    test, were worked out independently of this code, by going through all orders."""
    prior = {"plugs": 0.3, "ignition": 0.2, "other": 0.5}
    minutes, works = {"plugs": 4.0, "ignition": 2.0}, {"plugs": 1.0, "ignition": 0.5}

    def until_it_starts(first: tuple[str, ...], cause: str) -> float:
        left, total = 1.0, 0.0
        for act in first:
            total += left * minutes[act]
            left *= 1 - works[act] * (act == cause)
        return total + left * 15

    orders = [order for n in range(3) for order in permutations(minutes, n)]
    table = loss_table([[until_it_starts(order, cause) for cause in prior] for order in orders])
    tables = make_tables(plain(list(prior.values()), [yes_no("ignition faulty", [0.0, 1.0, 0.0])]))
    now = situation(tables)
    assert min(expected_losses(table, list(prior.values()))) == pytest.approx(14.4)
    assert 0.5 + least_after(tables, now, Option(0, 0, False), table) == pytest.approx(13.1)
    sound = posterior(tables, seen(tables, "ignition faulty", 0))
    assert sound == pytest.approx([0.375, 0.0, 0.625])


@settings(deadline=None, max_examples=60)
@given(st.lists(CHANCE, min_size=3, max_size=3), st.lists(CHANCE, min_size=3, max_size=3), CHANCE, st.booleans())
def test_every_outcome_by_bayes(yes: list[float], shows: list[float], quiet: float, ever: bool) -> None:
    """One look at a fault that comes and goes: the sum over outcomes of the least loss, state by state."""
    prior = (0.5, 0.3, 0.2)
    looked = check("look", [(1 - p, p) for p in yes], (1 - quiet, quiet), ever=ever)
    tables = make_tables(plain(prior, [looked], [(s,) for s in shows]))
    now = situation(tables, (spell(condition=0),))
    total = 0.0
    for outcome in (0, 1):
        weight = []
        for c in range(3):
            like = yes[c] if outcome else 1 - yes[c]
            otherwise = like if ever else (quiet if outcome else 1 - quiet)
            weight.append(prior[c] * (shows[c] * like + (1 - shows[c]) * otherwise))
        total += min(sum(w * loss for w, loss in zip(weight, row, strict=True)) for row in LOSSES)
    assert least_after(tables, now, Option(0, 0, False), loss_table(LOSSES)) == pytest.approx(total)


def test_several_places_at_once() -> None:
    """Two cylinders with two outcomes: four joint outcomes, and one place alone where only that is looked at."""
    wet, dry = (0.3, 0.7), (0.95, 0.05)
    given_rows = ((wet, dry), (dry, wet), (dry, dry))
    table = PlainCheck("plugs", (0.9, 0.1), given_rows)
    prior = (0.4, 0.4, 0.2)
    tables = make_tables(plain(prior, [table]))
    now = situation(tables)

    def by_hand(places: tuple[int, ...]) -> float:
        total = 0.0
        for outcome in product((0, 1), repeat=len(places)):
            weight = []
            for c in range(3):
                like = prior[c]
                for place, o in zip(places, outcome, strict=True):
                    like *= given_rows[c][place][o]
                weight.append(like)
            total += min(sum(w * loss for w, loss in zip(weight, row, strict=True)) for row in LOSSES)
        return total

    losses = loss_table(LOSSES)
    assert least_after(tables, now, Option(0, 0, False), losses) == pytest.approx(by_hand((0, 1)))
    assert least_after(tables, now, Option(0, 0, False, place=1), losses) == pytest.approx(by_hand((1,)))


def test_looks_in_several_spells() -> None:
    """Three looks, each in a new spell: all eight courses of outcomes, one by one."""
    yes, quiet, shows, prior = (0.9, 0.1, 0.5), 0.05, (0.6, 0.3, 0.8), (0.5, 0.3, 0.2)
    looked = check("look", [(1 - p, p) for p in yes], (1 - quiet, quiet), ever=False)
    tables = make_tables(plain(prior, [looked], [(s,) for s in shows]))
    total = 0.0
    for outcomes in product((0, 1), repeat=3):
        weight = []
        for c in range(3):
            like = prior[c]
            for o in outcomes:
                one = yes[c] if o else 1 - yes[c]
                like *= shows[c] * one + (1 - shows[c]) * (quiet if o else 1 - quiet)
            weight.append(like)
        total += min(sum(w * loss for w, loss in zip(weight, row, strict=True)) for row in LOSSES)
    option = Option(0, 0, True, times=3)
    assert least_after(tables, situation(tables), option, loss_table(LOSSES)) == pytest.approx(total)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(CHANCE, min_size=3, max_size=3),
    st.lists(st.lists(st.floats(0, 100), min_size=3, max_size=3), min_size=1, max_size=4),
)
def test_knowing_more_never_costs(yes: list[float], rows: list[list[float]]) -> None:
    """The outcome of a free check never makes the expected loss larger (Howard 1966)."""
    tables = make_tables(plain([0.5, 0.3, 0.2], [yes_no("look", yes)]))
    table = loss_table(rows)
    now = min(expected_losses(table, [0.5, 0.3, 0.2]))
    assert least_after(tables, situation(tables), Option(0, 0, False), table) <= now + 1e-9


# ---- what speaks against a cause -------------------------------------------------------------------------------------


def test_looked_for_and_not_seen() -> None:
    """A check that stays, of a fault that seldom shows: the ratio to what a sound car shows, and never more than 1."""
    table = check("purge", [(0.1, 0.9), (0.98, 0.02)], (0.98, 0.02))
    tables = make_tables(plain([0.5, 0.5], [table], [(0.2,), (0.2,)]))
    normal, odd = (spell(seen(tables, "purge", outcome)) for outcome in (0, 1))
    assert spoken_against(tables, (normal,), {0}) == pytest.approx([0.1 / 0.98, 1.0])
    assert spoken_against(tables, (odd,), {0}) == pytest.approx([1.0, 1.0])  # it speaks for the first: not against
    assert spoken_against(tables, (normal,), set()) == pytest.approx([1.0, 1.0])  # not a check that speaks of it


def test_a_normal_look_while_quiet_excludes_little() -> None:
    """A fault that shows one time in five: one normal look leaves 0.8 + 0.2 * ratio; ten in the same spell no less."""
    table = check("trim", [(0.1, 0.9), (0.98, 0.02)], (0.98, 0.02), ever=False)
    tables = make_tables(plain([0.5, 0.5], [table], [(0.2,), (0.2,)]))
    one = spell(seen(tables, "trim", 0))
    assert spoken_against(tables, (one,), {0})[0] == pytest.approx(0.8 + 0.2 * 0.1 / 0.98)
    ten = spell(*(seen(tables, "trim", 0, number=n) for n in range(10)))
    assert spoken_against(tables, (ten,), {0})[0] == pytest.approx(0.8 + 0.2 * 0.1 / 0.98)
    assert spoken_against(tables, (one, one), {0})[0] == pytest.approx((0.8 + 0.2 * 0.1 / 0.98) ** 2)


def test_in_a_spell_known_to_be_showing_it_excludes() -> None:
    """The rich trim of the same spell says that it is showing; then a normal look at the hose counts."""
    trim = check("trim", [(0.1, 0.9), (0.1, 0.9)], (0.98, 0.02), ever=False)
    hose = check("hose", [(0.1, 0.9), (0.98, 0.02)], (0.98, 0.02), ever=False)
    tables = make_tables(plain([0.5, 0.5], [trim, hose], [(0.2,), (0.2,)]))
    alone = spoken_against(tables, (spell(seen(tables, "hose", 0)),), {1})[0]
    both = spoken_against(tables, (spell(seen(tables, "trim", 1), seen(tables, "hose", 0)),), {1})[0]
    showing = 0.2 * 45 / (0.2 * 45 + 0.8)
    assert both == pytest.approx(showing * 0.1 / 0.98 + 1 - showing)
    assert both < 0.3 < 0.7 < alone


def test_while_it_is_rich_it_is_held_against_how_else_it_is_rich() -> None:
    """A hose pinched while it is rich, without any change: a sound car is not rich at all, so it is no measure. It
    speaks against the vapour by how seldom vapour stays, against how often a rich mixture does on the mean; for nothing
    against what it is likely under. That it is not rich is held against a sound car."""
    pinch = check("pinch", [(0.04, 0.05, 0.91), (0.06, 0.9, 0.04)], (0.91, 0.06, 0.03), ever=False)
    tables = make_tables(plain([0.5, 0.5], [pinch], [(0.5,), (0.5,)]))
    tables = replace(tables, checks=(replace(tables.checks[0], not_rich=0),))
    same, gone = (spell(seen(tables, "pinch", outcome)) for outcome in (1, 0))
    against = spoken_against(tables, (same,), {0})
    how = (0.05 / 0.96) / (0.475 / 0.95)
    rich = 0.96 / 0.09 * how
    shows = 0.5 * max(1.0, rich) / (0.5 * max(1.0, rich) + 0.5)
    assert against == pytest.approx([shows * how + 1 - shows, 1.0])
    assert spoken_against(tables, (gone,), {0})[0] == pytest.approx(0.5 * 0.04 / 0.91 + 0.5)
    assert findings_against(tables, 0, [0], 0.5) == (1,)  # rich and no change; that it is not rich leaves half of it
    assert findings_against(tables, 0, [0], 0.6) == (0, 1)
    assert not findings_against(tables, 0, [1], 0.5)
    showing, quiet = np.array([0.3, 0.4]), np.array([0.2, 0.1])
    found = chances_to_find(tables, 0, (1,), showing[None], quiet[None])
    assert found == pytest.approx([0.3 * 0.05 + 0.4 * 0.9 + 0.3 * 0.06])
    ahead = moments_ahead(tables, np.array([0.5, 0.5]), showing, quiet)
    assert chances_to_find(tables, 0, (0, 1), *ahead) == pytest.approx(  # it shows in every second spell of a condition
        [0.3 * 0.09 + 0.4 * 0.96 + 0.3 * 0.97, 0.25 * 0.09 + 0.25 * 0.96 + 0.5 * 0.97]
    )


def test_how_often_it_was_showing() -> None:
    """Spell by spell, P(showing | cause, answers): by Bayes' rule, and only for spells in a known condition."""
    trim = check("trim", [(0.2, 0.8), (0.9, 0.1)], (0.95, 0.05), ever=False)
    tables = make_tables(plain([0.5, 0.5], [trim], [(0.3, 0.6), (0.3, 0.6)]))
    rich = spell(seen(tables, "trim", 1), condition=1)
    unknown, empty = spell(seen(tables, "trim", 1), condition=None), spell(condition=0)
    found = seen_showing(tables, (rich, unknown, empty))
    assert [condition for condition, _ in found] == [1]
    assert found[0][1][0] == pytest.approx(0.6 * 0.8 / (0.6 * 0.8 + 0.4 * 0.05))
    assert isinstance(found[0][1], np.ndarray)
