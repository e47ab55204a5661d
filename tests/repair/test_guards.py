"""What is not recommended, and why: on a failed hold test alone; injectors while purge and oil are not excluded."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO

import numpy as np
import pytest

from reasoner.inference.weight import findings_against, weigh_answers
from reasoner.repair.guards import Known, Missing, excluders, missing, missing_for_watching, speakers
from reasoner.repair.prices import usual
from reasoner.repair.reckoning import members_of
from reasoner.report.text import write
from reasoner.report.work_text import decision_text
from reasoner.rulebook.model import Guard
from reasoner.session import acts, deciding
from reasoner.session.concluding import verdict
from reasoner.session.deciding import Decision
from reasoner.session.workup import Workup
from tests.repair.cars import answered, car, job, small_car, stake, till_work

INJECTOR = "replace-injector"


def old_four() -> Workup:
    workup = car(layout="inline 4", injection="direct", metering="airflow", distance="198000 km")
    return workup.after(acts.list_codes(workup, [("P0172", ["pending"])]))


def decided(workup: Workup) -> Decision:
    return deciding.decide(workup, stake(workup).prices)


def lacking(decision: Decision, kind: str = "all") -> set[tuple[str, str]]:
    return {(item.kind, item.name) for item in decision.missing[kind]}


def injectors(decision: Decision) -> list[str]:
    """Kinds of choice that fit injectors."""
    return [c.kind for c in decision.choices if any(job.repair == INJECTOR for job in c.work)]


PURGE = ("purge-valve-holds-vacuum", "canister-weight", "happens-after-refuelling", "code-vent")
WET = {3: "wet"}


def test_not_on_a_failed_hold_test_alone() -> None:
    """Common practice, no source: a pump's or a relief valve's leak has the same sign."""
    workup = old_four()
    for condition in ("hot-soak", "hot-soak"):
        workup = answered(workup, "rail-hold-hot", "collapses", condition)
    decision = decided(workup)
    assert injectors(decision)
    for kind in injectors(decision):
        assert ("beyond", "") in lacking(decision, kind) or kind == "all"
        assert decision.best is None or decision.best.kind != kind


def test_what_speaks_for_every_injector_alike_speaks_for_all_of_them() -> None:
    """Rich for seconds after a hot restart moves no cylinder against the others; for one alone it says too little, and
    talk says nothing for either."""
    told = answered(old_four(), "how-warm", "hot-restart")
    assert "beyond" in {item.kind for item in told.outlook.missing((job(INJECTOR, 1, 2, 3, 4),))}
    workup = answered(old_four(), "hot-restart-watched", "seconds", "hot-restart")
    found = {n: workup.outlook.missing((job(INJECTOR, *range(1, n + 1)),)) for n in (1, 4)}
    assert "beyond" not in {item.kind for item in found[4]}
    assert "beyond" in {item.kind for item in found[1]}


def test_looks_at_the_place_count_together() -> None:
    """Of many that agree none is needed beside the others, so that each weighs little; that takes nothing away."""
    workup = answered(old_four(), "rail-hold-hot", "collapses", "hot-soak")
    for _ in range(8):
        workup = workup.after(acts.change_condition(workup, "hot-restart"))
        workup = answered(workup, "hot-restart-misfire", {3: "misfires"})
    least = workup.book.settings.afterwards.speaks_from
    number = int(workup.belief.probability.argmax())
    placed = workup.tables.check_number["hot-restart-misfire"]
    single = [w.decibans[number] for w in weigh_answers(workup.tables, workup.spells) if w.answer.check == placed]
    assert workup.tables.causes[number].where == "cylinder 3" and max(single) < least
    assert ("beyond", "") not in lacking(decided(workup), "alone")


def test_not_while_purge_and_oil_are_not_excluded() -> None:
    """However sure: a tip seen wet makes purge unlikely, but nobody has looked at it."""
    workup = answered(old_four(), "borescope-after-soak", WET, "hot-soak")
    workup = answered(workup, "plugs-after-clearing", WET, "cleared-idle")
    workup = answered(workup, "misfire-counts", {3: "raised"})
    decision = decided(workup)
    lead = next(iter(decision.stake.jobs.values()))
    assert lead > 0.85
    assert {("excluded", "purge-vapour"), ("excluded", "crankcase-vapour")} <= lacking(decision)
    assert decision.best is not None and decision.best.kind not in injectors(decision)
    document = deciding.decision_document(decision)
    said = next(c.missing for c in document.choices if c.kind == "all")
    words = "nothing has spoken against vapour from the canister yet, unlikely as it is"
    assert any(text.startswith(f"{words} (to settle it: ") for text in said)
    text = decision_text(document)  # on the screen each thing stands once, with the choices it is missing for
    distinct = {missing for choice in document.choices for missing in choice.missing}
    assert text.count("! before ") == len(distinct) < sum(len(choice.missing) for choice in document.choices)


def seen_wet() -> Workup:
    workup = answered(old_four(), "borescope-after-soak", WET, "hot-soak")
    workup = answered(workup, "plugs-after-clearing", WET, "cleared-idle")
    return answered(workup, "misfire-counts", {3: "raised"})


def test_the_loop_asks_what_is_missing_before_a_dear_repair() -> None:
    """A tip seen wet: to ask about the purge and the oil costs some minutes, an injector for nothing an afternoon.

    What is asked is answered as injector 3's leak shows it; a tip that is wet in an engine that is never rich would be
    a misfire's."""
    workup = seen_wet()
    shown = {**LEAKS_AT_3, **RICH_AT_REST}
    asked = []
    while workup.look is not None:
        look = workup.look
        check = workup.tables.checks[look.check].name
        asked.append(check)
        if look.fresh and look.condition is not None:  # told anew, be it the same: a new spell begins
            workup = workup.after(acts.change_condition(workup, workup.tables.conditions[look.condition]))
        workup = answered(workup, check, shown.get(check, ""))
        assert len(asked) < 12, asked
    speak = {name for family in ("purge-vapour", "crankcase-vapour") for name in speakers(stake(workup), family)}
    assert speak & set(asked)
    found = verdict(workup)
    assert (found.kind, found.repair, found.wanted_first) == ("settled", INJECTOR, ())


def test_what_cannot_be_known_is_said_with_the_verdict_and_holds_nothing_back() -> None:
    """Nobody can make these checks here: it stays a doubt, and the verdict says so before what to do."""
    workup = seen_wet()
    while workup.look is not None:
        workup = workup.after(acts.pass_over(workup, workup.tables.checks[workup.look.check].name, "not-now"))
    found, decision = verdict(workup), decided(workup)
    assert found.kind == "settled" and found.repair == INJECTOR
    best = next(c for c in deciding.decision_document(decision).choices if c.recommended)
    assert found.course == best.title and found.wanted_first == best.missing and len(found.wanted_first) == 2
    out = StringIO()
    write(found, out, width=80, colour=False)
    order = [out.getvalue().index(part) for part in ("BEFORE ANYTHING IS REPLACED", "WHAT TO DO NEXT", "LEFT OPEN")]
    assert order == sorted(order)


def test_recommended_once_they_are() -> None:
    workup = answered(old_four(), "borescope-after-soak", WET, "hot-soak")
    workup = answered(workup, "plugs-after-clearing", WET, "cleared-idle")
    workup = answered(workup, "misfire-counts", {3: "raised"})
    for check in ("purge-valve-holds-vacuum", "canister-weight", "happens-after-refuelling"):
        workup = answered(workup, check)
    for check in ("oil-level", "oil-smell"):
        workup = answered(workup, check)
    decision = decided(workup)
    assert not lacking(decision) and not verdict(workup).wanted_first
    assert decision.best is not None and decision.best.kind in injectors(decision)


def test_charge_air_is_looked_at_before_it_is_mended() -> None:
    """What is told, frozen and stored comes of the same moments under load: it recommends no repair by itself."""
    workup = car(layout="inline 4", injection="direct", metering="airflow", charging="charged", distance="140000 km")
    workup = workup.after(acts.list_codes(workup, [("P0172", ["pending"]), ("P0299", ["confirmed"])]))
    for check, what in (("freeze-frame", "high-load"), ("doing-what", "pulling"), ("recent-work-other", "air-side")):
        workup = answered(workup, check, what)
    told = decided(workup)
    mending = [c.kind for c in told.choices if any(job.repair == "mend-charge-air-leak" for job in c.work)]
    assert mending and all(("beyond", "") in lacking(told, kind) for kind in mending)
    assert told.best is None or told.best.kind not in mending
    seen = decided(answered(workup, "charge-air-look", "suspect", "engine-off"))
    assert ("beyond", "") not in lacking(seen, mending[0])


def test_only_what_was_looked_for_excludes() -> None:
    """The small rules: the meter is unlikely once a plug is wet, and excluded only once it was compared while the fault
    may have shown."""
    wet = answered(small_car(), "plugs", WET)
    assert ("excluded", "meter") in lacking(deciding.decide(wet, stake(wet).prices))
    compared = answered(answered(wet, "meter-compared", condition="idle"), "hold", "falls")
    after = deciding.decide(compared, stake(compared).prices)
    assert ("excluded", "meter") not in lacking(after)


def test_driving_on_is_not_recommended_where_it_is_dangerous() -> None:
    """Petrol in a vacuum hose: nobody is told to watch and wait, whatever it would save."""
    workup = car(layout="inline 4", injection="port", return_line="yes", distance="198000 km")
    assert not missing_for_watching(stake(workup))
    workup = answered(workup, "regulator-hose", "fuel", "engine-off")
    decision = decided(workup)
    assert lacking(decision, "watch") == {("driving", "fire")}


@pytest.mark.parametrize("layout", ["inline 4", "V 6"])
def test_trims_flat_on_both_banks_fit_no_injector(layout: str) -> None:
    """Common practice, no source: all plugs alike and the same trim at every airflow are air counted too high or fuel
    pressure, not injectors."""
    workup = car(layout=layout, injection="direct", metering="airflow", distance="198000 km")
    banks = len(workup.vehicle.banks)
    codes = [("P0172", ["pending"]), ("P0175", ["pending"])][:banks]
    workup = workup.after(acts.list_codes(workup, codes))
    workup = answered(workup, "trims-by-airflow", dict.fromkeys(range(1, banks + 1), "flat"), "cruise")
    workup = answered(workup, "plugs-after-clearing", condition="cleared-idle")
    decision = decided(workup)
    assert decision.best is not None and decision.best.kind not in injectors(decision)
    assert not any(job.repair == INJECTOR for job in decision.best.work)
    shares = {j.repair: p for j, p in decision.stake.jobs.items()}
    assert max(shares, key=lambda repair: shares[repair]) != INJECTOR


LEAKS_AT_3 = {
    "borescope-after-soak": WET,
    "plugs-after-clearing": WET,
    "hot-restart-misfire": {3: "misfires"},
    "hot-restart-watched": {1: "minutes"},
    "rough-after-restart": "minutes",
    "how-warm": "hot-restart",
    "freeze-frame-start": "hot-start",
    "misfire-counts": {3: "raised"},
}
RICH_AT_REST = {
    "short-vs-long": {1: "fresh"},
    "frame-trims": {1: "fresh"},
    "purge-at-zero": {1: "still-rich"},
    "trim-idle": {1: "rich"},
    "purge-pinched": "same",
    "purge-unplugged": "same",
    "crankcase-vent-off": "same",
}


def till_injectors(distance: str, access: float = 110.0) -> Decision:
    workup = car(layout="inline 4", injection="direct", metering="airflow", distance=distance)
    workup = workup.after(acts.list_codes(workup, [("P0172", ["pending"])]))
    workup = workup.after(acts.tools(workup, at_hand=["borescope"]))
    workup = answered(workup, "borescope-after-soak", WET, "hot-soak")
    return till_work(workup, LEAKS_AT_3, replace(usual(workup.book), access={INJECTOR: access}))


def test_one_clear_wet_plug_and_a_clean_set_is_one() -> None:
    """A set well below the age at which they wear: one, and the other three stay in."""
    decision = till_injectors("90000 km")
    assert decision.best is not None and decision.best.kind == "alone"
    assert decision.best.work[0].places == {"cylinder 3"}


def test_four_of_one_age_with_costly_access_is_all() -> None:
    decision = till_injectors("200000 km", access=300.0)
    assert decision.best is not None and decision.best.kind == "all"
    easy = till_injectors("200000 km", access=60.0)
    assert easy.best is not None and easy.best.kind == "alone"


def test_of_one_after_the_other_only_the_first_is_asked_for() -> None:
    """A cylinder that two looks speak for: the others of the set need nothing yet, as none of them is touched now."""
    workup = answered(old_four(), "hot-restart-misfire", {3: "misfires"}, "hot-restart")
    workup = answered(workup, "hot-restart-misfire", {3: "misfires"}, "hot-restart")
    decision = decided(workup)
    turns = next(c for c in decision.choices if c.kind == "in turn")
    assert len(turns.work) > 1 and turns.work[0].places == {"cylinder 3"}
    assert ("beyond", "") not in lacking(decision, "in turn")
    assert lacking(decision, "in turn") == lacking(decision, "alone")


# ---- each kind of guard by itself, on the small rules ----------------------------------------------------------------


def asked_for(workup: Workup, repair: str, places: tuple[int, ...], **guard: tuple[str, ...]) -> tuple[Missing, ...]:
    """What is missing for a job, where the rules ask for this before its repair, and leaks are as rare as that a sign
    of them that fits all cylinders can speak for each."""
    found = stake(workup)
    rare = np.where([c.fault in ("leak", "all-worn") for c in found.tables.causes], 0.05, 1.0) * found.tables.prior
    found = replace(found, tables=replace(found.tables, prior=rare / rare.sum()))
    repairs = {**found.book.repairs, repair: replace(found.book.repairs[repair], only_after=Guard(**guard))}
    book = replace(found.book, repairs=repairs)
    known = Known(workup.spells, {given.check for given in workup.record.given})
    return tuple(m for m in missing(replace(found, book=book), known, [job(repair, *places)]) if m.kind != "looked")


def test_a_check_that_the_rules_want_answered_is_missing_until_it_is() -> None:
    asked = {"answered": ("meter-compared", "hold")}
    assert asked_for(small_car(), "new-meter", (), **asked) == (
        Missing("answered", "meter-compared", 0.0, ("meter-compared",)),
        Missing("answered", "hold", 0.0, ("hold",)),
    )
    half = answered(small_car(), "meter-compared", "high", "idle")
    assert [item.name for item in asked_for(half, "new-meter", (), **asked)] == ["hold"]
    assert not asked_for(answered(half, "hold"), "new-meter", (), **asked)


def test_a_check_that_this_car_does_not_have_is_not_asked_for() -> None:
    """The rules may know checks that this kind of car, or a car before any work, has no use for."""
    assert not asked_for(small_car(), "new-meter", (), answered=("of-another-kind-of-car",))


def test_only_what_looks_at_a_place_speaks_for_it() -> None:
    """That a rail falls off fits all four, and none of them more than another; a wet plug speaks for its own."""
    fell = answered(small_car(), "hold", "falls")
    assert not asked_for(fell, "new-injector", (1, 2, 3, 4), beyond=("meter-compared",))
    (lacks,) = asked_for(fell, "new-injector", (3,), beyond=("meter-compared",))
    assert (lacks.kind, lacks.name, lacks.checks) == ("beyond", "", ("plugs",))
    assert lacks.chance == pytest.approx(stake(fell).jobs[job("new-injector", 3)])
    (lacks,) = asked_for(fell, "new-injector", (1, 2, 3, 4), beyond=("hold",))
    assert "plugs" in lacks.checks and "hold" not in lacks.checks
    wet = answered(fell, "plugs", {2: "wet"})
    assert not asked_for(wet, "new-injector", (2,), beyond=("hold",))
    assert asked_for(wet, "new-injector", (3,), beyond=("hold",))  # another place is spoken for
    high = answered(small_car(), "meter-compared", "high", "idle")
    assert not asked_for(high, "new-meter", (), beyond=("hold",))
    assert asked_for(high, "new-injector", (1, 2, 3, 4), beyond=("hold",))  # another repair is


def test_what_would_settle_it_looks_where_the_work_is() -> None:
    """For one place what looks at places, for all whatever can speak for them; a meter that is compared says nothing of
    injectors, however quick it is."""
    (one,) = asked_for(small_car(), "new-injector", (3,), beyond=("meter-compared",))
    assert one.checks == ("plugs",)
    (every,) = asked_for(small_car(), "new-injector", (1, 2, 3, 4), beyond=("hold",))
    assert every.checks == ("plugs",)


def test_nothing_speaks_for_work_that_no_cause_calls_for() -> None:
    assert asked_for(answered(small_car(), "plugs", WET), "clean-it", (), beyond=("hold",))


def known_of(workup: Workup) -> Known:
    return Known(workup.spells, {given.check for given in workup.record.given})


def test_talk_and_a_look_that_says_nothing_for_it_are_no_look_at_the_part() -> None:
    """A coolant sensor that is believed on what was told: a look that finds it right does not speak for it."""
    own = job("renew-coolant-temperature-sensor")

    def kinds(workup: Workup) -> set[str]:
        return {m.kind for m in missing(stake(workup), known_of(workup), [own])}

    told = answered(old_four(), "how-warm", "warming-up")
    assert kinds(told) == {"answered"}  # first that plug and loom were moved, which the rules ask for
    told = answered(told, "wiring-moved-warmed", {0: next(iter(told.book.checks["wiring-moved-warmed"].outcomes)).name})
    assert "looked" in kinds(told)
    assert "looked" in kinds(answered(told, "live-temperatures", "right", "warm-idle"))
    assert "looked" not in kinds(answered(told, "live-temperatures", "coolant-low", "warm-idle"))


def test_which_of_four_is_looked_for_before_all_four_are_sold() -> None:
    """A pressure that falls off speaks for all four, and most likely it is one. A look at each place says which; after
    it all four may still be the right choice."""
    workup = car(layout="inline 4", injection="port", metering="airflow", distance="198000 km")
    book = workup.book
    bare = replace(book.repairs["replace-port-injector"], only_after=None)
    every = [job("replace-port-injector", 1, 2, 3, 4)]

    def lacks(workup: Workup) -> tuple[Missing, ...]:
        found = stake(workup)
        return missing(
            replace(found, book=replace(book, repairs={**book.repairs, bare.name: bare})), known_of(workup), every
        )

    fell = answered(workup, "low-side-hold", "rail", "hot-soak")
    (which,) = lacks(fell)
    assert (which.kind, which.name) == ("which", "port-injector-leaks") and "hot-restart-misfire" in which.checks
    assert not lacks(answered(fell, "misfire-counts", {3: "raised"}))


def test_what_is_named_to_exclude_a_thing_can_exclude_it() -> None:
    """Purge at zero finds a rich idle lean again or not, so it can speak against the purge; that nobody smells fuel in
    the oil can against the crankcase. What only has its own rare sign cannot: a smell of fuel, blue smoke."""
    found = stake(old_four())
    purge, oil = excluders(found, "purge-vapour"), excluders(found, "crankcase-vapour")
    assert {"purge-at-zero", "purge-pinched"} <= purge.keys() and "oil-smell" in oil
    assert not {"smell-of-fuel", "smoke", "comes-back"} & (purge.keys() | oil.keys())
    assert purge.keys() <= speakers(found, "purge-vapour")


@pytest.mark.parametrize("speaks_from", [1.0, 3.0, 12.0])
def test_what_excludes_speaks_as_firmly_as_the_settings_ask(speaks_from: float) -> None:
    """In decibans, ten times the decimal logarithm of the factor: by each outcome named, the fault is so much less
    likely (mean over its causes), and by none that is not named where it is the usual one."""
    found = stake(old_four())
    book = found.book
    settings = replace(book.settings, afterwards=replace(book.settings.afterwards, speaks_from=speaks_from))
    found = replace(found, book=replace(book, settings=settings), tables=replace(found.tables))
    named = excluders(found, "purge-vapour")
    tables, own = (
        found.tables,
        [n for n, c in enumerate(found.tables.causes) if c.fault in members_of(book, "purge-vapour")],
    )
    for check in speakers(found, "purge-vapour"):
        if check in tables.check_number:
            wanted = findings_against(tables, tables.check_number[check], own, 10 ** (-speaks_from / 10))
            assert named.get(check, ()) == wanted, check
