"""What the loop promises, on the shipped rules, with random answers on vehicles of every kind."""

from __future__ import annotations

import random
from functools import cache, lru_cache
from itertools import takewhile
from pathlib import Path

import pytest

from reasoner.casebook.shape import load_sound
from reasoner.history.trace import vehicle_of
from reasoner.inference.plan import worth_asking
from reasoner.network.vehicle import vehicle_from
from reasoner.rulebook.parts import passes
from reasoner.session import acts
from reasoner.session.asking import now_due, question
from reasoner.session.concluding import next_document, proposals, spent, verdict
from reasoner.session.document import Question, Verdict
from reasoner.session.workup import Workup
from tests.shipped import LONG, book, garage, thinned

STEPS = (
    12 if LONG else 8
)  # of each session, of which the long form has two for each vehicle, the short one half of them
VEHICLES = {
    "three": {"layout": "inline 3", "injection": "direct", "charging": "charged"},
    "four": {"layout": "inline 4", "injection": "direct", "distance": "200000 km"},
    "port four": {"layout": "inline 4", "injection": "port", "metering": "pressure", "return line": "yes"},
    "six, one sensor": {"layout": "inline 6", "upstream sensors": "1", "injection": "port"},
    "six, two sensors": {"layout": "inline 6", "upstream sensors": "2", "injection": "dual", "metering": "both"},
    "V6": {"layout": "V 6", "injection": "port"},
    "flat four": {"layout": "flat 4", "injection": "dual", "flex fuel": "yes", "gas recirculation": "yes"},
}


@lru_cache
def fresh(name: str) -> Workup:
    vehicle, mistakes = vehicle_from(VEHICLES[name])
    assert vehicle is not None, mistakes
    return garage().begin(vehicle)


@cache
def random_session(name: str, seed: int, steps: int = STEPS) -> list[tuple[Workup, Question]]:
    """Questions put one after another, with the case as it stood at each; answers are random."""
    chance = random.Random(seed)
    workup = fresh(name)
    workup = workup.after(acts.list_codes(workup, [("P0172", ["pending"])]))
    found = []
    for _ in range(steps):
        option = next((o for o in workup.ranked if worth_asking(o, workup.costs)), None)
        if option is None:
            break
        asked = question(workup, option)
        found.append((workup, asked))
        mine = now_due(workup, option)
        if chance.random() < 0.15:
            workup = workup.after(
                acts.pass_over(workup, asked.way.check, chance.choice(["cant-tell", "not-now"]), mine)
            )
            continue
        values = {place: chance.choice(asked.outcomes).name for place in asked.places}
        sure = chance.choice(["sure", "think so", "guess"])
        workup = workup.after(acts.answer(workup, asked.way.check, values, sure, mine))
    return found


SESSIONS = [(name, seed) for name in thinned(list(VEHICLES), 2) for seed in range(2 if LONG else 1)]


@pytest.mark.parametrize(("name", "seed"), SESSIONS)
def test_nothing_is_asked_twice(name: str, seed: int) -> None:
    """Not in one spell, and never again where the answer stays for ever."""
    seen: set[tuple[str, int | None, int | None]] = set()
    for workup, asked in random_session(name, seed):
        table = workup.tables.checks[workup.tables.check_number[asked.way.check]]
        spell = None if table.ever else len(workup.record.spells) + asked.way.fresh
        key = (asked.way.check, asked.way.place, spell)
        assert key not in seen, f"{asked.way.check} again"
        seen.add(key)


@pytest.mark.parametrize(("name", "seed"), SESSIONS)
def test_nothing_is_asked_that_cannot_apply(name: str, seed: int) -> None:
    for workup, asked in random_session(name, seed):
        check = book().checks[asked.way.check]
        assert passes(check.only, workup.vehicle.properties, workup.vehicle.distance_km, unknown=True)
        assert not set(check.needs) & workup.record.lacking
        assert set(asked.places) <= set(range(workup.vehicle.cylinders + 1))
        if asked.way.condition and check.conditions:
            assert asked.way.condition in check.conditions


@pytest.mark.parametrize(("name", "seed"), SESSIONS)
def test_nothing_hazardous_or_long_while_something_gentler_says_as_much(name: str, seed: int) -> None:
    for workup, asked in random_session(name, seed):
        best = workup.ranked[0]
        assert asked.way.check
        for other in workup.ranked[1:]:
            if other.saves < best.saves:
                continue  # what the decision hangs on comes first, whatever else tells more
            if other.gain >= best.gain and other.hazards <= best.hazards:
                assert other.cost >= best.cost
            if other.gain >= best.gain and other.cost <= best.cost:
                assert other.hazards >= best.hazards


@pytest.mark.parametrize(("name", "seed"), SESSIONS)
def test_beliefs_sum_to_one(name: str, seed: int) -> None:
    for workup, _ in random_session(name, seed):
        assert workup.belief.probability.sum() == pytest.approx(1.0, abs=1e-9)
        assert (workup.belief.probability > 0).all()


@pytest.mark.parametrize("name", VEHICLES)
def test_hazards_are_told_before_the_step(name: str) -> None:
    """Every caution of the check, and of the condition to be brought about, comes with the question."""
    for workup, asked in random_session(name, 0):
        check = book().checks[asked.way.check]
        for caution in check.cautions:
            assert book().cautions[caution].say in asked.cautions
        if asked.way.fresh and asked.way.condition:
            for caution in book().conditions[asked.way.condition].cautions:
                assert book().cautions[caution].say in asked.cautions
        assert workup


@pytest.mark.parametrize("name", VEHICLES)
def test_what_destroys_evidence_waits_for_it(name: str) -> None:
    """A condition that clears codes is not brought about before codes and freeze frame were read or passed over."""
    for workup, asked in random_session(name, 0):
        if asked.way.fresh and asked.way.condition:
            for gate in book().conditions[asked.way.condition].after:
                number = workup.tables.check_number.get(gate)
                assert number is None or number in workup.situation.answered


def test_every_stop_says_so_in_its_own_words() -> None:
    workup = fresh("four")
    assert verdict(workup, stopped=True).kind == "stopped"
    barred = workup
    for check in workup.tables.checks:
        barred = barred.after(acts.pass_over(barred, check.name, "not-now"))
    document = next_document(barred)
    assert isinstance(document, Verdict)
    assert document.kind == "nothing-worth"
    assert document.sentence != verdict(workup, stopped=True).sentence


def test_a_tool_not_at_hand_is_named_where_it_would_settle_more() -> None:
    workup = fresh("four")
    document = verdict(workup, stopped=True)
    lacking = workup.record.lacking
    assert lacking
    for way in document.out_of_reach:
        assert set(book().checks[way.check].needs) & lacking


def test_going_back_restores_exactly_and_is_recorded() -> None:
    workup = fresh("four")
    before = workup.belief.probability
    for outcome in ("yes", "no"):
        then = workup.after(acts.answer(workup, "smell-of-fuel", {0: outcome}))
        back = then.after(acts.undo(then))
        assert (back.belief.probability == before).all()
        assert len(back.events) == len(workup.events) + 2
        workup = back
    with pytest.raises(acts.Refused):
        acts.undo(workup)


@pytest.mark.parametrize(("name", "seed"), SESSIONS)
def test_every_check_is_asked_in_a_condition_it_can_be_made_in(name: str, seed: int) -> None:
    for workup, asked in random_session(name, seed):
        allowed = workup.book.checks[asked.way.check].conditions
        if allowed:
            assert asked.way.condition in allowed, asked.way


def test_what_must_come_first_is_asked_where_it_can_be_seen() -> None:
    """The purge hose is pinched with the engine running, though what it comes before is done with the engine off."""
    workup = fresh("port four")
    workup = workup.after(acts.change_condition(workup, "engine-off"))
    tips = next(o for o in workup.ranked if workup.tables.checks[o.check].name == "injector-tips-after-soak")
    asked = question(workup, tips)
    assert asked.way.check == "purge-pinched" and asked.before == "Port injector tips under pressure"
    assert asked.way.fresh and asked.way.condition in workup.book.checks["purge-pinched"].conditions
    assert asked.way.bits > 0 and asked.bring_about
    check = workup.book.checks["purge-pinched"]
    assert asked.way.minutes > check.minutes  # bringing the condition about is counted
    then = workup.after(acts.answer(workup, "purge-pinched", {0: "same"}, "sure", now_due(workup, tips)))
    assert then.record.condition == asked.way.condition and then.record.given[-1].asked
    assert spent(then).minutes == check.minutes  # the car came in as it was: the first condition costs nothing


def test_going_on_past_a_verdict_ends_where_nothing_more_is_told() -> None:
    case = load_sound(Path(__file__).parents[2] / "cases" / "estate-hot-restart.yaml")
    seen = takewhile(lambda event: event.kind != "verdict", case.events)
    workup = garage().begin(vehicle_of(case), tuple(seen))
    assert isinstance(next_document(workup), Verdict)
    for option in proposals(workup, go_on=True):
        assert option.gain >= workup.costs.least_gain
    if not proposals(workup, go_on=True):
        assert isinstance(next_document(workup, go_on=True), Verdict)


def test_time_spent_counts_every_provocation() -> None:
    """Three hot restarts are three times driving, soaking and looking. A reading that nobody asked for was read all the
    same; what the owner told unasked took no time."""
    workup = fresh("four")
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    workup = workup.after(acts.answer(workup, "trim-idle", {1: "normal"}))
    workup = workup.after(acts.answer(workup, "smoke", {0: "black"}))
    looks, minutes, wait = 3, workup.book.settings.work(workup.book.checks["trim-idle"]), 0.0
    tables = workup.tables
    for _ in range(looks):
        option = next(o for o in workup.ranked if tables.checks[o.check].name == "hot-restart-misfire")
        option = now_due(workup, option)
        assert option.condition is not None and option.times == 1
        minutes, wait = minutes + option.minutes, wait + option.wait
        even = dict.fromkeys((1, 2, 3, 4), "even")
        workup = workup.after(acts.answer(workup, "hot-restart-misfire", even, "sure", option))
    took = spent(workup)
    assert (took.minutes, took.wait) == (minutes, wait)
    assert verdict(workup).minutes_spent == minutes and verdict(workup).waiting_spent == wait


def test_answers_that_were_not_sure_are_named_with_the_verdict() -> None:
    workup = fresh("four")
    workup = workup.after(acts.answer(workup, "smell-of-fuel", {0: "yes"}, "guess"))
    workup = workup.after(acts.answer(workup, "hard-hot-start", {0: "yes"}, "sure"))
    workup = workup.after(acts.answer(workup, "how-warm", {0: "hot-restart"}, "think so"))
    named = verdict(workup).unsure
    assert any(text.startswith("How warm it is when it happens") and text.endswith("(think so)") for text in named)
    assert not any(text.startswith("Hard to start") for text in named)


def test_an_unsure_answer_that_a_sure_one_took_the_place_of_is_not_named() -> None:
    """Both were read the same, so their texts are the same: it is the answer that counts."""
    workup = fresh("four")
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    guessed = workup.after(acts.answer(workup, "trim-idle", {1: "rich"}, "guess", reading="-14 %"))
    assert any("-14 %" in text for text in verdict(guessed).unsure)
    again = guessed.after(acts.answer(guessed, "trim-idle", {1: "rich"}, "sure", reading="-14 %"))
    assert not any("-14 %" in text for text in verdict(again).unsure)


def test_what_is_out_of_reach_says_which_tool_it_needs() -> None:
    workup = fresh("four")
    workup = workup.after(acts.list_codes(workup, [("P0172", ["pending"])]))
    out = verdict(workup).out_of_reach
    assert out and all(way.lacks for way in out)
    assert all(not way.lacks for way in verdict(workup).would_change)
    tools = {tool.title for tool in workup.book.tools.values() if not tool.common}
    assert {title for way in out for title in way.lacks} <= tools
