"""Checks worked out from readings, end to end through the session: belief, record, replay, script, conversation."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from reasoner.casebook.events import Answered, Event
from reasoner.measure.finding import Figure
from reasoner.network.vehicle import vehicle_from
from reasoner.rulebook.model import Check, Within
from reasoner.session import acts, readings
from reasoner.session.acts import Refused
from reasoner.session.concluding import belief
from reasoner.session.protocol import Talk, hear
from reasoner.session.script import reply, script_of
from reasoner.session.words import given_text
from reasoner.session.workup import Workup, begin
from tests.events import as_written
from tests.shipped import book, garage

ROOT = Path(__file__).parent.parent.parent
SCHEMA = json.loads((ROOT / "reasoner" / "session" / "protocol.schema.json").read_text(encoding="utf-8"))
LEAK = {
    "idle air": "3 g/s 750 rpm",
    "idle trim": "-24",
    "raised air": "12 g/s 2500 rpm",
    "raised trim": "-6",
    "load air": "45 g/s 3000 rpm",
    "load trim": "-2",
}


def car(condition: str = "warm-idle", **fields: str) -> Workup:
    vehicle, mistakes = vehicle_from({"layout": "inline 4", **{k.replace("_", " "): v for k, v in fields.items()}})
    assert vehicle is not None, mistakes
    workup = garage().begin(vehicle)
    return workup.after(acts.change_condition(workup, condition))


def told(workup: Workup, name: str, inputs: Mapping[str, Any]) -> Workup:
    worked = readings.told(workup, name, inputs)
    return workup.after(acts.answer(workup, name, worked.weights, "sure", None, worked.reading, None, worked.inputs))


def moved(before: Workup, after: Workup) -> float:
    """How far a belief moved: half the sum of what the causes gained and lost."""
    return float(np.abs(after.belief.probability - before.belief.probability).sum() / 2)


def of(workup: Workup, *faults: str) -> float:
    return sum(s.probability for s in belief(workup, ranges=False).faults if s.fault in faults)


# ---- the rules that have one -----------------------------------------------------------------------------------------


def test_checks_that_pay_are_worked_out() -> None:
    by = {check.name: check.computed.by for check in book().checks.values() if check.computed}
    assert len(by) >= 15
    assert {"trims by airflow", "exhaust gas", "rail hold", "low side hold", "misfire counts", "fuel in oil"} <= set(
        by.values()
    )


@pytest.mark.parametrize("check", [c for c in book().checks.values() if c.computed], ids=lambda c: str(c.name))
def test_its_figures_reach_every_outcome_but_those_it_cannot_know(check: Check) -> None:
    """Every outcome is named, but for what no reading shows (no frame there), or not one reading of one moment (rich
    while it purges, right when it does not: that takes two; how far banks go apart, of which only time is taken; a
    voltage that swings): the rules then say it in words."""
    assert check.computed is not None
    named = {*check.computed.outcomes, check.computed.rest} - {""}
    unnamed = [o.name for o in check.outcomes if o.name not in named]
    alone = check.kind == "code" or check.computed.by in (
        "read at the banks",
        "banks against each other",
        "voltage behind the catalyst",
    )
    assert len(unnamed) <= (1 if alone else 0), unnamed


# ---- a clear figure says much, a vague one little --------------------------------------------------------------------


def test_clear_trims_move_the_belief_and_vague_ones_hardly() -> None:
    """The same shape, a leak: at -24 % eight standard errors from nothing, at -11 % a third of one from the band."""
    start = car()
    clear = told(start, "trims-by-airflow", LEAK)
    vague = told(start, "trims-by-airflow", {**LEAK, "idle trim": "-11", "raised trim": "-3", "load trim": "-1"})
    sound = told(start, "trims-by-airflow", {**LEAK, "idle trim": "-1", "raised trim": "0", "load trim": "1"})
    by_time = ("purge-valve-leaks", "oil-diluted", "canister-loaded", "pump-leaks-into-oil")
    assert of(clear, *by_time) > 2 * of(start, *by_time)
    assert moved(start, vague) < moved(start, clear) / 4
    assert of(sound, *by_time) < of(start, *by_time)


@pytest.mark.parametrize(
    ("check", "clear", "vague"),
    [
        (
            "exhaust-gas",
            {"co": 0.1, "co2": 13.6, "hc": 80, "o2": 2.0, "trim": -20},
            {"co": 0.3, "co2": 14.6, "hc": 80, "o2": 0.9, "trim": -10.5},
        ),
        ("oil-sample", {"found": 12}, {"found": 2.0}),
        ("misfire-counts", {"counts": "1=2 2=0 3=90 4=3"}, {"counts": "1=2 2=1 3=7 4=2"}),
        (
            "low-side-hold",
            {"line before": 400, "minutes": 10, "open": 200, "supply shut": 200, "return shut": 200},
            {"line before": 400, "minutes": 10, "open": 350, "supply shut": 350, "return shut": 350},
        ),
        (
            "balance-test",
            {"drops": "60 58 15 59"},
            {"drops": "60 58 37 59"},
        ),
    ],
)
def test_near_a_limit_little_far_from_it_much(check: str, clear: dict[str, Any], vague: dict[str, Any]) -> None:
    start = car()
    assert moved(start, told(start, check, vague)) < moved(start, told(start, check, clear)) / 2


def test_cooling_makes_a_hold_vague() -> None:
    """The same fall: without knowing the cooling it speaks less for a tight rail than with it."""
    start = car("hot-soak")
    fall = {"rail before": "5 MPa", "rail after": "4.2 MPa", "minutes": "4"}
    known = told(start, "rail-hold-hot", {**fall, "cooled": "1.2 K"})
    unknown = told(start, "rail-hold-hot", fall)
    assert moved(start, unknown) < moved(start, known)


def test_metric_and_imperial_are_the_same_answer() -> None:
    start = car("hot-soak")
    metric = told(start, "rail-hold-hot", {"rail before": "5 MPa", "rail after": "2 MPa", "minutes": "2 min"})
    imperial = told(start, "rail-hold-hot", {"rail before": "725.189 psi", "rail after": "290.075 psi", "minutes": 2})
    assert np.allclose(metric.belief.probability, imperial.belief.probability, atol=1e-4)


def test_figures_that_fit_no_outcome_are_refused() -> None:
    with pytest.raises(Refused, match="fit none of its outcomes"):
        told(
            car("engine-off", metering="pressure"),
            "manifold-pressure-key-on",
            {"air pressure": "98", "manifold sensor": "80", "barometer sensor": "98"},
        )


# ---- what is kept ----------------------------------------------------------------------------------------------------


def test_inputs_are_kept_as_typed_and_said() -> None:
    after = told(car(), "trims-by-airflow", LEAK)
    event = after.events[-1]
    assert isinstance(event, Answered) and event.inputs == LEAK
    assert event.reading == "widest -24 +- 6 %, shape by time over 99 %"
    assert "widest -24 +- 6 %" in given_text(after, after.record.given[-1])


def _with(workup: Workup, **changed: Any) -> Workup:
    """The case with something else in its last event."""
    return replace(workup, events=(*workup.events[:-1], replace(workup.events[-1], **changed)))


def test_a_replay_works_the_inputs_out_again() -> None:
    """Values that do not fit the inputs do not count; under other bands the same inputs are another answer."""
    after = told(car(), "oil-sample", {"found": "4.8 %"})
    forged = _with(after, values={0: {"clean": 1.0}})
    assert np.array_equal(forged.belief.probability, after.belief.probability)

    check = book().checks["oil-sample"]
    assert check.computed is not None
    bands = {
        "clean": (Within("fuel in oil", None, 6),),
        "some": (Within("fuel in oil", 6, 8),),
        "much": (Within("fuel in oil", 8, None),),
    }
    other = replace(check, computed=replace(check.computed, outcomes=bands))
    again = begin(replace(book(), checks={**book().checks, "oil-sample": other}), after.vehicle, after.events)
    weights = again.record.given[-1].values[0]
    assert weights["clean"] == 1.0 and weights["some"] < 1e-3


def test_rules_without_the_computation_take_the_values_that_were_kept() -> None:
    after = told(car(), "oil-sample", {"found": "4.8 %"})
    plain = replace(book().checks["oil-sample"], computed=None)
    again = begin(replace(book(), checks={**book().checks, "oil-sample": plain}), after.vehicle, after.events)
    assert again.record.given[-1].values[0] == pytest.approx(after.record.given[-1].values[0], rel=1e-3)


def test_inputs_that_cannot_be_read_fall_back_on_the_values_and_without_these_are_not_weighed() -> None:
    after = told(car(), "oil-sample", {"found": "4.8 %"})
    kept = _with(after, inputs={"found": "much"})
    assert kept.record.given[-1].values[0]["some"] == 1.0
    assert _with(kept, values={}).record.unread == ("oil-sample",)


def test_a_fact_about_the_car_is_asked_once() -> None:
    start = car("load", charging="natural")
    inputs = {"airflow": "55 g/s", "speed": "3000 rpm", "litres": "1998 cc", "temperature": "25 C"}
    after = told(start, "airflow-against-displacement", inputs)
    asked = readings.works_out(after, book().checks["airflow-at-idle"])
    assert asked is not None
    assert {i.name: i.before for i in asked.inputs}["litres"] == "1998 cc"
    undone = after.after(acts.undo(after))
    again = readings.works_out(undone, book().checks["airflow-at-idle"])
    assert again is not None and {i.name: i.before for i in again.inputs}["litres"] == ""


@pytest.mark.parametrize(
    ("check", "inputs", "says"),
    [
        ("trims-by-airflow", {"idle air": "3 kg"}, "airflow and engine speed"),
        ("trims-by-airflow", {**LEAK, "idle trim": "1=-24 2=-3"}, "one of the places 1"),
        ("trims-by-airflow", {"idle": "3"}, "no such input"),
        ("trims-by-airflow", {"idle air": ["3"]}, "is no input"),
        ("fuel-sample", {"ethanol": "3"}, "is not worked out from inputs"),
        ("no-such-check", {}, "no check is called"),
    ],
)
def test_wrong_inputs_are_refused_in_words(check: str, inputs: dict[str, Any], says: str) -> None:
    with pytest.raises(Refused, match=says):
        readings.outcome_from_inputs(car(), check, inputs)


# ---- other drivers ---------------------------------------------------------------------------------------------------


def said(kind: str, thing: Any) -> Any:
    jsonschema.validate(json.loads(json.dumps(thing)), {"$ref": f"#/$defs/{kind}", "$defs": SCHEMA["$defs"]})
    return thing


def heard(workup: Workup, message: dict[str, Any]) -> tuple[Talk, list[Event], dict[str, Any] | None]:
    return hear(Talk(workup), said("said", message))


def test_the_conversation_takes_inputs() -> None:
    start = car()
    by_place = {**LEAK, "idle trim": {"1": -24}, "raised trim": {"1": "-6 %"}, "load trim": -2}
    talk, events, _ = heard(start, {"type": "answer", "check": "trims-by-airflow", "inputs": by_place})
    assert np.allclose(talk.workup.belief.probability, told(start, "trims-by-airflow", LEAK).belief.probability)
    assert as_written(events)[-1]["inputs"]["idle trim"] == "1=-24"
    said("told", talk.state())


def test_the_conversation_can_be_asked_what_inputs_come_to() -> None:
    start = car()
    talk, events, reply = heard(start, {"type": "work out", "check": "trims-by-airflow", "inputs": LEAK})
    assert not events and talk.workup is start and reply is not None
    said("told", reply)
    assert max(reply["values"]["1"], key=reply["values"]["1"].get) == "fades"
    assert reply["figures"]["1"][0]["name"] == "widest" and reply["means"] and reply["sure"]
    with pytest.raises(Refused):
        heard(start, {"type": "work out", "check": "trims-by-airflow", "inputs": {"idle air": "fast"}})


def test_the_question_says_what_can_be_worked_out() -> None:
    talk, _, _ = heard(car(), {"type": "choose", "check": "trims-by-airflow"})
    state = said("told", talk.state())
    asked = state["next"]["works_out"]
    assert asked["by"] == "trims by airflow"
    assert {i["name"]: i["by"] for i in asked["inputs"]}["idle trim"] == "bank"


def test_a_script_may_hold_inputs_instead_of_values() -> None:
    """The same script with typed readings, and with the weights that they come to, gives the same belief."""
    after = told(car(), "trims-by-airflow", LEAK)
    bare = _with(after, values={}, reading="")
    start = car()
    number = start.tables.check_number["trims-by-airflow"]
    option = next(o for o in start.ranked if o.check == number)
    ends = [start.after(reply(start, script_of(case.events[-2:]), option)) for case in (after, bare)]
    assert np.allclose(ends[0].belief.probability, ends[1].belief.probability, atol=1e-9)
    assert all(any(g.check == "trims-by-airflow" for g in end.record.given) for end in ends)


def test_a_script_under_rules_that_cannot_read_it_breaks_nothing() -> None:
    """Inputs that nothing is worked out from any more: the outcome as kept. A sureness no rule has: can't tell."""
    after = told(car(), "trims-by-airflow", LEAK)
    start = car()
    option = next(o for o in start.ranked if o.check == start.tables.check_number["trims-by-airflow"])
    odd = start.after(reply(start, script_of(_with(after, inputs={"idle trim": "steep"}).events[-2:]), option))
    plain = start.after(reply(start, script_of(_with(after, inputs={}).events[-2:]), option))
    assert odd.record.given and odd.belief.probability.tolist() == plain.belief.probability.tolist()
    unknown = start.after(reply(start, script_of(_with(after, inputs={}, sure="quite").events[-2:]), option))
    assert not unknown.record.given and ("trims-by-airflow", "warm-idle") in unknown.record.unclear


# ---- live values in one line -----------------------------------------------------------------------------------------

QUIET = "idle +1 -4 maf 3.1 rpm 780 ect 92 iat 30 ambient 15 purge 0"
RICH = "idle -8 -14 maf 3.3 rpm 780 ect 92 purge 0"


def typed(workup: Workup, line: str, **more: Any) -> Workup:
    return workup.after(readings.keep_live(workup, line, **more))


def answers_of(workup: Workup) -> dict[str, str]:
    """The likeliest outcome of each check, the last time it was answered, at its first place."""
    found = {}
    for given in workup.record.given:
        weights = next(iter(given.values.values()))
        found[given.check] = max(weights, key=lambda name: weights[name])
    return found


def test_idle_at_a_long_idle_is_that_idle() -> None:
    long_idle, cruise = car("long-idle"), car("cruise")
    assert [s.condition for s in readings.live_states(long_idle, "idle 0 -14; 2500 0 -4")] == [
        "long-idle",
        "raised-speed",
    ]
    assert [s.condition for s in readings.live_states(cruise, "idle 0 -14; long idle 0 -4")] == [
        "warm-idle",
        "long-idle",
    ]
    assert typed(long_idle, "idle 0 -14").record.spells == ("long-idle",)


def test_one_line_answers_all_that_it_can_and_is_one_step() -> None:
    start = car(metering="airflow", displacement="2.0 L", injection="port")
    rich = typed(start, RICH)
    assert answers_of(rich) == {
        "trim-idle": "rich",
        "short-vs-long": "steady",
        "purge-at-zero": "still-rich",
        "airflow-at-idle": "normal",
        "live-temperatures": "right",
    }
    assert rich.record.rich[rich.record.present] and rich.rich_now is True
    assert rich.record.steps == start.record.steps + 1
    back = rich.after(acts.undo(rich))
    assert back.record.given == () and back.record.live == ()
    assert np.array_equal(back.belief.probability, start.belief.probability)


def test_a_value_left_out_leaves_what_hangs_on_it_open() -> None:
    start = car(metering="airflow", injection="port")
    assert set(answers_of(typed(start, "idle -8 -14"))) == {"trim-idle", "short-vs-long"}
    assert set(answers_of(typed(start, "idle ect 55"))) == {"live-temperatures"}
    assert answers_of(typed(start, "idle rear 0.1")) == {"rear-sensor-watched": "lean"}
    assert answers_of(typed(start, "idle rear 0.1-0.8")) == {}  # that swings: no one voltage


def test_it_is_the_same_as_typing_them_one_by_one() -> None:
    start = car(metering="airflow", injection="port")
    at_once = typed(start, "idle -8 -14")
    one_by_one = told(start, "trim-idle", {"short": "-8", "long": "-14"})
    one_by_one = told(one_by_one, "short-vs-long", {"short": "-8", "long": "-14"})
    assert np.allclose(at_once.belief.probability, one_by_one.belief.probability, atol=1e-9)


def test_states_side_by_side_are_spells_of_their_own_and_the_curve_stands_for_their_trims() -> None:
    start = car(metering="airflow", displacement="2.0 L", injection="port")
    after = typed(start, f"{RICH}; 2500 -1 -7 maf 10 rpm 2500; cruise 0 -4 maf 18 rpm 2200")
    record = after.record
    assert record.condition == "warm-idle" and [record.spells[read.spell] for read in record.live] == [
        "warm-idle", "raised-speed", "cruise",
    ]  # fmt: skip
    assert [record.rich[read.spell] for read in record.live] == [True, False, False]
    assert answers_of(after)["trims-by-airflow"] == "fades" and "trim-2500" not in answers_of(after)
    assert next(g for g in record.given if g.check == "trims-by-airflow").spell == record.present
    without = typed(start, "idle -8 -14; 2500 -1 -7")
    assert {"trim-idle": "rich", "trim-2500": "normal"}.items() <= answers_of(without).items()


def test_what_reads_otherwise_than_before_is_another_occasion_and_both_are_told() -> None:
    """Quiet -3 % against rich -22 %: the earlier one is said where the next reading is asked, with its state."""
    quiet = typed(car(metering="airflow", injection="port"), QUIET)
    rich = typed(quiet, RICH)
    assert len({given.spell for given in rich.record.given if given.check == "trim-idle"}) == 2
    assert readings.earlier(rich, book().checks["trim-idle"]) == (
        "total fuel trim -3 % (warm idle, not rich)",
        "total fuel trim -22 % (warm idle, rich)",
    )
    before = readings.kept_before(rich.record, readings.LiveState("warm-idle", False, ()))
    assert [state.rich for state in before] == [True]
    again = typed(rich, "idle 0 -3")
    assert [s.rich for s in readings.kept_before(again.record, readings.LiveState("warm-idle", False, ()))] == [
        True,
        False,
    ]


def test_a_word_about_the_state_stands_over_the_trims() -> None:
    start = car(injection="port")
    assert typed(start, "idle 0 -4 rich").rich_now is True
    assert typed(start, "idle -8 -14 not rich").record.rich[0] is False
    assert typed(start, "idle ect 92").record.rich == {}


def test_what_was_not_read_leaves_the_answer_as_far_as_it_was() -> None:
    """The coolant is right, and nobody typed the intake air: no list of all that it might be."""
    after = typed(car(injection="port"), "idle ect 92")
    [given] = [g for g in after.record.given if g.check == "live-temperatures"]
    assert given_text(after, given).split(" (")[0] == (
        "Coolant and intake air at a warm idle: both as they must, as far as it was read"
    )


def test_what_stands_for_others_is_answered_once_in_a_line_of_several_states() -> None:
    """Its repetition says little; the trims of the other states say what they say for the first time."""
    after = typed(car(injection="port"), "idle -1 -14; 2500 -1 -12; cruise 0 -13")
    given = [g.check for g in after.record.given]
    assert given.count("short-vs-long") == 1 and {"trim-2500", "trim-cruise"} <= set(given)


def test_what_is_told_of_another_time_leaves_what_is_known_of_now() -> None:
    """Whether it is rich now stays with the present spell when another one is put before it."""
    start = car(injection="port")
    start = start.after(acts.say_rich(start, True))
    start = told(start, "short-vs-long", {"short": "-8", "long": "-14"})
    assert typed(start, "cruise 0 -3").rich_now is True


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("idle ect -40", "not usual"),
        ("idle +4 -14 / 0 -3", "one bank"),
        ("sunshine 4", "is not clear"),
        ("idle trim -18", "wanted both"),
        ("", "is not clear"),
    ],
)
def test_wrong_live_values_are_refused_in_words(line: str, says: str) -> None:
    with pytest.raises(Refused, match=says):
        readings.keep_live(car(), line)


def test_without_a_word_they_are_of_the_state_the_car_is_in() -> None:
    assert typed(car(), "-8 -14").record.live[0].spell == 0
    vehicle, _ = vehicle_from({"layout": "inline 4"})
    assert vehicle is not None
    with pytest.raises(Refused, match="what was the car doing"):
        readings.keep_live(begin(book(), vehicle), "-8 -14")


def test_the_conversation_takes_live_values() -> None:
    start = car(injection="port")
    talk, events, reply_ = heard(start, {"type": "readings", "line": "idle ect -40 -8 -14", "as typed": True})
    assert reply_ is None and answers_of(talk.workup)["live-temperatures"] == "coolant-open"
    assert next(event["event"] for event in as_written(events)) == "readings"
    said("told", talk.state())
    with pytest.raises(Refused, match="not usual"):
        heard(start, {"type": "readings", "line": "idle ect -40"})


# ---- a freeze frame --------------------------------------------------------------------------------------------------

FRAME = "P0172 rpm 720 speed 0 load 30 ect 97 maf 6.4 run 900 stft -17 ltft -10"


def test_the_conversation_takes_a_freeze_frame_in_one_line() -> None:
    """All of it is one step; what it does not show is not asked; what cannot be, or is odd, is refused in words."""
    start = car(injection="port", displacement="3.0 L")
    talk, events, reply_ = heard(start, {"type": "frame", "line": FRAME})
    told_of = answers_of(talk.workup)
    assert reply_ is None and {event["step"] for event in as_written(events)} == {start.record.steps + 1}
    assert (told_of["freeze-frame"], told_of["frame-trims"], told_of["frame-amount"]) == ("idle", "steady", "bearable")
    assert "frame-purge" not in told_of and "frame-purge" in talk.workup.record.passed
    said("told", talk.state())
    back = hear(talk, {"type": "undo"})[0]
    assert not answers_of(back.workup)
    for line, says in [("rpm 99999", "cannot be"), ("sunshine", "is not clear"), ("ect 192 load 20", "not usual")]:
        with pytest.raises(Refused, match=says):
            heard(start, {"type": "frame", "line": line})
    none = heard(start, {"type": "frame", "line": "none"})[0].workup
    assert not answers_of(none) and {c.name for c in readings.frame_checks(none)} <= set(none.record.passed)


def test_a_second_frame_counts_where_it_is_of_another_moment() -> None:
    first = heard(car(injection="port"), {"type": "frame", "line": "P0172 rpm 780 load 22 ect 92 speed 0"})[0].workup
    same = heard(first, {"type": "frame", "line": "P0174 rpm 780 load 22 ect 92 speed 0"})[0].workup
    other = heard(first, {"type": "frame", "line": "P0172 rpm 2400 load 82 ect 92 speed 90"})[0].workup
    assert "freeze-frame-again" not in answers_of(first) | answers_of(same)
    assert answers_of(other) == answers_of(first) | {"freeze-frame-again": "high-load"}


def asked_of_a_frame(workup: Workup) -> set[str]:
    asked = {workup.tables.checks[option.check].name for option in workup.ranked}
    return {name for name in asked if name.startswith(("frame-", "freeze-frame"))}


def test_where_no_frame_is_stored_nothing_else_of_one_is_asked() -> None:
    """Whoever answers: loop and conversation by a message, a script from a case; taken back, it is asked again."""
    start = car(metering="pressure")
    start = start.after(acts.list_codes(start, [("P0172", ["stored"])]))
    before = asked_of_a_frame(start)
    assert {"freeze-frame", "frame-trims"} <= before
    message = {"type": "answer", "check": "freeze-frame", "outcome": "none"}
    talk, events, _ = heard(start, message)
    assert not asked_of_a_frame(talk.workup)
    assert talk.workup.tables.check_number["frame-barometer"] in talk.workup.situation.barred
    assert asked_of_a_frame(hear(talk, {"type": "undo"})[0].workup) == before
    option = next(o for o in start.ranked if start.tables.checks[o.check].name == "freeze-frame")
    answered = start.after(reply(start, script_of(events), option))
    assert [given.check for given in answered.record.given] == ["freeze-frame"]
    assert not asked_of_a_frame(answered)
    idle = heard(start, {**message, "outcome": "idle"})[0].workup
    assert asked_of_a_frame(idle), "a frame that is there is asked about"
    none = heard(start, {"type": "frame", "line": "none"})[0].workup
    assert not asked_of_a_frame(none)


def test_without_a_rich_code_nothing_is_asked_of_its_frame() -> None:
    start = car()
    misfire = start.after(acts.list_codes(start, [("P0302", ["stored"])]))
    assert asked_of_a_frame(misfire) <= {"freeze-frame", "freeze-frame-start"}
    barred = {misfire.tables.checks[n].name for n in misfire.situation.barred}
    assert {"frame-trims", "frame-rear", "frame-loop", "frame-amount"} <= barred
    some = start.after(acts.list_codes(start, [("P0302", ["stored"])], complete=False))
    assert "frame-trims" not in {some.tables.checks[n].name for n in some.situation.barred}, "there may be a rich one"


def test_a_frame_of_any_code_counts_where_its_trims_say_that_it_was_rich() -> None:
    start = car(injection="port")
    rich = "rpm 1080 load 37 ect 89 stft -21 ltft -4"
    weighed = answers_of(heard(start, {"type": "frame", "line": f"P0303 {rich}"})[0].workup)
    assert weighed == answers_of(heard(start, {"type": "frame", "line": f"P0172 {rich}"})[0].workup) != {}
    lean = "P0171 rpm 1080 load 37 ect 89 stft 8 ltft 14"
    assert answers_of(heard(start, {"type": "frame", "line": lean})[0].workup) == {}


@pytest.mark.parametrize("first", ["frame", "live"])
def test_air_of_a_frame_is_held_against_this_cars_own_idle(first: str) -> None:
    """1.3 times its own idle is more than gear and lights make (6.4 / 720 against 4.7 / 690 rpm), though within what
    idles of all cars differ; whichever of the two is typed first."""
    start = car(injection="port", metering="airflow", displacement="3.0 L")
    lines = {
        "frame": {"type": "frame", "line": FRAME},
        "live": {"type": "readings", "line": "idle +1 -9 rpm 690 maf 4.7"},
    }
    second = "live" if first == "frame" else "frame"
    workup = heard(heard(start, lines[first])[0].workup, lines[second])[0].workup
    given = next(g for g in workup.record.given if g.check == "frame-air-now")
    assert given.values[0]["high"] > given.values[0]["fits"]
    rich_now = {"type": "readings", "line": "idle -11 -9 rpm 690 maf 4.7"}
    workup = heard(heard(start, lines["frame"])[0].workup, rich_now)[0].workup
    assert "frame-air-now" not in answers_of(workup)  # that is no idle running right


def test_a_frame_far_above_idle_shows_more_fuel_than_a_leak_can_give() -> None:
    """-23.4 % at 47 % and 2450 rpm: 0.234 x 47 x 2450 / (22 x 750) = 1.63 times an idle's fuel."""
    start = car(injection="port", metering="pressure")
    worked = readings.outcome_from_inputs(
        start, "frame-amount", {"short": "1=-10.9", "long": "1=-12.5", "load": "47", "engine speed": "2450"}
    )
    figure = worked.finding.figures[0][0]
    assert isinstance(figure, Figure) and figure.value == pytest.approx(1.633, abs=0.001)
    assert max(worked.weights[0], key=worked.weights[0].__getitem__) == "more"
    before, after = start, told(start, "frame-amount", dict(worked.inputs))
    assert of(after, "port-injector-leaks") < of(before, "port-injector-leaks") / 3


def test_what_a_car_read_before_is_kept_bank_by_bank() -> None:
    """Also where one bank of the two was read."""
    start = car(layout="V6", injection="port", metering="airflow")
    workup = typed(start, "idle trim -11 -9 / 0 -2 rear 0.1")
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    checks = workup.book.checks
    assert readings.earlier(workup, checks["trim-idle"]) == (
        "1: total fuel trim -20 %; 2: total fuel trim -2 % (warm idle, rich)",
    )
    assert readings.earlier(workup, checks["rear-sensor-watched"]) == (
        "1: voltage behind the catalyst 0.10 +- 0.06 V (warm idle, rich)",
    )


def test_a_rail_is_spoken_of_in_bar_and_a_manifold_in_kilopascal() -> None:
    state = readings.live_states(car(injection="direct"), "idle rail 50 map 32").pop()
    said = readings.values_by_name(state.values, 1)
    assert said["rail pressure"] == "50 bar" and said["manifold pressure"] == "32 kPa"


def test_two_idles_are_compared_without_their_speed_too_less_surely() -> None:
    start = car(injection="port", metering="airflow", displacement="3.0 L")
    frame = heard(start, {"type": "frame", "line": FRAME.replace("rpm 720", "")})[0].workup
    with_speed = heard(start, {"type": "frame", "line": FRAME})[0].workup
    found = []
    for workup, line in ((frame, "idle +1 -9 maf 4.1"), (with_speed, "idle +1 -9 rpm 720 maf 4.1")):
        told = heard(workup, {"type": "readings", "line": line})[0].workup
        given = next(g for g in told.record.given if g.check == "frame-air-now")
        found.append(given.values[0]["high"] / given.values[0]["fits"])
    assert 1 < found[0] < found[1]


def test_what_was_read_before_names_no_place_of_which_nothing_was() -> None:
    """Trims alone say nothing of the sensor behind the catalyst: no `1: ; 2:` stands there."""
    start = car(layout="V6", injection="port", upstream_sensors="2")
    told_ = heard(start, {"type": "readings", "line": "idle +1 +1 / +4 +2"})[0].workup
    for check in book().checks.values():
        if check.name in told_.tables.check_number:
            assert not any(said.rstrip().startswith(("1: ;", "1: (", ";")) for said in readings.earlier(told_, check))
    assert readings.earlier(told_, book().checks["trim-idle"])
