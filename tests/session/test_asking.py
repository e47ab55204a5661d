"""A question says what is asked, where, and what has to be done first: against the option and the rules."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reasoner.inference.belief import by_class
from reasoner.inference.foresee import foresee
from reasoner.inference.gain import marks
from reasoner.inference.plan import Option, priced
from reasoner.session import acts, complaint, story
from reasoner.session.asking import now_due, question, separations, way
from reasoner.session.document import Question, Way
from reasoner.session.readings import working_of
from reasoner.session.words import places_of
from reasoner.session.workup import Workup
from tests.session.test_promises import fresh
from tests.shipped import book


def option(workup: Workup, check: str, **more: object) -> Option:
    return Option(workup.tables.check_number[check], **{"condition": None, "fresh": False, **more})  # type: ignore[arg-type]


def test_what_is_done_at_one_place_is_asked_of_that_place() -> None:
    workup = fresh("four")
    number = workup.tables.condition_number["warm-idle"]
    at_two = option(workup, "heat-on-injector", condition=number, fresh=True, place=1)
    asked = question(workup, at_two, [])
    assert (asked.way.place, list(asked.places)) == (2, [2])
    at_all = option(workup, "hot-restart-misfire", condition=workup.tables.condition_number["hot-restart"], fresh=True)
    assert (way(workup, at_all).place, list(question(workup, at_all, []).places)) == (None, [1, 2, 3, 4])


def test_a_condition_is_brought_about_for_a_new_spell_only() -> None:
    """In the spell under way there is nothing to bring about, and none of its dangers is gone into again."""
    workup = fresh("four")
    workup = workup.after(acts.change_condition(workup, "hot-restart"))
    entry = workup.book.conditions["hot-restart"]
    number = workup.tables.condition_number["hot-restart"]
    here, new = (
        question(workup, option(workup, "hot-restart-misfire", condition=number, fresh=fresh_one), [])
        for fresh_one in (False, True)
    )
    assert (new.bring_about, new.condition_means) == (entry.bring_about, entry.means)
    assert (here.bring_about, here.condition_means) == ("", "")
    own = [workup.book.cautions[name].say for name in workup.book.checks["hot-restart-misfire"].cautions]
    more = [workup.book.cautions[name].say for name in entry.cautions]
    assert list(here.cautions) == own
    assert list(new.cautions) == list(dict.fromkeys([*own, *more])) and set(more)


@pytest.mark.parametrize("check", ["code-rich", "trim-idle"])
def test_codes_are_listed_once(check: str) -> None:
    """A question about codes takes the whole list, unless the list has been read; no other question does."""
    workup = fresh("four")
    asked = option(workup, check, condition=workup.tables.condition_number["warm-idle"])
    assert question(workup, asked, []).lists_codes is (check == "code-rich")
    read = workup.after(acts.list_codes(workup, []))
    assert question(read, asked, []).lists_codes is False


def test_alternatives_are_the_next_best_that_are_worth_it() -> None:
    workup = fresh("four")
    ranked = workup.ranked
    dear = ranked[1]._replace(gain=0.0)
    found = question(workup, ranked[0], [ranked[0], dear, *ranked[2:6]]).alternatives
    names = [workup.tables.checks[o.check].name for o in ranked[2:5]]
    assert [w.check for w in found] == names


def test_what_else_is_worth_a_look_before_the_car_leaves_a_condition() -> None:
    """Looks that hang on the state, in that same spell; not what can be seen at any time, nor what tells too little."""
    workup = fresh("four")
    hot, idle = (workup.tables.condition_number[name] for name in ("hot-restart", "warm-idle"))
    first, same, later, tells_little = (
        option(workup, name, condition=condition, fresh=True)._replace(gain=gain, cost=10.0)
        for name, condition, gain in (
            ("hot-restart-misfire", hot, 1.0),
            ("short-vs-long", hot, 0.8),
            ("trim-idle", idle, 0.9),
            ("purge-at-zero", hot, 0.001),
        )
    )
    any_time = option(workup, "oil-level", condition=hot)._replace(gain=0.9, cost=3.0)
    found = question(workup, first, [first, later, same, any_time, tells_little])
    assert [w.check for w in found.while_there] == ["short-vs-long"]
    assert not question(workup, any_time, [any_time, first, same]).while_there


@pytest.mark.parametrize("answers", range(0, 7, 2))
def test_a_forecast_is_what_the_answer_brings_and_on_the_mean_what_is_believed(answers: int) -> None:
    """Of the looks proposed first: giving the answer gives the belief foretold; over all outcomes, chance times belief
    is the belief now. Those that take the place of earlier answers are not held to that (rules/README.md)."""
    workup = fresh("four")
    for _ in range(answers):
        option = now_due(workup, workup.ranked[0])
        check = workup.book.checks[workup.tables.checks[option.check].name]
        places = [p for p in places_of(workup.vehicle, check) if option.place is None or p == option.place + 1]
        workup = workup.after(
            acts.answer(workup, check.name, dict.fromkeys(places, check.outcomes[-1].name), option=option)
        )
    held = 0
    for option in workup.ranked[:12]:
        table = workup.tables.checks[option.check]
        if table.stands_for or table.joint_outcomes > 81 or option.first is not None:
            continue
        check, names = workup.book.checks[table.name], list(places_of(workup.vehicle, workup.book.checks[table.name]))
        count = len(table.outcomes) if option.place is not None else table.joint_outcomes
        begins = (option.condition,) if option.fresh else None
        outcomes = [(o, 0.0) for o in range(count)]
        found = list(foresee(workup.tables, workup.spells, option.check, option.place, begins, outcomes, 0.98))
        assert sum(f.chance for f in found) == pytest.approx(1.0, abs=1e-9)
        mean = sum(f.chance * f.probability for f in found)
        assert mean == pytest.approx(workup.belief.probability, abs=1e-9)
        likeliest = max(found, key=lambda f: f.chance)
        said = {names[p]: table.outcomes[o] for p, o in marks(table, likeliest.outcome, option.place)}
        then = workup.after(acts.answer(workup, table.name, said, option=option._replace(times=1)))
        assert then.belief.probability == pytest.approx(likeliest.probability, abs=1e-9)
        held += 1
    assert held >= 5


def from_complaint(name: str, text: str, most: int) -> list[Way]:
    """What is asked first on a car that idles warm, of which nothing is known but a rich code and the complaint; every
    look finds what a sound part shows."""
    workup = fresh(name)
    workup = workup.after(story.tell_heard(workup, complaint.heard(workup, text)))
    workup = workup.after(acts.list_codes(workup, [("P0172", ["stored"])]))
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    found = []
    while len(found) < most and (best := workup.look) is not None:
        asked = question(workup, best)
        found.append(asked.way)
        values = dict.fromkeys(asked.places, _found(asked))
        workup = workup.after(acts.answer(workup, asked.way.check, values, option=now_due(workup, best)))
    return found


def _found(asked: Question) -> str:
    """What is found on a car of which nothing tells: what a sound one shows, but a frame is stored with its code."""
    frame = working_of(book().checks[asked.way.check])
    means = book().checks[asked.way.check].computed
    named = means.outcomes if frame is not None and frame.frame and means is not None else ()
    return next((o.name for o in asked.outcomes if o.name in named), asked.outcomes[0].name)


COMPLAINTS = {
    "black smoke when pulling hard, uphill": ("three", {"load"}),
    "it runs rough for the first minutes after a cold start": ("port four", {"cold-start", "warm-up"}),
    "the lamp comes on at a steady speed": ("port four", {"cruise"}),
    "it stumbles after filling up": ("four", {"after-refuelling"}),
}


@pytest.mark.parametrize("text", COMPLAINTS)
def test_the_condition_of_the_complaint_is_looked_at_early(text: str) -> None:
    """Whoever is told of a complaint goes and sees it: of the first five looks at the car one is made in a condition
    that the owner names, within the first dozen questions, and more than one look is made there or on the same drive:
    whoever has pulled hard cruises on the way back. What is read in a frame or asked of the owner takes a minute and no
    trip, and there is more of it than there was."""
    name, named = COMPLAINTS[text]
    asked = from_complaint(name, text, 16)
    there = [n for n, one in enumerate(asked) if one.condition in named]
    assert there and there[0] < 12
    assert sum(book().checks[one.check].kind not in ("told", "code") for one in asked[: there[0]]) < 5
    drive = named | ({"cruise"} if "load" in named else set())
    assert sum(one.condition in drive for one in asked[there[0] :]) > 1


def test_a_trip_that_is_made_on_any_car_is_no_reason_against_a_look() -> None:
    """Its minutes are told all the same, and count again once the condition was visited, or one repair leads."""
    workup = fresh("three")
    workup = workup.after(story.tell_heard(workup, complaint.heard(workup, "black smoke under load")))
    number, trim = workup.tables.condition_number["load"], workup.tables.check_number["trim-load"]
    assert workup.situation.named == {number}
    told = priced(workup.tables, workup.situation, workup.costs, Option(trim, number, True))
    here = priced(workup.tables, workup.situation, workup.costs, Option(trim, number, False))
    plain = priced(
        workup.tables, replace(workup.situation, named=frozenset()), workup.costs, Option(trim, number, True)
    )
    assert (told.minutes, told.wait, told.hazards) == (plain.minutes, plain.wait, plain.hazards)
    assert told.cost == pytest.approx(here.cost) and plain.cost == pytest.approx(told.cost + told.due)
    looked = workup.after(acts.answer(workup, "trim-load", {1: "normal"}, option=told))
    assert not looked.situation.named
    assert replace(workup, events=looked.events[:-2]).situation.named == {number}


def test_a_named_condition_is_visited_until_something_leads_by_more_than_talk() -> None:
    """With what leads at six in ten it still is, at eight in ten it has to earn its trip."""
    told = fresh("three")
    told = told.after(story.tell_heard(told, complaint.heard(told, "black smoke under load")))
    number = told.tables.condition_number["load"]
    unsure = told.after(acts.answer(told, "charge-air-look", {0: "open"}, "think so", seen_in="engine-off"))
    leads = unsure.after(acts.answer(unsure, "boost-against-target", {0: "below"}))
    sure = told.after(acts.answer(told, "charge-air-look", {0: "open"}, seen_in="engine-off"))
    best = [by_class(one.tables, one.belief.probability).max() for one in (leads, sure)]
    assert 0.6 < best[0] < 0.7 < best[1] < 0.8
    assert leads.situation.named == {number} and not sure.situation.named


def test_a_question_to_the_owner_costs_more_than_a_look_at_a_display() -> None:
    workup = fresh("four")
    minutes = {table.name: table.minutes for table in workup.tables.checks}
    assert minutes["happens-in-damp"] == workup.book.settings.owner_minutes > 0
    assert minutes["frame-loop"] == 0


def test_that_it_is_rich_now_is_no_news_to_the_next_forecast() -> None:
    """Said and not read off: a quiet mixture is then hardly expected of any look, on the page nor in the belief. Taken
    back, all is as it was. Where there are two banks nobody has said which."""
    workup = fresh("four")
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    number = workup.tables.condition_number["warm-idle"]

    def quiet(now: Workup, check: str) -> float:
        """How likely the page says it is that the answer is: it is not rich."""
        idle = next(o.text for o in now.book.checks[check].outcomes if o.name == "not-rich")
        found = separations(now, option(now, check, condition=number))
        return sum(each.chance for each in found if idle in each.outcome)

    said = workup.after(acts.say_rich(workup, True))
    assert said.rich_now is True
    for check in ("purge-pinched", "purge-at-zero"):
        assert 0 < quiet(said, check) < quiet(workup, check) / 2
    (given,) = said.record.given
    assert (given.check, given.sure, max(given.values[1], key=lambda o: given.values[1][o])) == (
        "trim-idle",
        "think so",
        "rich",
    )
    assert (said.belief.probability @ said.belief.showing) > (workup.belief.probability @ workup.belief.showing)
    back = said.after(acts.undo(said))
    assert np.array_equal(back.belief.probability, workup.belief.probability) and back.rich_now is workup.rich_now
    assert len(acts.say_rich(workup, False)) == 1 == len(acts.say_rich(said, True))
    two = fresh("V6")
    two = two.after(acts.change_condition(two, "warm-idle"))
    assert len(acts.say_rich(two, True)) == 1


def test_what_is_listed_while_there_is_not_offered_instead() -> None:
    workup = fresh("four")
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    listed = 0
    for proposed in workup.ranked[:8]:
        asked = question(workup, proposed)
        there = {one.check for one in asked.while_there}
        listed += len(there) * len(asked.alternatives)
        assert there.isdisjoint(one.check for one in asked.alternatives)
    assert listed


def test_what_must_come_first_is_not_offered_instead_of_itself() -> None:
    workup = fresh("four")
    workup = workup.after(acts.list_codes(workup, [("P0172", ["stored"])]))
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    later, first = next((o, f) for o in workup.ranked for f in workup.ranked if o.first == f.check)
    asked = question(workup, later, [later, first, *workup.ranked])
    assert asked.before and asked.way.check == workup.tables.checks[first.check].name
    assert asked.alternatives and asked.way.check not in {one.check for one in asked.alternatives}


def test_an_answer_put_right_is_no_second_answer() -> None:
    """A new answer in the same spell, or to what holds for all of the case, takes the place of the earlier one."""
    workup = fresh("four")
    workup = workup.after(acts.change_condition(workup, "warm-idle"))

    def answered(name: str, *outcomes: str, between: str = "") -> int:
        now = workup
        for outcome in outcomes:
            now = now.after(acts.answer(now, name, {0: outcome}))
            now = now.after(acts.change_condition(now, between)) if between else now
        return now.record.answers

    assert answered("smoke", "black", "none") == answered("smoke", "black", "none", between="cruise") == 1
    assert answered("trim-follows-purge", "follows", "no-link") == 1
    assert answered("trim-follows-purge", "follows", "no-link", between="cruise") == 2  # another occasion
