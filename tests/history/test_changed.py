"""Cases whose rules or whose vehicle changed under them: what no longer fits is said and not weighed, nothing falls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from reasoner.casebook.correcting import correct_vehicle, standing
from reasoner.casebook.events import KEPT_BESIDE, Answered, Event, Finished, Undone
from reasoner.casebook.shape import Case, load_sound
from reasoner.history.alike import looks_of_case
from reasoner.history.replay import replay
from reasoner.history.review import judge, review
from reasoner.history.story import story
from reasoner.history.trace import no_longer_counted, vehicle_of
from reasoner.repair import rounds
from reasoner.rulebook.model import At, Rulebook
from reasoner.session import acts, after_work
from reasoner.session.acts import Refused
from reasoner.session.chapters import Garage
from reasoner.session.concluding import verdict
from reasoner.session.protocol import Talk
from reasoner.session.script import begin_with, reply, script_of
from reasoner.session.words import given_text, step_text
from reasoner.session.workup import begin
from tests.events import read
from tests.fleet import a_vehicle
from tests.shipped import EVERY_CASE, ROOT, book, garage, some

# What a shop's rule, since taken away, may have left in a case; and events that a person wrote without a step.
LEFT_BEHIND: tuple[dict[str, Any], ...] = (
    {"event": "pass", "step": 90, "check": "gone-check", "why": "no-tool"},
    {"event": "pass", "step": 91, "check": "gone-check", "why": "cant-tell"},
    {"event": "tools", "step": 92, "lacking": ["gone-tool"], "at hand": ["borescope", "other-gone-tool"]},
    {"event": "avoid", "step": 93, "condition": "gone-condition"},
    {"event": "condition", "step": 94, "condition": "gone-condition"},
    {"event": "answer", "step": 95, "check": "gone-check", "values": {"0": "x"}},
    {"event": "answer", "step": 96, "check": "smell", "values": {"0": "no-such-outcome"}},
    {"event": "answer", "step": 97, "check": "smell", "values": {"0": "none"}, "condition": "gone-condition"},
    {"event": "verdict", "step": 97, "kind": "settled", "cause": "gone-fault@cylinder-9", "probability": 0.9},
    {"event": "work", "step": 98, "jobs": [{"repair": "gone-repair", "places": ["cylinder 9"]}]},
    {"event": "tick", "step": 98, "boxes": ["1"]},
    {"event": "finished", "step": 99},
    {"event": "provoked", "step": 100, "condition": "gone-condition", "clean": True},
    {"event": "drive", "step": 101, "counts": {"gone-proof": 3}},
    {"event": "note", "text": "written by hand"},
    {"event": "answer", "check": "short-trips", "values": {"0": "yes"}},
    {"event": "closed", "state": "proven", "fault": "gone-fault", "where": "cylinder 9"},
)


@lru_cache
def whole() -> Case:
    case = load_sound(ROOT / "cases" / "estate-hot-restart.yaml")
    return replace(case, events=(*case.events, *read(*LEFT_BEHIND)))


def every_view(case: Case, of: Garage) -> None:
    """Whatever looks at a case looks at this one."""
    vehicle = vehicle_of(case)
    told = story(case, of)
    assert told.parts
    replay(case.path.stem, vehicle, case.events, of)
    judged = judge(case, of)
    review([judged] if judged else [])
    looks_of_case(case, of)
    workup = after_work.workup_now(of.book, vehicle, case.events)
    assert np.isfinite(workup.belief.probability).all()
    verdict(workup, stopped=True)
    Talk(workup, events=case.events).state(ranges=False)
    for event in standing(case.events):
        step_text(workup, event.step)
    for given in workup.record.given:
        given_text(workup, given)
    script = script_of(case.events)
    workup = begin_with(begin(of.book, vehicle), script)
    reply(workup, script, workup.ranked[0])


def test_what_a_rule_since_removed_left_behind_breaks_nothing() -> None:
    every_view(whole(), garage())


def test_everything_can_be_taken_back_step_by_step_but_not_what_has_no_step() -> None:
    case = whole()
    events: Sequence[Event] = case.events
    for _ in range(30):
        try:
            back = rounds.take_last_back(events)
        except Refused:
            break
        assert back[0].undone > 0
        events = (*events, *back)
        after_work.workup_now(book(), vehicle_of(case), events).record  # noqa: B018
    left = [e for e in events if isinstance(e, Undone)]
    assert len(left) == 30 or not [e for e in standing(events) if e.step and not isinstance(e, KEPT_BESIDE)]
    workup = begin(book(), vehicle_of(case), read({"event": "answer", "check": "smell", "values": {"0": "none"}}))
    with pytest.raises(Refused):
        acts.undo(workup)


LAYOUTS = ("inline 3", "V 6", "V 8")  # one of them for each case; the long form has all for every case
RESIZED = [(p, x) for n, p in enumerate(some(3, 12)) for x in (LAYOUTS if EVERY_CASE else LAYOUTS[n % 3 :][:1])]


@pytest.mark.parametrize(("path", "layout"), RESIZED, ids=lambda p: getattr(p, "stem", p))
def test_a_car_of_another_size_breaks_no_view(path: Path, layout: str) -> None:
    case = load_sound(path)
    fields = {"layout": layout, "firing order": "", "banks": "", "upstream sensors": ""}
    every_view(replace(case, events=(*case.events, *correct_vehicle(case.events, fields, "another car"))), garage())


def test_a_correction_says_which_answers_no_longer_count() -> None:
    six, four = a_vehicle(layout="V 6"), a_vehicle(layout="inline 4")
    values = {n: "wet" if n == 5 else "same" for n in range(1, 7)}
    workup = garage().begin(six)
    workup = workup.after(acts.change_condition(workup, "cleared-idle"))
    workup = workup.after(acts.answer(workup, "plugs-after-clearing", values))
    workup = workup.after(acts.answer(workup, "short-trips", {0: "yes"}))
    after = garage().begin(four, workup.events)
    (line,) = no_longer_counted(workup, after)
    assert line.startswith("step 2, ") and "cylinder 5 wet" in line and "cylinder 6" in line
    assert set(after.record.given[0].values) == {1, 2, 3, 4} and after.record.unread == (
        "plugs-after-clearing at 5 and 6",
    )
    assert no_longer_counted(workup, workup) == ()


def _at(rules: Rulebook, check: str, at: At) -> Rulebook:
    return replace(rules, checks={**rules.checks, check: replace(rules.checks[check], at=at)})


@pytest.mark.parametrize(("values", "at"), [({1: "rich", 2: "lean"}, At.ENGINE), ({0: "rich"}, At.CYLINDER)])
def test_a_check_that_now_looks_elsewhere_weighs_none_of_its_old_places(values: dict[int, str], at: At) -> None:
    """Not the last of them in place of all."""
    vehicle = a_vehicle(layout="V 6", upstream_sensors="2")
    moved = _at(book(), "trim-idle", at)
    workup = begin(moved, vehicle, [Answered(step=1, check="trim-idle", values=values)])
    assert not workup.record.given and workup.record.unread[0].startswith("trim-idle ")
    assert np.array_equal(workup.belief.probability, begin(moved, vehicle).belief.probability)


def test_work_that_mends_nothing_possible_leaves_the_belief_as_it_was() -> None:
    """The sum of what is left may be a rounding above 1; no prior is below 0, and the case opens."""
    case = load_sound(ROOT / "cases" / "wagon-five-cracked-coil.yaml")
    step = next(e.step for e in case.events if isinstance(e, Finished)) - 1
    events = (*case.events, Undone(step=900, undone=step))
    workup = after_work.workup_now(book(), vehicle_of(case), events)
    assert np.isfinite(workup.belief.probability).all() and workup.tables.prior.min() >= 0


def test_an_answer_seen_in_the_present_condition_is_weighed_there_whatever_was_proposed() -> None:
    """Also where the proposal would have begun a new spell of another condition: nobody brought that about."""
    workup = garage().begin(a_vehicle(layout="inline 4"))
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    check, there = workup.tables.check_number["trim-idle"], workup.tables.condition_number["hot-restart"]
    fresh = workup.ranked[0]._replace(check=check, condition=there, fresh=True, place=None)
    for seen_in in ("warm-idle", "long-idle"):
        events = acts.answer(workup, "trim-idle", {1: "rich"}, option=fresh, seen_in=seen_in)
        after = workup.after(events)
        assert after.record.condition == "warm-idle" and len(events) == 1
        assert after.record.spells[after.record.given[-1].spell] == seen_in


def test_what_a_reading_leaves_open_is_said_as_open() -> None:
    """The low side falls, and holds with the return shut; with the supply shut nobody looked."""
    from reasoner.session import readings

    workup = garage().begin(a_vehicle(layout="inline 4", injection="port", return_line="yes"))
    inputs = {"line before": "400 kPa", "minutes": "10", "open": "200 kPa", "return shut": "395 kPa"}
    worked = readings.told(workup, "low-side-hold", inputs)
    workup = workup.after(acts.answer(workup, "low-side-hold", worked.weights, inputs=worked.inputs))
    texts = {o.name: o.text for o in book().checks["low-side-hold"].outcomes}
    assert f"{texts['supply']} or {texts['return']}" in given_text(workup, workup.record.given[-1])
