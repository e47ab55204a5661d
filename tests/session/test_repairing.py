"""What is done about a verdict, as events: folded, taken back, and followed by the same loop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from reasoner.casebook import casefile
from reasoner.casebook.events import Event, Finished, JobTaken, Ticked, Undone, WorkTaken
from reasoner.casebook.shape import load_sound
from reasoner.cli.prove import day_meant
from reasoner.history.trace import trace
from reasoner.network.vehicle import vehicle_from
from reasoner.repair import rounds
from reasoner.repair.choices import Stake, all_choices
from reasoner.repair.jobs import Job, TryMade
from reasoner.repair.prices import usual
from reasoner.repair.proof import ProofDoc, may_close, proof_document
from reasoner.repair.rounds import rounds_of
from reasoner.repair.sheet import sheet_for
from reasoner.report.work_text import proof_text, tried_text, worth_text
from reasoner.session import acts, after_work
from reasoner.session.acts import Refused
from reasoner.session.words import percent, places_of
from reasoner.session.workup import Workup, begin
from tests.shipped import book, some

HERE = Path(__file__).parent
STORIES: dict[str, Any] = casefile.read_plain((HERE / "after_work.yaml").read_text(encoding="utf-8"))  # type: ignore[assignment]


class Car:
    """A case that is written down as it goes on."""

    def __init__(self, **fields: str) -> None:
        vehicle, mistakes = vehicle_from({k.replace("_", " "): v for k, v in fields.items()})
        assert vehicle is not None, mistakes
        self.vehicle, self.events = vehicle, list[Event]()
        self.workup = after_work.workup_now(book(), vehicle, self.events)

    def keep(self, events: Sequence[Event]) -> Workup:
        """Read anew where the work ends; between, a line is only added."""
        self.events += events
        anew = any(isinstance(event, Finished | Undone) for event in events)
        self.workup = after_work.workup_now(book(), self.vehicle, self.events) if anew else self.workup.after(events)
        return self.workup

    def answer(self, check: str, seen: Mapping[str, str], condition: str = "") -> None:
        workup = self.workup
        if condition and condition != workup.record.condition:
            workup = self.keep(acts.change_condition(workup, condition))
        entry = book().checks[check]
        values = {p: seen.get(str(p), entry.outcomes[0].name) for p in places_of(workup.vehicle, entry)}
        self.keep(acts.answer(workup, check, values))

    def work(self, repair: str, *cylinders: int) -> None:
        places = [f"cylinder {n}" for n in cylinders] or ["engine"]
        step = self.workup.record.steps + 1
        self.keep([WorkTaken(step=step, what="alone", jobs=(JobTaken(repair, tuple(places)),))])

    def finish(self) -> None:
        self.keep(rounds.finish(self.workup, rounds_of(book(), self.events)[-1]))

    def chances(self) -> dict[str, float]:
        workup = self.workup
        names = (cause.name for cause in workup.tables.causes)
        return dict(zip(names, workup.belief.probability.tolist(), strict=True))


def a_car_with_a_leak() -> Car:
    car = Car(**STORIES["vehicle"])
    car.keep(acts.list_codes(car.workup, [(code, ["pending"]) for code in STORIES["codes"]]))
    for seen in STORIES["before"]:
        car.answer(seen["check"], seen["seen"], seen["in"])
    return car


# ---- the four stories ------------------------------------------------------------------------------------------------


def ordered(chances: Mapping[str, float]) -> list[str]:
    return sorted(chances, key=lambda name: -chances[name])


@pytest.mark.parametrize("story", STORIES["stories"], ids=lambda story: story["name"])
def test_follow_up(story: dict[str, Any]) -> None:
    car = a_car_with_a_leak()
    assert sum(p for name, p in car.chances().items() if name.endswith("@cylinder-3")) > 0.85
    car.work(story["work"]["repair"], *story["work"]["cylinders"])
    car.finish()
    assert ordered(car.chances())[0] == "nothing-wrong"
    if story.get("tools"):
        car.keep(acts.tools(car.workup, at_hand=story["tools"]))
    car.keep(acts.list_codes(car.workup, [(code, ["pending"]) for code in story["since"]["codes"]]))
    for check, outcome in story["since"]["told"].items():
        car.answer(check, {"0": outcome})
    assert set(ordered(car.chances())[: len(story["first"])]) == set(story["first"])

    asked: list[str] = []
    while (option := car.workup.look) is not None:
        workup = car.workup
        number = option.check if option.first is None else option.first
        check = book().checks[workup.tables.checks[number].name]
        asked.append(check.name)
        assert len(asked) <= story["within"], asked
        condition = "" if option.condition is None else workup.tables.conditions[option.condition]
        truth = story["truth"].get(f"{check.name} in {condition}", story["truth"].get(check.name, {}))
        places = [p for p in places_of(workup.vehicle, check) if option.place is None or p == option.place + 1]
        values = {p: truth.get(str(p), check.outcomes[0].name) for p in places}
        car.keep(acts.answer(workup, check.name, values, option=option if option.first is None else None))
    found = story["found"]
    assert ordered(car.chances())[0] in ([found] if isinstance(found, str) else found)
    again = after_work.workup_now(book(), car.vehicle, car.events)  # the case read from its beginning says the same
    assert again.belief.probability.tolist() == pytest.approx(car.workup.belief.probability.tolist())
    told_before = {c.name for c in book().checks.values() if c.kind == "told" and not c.after_work and not c.codes}
    assert not told_before & set(asked)  # the owner is not asked again about the complaint before the work


def test_a_new_misfire_leads_to_that_cylinder() -> None:
    """Seal, connector or coil of the cylinder that misfires, before anything else and before any other cylinder."""
    for cylinder in (1, 4):
        car = a_car_with_a_leak()
        car.work("replace-injector", 1, 2, 3, 4)
        car.finish()
        car.keep(acts.list_codes(car.workup, [(f"P030{cylinder}", ["pending"])]))
        car.answer("since-the-work", {"0": "misfires"})
        first = ordered(car.chances())[:3]
        assert all(name.endswith(f"@cylinder-{cylinder}") for name in first)
        assert all(book().faults[name.split("@")[0]].after_work for name in first)


def test_being_believed_cured_is_not_being_seen_cured() -> None:
    """However likely the cure: something is asked about the car first, and then the loop may stop."""
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    assert car.chances()["nothing-wrong"] > 0.75 and car.workup.look is not None
    car.keep(acts.list_codes(car.workup, []))  # clearing empties the list too
    first = car.workup.look
    assert first is not None
    assert book().checks[car.workup.tables.checks[first.check].name].after_work
    car.answer("since-the-work", {"0": "well"})
    assert car.workup.settled and ordered(car.chances())[0] == "nothing-wrong"


# ---- events ----------------------------------------------------------------------------------------------------------


def test_cases_without_work_read_as_before() -> None:
    for path in some(1):
        case = load_sound(path)
        vehicle, _ = vehicle_from(case.vehicle)
        assert vehicle is not None
        one, other = begin(book(), vehicle, case.events), after_work.workup_now(book(), vehicle, case.events)
        if not any(isinstance(event, Finished) for event in case.events):
            assert one.belief.probability.tolist() == other.belief.probability.tolist()
            assert one.record.given == other.record.given
        assert one.record.steps == other.record.steps


def test_an_older_program_passes_them_over() -> None:
    """The record of answers is the same with and without what is kept here."""
    car = a_car_with_a_leak()
    plain_events = list(car.events)
    car.work("replace-injector", 3)
    car.keep(rounds.provoke(car.workup, "hot-restart", clean=True))
    with_work, without = begin(book(), car.vehicle, car.events), begin(book(), car.vehicle, plain_events)
    assert with_work.record.given == without.record.given
    assert with_work.belief.probability.tolist() == without.belief.probability.tolist()


def test_the_work_of_a_choice() -> None:
    car = a_car_with_a_leak()
    workup = car.workup
    stake = Stake(book(), workup.tables, workup.situation, usual(book()))
    by_kind = {choice.kind: choice for choice in all_choices(stake)}
    car.keep(rounds.take_choice(workup, by_kind["all"]))
    (work,) = rounds_of(book(), car.events)
    assert work.jobs == (Job("replace-injector", frozenset(f"cylinder {n}" for n in (1, 2, 3, 4))),)
    with pytest.raises(Refused, match="nothing is to be repaired"):
        rounds.take_choice(workup, by_kind["watch"])
    car.keep(rounds.take_choice(car.workup, by_kind["in turn"]))
    assert len(rounds_of(book(), car.events)[-1].jobs) == 1  # the first of them; the others follow if it fails


def test_ticks_figures_and_values() -> None:
    car = a_car_with_a_leak()
    car.work("replace-injector", 2, 3)
    (work,) = rounds_of(book(), car.events)
    sheet = sheet_for(book(), work.jobs)
    car.keep(rounds.tick(car.workup, sheet, ["1", "4"]))
    car.keep(rounds.tick(car.workup, sheet, ["4 cylinder 2"], off=True))
    car.keep(rounds.fill_in(car.workup, sheet, 13, "rail bolts", " 12 "))
    car.keep(rounds.enter_values(car.workup, {2: "AB12"}, {2: "AB21"}, {3: "CD34"}))
    (work,) = rounds_of(book(), car.events)
    assert work.ticked == {"1", "4 cylinder 3"}
    assert work.figures == {(13, "rail bolts, N m"): "12"}
    assert (work.first, work.second, work.old) == ({2: "AB12"}, {2: "AB21"}, {3: "CD34"})
    for wrong in ("99", "4 cylinder 9", "x"):
        with pytest.raises(Refused, match="no box"):
            rounds.tick(car.workup, sheet, [wrong])
    with pytest.raises(Refused, match="no blank"):
        rounds.fill_in(car.workup, sheet, 1, "rail", "3")
    with pytest.raises(Refused, match="no cylinder 9"):
        rounds.enter_values(car.workup, {9: "AB12"}, {}, {})
    with pytest.raises(Refused, match="no value"):
        rounds.enter_values(car.workup, {}, {}, {})


def test_a_mark_stays_with_its_step_when_rules_change() -> None:
    """Numbers move when a step is put in; a mark must never pass to a step that nobody has done."""
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    sheet = sheet_for(book(), rounds_of(book(), car.events)[-1].jobs)
    car.keep(rounds.tick(car.workup, sheet, ["2", "3"]))
    *rest, ticked = car.events
    assert isinstance(ticked, Ticked) and ticked.steps
    then = [*rest, replace(ticked, steps={**ticked.steps, "3": "Something else was said here."})]
    assert rounds_of(book(), then)[-1].ticked == {"2"}
    assert rounds_of(book(), car.events)[-1].ticked == {"2", "3"}


def test_what_is_taken_back_is_taken_back() -> None:
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    sheet = sheet_for(book(), rounds_of(book(), car.events)[-1].jobs)
    car.keep(rounds.tick(car.workup, sheet, ["1"]))
    car.keep(acts.undo(car.workup))
    assert rounds_of(book(), car.events)[-1].ticked == frozenset()
    steps = [event.step for event in car.events]
    car.finish()
    assert car.events[-1].step == max(steps) + 1  # a number is never given twice
    before = car.chances()
    car.keep(acts.list_codes(car.workup, [("P0303", ["pending"])]))
    car.keep(acts.undo(car.workup))
    assert car.chances() == pytest.approx(before)
    last = car.workup.record.steps
    car.keep(acts.note(car.workup, "fits well"))
    assert car.events[-1].step == last + 1


def test_work_has_to_be_there_to_be_finished() -> None:
    car = a_car_with_a_leak()
    with pytest.raises(Refused, match="no work is under way"):
        rounds.finish(car.workup, None)
    car.work("replace-injector", 3)
    car.finish()
    with pytest.raises(Refused, match="no work is under way"):
        rounds.finish(car.workup, rounds_of(book(), car.events)[-1])


def test_what_is_not_finished_is_not_proven() -> None:
    """Before any work, and once the next round of it has begun."""
    car = a_car_with_a_leak()
    with pytest.raises(Refused, match="no finished work"):
        after_work.standing_now(car.workup, car.events)
    car.work("replace-injector", 3)
    car.finish()
    assert after_work.standing_now(car.workup, car.events).title == book().repairs["replace-injector"].title
    car.work("enter-injector-values", 3)
    with pytest.raises(Refused, match="no finished work"):
        after_work.standing_now(car.workup, car.events)


def test_nothing_told_is_nothing_to_take_back() -> None:
    with pytest.raises(Refused, match="nothing to take back"):
        rounds.take_last_back([])


def test_a_second_round_begins_from_what_is_believed_after_the_first() -> None:
    """The connector was found and seated: what is left is small, and the seal of that cylinder is still possible."""
    car = a_car_with_a_leak()
    car.work("replace-injector", 1, 2, 3, 4)
    car.finish()
    car.keep(acts.list_codes(car.workup, [("P0302", ["pending"])]))
    car.answer("since-the-work", {"0": "misfires"})
    car.answer("injector-connector-look", {"2": "loose"}, "engine-off")
    found = car.chances()
    assert found["injector-connector-loose@cylinder-2"] > 0.8
    car.work("seat-injector-connector", 2)
    car.finish()
    now = car.chances()
    assert now["nothing-wrong"] > 0.8
    assert [work.finished is not None for work in rounds_of(book(), car.events)] == [True, True]
    before = after_work.before_work(book(), car.vehicle, car.events)  # of the second round: after the first
    names = (cause.name for cause in before.tables.causes)
    assert dict(zip(names, before.belief.probability.tolist(), strict=True)) == pytest.approx(found)
    assert sum(now.values()) == pytest.approx(1)


def test_before_work_is_the_case_as_it_stood() -> None:
    car = a_car_with_a_leak()
    then = car.chances()
    car.work("replace-injector", 3)
    car.finish()
    car.answer("since-the-work", {"0": "well"})
    before = after_work.before_work(book(), car.vehicle, car.events)
    names = (cause.name for cause in before.tables.causes)
    assert dict(zip(names, before.belief.probability.tolist(), strict=True)) == pytest.approx(then)


# ---- proof -----------------------------------------------------------------------------------------------------------


def proof(car: Car) -> ProofDoc:
    work = rounds_of(book(), car.events)[-1]
    return proof_document(car.workup, after_work.before_work(book(), car.vehicle, car.events), work)


def test_the_plan_of_proof() -> None:
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    found = proof(car)
    assert found.state == "cured but unproven" and found.provocation is not None
    plan = found.provocation
    assert plan.condition == "hot-restart" and plan.needed is not None and 2 <= plan.needed <= 8
    assert plan.course[0] == pytest.approx(0.5) and plan.course[plan.needed] < 0.05 <= plan.course[plan.needed - 1]
    assert [title for title, _ in found.never] == [p.title for p in book().proofs.values() if p.never]
    assert {s.state for s in found.seen} == {"missing", "no tool"}
    for number in range(1, plan.needed + 1):
        car.keep(rounds.provoke(car.workup, "hot-restart", clean=True))
        now = proof(car).provocation
        assert now is not None and (now.clean, now.needed) == (number, plan.needed)
        assert now.still == pytest.approx(plan.course[number])
    assert not [text for text in proof(car).missing if "without a sign" in text]


def test_answers_that_speak_for_a_fault_close_nothing_as_cured() -> None:
    """Rich as before, and the same plug wet: whatever was counted, it is not cured, and that is said first."""
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    car.keep(acts.list_codes(car.workup, [("P0172", ["pending"])]))
    car.answer("since-the-work", {"0": "as-before"})
    car.answer("borescope-after-soak", {"3": "wet"}, "hot-soak")
    assert car.chances()["nothing-wrong"] < 0.5
    found = proof(car)
    assert found.state == "not cured" and "for nothing being wrong" in found.missing[0]


def test_a_second_round_does_not_prove_the_first_fault_gone() -> None:
    """A set of injectors for a leak, then a value entered wrong, which is put right: two clean ones say that of the
    value, and the leak still takes its three."""
    car = a_car_with_a_leak()
    car.work("replace-injector", 1, 2, 3, 4)
    car.finish()
    first = proof(car).provocation
    car.answer("injector-values-read", {"2": "differ"})
    car.work("enter-injector-values", 2)
    car.finish()
    alone, both = proof(car).provocation, after_work.standing_now(car.workup, car.events)
    assert first is not None and first.needed is not None and alone is not None and alone.needed is not None
    assert alone.needed < first.needed and alone.condition == first.condition
    assert both.provocation is not None and both.provocation.needed == first.needed and not both.also


def test_it_shows_again() -> None:
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    car.keep(rounds.provoke(car.workup, "hot-restart", clean=True))
    car.keep(rounds.provoke(car.workup, "hot-restart", clean=False))
    found = proof(car)
    assert found.state == "not cured" and found.provocation is not None
    assert found.provocation.showed and found.provocation.clean == 0
    assert len(found.missing) == 1 and "shown again" in found.missing[0]  # nothing is counted on as if it had not


def test_a_try_in_dry_weather_proves_nothing_of_what_shows_in_the_damp() -> None:
    """Kept, not counted, and said; made in the damp it counts. That it showed counts however it was made."""
    car = a_car_with_a_leak()
    car.answer("happens-in-damp", {"0": "yes"})
    car.work("replace-injector", 3)
    car.finish()
    first = proof(car).provocation
    assert first is not None and len(first.only) == 1 and "dry weather" in first.only[0]
    car.keep(rounds.provoke(car.workup, first.condition, clean=True))
    dry = proof(car).provocation
    assert dry is not None and (dry.clean, dry.otherwise, dry.still) == (0, 1, first.still)
    text = " ".join(proof_text(proof(car)).split())
    assert (
        "Only so does a try count: In rain, fog or after a wash" in text
        and "1 clean try is kept and not counted" in text
    )
    car.keep(rounds.provoke(car.workup, first.condition, clean=True, made_so=True))
    damp = proof(car).provocation
    assert damp is not None and (damp.clean, damp.otherwise) == (1, 1) and damp.still < first.still
    car.keep(rounds.provoke(car.workup, first.condition, clean=False))
    assert proof(car).state == "not cured"


def test_a_try_elsewhere_does_not_take_the_place_of_where_it_showed() -> None:
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    first = proof(car).provocation
    assert first is not None and first.condition == "hot-restart"
    car.keep(rounds.provoke(car.workup, "cruise", clean=True))
    now = proof(car).provocation
    assert now is not None and (now.condition, now.clean, now.still) == ("hot-restart", 0, first.still)


def test_fresh_oil_proves_nothing_of_petrol_in_the_oil() -> None:
    car = Car(**STORIES["vehicle"])
    car.answer("oil-level", {"0": "above"})
    car.answer("oil-smell", {"0": "fuel"})
    car.work("change-oil")
    car.finish()
    first = proof(car).provocation
    assert first is not None and any("500 km" in text for text in first.only)
    car.keep(rounds.provoke(car.workup, first.condition, clean=True))
    now = proof(car).provocation
    assert now is not None and now.clean == 0


def test_unreachable_is_said_and_never_proven() -> None:
    """Where nobody does so many clean ones as it takes, the plan says so, shows how far they lead, stays unproven."""
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    one = replace(book().settings.afterwards, most_provocations=1)
    few = replace(book(), settings=replace(book().settings, afterwards=one))
    workup, before = (
        replace(found, book=few) for found in (car.workup, after_work.before_work(book(), car.vehicle, car.events))
    )
    work = rounds_of(book(), car.events)[-1]
    found = proof_document(workup, before, replace(work, provoked=(TryMade("hot-restart", True, False),)))
    assert found.provocation is not None and found.provocation.needed is None
    assert 0.05 < found.provocation.still < 0.5 and found.provocation.clean == 1
    assert found.state == "cured but unproven" and "to prove it gone; say so" in found.missing[0]
    with pytest.raises(Refused, match="not proven yet"):
        may_close(found, "proven")
    text = " ".join(proof_text(found).split())
    assert "prove it gone, and nobody makes more" in text and "<- so far" in text


def test_proven_only_when_nothing_is_missing() -> None:
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    car.keep(rounds.say_cleared(car.workup, cleared=True))
    plan = proof(car).provocation
    assert plan is not None and plan.needed is not None
    for _ in range(plan.needed):
        car.keep(rounds.provoke(car.workup, "hot-restart", clean=True))
    counts = {count.name: count.least for count in proof(car).counts}
    assert {"engine-running", "at-speed", "idling-on", "pending-empty", "fuel-monitor-passed"} <= set(counts)
    car.keep(rounds.drove(car.workup, {**counts, "idling-on": 20}))
    assert [t for t in proof(car).missing if t.startswith("Idling")] == [
        "Idling without a break, in the same drive: 20 of 30 s so far"
    ]
    car.keep(rounds.drove(car.workup, counts))
    looked_at = {c.title: c.codes for c in book().checks.values()}
    assert {item.state for item in proof(car).seen} == {"missing", "no tool"}
    car.keep(acts.list_codes(car.workup, []))  # which answers what is about codes, and nothing else
    assert {item.title for item in proof(car).seen if item.state == "seen"} == {
        item.title for item in proof(car).seen if looked_at[item.title]
    }
    assert proof(car).state == "cured but unproven"
    with pytest.raises(Refused, match="not proven yet"):
        may_close(proof(car), "proven")
    may_close(proof(car), "cured but unproven")  # honest, and allowed
    titles = {c.title: c for c in book().checks.values()}
    for item in proof(car).seen:
        if item.state == "missing":
            check = titles[item.title]
            car.answer(check.name, {}, check.conditions[0] if check.conditions else "")
    assert proof(car).missing == () and proof(car).state == "proven"
    may_close(proof(car), "proven")
    steps = [event.step for event in car.events]
    assert steps == sorted(set(steps))  # each thing told can be taken back by itself
    car.answer("lines-look", {"0": "wet"}, "warm-idle")
    assert proof(car).state == "cured but unproven"


def test_other_conditions_where_codes_were_not_cleared() -> None:
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    car.keep(rounds.say_cleared(car.workup, cleared=False))
    counts = {count.name for count in proof(car).counts}
    assert "lamp-out" in counts and "engine-running" not in counts


def test_refused() -> None:
    car = a_car_with_a_leak()
    with pytest.raises(Refused, match="no condition is called"):
        rounds.provoke(car.workup, "hot-water", clean=True)
    with pytest.raises(Refused, match="is not counted"):
        rounds.drove(car.workup, {"engine": 3})
    uncounted = next(p.name for p in book().proofs.values() if p.least is None)
    with pytest.raises(Refused, match="is not counted"):
        rounds.drove(car.workup, {uncounted: 1})
    with pytest.raises(Refused, match="cannot be"):
        rounds.drove(car.workup, {"engine-running": -1})


def test_an_empty_list_of_codes_says_nothing_between_clearing_and_a_drive() -> None:
    """Clearing empties the list on a mended car and on any other. From a drive on it counts as before."""
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    codes = [name for name, check in book().checks.items() if check.codes]
    rich = next(name for name in codes if name in car.workup.tables.check_number)
    car.keep(rounds.say_cleared(car.workup, True, "2026-03-28", 90321))
    before = car.workup.belief.probability.tolist()
    car.keep(acts.list_codes(car.workup, []))
    car.keep(acts.answer(car.workup, rich, {0: book().checks[rich].outcomes[0].name}))
    assert car.workup.belief.probability.tolist() == before
    found = proof(car)
    assert found.empty_since_clearing and found.cleared_when == "2026-03-28, at 90321 km"
    assert {item.state for item in found.seen if {c.title: c for c in book().checks.values()}[item.title].codes} <= {
        "missing"
    }
    assert "that says nothing. Read it again after a drive" in " ".join(proof_text(found).split())
    assert not any(
        book().checks[check.name].codes for check in (car.workup.tables.checks[o.check] for o in car.workup.ranked)
    )
    assert trace(car.workup).points == ()
    car.keep(acts.change_condition(car.workup, "cruise"))
    assert not proof(car).empty_since_clearing
    car.keep(acts.list_codes(car.workup, []))
    assert car.workup.belief.probability.tolist() != before and car.workup.record.codes_complete
    car.keep(rounds.say_cleared(car.workup, True))
    assert not car.workup.record.empty_since_clearing, "what was read empty before says nothing of this clearing"
    car.keep(acts.list_codes(car.workup, [("P0172", ("pending",))]))  # a code that is there says what it always says
    assert car.workup.record.codes and not car.workup.record.codes_complete, "and that no other is there says nothing"
    car.keep(rounds.provoke(car.workup, "warm-idle", clean=True))
    assert car.workup.record.cleared, "no drive"
    car.keep(rounds.provoke(car.workup, "cruise", clean=True))
    assert not car.workup.record.cleared


def test_tries_have_their_day_and_say_what_they_were_worth() -> None:
    car = a_car_with_a_leak()
    car.work("replace-injector", 3)
    car.finish()
    for day in ("2026-03-28", "2026-03-28", "2026-03-30"):
        car.keep(rounds.provoke(car.workup, "hot-restart", clean=True, on=day))
    plan = proof(car).provocation
    assert plan is not None and [each.on for each in plan.tried] == ["2026-03-28", "2026-03-28", "2026-03-30"]
    assert tried_text(plan) == "2026-03-28 2 clean; 2026-03-30 1 clean"
    odds = [chance / (1 - chance) for chance in plan.course]
    said = worth_text(plan)
    assert f"quiet through 3 such tries in {percent(odds[3] / odds[0])} of cases" in said
    less = plan.course[0] / plan.course[3]
    assert f"{less:.0f} times less likely" in said if less >= 10 else f"{less:.1f} times" in said
    assert f"The last of them took the chance from {percent(plan.course[2])} to {percent(plan.course[3])}." in said
    text = " ".join(proof_text(proof(car)).split())
    assert "Tried: 2026-03-28 2 clean; 2026-03-30 1 clean." in text and said in text
    for wrong, why in (("yesterday", "no day"), ("2999-01-01", "still to come")):
        with pytest.raises(Refused, match=why):
            day_meant(wrong)


def test_a_fault_of_the_damp_may_be_misted_and_one_of_bad_roads_wiggled() -> None:
    """Tries of a proof that need no weather and no road, each with what must not be touched."""
    damp, bumps = book().proofs["tries-in-the-damp"].say, book().proofs["tries-on-bumps"].say
    assert "mist of water" in damp and "wiggled and tapped" in bumps
    for say in (damp, bumps):
        assert "nothing of ignition" in say and "belts" in say and "hot" in say
