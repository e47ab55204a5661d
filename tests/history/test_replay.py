"""Replay: the same rules give the same beliefs to the last bit; changed rules say what changed what."""

from __future__ import annotations

import pickle
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from reasoner.casebook.correcting import correct_answer
from reasoner.casebook.events import Answered
from reasoner.casebook.shape import load_sound
from reasoner.history.replay import Ending, Grade, changed_values, replay, reweighed
from reasoner.history.trace import trace, vehicle_of
from reasoner.inference.plan import worth_asking
from reasoner.inference.weight import log_odds
from reasoner.network.tables import compile_tables
from reasoner.network.vehicle import vehicle_from
from reasoner.repair.rounds import parted
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from reasoner.session import acts, after_work
from reasoner.session.chapters import Garage, found_in
from reasoner.session.workup import Workup, begin
from tests.session.test_promises import SESSIONS, fresh, random_session
from tests.shipped import CASES, ROOT, book, garage, some
from tests.test_cases import UNSOLVED


@lru_cache
def changed(tmp: Path, text: str) -> Rulebook:
    path = tmp / "changed.yaml"
    path.write_text(text, encoding="utf-8")
    return read_rules([ROOT / "rules"], shown_from=ROOT, over=[path])


@lru_cache
def shipped() -> Garage:
    """Places of both sets of rules are shown relative to the same folder, as the program does."""
    return Garage(read_rules([ROOT / "rules"], shown_from=ROOT))


# ---- exact -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "seed"), SESSIONS)
def test_a_session_is_replayed_to_the_last_bit(name: str, seed: int) -> None:
    """What the session believed at each step is what the trace of its events says for that step."""
    steps = random_session(name, seed)
    last, _ = steps[-1]
    moved = trace(garage().begin(last.vehicle, last.events))
    at = {moved.events[point].step: belief for point, belief in zip(moved.points, moved.beliefs, strict=True)}
    compared = 0
    for workup, _ in steps:
        told = [e.step for e in workup.events if e.kind in ("answer", "codes")]
        if told:
            assert np.array_equal(workup.belief.probability, at[told[-1]])
            compared += 1
    assert compared > 3


@pytest.mark.parametrize("path", some(1, 12), ids=lambda p: p.stem)
def test_a_case_is_replayed_to_the_last_bit_in_every_chapter(path: Path) -> None:
    """As a session that goes on with it has it: chapters after work included."""
    case = load_sound(path)
    vehicle = vehicle_of(case)
    chapters = garage().chapters(vehicle, case.events)
    ends = [i for i, e in enumerate(case.events) if e.kind == "finished"] + [len(case.events)]
    assert len(chapters) == len(ends)
    for chapter, end in zip(chapters, ends, strict=True):
        live = after_work.workup_now(book(), vehicle, case.events[:end])
        assert np.array_equal(chapter.workup.belief.probability, live.belief.probability)
        moved = trace(chapter.workup)
        if moved.points:
            assert np.array_equal(moved.last, live.belief.probability)


def test_shared_tables_change_nothing() -> None:
    """Tables made for another vehicle of the kind, and a garage that kept too few of them, give the same numbers."""
    small = Garage(book(), most=1)
    for _ in range(2):
        for path in CASES[:3]:
            case = load_sound(path)
            vehicle = vehicle_of(case)
            own = begin(book(), vehicle, parted(case.events)[0])
            assert np.array_equal(small.begin(vehicle, own.events).belief.probability, own.belief.probability)


def test_replayed_twice_is_the_same_and_travels() -> None:
    """Also as it comes back from another process."""
    case = load_sound(CASES[0])
    once, again = (replay("x", vehicle_of(case), case.events, Garage(book())) for _ in range(2))
    assert once == again == pickle.loads(pickle.dumps(once))


def test_codes_listed_twice_count_as_listed_by_then() -> None:
    workup = fresh("four")
    for listed in ([("P0172", [])], [("P0172", []), ("P0303", ["pending"])]):
        workup = workup.after(acts.list_codes(workup, listed))
        workup = workup.after(acts.answer(workup, "smell-of-fuel", {0: "yes"}))
    moved = trace(workup)
    for point, belief in zip(moved.points, moved.beliefs, strict=True):
        step = moved.events[point].step
        by_then = replace(workup, events=tuple(e for e in workup.events if e.step <= step))
        assert np.array_equal(by_then.belief.probability, belief)


def test_taken_back_and_corrected_answers_count_as_they_stand() -> None:
    workup = fresh("four")
    for check, outcome in (("smell-of-fuel", "yes"), ("short-trips", "yes"), ("hard-hot-start", "no")):
        workup = workup.after(acts.answer(workup, check, {0: outcome}))
    workup = workup.after(acts.undo(workup))
    step = next(e.step for e in workup.events if isinstance(e, Answered) and e.check == "short-trips")
    workup = workup.after(correct_answer(workup.events, step, "short-trips", {0: "no"}, "guess", "asked again"))
    plain = fresh("four")
    plain = plain.after(acts.answer(plain, "smell-of-fuel", {0: "yes"}))
    plain = plain.after(acts.answer(plain, "short-trips", {0: "no"}, "guess"))
    assert np.array_equal(workup.belief.probability, plain.belief.probability)
    assert np.array_equal(trace(workup).last, plain.belief.probability)


# ---- endings ---------------------------------------------------------------------------------------------------------


def test_sooner_and_later_are_counted_at_the_answer_that_settles() -> None:
    case = load_sound(ROOT / "cases" / "six-bank-two.yaml")
    (one,) = replay("x", vehicle_of(case), case.events, garage())
    assert one.today.grade is Grade.RIGHT and one.today.settled is not None
    moved = trace(garage().chapters(vehicle_of(case), case.events)[0].workup)
    settles = moved.settles()
    assert settles is not None
    assert all(moved.settled[settles:]) and not moved.settled[settles - 1]
    answered = [p for p in moved.points[: settles + 1] if moved.events[p].kind == "answer"]
    steps = {moved.events[p].step for p in answered}
    assert one.today.settled == len(steps) < len(answered)  # two were told in one step, which is one answer


def test_what_was_given_up_has_no_grade() -> None:
    case = load_sound(UNSOLVED)
    (one,) = replay("x", vehicle_of(case), case.events, garage())
    assert one.found == "" and one.today.grade is None and not one.worse
    assert one.said is not None and one.said.right is None


def test_asked_again_is_answered_from_the_case_alone() -> None:
    case = load_sound(ROOT / "cases" / "hatchback-after-filling.yaml")
    (one,) = replay("x", vehicle_of(case), case.events, garage(), again=True)
    assert isinstance(one.asked_again, Ending) and one.asked_again.grade is Grade.RIGHT
    assert one.asked_again.answers < one.today.answers
    assert one.asked_again.effort.minutes < one.today.effort.minutes


# ---- changed rules ---------------------------------------------------------------------------------------------------


def test_changed_rules_that_say_the_same_are_the_same_to_the_last_bit(tmp_path: Path) -> None:
    same = changed(tmp_path, "faults:\n  oil-diluted: {name: Diluted oil}\n")
    case = load_sound(CASES[0])
    (one,) = replay("x", vehicle_of(case), case.events, garage(), Garage(same))
    assert one.same and not one.reweighed and one.changed is not None
    assert (one.changed.chance, one.changed.settled) == (one.today.chance, one.today.settled)


SHARE = "faults:\n  oil-diluted: {share: {direct: 2}}\n"
SHOWS = "faults:\n  injector-leaks-after-soak: {shows: {hot-restart: seldom}}\n"
SEEN = "checks:\n  oil-sample: {given: {oil-diluted: {some: 2 %, much: 2 %}}}\n"


def test_a_changed_share_is_the_prior_that_weighs_otherwise(tmp_path: Path) -> None:
    case = load_sound(ROOT / "cases" / "saloon-short-trips.yaml")
    (one,) = replay("x", vehicle_of(case), case.events, shipped(), Garage(changed(tmp_path, SHARE)))
    first = one.reweighed[0]
    assert first.text == "before any answer"
    assert "faults-fuel.yaml" in first.rule_before and first.rule_after.endswith("changed.yaml:2:33")
    prior = [compile_tables(b, vehicle_of(case)) for b in (book(), changed(tmp_path, SHARE))]
    numbers = [log_odds(t.prior)[t.cause_number["oil-diluted"]] for t in prior]
    assert (first.before, first.after) == pytest.approx(numbers)
    assert one.worse and one.changed is not None and one.changed.grade is Grade.ASTRAY


def test_a_changed_showing_rate_is_named_by_its_place(tmp_path: Path) -> None:
    case = load_sound(ROOT / "cases" / "estate-hot-restart.yaml")
    (one,) = replay("x", vehicle_of(case), case.events, shipped(), Garage(changed(tmp_path, SHOWS)))
    assert one.reweighed
    # The rate of this car is learned with everything that was seen, so that other answers weigh otherwise too.
    place = f"{tmp_path}/changed.yaml:2:52"
    assert any(r.rule_after == place != r.rule_before for r in one.reweighed)


def test_a_changed_statement_weighs_its_answer_otherwise_and_nothing_else(tmp_path: Path) -> None:
    case = load_sound(ROOT / "cases" / "saloon-short-trips.yaml")
    (one,) = replay("x", vehicle_of(case), case.events, shipped(), Garage(changed(tmp_path, SEEN)))
    assert len([r for r in one.reweighed if "changed.yaml" in r.rule_after]) == 1
    strongest = one.reweighed[0]
    assert "Oil sample" in strongest.text and strongest.after < strongest.before - 10


def test_the_values_that_differ_are_listed_with_their_place(tmp_path: Path) -> None:
    (one,) = changed_values(shipped().book, changed(tmp_path, SHARE))
    assert one.what == "oil-diluted: share: direct" and one.after == "2" and one.before != "2"
    assert one.place.endswith("changed.yaml:2:33")
    assert changed_values(book(), book()) == ()


def test_a_new_entry_is_listed_once() -> None:
    shop = read_rules([ROOT / "rules"], shown_from=ROOT, over=[ROOT / "cases" / "shop-rules"])
    new = [one for one in changed_values(shipped().book, shop) if one.what == "vent-hose-blown"]
    assert [(one.before, one.after) for one in new] == [("", "a new entry")]
    assert [one.after for one in changed_values(shop, shipped().book) if one.what == "vent-hose-blown"] == [""]


def test_answers_the_rules_no_longer_have_are_kept_and_not_weighed() -> None:
    workup = fresh("four")
    events = [
        *acts.answer(workup, "smell-of-fuel", {0: "yes"}),
        Answered(step=9, check="gone", values={0: "x"}),
    ]
    (one,) = replay("x", workup.vehicle, events, garage())
    assert one.today.unread == ("gone",) and one.today.answers == 1


def test_a_cause_the_changed_rules_do_not_have_weighs_nothing() -> None:
    workup = fresh("four")
    assert reweighed(workup, workup, "no-such-cause") == ()


def test_every_proposed_check_of_a_session_is_replayed_under_other_rules(tmp_path: Path) -> None:
    """Any session can be held against changed rules: nothing in it has to fit."""
    vehicle, _ = vehicle_from({"layout": "inline 4", "injection": "direct"})
    assert vehicle is not None
    workup: Workup = begin(book(), vehicle)
    for _ in range(4):
        option = next(o for o in workup.ranked if worth_asking(o, workup.costs))
        workup = workup.after(acts.pass_over(workup, workup.tables.checks[option.check].name, "no-tool", option))
    (one,) = replay("x", vehicle, workup.events, shipped(), Garage(changed(tmp_path, SHOWS)))
    assert one.today.answers == 0 and found_in(garage().chapters(vehicle, workup.events)) == ()
