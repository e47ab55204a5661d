"""How well single checks tell two causes apart, against the definition and against the gain that the planner uses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.inference.discrimination import even_odds, outcomes_seen, raises, telling
from reasoner.inference.gain import gain
from tests.support import PlainCheck, check, make_tables, plain, yes_no

CHANCE = st.floats(0.01, 0.99)


def mutual_information(first: list[float], second: list[float]) -> float:
    """I(X;Y) in bits by its definition, X even odds between the two rows (Cover & Thomas, 2006, equation 2.28)."""
    joint = [[p / 2 for p in first], [p / 2 for p in second]]
    columns = [sum(column) for column in zip(*joint, strict=True)]
    return sum(p * math.log2(p / (0.5 * columns[i])) for row in joint for i, p in enumerate(row) if p > 0)


@given(st.lists(CHANCE, min_size=2, max_size=5), st.lists(CHANCE, min_size=5, max_size=5))
def test_even_odds_is_mutual_information(one: list[float], other: list[float]) -> None:
    first, second = (np.array(row) / sum(row) for row in (one, other[: len(one)]))
    assert float(even_odds(first, second)) == pytest.approx(
        mutual_information(first.tolist(), second.tolist()), abs=1e-9
    )


def test_even_odds_at_its_ends() -> None:
    """0 between equals, and one bit where a look settles it (Lin 1991, theorem 4)."""
    same = np.array([0.3, 0.7])
    assert float(even_odds(same, same)) == pytest.approx(0, abs=1e-12)
    sharp = np.array([1 - 1e-12, 1e-12])
    assert float(even_odds(sharp, sharp[::-1])) == pytest.approx(1, abs=1e-9)


@given(CHANCE, CHANCE, CHANCE, CHANCE)
def test_a_look_brings_what_the_planner_says_it_does(a: float, b: float, show_a: float, show_b: float) -> None:
    """The same number as the gain of the check when only these two are possible, equally likely, in a new spell."""
    model = plain((0.5, 0.5), [yes_no("look", (a, b), ever=False, otherwise=(0.9, 0.1))], [(show_a,), (show_b,)])
    tables = make_tables(model)
    shows = np.array([show_a, show_b])
    expected = gain(tables, tables.checks[0], 0.5 * shows, 0.5 * (1 - shows))
    assert float(telling(tables, (0, 1)).bits[0, 1]) == pytest.approx(expected, abs=1e-9)


def test_the_best_look_is_named_and_the_best_condition_counts() -> None:
    looks = [yes_no("weak", (0.5, 0.4)), yes_no("strong", (0.9, 0.1), ever=False, otherwise=(0.9, 0.1))]
    tables = make_tables(plain((0.5, 0.5), looks, [(0.01, 0.99), (0.01, 0.99)]))
    found = telling(tables, (0, 1))
    assert tables.checks[found.check[0, 1]].name == "strong"
    best = outcomes_seen(tables, tables.checks[1], (0, 1), 1)[:, 0]
    assert float(found.bits[0, 1]) == pytest.approx(mutual_information(best[0].tolist(), best[1].tolist()))
    assert found.bits[0, 1] == found.bits[1, 0] and found.bits[0, 0] == 0


def test_a_check_that_only_shows_whether_it_acts_says_something() -> None:
    same = yes_no("rich", (0.8, 0.8), ever=False, otherwise=(0.9, 0.1))
    found = telling(make_tables(plain((0.5, 0.5), [same], [(0.9,), (0.9,)])), (0, 1))
    assert found.bits[0, 1] == pytest.approx(0, abs=1e-12)
    assert found.says[0] > 0.2


def test_how_often_an_outcome_is_raised() -> None:
    """By hand: 0.6 under the first, 0.1 under the others whatever their priors; the first outcome 0.4 to 0.9."""
    tables = make_tables(plain((0.5, 0.2, 0.3), [yes_no("look", (0.6, 0.1, 0.1))]))
    assert raises(tables, tables.checks[0])[0] == pytest.approx(6)
    mixed = make_tables(plain((0.5, 0.2, 0.3), [check("look", [(0.4, 0.6), (0.9, 0.1), (0.5, 0.5)])]))
    assert raises(mixed, mixed.checks[0])[0] == pytest.approx(0.6 / (0.4 * 0.1 + 0.6 * 0.5))
    assert raises(mixed, mixed.checks[0])[1] == pytest.approx(0.9 / (0.625 * 0.4 + 0.375 * 0.5))
    assert raises(mixed, mixed.checks[0], first=1)[1] == pytest.approx(0.1 / (0.625 * 0.6 + 0.375 * 0.5))


@pytest.mark.filterwarnings("error")
def test_above_nothing_nothing_is_raised() -> None:
    """The only fault that the rules have: there is no other to be likelier than, and nothing is said on the way."""
    tables = make_tables(plain((1.0,), [yes_no("look", (0.6,))]))
    assert np.isnan(raises(tables, tables.checks[0])).all()


def test_several_places_count_by_the_one_that_says_most() -> None:
    """Alike at the first cylinder, far apart at the second; either cause near to what a sound car shows there."""
    near, far, sound = (0.7, 0.3), ((0.1, 0.9), (0.9, 0.1)), (0.5, 0.5)
    look = PlainCheck("look", sound, ((near, far[0]), (near, far[1])))
    found = telling(make_tables(plain((0.5, 0.5), [look])), (0, 1))
    assert found.bits[0, 1] == pytest.approx(mutual_information(list(far[0]), list(far[1])))
    assert found.says[0] == pytest.approx(found.bits[0, 1])  # more than either says beside nothing to be seen
    assert found.says[0] > mutual_information(list(far[0]), list(sound))
