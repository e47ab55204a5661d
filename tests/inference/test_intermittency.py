"""What follows from one hidden state a spell: the consequences the design names, each by itself."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.evidence import chance_showing
from reasoner.network.tables import Tables
from tests.support import make_tables, plain, seen, spell, yes_no

SELDOM, USUALLY = 0.08, 0.8


def leak() -> Tables:
    """An intermittent fault (cause 0) against something else; it shows seldom in condition 0, usually in condition 1.

    `rough` tells whether it is showing now; `wet` is the fault's own sign, absent in nine of ten quiet looks or more.
    """
    rough = yes_no("rough", [0.97, 0.97], otherwise=(0.97, 0.03), ever=False)
    wet = yes_no("wet", [0.9, 0.05], otherwise=(0.95, 0.05), ever=False)
    stored = yes_no("stored", [0.7, 0.1], ever=True)
    return make_tables(plain([0.5, 0.5], [rough, wet, stored], shows=[(SELDOM, USUALLY), (SELDOM, USUALLY)]))


def odds(*spells: object) -> float:
    p = believe(leak(), spells).probability  # type: ignore[arg-type]
    return float(p[0] / p[1])


NORMAL = ("wet", 0)


def test_a_normal_look_while_quiet_hardly_exonerates() -> None:
    """By hand: (.08 x .1 + .92 x .95) / .95 = .928."""
    assert odds(spell(seen(leak(), *NORMAL))) == pytest.approx(0.882 / 0.95)


def test_the_same_look_while_known_to_be_showing_does() -> None:
    """By hand: seen rough, it shows with .08 x .97 / (.08 x .97 + .92 x .03) = .738."""
    showing = 0.08 * 0.97 / (0.08 * 0.97 + 0.92 * 0.03)
    found = odds(spell(seen(leak(), "rough", 1), seen(leak(), *NORMAL)))
    assert found == pytest.approx((showing * 0.1 + (1 - showing) * 0.95) / 0.95)
    assert found < 0.36


def test_a_normal_look_where_it_usually_shows_says_more() -> None:
    assert odds(spell(seen(leak(), *NORMAL), condition=1)) < 0.3 < 0.9 < odds(spell(seen(leak(), *NORMAL)))


def ten_looks() -> Tables:
    """Ten different looks at a fault that shows half the time."""
    looks = [yes_no(f"look-{i}", [0.9, 0.05], otherwise=(0.95, 0.05), ever=False) for i in range(10)]
    return make_tables(plain([0.5, 0.5], looks, shows=[(0.5,), (0.5,)]))


def test_ten_normal_looks_in_one_spell_can_at_most_say_that_it_is_quiet() -> None:
    """However many: the odds never fall below the chance that the spell is quiet."""
    tables = ten_looks()
    looks = [seen(tables, f"look-{i}", 0) for i in range(10)]
    one, ten = (believe(tables, (spell(*looks[:n]),)).probability for n in (1, 10))
    assert ten[0] / ten[1] == pytest.approx(0.5, abs=1e-4)
    assert one[0] / one[1] == pytest.approx((0.5 * 0.1 + 0.5 * 0.95) / 0.95)


def test_ten_normal_looks_with_one_check_in_one_spell_weigh_as_one() -> None:
    tables = ten_looks()
    look = seen(tables, "look-0", 0)
    once, ten = (believe(tables, (spell(*[look] * n),)).probability for n in (1, 10))
    assert ten == pytest.approx(once)


def test_ten_normal_looks_in_ten_spells_weigh_ten_times() -> None:
    tables = ten_looks()
    look = seen(tables, "look-0", 0)
    once, ten = (believe(tables, [spell(look)] * n).probability for n in (1, 10))
    assert np.log(ten[0] / ten[1]) == pytest.approx(10 * np.log(once[0] / once[1]))


def test_a_new_spell_forgets_that_it_was_showing() -> None:
    tables = leak()
    found = believe(tables, (spell(seen(tables, "rough", 1)), spell()))
    assert found.showing == pytest.approx([SELDOM, SELDOM])


def test_within_the_spell_it_is_remembered() -> None:
    tables = leak()
    assert believe(tables, (spell(seen(tables, "rough", 1)),)).showing[0] > 0.7


def test_what_stays_does_not_depend_on_the_state() -> None:
    tables = leak()
    quiet = believe(tables, (spell(seen(tables, "rough", 0), seen(tables, "stored", 1)),)).probability
    loud = believe(tables, (spell(seen(tables, "rough", 1), seen(tables, "stored", 1)),)).probability
    assert quiet == pytest.approx(loud)
    assert quiet[0] / quiet[1] == pytest.approx(7.0)


def test_the_sign_itself_proves_that_it_is_showing() -> None:
    tables = leak()
    assert believe(tables, (spell(seen(tables, "wet", 1)),)).showing[0] == pytest.approx(
        SELDOM * 0.9 / (SELDOM * 0.9 + (1 - SELDOM) * 0.05)
    )


def test_a_condition_not_known_is_the_mean_of_all() -> None:
    tables = leak()
    assert believe(tables, (spell(condition=None),)).showing == pytest.approx([(SELDOM + USUALLY) / 2] * 2)


def test_a_single_mistaken_answer_is_outvoted_by_later_spells() -> None:
    """The sign was overlooked once while it was showing, then seen four times in new spells."""
    tables = leak()
    missed = spell(seen(tables, "rough", 1, right=0.98), seen(tables, "wet", 0, right=0.98))
    found = [spell(seen(tables, "wet", 1, right=0.98), condition=1)] * 4
    assert believe(tables, (missed,)).probability[0] < 0.35
    assert believe(tables, (missed, *found)).probability[0] > 0.99


def test_how_often_it_shows_is_of_the_condition_or_the_mean_where_nobody_knows_it() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("smell", [0.9, 0.2])], [(0.2, 0.6), (0.5, 0.1)]))
    assert chance_showing(tables, 1) == pytest.approx([0.6, 0.1])
    assert chance_showing(tables, None) == pytest.approx([0.4, 0.3])
    brought_on = chance_showing(tables, 0, 0.5)  # half of what is missing up to what is never excluded
    assert brought_on == pytest.approx(
        [0.2 + 0.5 * (1 - tables.unlikeliest - 0.2), 0.5 + 0.5 * (0.5 - tables.unlikeliest)]
    )
