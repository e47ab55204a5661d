"""A verdict says what was worked out and no more: each of its parts against the belief, the options and their rules."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from reasoner.casebook.events import CodeRead, CodesRead, RichSeen
from reasoner.casebook.shape import load_sound
from reasoner.history.trace import vehicle_of
from reasoner.inference.belief import believe, by_class
from reasoner.inference.choose import gains
from reasoner.inference.evidence import Spell
from reasoner.inference.gain import class_entropy
from reasoner.inference.plan import options
from reasoner.network.vehicle import vehicle_from
from reasoner.session import acts
from reasoner.session.asking import could_turn
from reasoner.session.concluding import (
    NEARLY_DONE,
    _sentence,
    answer_origin,
    belief,
    next_document,
    not_explained,
    out_of_reach,
    proposals,
    unsure,
    verdict,
)
from reasoner.session.deciding import concluded, decide, decision_document, mended_too, title
from reasoner.session.document import Reason, Verdict
from reasoner.session.words import percent, places_of
from reasoner.session.workup import Workup, begin
from tests.repair.cars import answered, car, small_car
from tests.shipped import garage


@cache
def half_way() -> Workup:
    """A case with answers for and against, sure and not, at places and at none."""
    workup = car(layout="inline 4", injection="direct", distance="200000 km")
    workup = workup.after(acts.list_codes(workup, [("P0172", ["pending"])]))
    workup = workup.after(acts.answer(workup, "smell-of-fuel", {0: "yes"}, "guess"))
    workup = workup.after(acts.answer(workup, "short-trips", {0: "yes"}, "guess"))
    workup = workup.after(acts.answer(workup, "how-warm", {0: "hot-restart"}, "think so"))
    workup = answered(workup, "trim-idle", "normal", "warm-idle")
    return answered(workup, "hot-restart-misfire", {3: "misfires"}, "hot-restart")


def test_what_is_settled_is_claimed_as_it_is_believed() -> None:
    case = load_sound(Path(__file__).parents[2] / "cases" / "six-crossed-plugs.yaml")
    workup = begin(half_way().book, vehicle_of(case), case.events)
    chance = by_class(workup.tables, workup.belief.probability).max()
    ended = verdict(to_the_end(workup))
    looked = {given.check for given in workup.record.given}
    assert ended.kind not in NEARLY_DONE or not looked & {way.check for way in ended.would_change}
    assert ended.kind == "nothing-worth" or f"What to do is settled at {percent(chance)}: " in ended.sentence


def to_the_end(workup: Workup) -> Workup:
    """Where nobody can make any of the checks that would still be worth it."""
    while workup.look is not None:
        workup = workup.after(acts.pass_over(workup, workup.tables.checks[workup.look.check].name, "not-now"))
    return workup


def test_two_faults_with_one_remedy_are_not_told_apart_and_both_are_said() -> None:
    """An injector that leaks when shut and one that leaks hot are renewed alike: nothing is left open between them."""
    workup = half_way()
    twins = ("injector-leaks@cylinder-3", "injector-leaks-after-soak@cylinder-3")
    prior = np.array([100.0 * (c.name in twins) for c in workup.tables.causes]) + workup.tables.prior
    workup = replace(workup, ruled=replace(workup.tables, prior=prior / prior.sum()), events=())
    assert class_entropy(workup.tables, workup.belief.probability) < 0.3
    decision = concluded(workup)
    assert mended_too(decision, "injector-leaks", 0.03) == ["injector-leaks-after-soak"]
    now = belief(workup)
    said = _sentence(workup, "settled", now.leading[0], now.faults[0], "do it", 0.9, ["injector-leaks-after-soak"])
    assert "Injector leaks only after a hot soak: the same work mends it" in said


def leaks_somewhere() -> Workup:
    """The small rules where nearly every car leaks, and a plug told nobody which cylinder."""
    workup = small_car()
    leak = np.array([c.fault == "leak" for c in workup.tables.causes])
    prior = np.where(leak, 100.0, 1.0) * workup.tables.prior
    return replace(workup, ruled=replace(workup.tables, prior=prior / prior.sum()))


def move(workup: Workup, cause: int) -> list[float]:
    """Decibans that each answer moves a cause: the odds with all answers over the odds without it, worked out anew."""
    spells = workup.belief.spells

    def odds(these: tuple[Spell, ...]) -> float:
        p = believe(workup.tables, these).probability
        return float(p[cause] / np.delete(p, cause).sum())

    found = []
    for i, spell in enumerate(spells):
        for answer in spell.answers:
            rest = Spell(spell.condition, tuple(a for a in spell.answers if a is not answer))
            found.append(10 * np.log10(odds(spells) / odds((*spells[:i], rest, *spells[i + 1 :]))))
    return found


def test_answers_speak_for_it_or_against_it_from_half_a_deciban() -> None:
    workup = half_way()
    found = verdict(workup, stopped=True)
    moves = move(workup, workup.tables.cause_number[found.lead.cause])
    assert any(0 < abs(m) < 0.5 for m in moves)  # one that nobody would notice
    assert [r.decibans for r in found.spoke_for] == pytest.approx(sorted((m for m in moves if m >= 0.5), reverse=True))
    assert [r.decibans for r in found.spoke_against] == pytest.approx(sorted(m for m in moves if m <= -0.5))
    unsure = [r for r in (*found.spoke_for, *found.spoke_against) if r.text.endswith(("(guess)", "(think so)"))]
    assert sorted(found.unsure) == sorted(r.text for r in unsure) and unsure


def test_what_stays_open_is_every_other_leading_cause_from_three_in_a_hundred() -> None:
    workup = answered(half_way(), "plugs-after-clearing", {3: "wet"}, "cleared-idle")
    found = verdict(workup, stopped=True)
    five = sorted(zip(workup.belief.probability.tolist(), workup.tables.causes, strict=True), key=lambda pair: -pair[0])
    likely = [(cause.name, p) for p, cause in five[:5] if p >= 0.03 and cause.name != found.lead.cause]
    assert [(s.cause, s.probability) for s in found.open] == likely
    assert 0 < len(likely) < 4  # one of the five is too unlikely to be named


def test_what_would_change_it_are_the_best_checks_that_still_tell_enough() -> None:
    workup = half_way()
    least = workup.book.settings.least_gain
    enough = [o for o in workup.ranked if o.gain >= least]
    found = verdict(workup, stopped=True).would_change
    assert [w.bits for w in found] == [o.gain for o in enough[:3]]
    assert len(enough) > 3


def poor() -> Workup:
    """Half way, and all that was at hand passed over: more is out of reach."""
    workup = half_way()
    for name in {workup.tables.checks[o.check].name for o in workup.ranked}:
        workup = workup.after(acts.pass_over(workup, name, "not-now"))
    return workup


def lacking_only(workup: Workup) -> dict[str, float]:
    """Bits of the best way to do each check that only lacks a tool, the best rate first: every way listed."""
    now, best = workup.situation, dict[str, tuple[float, float]]()
    with_tools = replace(now, lacking=frozenset())
    for option in gains(workup.expected, with_tools, options(workup.tables, with_tools, workup.costs)):
        check = workup.tables.checks[option.check]
        if check.needs & now.lacking and option.gain > 1e-9:
            best[check.name] = max(best.get(check.name, (0.0, 0.0)), (option.gain / option.cost, option.gain))
    return {name: gain for name, (_, gain) in sorted(best.items(), key=lambda item: -item[1][0])}


@pytest.mark.parametrize("at", [half_way, poor])
def test_out_of_reach_is_what_lacks_a_tool_alone_and_says_more_than_anything_at_hand(at: Callable[[], Workup]) -> None:
    workup = at()
    bar = max(max((o.gain for o in workup.ranked), default=0.0), 5 * workup.costs.least_gain)
    expected = [name for name, gain in lacking_only(workup).items() if gain > bar]
    assert [w.check for w in out_of_reach(workup)] == expected[:2]


def test_what_was_refused_is_not_out_of_reach_but_what_lacked_a_tool_is() -> None:
    workup = poor()
    more = [w.check for w in out_of_reach(workup)]
    refused = workup.after(acts.pass_over(workup, more[0], "not-now"))
    assert more[0] not in [w.check for w in out_of_reach(refused)]
    missed = workup.after(acts.pass_over(workup, more[0], "no-tool"))
    assert more[0] in [w.check for w in out_of_reach(missed)]


@pytest.mark.parametrize(("times", "named"), [(0.999, True), (1.001, False)])
def test_out_of_reach_tells_five_times_the_least_gain(times: float, named: bool) -> None:
    workup = poor()
    gain = max(lacking_only(workup).values())
    settings = replace(workup.book.settings, least_gain=gain / 5 * times)
    workup = replace(workup, book=replace(workup.book, settings=settings))
    assert max((o.gain for o in workup.ranked), default=0.0) < gain
    assert bool(out_of_reach(workup)) is named


def test_the_fault_may_be_settled_and_its_place_not() -> None:
    """Nothing speaks for one cylinder: the fault has no place, and the sentences say so."""
    workup = leaks_somewhere()
    assert workup.fault_settled and not workup.settled
    found = verdict(to_the_end(workup))
    assert (found.kind, found.fault.fault, found.fault.where) == ("place-open", "leak", "")
    assert "At which place is not settled" in found.sentence
    stopped = verdict(workup, stopped=True)
    assert stopped.kind == "stopped" and "its place is still open" in stopped.sentence
    assert verdict(to_the_end(small_car())).kind == "nothing-worth"  # there not even the fault is


def test_a_place_is_named_where_it_has_more_than_half_of_its_fault() -> None:
    faults = {f.fault: f for f in belief(answered(small_car(), "plugs", {3: "wet"}), ranges=False).faults}
    assert faults["leak"].where == "cylinder 3"
    assert "cylinder 3" in verdict(answered(small_car(), "plugs", {3: "wet"}), stopped=True).sentence
    workup = answered(small_car(), "plugs", {2: "wet", 3: "wet"})
    found = belief(workup, ranges=False)
    both = {f.fault: f for f in found.faults}["leak"]
    assert both.where == ""
    assert both.probability == pytest.approx(sum(p for name, p in found.all.items() if name.startswith("leak@")))


def test_a_reason_names_the_statement_that_was_used() -> None:
    """Looked at its own cylinder: what the rules say of the fault; at others alone: what they say of a sound one."""
    tables = half_way().tables
    number = tables.cause_number["injector-leaks@cylinder-3"]
    silent = [t for t in tables.checks if len(t.places) == 4 and t.index[number, 2] and not t.index[number, 0]]
    assert silent  # checks of which the rules say nothing where the fault is not
    for table in silent:
        odd = (0.0,) * (len(table.outcomes) - 1) + (1.0,)
        own, sound = table.origins[table.index[number, 2]], table.origins[0]
        assert own.place != sound.place
        assert answer_origin(table, number, (None, None, odd, None)) == own
        assert answer_origin(table, number, (odd, odd, odd, odd)) == own
        assert answer_origin(table, number, (odd, None, None, odd)) == sound


def test_a_verdict_is_due_once_it_is_settled_unless_one_goes_on() -> None:
    settled = answered(small_car(), "plugs", {3: "wet"})
    third = np.array([c.where == "cylinder 3" for c in settled.tables.causes])
    settled = replace(settled, ruled=settled.tables.with_prior(np.where(third, 3.0, 1.0) * settled.tables.prior))
    settled = to_the_end(settled)
    assert settled.settled and not proposals(settled)
    found = next_document(settled)
    assert isinstance(found, Verdict) and found.kind == "settled"
    decision = decide(settled)
    assert (found.choice, found.course) == (decision.best.kind, title(decision, decision.best))


def test_one_may_go_on_past_a_verdict() -> None:
    """Where something still tells enough; where nothing does, going on ends (`test_promises`)."""
    workup = answered(half_way(), "plugs-after-clearing", {3: "wet"}, "cleared-idle")
    for _ in range(40):
        if workup.look is None:
            break
        workup = answered(workup, workup.tables.checks[workup.look.check].name)
    assert isinstance(next_document(workup), Verdict)
    assert not isinstance(next_document(workup, go_on=True), Verdict)


def test_a_code_that_the_verdict_does_not_explain_is_named() -> None:
    """A thermostat's code beside an injector that leaks: no injector sets it. Its own cylinder's misfire is."""
    vehicle, _ = vehicle_from({"injection": "port", "metering": "airflow"})
    assert vehicle is not None
    codes = tuple(CodeRead(code, ("stored",)) for code in ("P0172", "P0303", "P0128", "P1234"))
    workup = garage().begin(vehicle, [CodesRead(step=1, codes=codes)])
    numbers = workup.tables.cause_number
    leak, thermostat = numbers["port-injector-leaks@cylinder-3"], numbers["thermostat-open"]
    assert [text.split()[0] for text in not_explained(workup, leak)] == ["P0128"]
    assert [text.split()[0] for text in not_explained(workup, thermostat)] == ["P0303"]


def test_a_reading_that_the_verdict_does_not_explain_is_named() -> None:
    """Lean at cruise beside a purge valve that leaks: it makes nothing lean, a meter that reads low does. What a sound
    car shows as well, and what the cause itself brings about, is not named."""
    vehicle, _ = vehicle_from({"injection": "port", "metering": "airflow"})
    assert vehicle is not None
    workup = garage().begin(vehicle)
    for check, outcome, condition in (
        ("purge-at-zero", "still-rich", "warm-idle"),
        ("purge-pinched", "recovers", "warm-idle"),
        ("trim-cruise", "lean", "cruise"),
    ):
        workup = answered(workup, check, outcome, condition)
    numbers = workup.tables.cause_number
    told = [text.split(":")[0] for text in not_explained(workup, numbers["purge-valve-leaks"])]
    assert told == [workup.book.checks["trim-cruise"].title]
    assert workup.book.checks["trim-cruise"].title not in {
        text.split(":")[0] for text in not_explained(workup, numbers["airflow-meter-fouled"])
    }


def test_only_what_may_turn_a_verdict_could_change_it() -> None:
    """By the beliefs that each outcome leads to, worked out as giving it does."""
    workup = half_way()
    now = int(by_class(workup.tables, workup.belief.probability).argmax())
    kinds = set()
    for option in workup.ranked[:4]:
        table = workup.tables.checks[option.check]
        if len(table.places) > 1 or option.fresh:
            continue
        (place,) = places_of(workup.vehicle, workup.book.checks[table.name])
        after = [
            workup.after(acts.answer(workup, table.name, {place: outcome}, option=option)) for outcome in table.outcomes
        ]
        turned = any(int(by_class(w.tables, w.belief.probability).argmax()) != now for w in after)
        kinds.add(could_turn(workup, option))
        assert turned or not could_turn(workup, option)
    assert kinds


def test_that_it_is_rich_now_is_no_unsure_answer() -> None:
    """It counts as one that is not quite sure, but nobody gave it: it is not named as one to look at again. One that
    was given so is."""
    workup = car(injection="port")
    workup = workup.after(acts.change_condition(workup, "warm-idle"))
    rich = workup.after(acts.say_rich(workup, True))
    (told,) = (given for given in rich.record.given if given.sure == "think so")
    reason = Reason(told.check, "rich", 5.0, "", "", "")
    steps = {e.step for e in rich.events if isinstance(e, RichSeen)}
    assert unsure(rich.record, [(told.number, reason)]) == ("rich",)
    assert unsure(rich.record, [(told.number, reason)], steps) == ()


def test_a_decision_names_what_its_work_does_not_explain() -> None:
    """A purge valve that leaks, and a bank that is lean at cruise, which no vapour makes."""
    workup = car(injection="port", metering="airflow")
    for check, outcome, condition in (
        ("purge-at-zero", "still-rich", "warm-idle"),
        ("purge-pinched", "recovers", "warm-idle"),
        ("purge-valve-holds-vacuum", "leaks", "warm-idle"),
        ("trim-cruise", "lean", "cruise"),
    ):
        workup = answered(workup, check, outcome, condition)
    found = decide(workup)
    notes = [note for note in decision_document(found).notes if note.startswith("Not explained by this work")]
    assert found.best.work and len(notes) == 1
    assert workup.book.checks["trim-cruise"].title in notes[0] and "it would fit: " in notes[0]


def test_what_a_check_may_cost_is_said_the_right_way_round() -> None:
    found = decide(answered(car(metering="airflow"), "hot-restart-misfire", {2: "misfires"}, "hot-restart"))
    (hinge,) = decision_document(found).hinges
    assert found.best.kind == "test" and hinge.startswith("only if the check cost more than ")
    at, now = (float(part.replace(" ", "")) for part in re.findall(r"[\d ]*\d", hinge)[:2])
    assert at > now == pytest.approx(found.best.now, abs=0.5)
