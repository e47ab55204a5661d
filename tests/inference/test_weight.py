"""Which answer moved which cause by how much, and which answers disagree."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
import pytest

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell
from reasoner.inference.weight import Surprise, believed_without, decibans_moved, log_odds, surprise, weigh_answers
from reasoner.network.tables import Tables
from tests.inference import slow
from tests.inference.random_models import as_spells, random_model, random_spells
from tests.support import make_tables, plain, seen, spell, yes_no


def two_causes() -> tuple[object, ...]:
    looks = [yes_no("a", [0.8, 0.2]), yes_no("b", [0.3, 0.6]), yes_no("c", [0.5, 0.5])]
    tables = make_tables(plain([0.5, 0.5], looks))
    return tables, spell(seen(tables, "a", 1), seen(tables, "b", 1), seen(tables, "c", 1))


def test_weights_of_independent_answers_add_up_to_the_odds() -> None:
    """Good 1950: for two causes and answers independent given each, weights add."""
    tables, here = two_causes()
    found = weigh_answers(tables, (here,))  # type: ignore[arg-type]
    total = sum(w.decibans[0] for w in found)
    p = believe(tables, (here,)).probability  # type: ignore[arg-type]
    assert total == pytest.approx(10 * np.log10(p[0] / p[1]))


def test_each_weight_is_its_likelihood_ratio() -> None:
    tables, here = two_causes()
    found = [w.decibans[0] for w in weigh_answers(tables, (here,))]  # type: ignore[arg-type]
    assert found == pytest.approx([10 * np.log10(4), 10 * np.log10(0.5), 0.0])


def test_for_two_causes_what_speaks_for_one_speaks_against_the_other() -> None:
    tables, here = two_causes()
    for w in weigh_answers(tables, (here,)):  # type: ignore[arg-type]
        assert w.decibans[0] == pytest.approx(-w.decibans[1])


@pytest.mark.parametrize("seed", range(20))
def test_a_weight_is_what_the_odds_lose_without_the_answer(seed: int) -> None:
    model = random_model(seed)
    tables, spells = make_tables(model), random_spells(seed, model)
    found = weigh_answers(tables, as_spells(spells))
    assert len(found) == sum(len(answers) for _, answers in spells)
    with_all = log_odds(believe(tables, as_spells(spells)).probability)
    at = 0
    for s, (condition, given) in enumerate(spells):
        for i in range(len(given)):
            rest = [*spells[:s], (condition, given[:i] + given[i + 1 :]), *spells[s + 1 :]]
            without = log_odds(believe(tables, as_spells(rest)).probability)
            assert found[at].decibans == pytest.approx(with_all - without, abs=1e-8)
            at += 1


def together(tables: Tables, spells: Sequence[Spell], checks: Collection[int], causes: Sequence[int]) -> float:
    """All answers of some checks, for some causes, the answers of the other checks given."""
    return decibans_moved(believe(tables, spells).probability, believed_without(tables, spells, checks), causes)


def test_looks_that_agree_weigh_together_what_the_odds_lose_without_all_of_them() -> None:
    """Good 1950: for two causes weights of independent answers add, here 4 and 0.5 on the odds."""
    tables, here = two_causes()
    numbers = {tables.check_number["a"], tables.check_number["b"]}  # type: ignore[attr-defined]
    assert together(tables, (here,), numbers, [0]) == pytest.approx(10 * np.log10(4 * 0.5))  # type: ignore[arg-type]
    assert together(tables, (here,), set(), [0]) == 0.0  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(10))
def test_of_one_answer_it_is_its_weight(seed: int) -> None:
    model = random_model(seed)
    tables, spells = make_tables(model), as_spells(random_spells(seed, model))
    answers = [a for s in spells for a in s.answers]
    for weight in weigh_answers(tables, spells):
        if sum(a.check == weight.answer.check for a in answers) == 1:
            found = [together(tables, spells, {weight.answer.check}, [c]) for c in range(len(tables.causes))]
            assert found == pytest.approx(weight.decibans.tolist(), abs=1e-8)


def test_what_speaks_for_several_alike_speaks_for_them_together() -> None:
    """Four causes that one answer makes four times as likely as the fifth: 6 dB for the four (Good 1950), from .8 to
    16/17; for each by itself, from .2 to 4/17, less than 1 dB."""
    tables = make_tables(plain([0.2] * 5, [yes_no("a", [0.8, 0.8, 0.8, 0.8, 0.2])]))
    here, number = spell(seen(tables, "a", 1)), tables.check_number["a"]
    assert together(tables, (here,), {number}, range(4)) == pytest.approx(10 * np.log10(4))
    one = 10 * np.log10((4 / 13) / (1 / 4))
    assert together(tables, (here,), {number}, [2]) == pytest.approx(one) and one < 1


def test_log_odds_near_one_do_not_cancel() -> None:
    assert log_odds(np.array([1.0, 1e-20]))[0] == pytest.approx(200.0)


def test_two_readings_that_fit_are_no_surprise() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1]), yes_no("b", [0.9, 0.1])]))
    found = surprise(tables, (spell(seen(tables, "a", 1), seen(tables, "b", 1)),))
    assert found.bits < 0
    assert found.disagreeing == ()


def test_a_leader_that_only_wins_explains_nothing() -> None:
    """Jensen et al. 1990 by hand: conf = log2(0.5 * 0.55 / 0.135), with the leader log2(0.5 * 0.55 / 0.18) > 0."""
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1]), yes_no("b", [0.2, 0.9])]))
    found = surprise(tables, (spell(seen(tables, "a", 1), seen(tables, "b", 1, number=1)),))
    assert found.bits == pytest.approx(np.log2(0.5 * 0.55 / 0.135))
    assert not found.explained


def test_one_answer_cannot_disagree() -> None:
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1])]))
    assert surprise(tables, (spell(seen(tables, "a", 1)),)) == Surprise(0.0, False, ())


def test_blame_is_the_conflict_that_goes_with_an_answer() -> None:
    """Jensen et al. 1990 by enumeration: conf of all answers less conf of the others; more than a bit, the worst three
    first. Two of the answers are looks with the same check, in two spells."""
    own = (0.97, 0.9, 0.8, 0.95)  # each look speaks for a cause of its own, and as strongly against the others
    looks = [
        yes_no(name, [p if cause == i else (1 - p) / 2 for cause in range(6)], ever=False)
        for i, (name, p) in enumerate(zip("abcd", own, strict=True))
    ]
    model = plain([1 / 6] * 6, looks, shows=[(1.0, 1.0)] * 6)
    tables = make_tables(model)
    first = [seen(tables, name, 1, number=i) for i, name in enumerate("abcd")]
    spells = (spell(*first), spell(seen(tables, "a", 1, number=4), condition=1))

    def conf(case: tuple[Spell, ...]) -> float:
        def log_chance(part: tuple[Spell, ...]) -> float:
            plainly = [(s.condition, [(a.check, a.weights) for a in s.answers]) for s in part]
            return float(np.log2(sum(slow.joint(model, plainly))))

        alone = sum(log_chance((Spell(s.condition, (a,)),)) for s in case for a in s.answers)
        return alone - log_chance(case)

    blame = []
    for i, one in enumerate(spells):
        for answer in one.answers:
            rest = Spell(one.condition, tuple(a for a in one.answers if a is not answer))
            blame.append((answer, conf(spells) - conf((*spells[:i], rest, *spells[i + 1 :]))))
    blame.sort(key=lambda pair: -pair[1])
    found = surprise(tables, spells)
    assert found.bits == pytest.approx(conf(spells))
    wanted = [(a.number, bits) for a, bits in blame if bits > 1][:3]
    assert len(wanted) == 3 and wanted[0][1] != pytest.approx(wanted[1][1])
    assert [bits for _, bits in found.disagreeing] == pytest.approx([bits for _, bits in wanted])
    assert found.disagreeing[0][0].number == wanted[0][0]


def test_the_odd_one_out_is_blamed_first() -> None:
    looks = [yes_no(name, [0.9, 0.02]) for name in "abcd"]
    tables = make_tables(plain([0.5, 0.5], looks))
    answers = [seen(tables, "a", 1), seen(tables, "b", 1), seen(tables, "c", 1), seen(tables, "d", 0)]
    found = surprise(tables, (spell(*answers),))
    assert found.disagreeing[0][0] is answers[3]
    assert found.disagreeing[0][1] > 1.0


def test_a_repeat_is_not_counted_as_agreement() -> None:
    """Echoes make no firmness: the same look twice in a spell is one answer."""
    tables = make_tables(plain([0.5, 0.5], [yes_no("a", [0.9, 0.1], ever=False)]))
    look = seen(tables, "a", 1)
    assert surprise(tables, (spell(look, look),)).bits == 0.0
