"""How many clean provocations prove an intermittent fault gone."""

from __future__ import annotations

from dataclasses import replace
from math import log

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.repair.jobs import Job, TryMade, Work
from reasoner.repair.proof import (
    LEFT,
    Provocation,
    best_provocation,
    proof_document,
    provocations_needed,
    shows_from,
    still_there,
    tally,
    upper_bound,
    ways,
)
from reasoner.report.work_text import proof_text
from reasoner.rulebook.model import Afterwards
from reasoner.session import acts
from reasoner.session.workup import Workup
from tests.repair.cars import answered, book
from tests.shipped import car, garage

NUMBERS = Afterwards()


@pytest.mark.parametrize(("shows", "cycles"), [(0.5, 5), (0.3, 9), (0.2, 14), (0.1, 29)])
def test_table_of_clean_cycles(shows: float, cycles: int) -> None:
    """n >= ln(1 - C) / ln(1 - p) at 95 %: 5, 9, 14 and 29, worked out independently. On a frequency that is no longer
    in doubt, and beginning where (1 - p) ** n <= 0.05 and a chance of 5 % that it is still there are the same thing,
    odds of 20 to 19."""
    begins = replace(NUMBERS, proof_begins_at=20 / 39, proof_below=0.05, most_provocations=50)
    assert provocations_needed(shows_from(shows, 1e7), begins) == cycles
    assert (1 - shows) ** cycles <= 0.05 < (1 - shows) ** (cycles - 1)


@pytest.mark.parametrize(("clean", "bound"), [(3, 0.63), (5, 0.45), (10, 0.26), (20, 0.14), (30, 0.10)])
def test_rule_of_three(clean: int, bound: float) -> None:
    """None in n: the exact upper bound at 95 %, 1 - 0.05 ** (1 / n), and 3 / n near it for larger n (Hanley &
    Lippman-Hand, JAMA 249:1743-1745, 1983, from memory; the figures were worked out independently)."""
    assert round(upper_bound(clean), 2) == bound
    assert upper_bound(clean) < 3 / clean
    if clean >= 20:
        assert upper_bound(clean) == pytest.approx(3 / clean, rel=0.08)
    assert upper_bound(1000) == pytest.approx(3 / 1000, rel=0.005)


def test_what_is_known_for_sure_gives_the_plain_formula() -> None:
    """A frequency worth very many cases is no longer in doubt."""
    for shows in (0.5, 0.3, 0.1):
        sure = shows_from(shows, 1e7)
        for clean in (1, 5, 20):
            assert sure.all_clean(clean) == pytest.approx((1 - shows) ** clean, rel=1e-4)


@given(st.floats(0.02, 0.98), st.floats(1, 100), st.integers(1, 40))
def test_clean_ones_by_bayes_one_after_the_other(frequency: float, weight: float, clean: int) -> None:
    """All at once, or each with the Beta of what was seen before it: the same."""
    shows = shows_from(frequency, weight)
    quiet, chance = shows.quiet, 1.0
    for _ in range(clean):
        chance *= quiet / (shows.showed + quiet)
        quiet += 1
    assert shows.all_clean(clean) == pytest.approx(chance, rel=1e-6)
    odds = chance  # begins at even odds
    assert still_there(shows, clean, 0.5) == pytest.approx(odds / (1 + odds), rel=1e-6)


def test_doubt_about_how_often_it_showed_asks_for_more() -> None:
    """The same mean, known less well: more clean ones are needed (Jensen's inequality)."""
    well, badly = shows_from(0.3, 1000), shows_from(0.3, 4)
    assert provocations_needed(well, NUMBERS) == pytest.approx(log(19) / -log(0.7), abs=1)
    many = provocations_needed(badly, NUMBERS)
    assert many is None or many > (provocations_needed(well, NUMBERS) or 0)


def test_how_often_it_showed_is_the_mean_of_rule_and_case() -> None:
    """A quarter, worth 8 cases, and what was seen: (2 + n) / (8 + n), and 2 / (8 + n) of quiet ones."""
    assert shows_from(0.25, 8).mean == pytest.approx(2 / 8)
    assert shows_from(0.25, 8, showed=4).mean == pytest.approx(6 / 12)
    assert shows_from(0.25, 8, quiet=4).mean == pytest.approx(2 / 12)


def test_what_was_seen_before_counts() -> None:
    """Seen to show four times in four hot restarts: fewer clean ones are enough."""
    by_rule, with_case = shows_from(0.25, 8), shows_from(0.25, 8, showed=4)
    assert (provocations_needed(with_case, NUMBERS) or 99) < (provocations_needed(by_rule, NUMBERS) or 99)


def test_unreachable_is_said() -> None:
    seldom = shows_from(0.03, 8)
    assert provocations_needed(seldom, NUMBERS) is None
    assert still_there(seldom, 30, 0.5) > NUMBERS.proof_below
    way = Provocation("seldom", seldom, None, 5, 20)
    other = Provocation("never", shows_from(0.005, 8), None, 1, 1)
    assert best_provocation([other, way], 0.15) is way  # none can: the one it showed most in


def test_the_quickest_condition_is_used() -> None:
    short = Provocation("short", shows_from(0.3, 20), 11, 2, 0)
    long = Provocation("long", shows_from(0.8, 20), 3, 20, 480)
    assert best_provocation([long, short], 0.15) is short  # 22 minutes against 3 * (20 + 72)
    assert best_provocation([], 0.15) is None


# ---- what is counted -------------------------------------------------------------------------------------------------

PERMANENT = ("engine-running", "at-speed", "idling-on")


def test_permanent_code_conditions() -> None:
    """13 CCR 1968.2 (d)(2.5.2)(B) for monitors without a ratio: 600 s of running, 300 s at 25 mph or more and 30 s of
    idle without a break, in one driving cycle. The paragraph begins so in the text of 2007; the list is from memory,
    and the rules say that of each figure."""
    proofs = book().proofs
    assert {name: (proofs[name].least, proofs[name].unit, proofs[name].counts) for name in PERMANENT} == {
        "engine-running": (600, "s", "one drive"),
        "at-speed": (300, "s", "one drive"),
        "idling-on": (30, "s", "one drive"),
    }
    for name in PERMANENT:
        assert book().sources[proofs[name].origin.source].seen == "from memory"
        assert proofs[name].cleared is True


def test_not_three_drives_that_each_meet_one() -> None:
    counted = [book().proofs[name] for name in PERMANENT]
    drives = [{"engine-running": 700.0, "at-speed": 310.0}, {"idling-on": 60.0}, {"engine-running": 650.0}]
    left = {item.proof.name: item.missing for item in tally(counted, drives)}
    assert left == {"engine-running": 0, "at-speed": 0, "idling-on": 30}
    drives.append({"engine-running": 600.0, "at-speed": 300.0, "idling-on": 30.0})
    assert not any(item.missing for item in tally(counted, drives))


def test_what_has_to_be_seen_after_any_repair() -> None:
    """Common practice, no source: trims at idle, at 2500 rpm and at cruise, exhaust gas, no leak, no misfire; and what
    is not to be done meanwhile: clear again, disconnect the battery, fill the tank before the vapour monitor ran."""
    proofs = book().proofs.values()
    shown = {name for proof in proofs for name in proof.shown_by}
    assert shown >= {"trim-idle", "trim-2500", "trim-cruise", "exhaust-gas", "lines-look", "misfire-since-work"}
    never = " ".join(f"{proof.title}. {proof.say}" for proof in proofs if proof.never).lower()
    assert all(words in never for words in ("clear again", "disconnect the battery", "fill the tank", "vapour monitor"))
    counted = {proof.name for proof in proofs if proof.least}
    assert counted >= {"pending-empty", "permanent-gone", "readiness", "fuel-monitor-passed"}
    ready = book().proofs["readiness"].say
    assert "prove nothing" in ready and "Catalyst" in ready  # readiness only where it means something


def test_more_of_one_count_than_is_asked_does_not_make_up_for_the_others() -> None:
    """The best drive is the one that meets most counts, then the one that came nearest with the rest."""
    counted = [book().proofs[name] for name in PERMANENT]
    all_day = {"engine-running": 6000.0, "at-speed": 60.0}
    nearer = {"engine-running": 600.0, "at-speed": 240.0}
    for drives in ([all_day, nearer], [nearer, all_day]):
        have = {item.proof.name: item.have for item in tally(counted, drives)}
        assert have == {**nearer, "idling-on": 0.0}
    just_enough = {"engine-running": 600.0, "at-speed": 50.0}
    assert {i.proof.name: i.have for i in tally(counted, [just_enough, all_day])} == {**all_day, "idling-on": 0.0}


def test_in_a_row_begins_anew_after_one_that_failed() -> None:
    """Lamp out after three driving cycles in a row without a fault (13 CCR 1968.2 (d)(2.3), (e)(6.4.6), from memory);
    monitors passed `and none since in which it failed`: a drive that brought 0 of it begins it anew."""
    for name, least in (("lamp-out", 3), ("fuel-monitor-passed", 1), ("pending-empty", 2), ("permanent-gone", 1)):
        counted, one, none = [book().proofs[name]], {name: 1.0}, {name: 0.0}
        assert [item.missing for item in tally(counted, [one] * least)] == [0]
        assert [item.missing for item in tally(counted, [*[one] * least, none])] == [least]
        assert [item.missing for item in tally(counted, [one, none, {"readiness": 1.0}, *[one] * least])] == [0]


def test_counts_add_up_over_drives() -> None:
    pending = book().proofs["pending-empty"]
    assert [item.missing for item in tally([pending], [{"pending-empty": 1.0}])] == [1]
    assert [item.missing for item in tally([pending], [{"pending-empty": 1.0}] * 2)] == [0]
    assert [item.have for item in tally([pending], [])] == [0]


# ---- where it is asked for, and what of codes ------------------------------------------------------------------------

SENSOR = Work("repair", (Job("mend-sensor-wiring", frozenset({"bank 1"})),))


def a_sensor(*told: tuple[str, str], codes: tuple[str, ...] = ("pending",)) -> Workup:
    start = garage().begin(car(injection="port"))
    start = start.after(acts.list_codes(start, [("P0172", codes)]))
    for check, outcome in told:
        start = answered(start, check, outcome)
    return start


def test_it_is_to_be_shown_gone_where_it_showed_on_this_car() -> None:
    """What was told or frozen of this car goes before what the rules say of all cars."""
    found = {}
    for doing in ("cruise", "idle"):
        before = a_sensor(("doing-what", doing))
        provocation = proof_document(before, before, SENSOR).provocation
        assert provocation is not None
        found[doing] = provocation.condition
        named = book().checks["doing-what"].happens_in[doing]
        assert provocation.condition in named
    assert found["cruise"] != found["idle"]


def test_the_one_already_begun_is_gone_on_with() -> None:
    """Of the states it may be provoked in, one with a try already; a try anywhere else begins none of them."""
    before = a_sensor()
    best = proof_document(before, before, SENSOR).provocation
    assert best is not None
    may = [way.condition for way in ways(before, SENSOR) if way.needed is not None]
    other = next(name for name in may if name != best.condition)
    for begun, wanted in ((other, other), (best.condition, best.condition), ("engine-off", best.condition)):
        on = replace(SENSOR, provoked=(TryMade(begun, True, True),))
        found = proof_document(before, before, on).provocation
        assert found is not None and found.condition == wanted, begun
    assert "engine-off" not in may


def test_where_the_owner_says_that_it_happens_one_clean_try_is_wanted() -> None:
    """Whatever was mended: what happens there may have another cause. And what the owner says goes before a frame,
    which is from when the ECU gave up."""
    before = a_sensor(("doing-what", "cruise"), ("how-warm", "hot-restart"), ("freeze-frame", "idle"))
    found = proof_document(before, before, SENSOR)
    assert found.provocation is not None and found.provocation.condition != "warm-idle"
    plans = {plan.condition: plan for plan in (found.provocation, *found.also)}
    assert plans.keys() == {"cruise", "hot-restart"}
    (once,) = (plan for plan in plans.values() if plan.once)
    assert once.needed == 1 and f"{once.title}: 1 more without a sign of it" in found.missing
    done = replace(SENSOR, provoked=tuple(TryMade(plan.condition, True, True) for plan in plans.values()))
    assert not any(text.startswith(once.title) for text in proof_document(before, before, done).missing)
    for tries, main in ((1, found.provocation.condition), (2, once.condition)):  # a second one begins there
        on = proof_document(before, before, replace(SENSOR, provoked=(TryMade(once.condition, True, True),) * tries))
        assert on.provocation is not None and on.provocation.condition == main
    seen = proof_document(before, before, replace(SENSOR, provoked=(TryMade(once.condition, False, True),)))
    assert seen.state == "not cured" and seen.provocation is not None and seen.provocation.showed


def test_the_state_that_is_named_counts_as_one_in_which_it_showed() -> None:
    """The rules' 25 % are worth eight cases: 2 of 8, and with the one that was told 3 of 9."""
    before = a_sensor(("doing-what", "cruise"))
    provocation = proof_document(before, before, SENSOR).provocation
    assert provocation is not None and provocation.shows == pytest.approx(3 / 9, abs=0.01)


def test_a_look_in_which_it_showed_names_its_state() -> None:
    before = a_sensor()
    for check in ("trim-cruise", "purge-at-zero"):
        outcome = {"trim-cruise": "rich", "purge-at-zero": "always"}[check]
        if outcome in {o.name for o in book().checks[check].outcomes}:
            before = answered(before, check, dict.fromkeys((1,), outcome), "cruise")
    provocation = proof_document(before, before, SENSOR).provocation
    assert provocation is not None and provocation.condition == "cruise"


@pytest.mark.parametrize(("codes", "wanted"), [(("pending",), False), (("pending", "permanent"), True), ((), False)])
def test_a_permanent_code_is_to_be_gone_only_where_one_was_read(codes: tuple[str, ...], wanted: bool) -> None:
    before = a_sensor(codes=codes)
    names = {count.name for count in proof_document(before, before, SENSOR).counts}
    assert ("permanent-gone" in names) == wanted and "pending-empty" in names


def test_what_the_work_does_not_explain_has_to_be_seen_right() -> None:
    """A purge valve that was felt to suck, and an injector renewed: no injector makes a valve suck. Where the valve
    was what was renewed, it is in the list once, as of its own repair."""
    before = answered(garage().begin(car()), "purge-valve-holds-vacuum", "leaks", "engine-off")
    valve = before.book.checks["purge-valve-holds-vacuum"].title
    injector = Work("repair", (Job("replace-injector", frozenset({"cylinder 2"})),))
    (left,) = (item for item in proof_document(before, before, injector).seen if item.title == valve)
    assert left.say.startswith(LEFT) and left.state == "not right"
    assert f"{valve}: not as it should be" in proof_document(before, before, injector).missing
    own = [
        item
        for item in proof_document(
            before, before, Work("repair", (Job("replace-purge-valve", frozenset({"engine"})),))
        ).seen
        if item.title == valve
    ]
    assert not any(item.say.startswith(LEFT) for item in own)
    sound = answered(garage().begin(car()), "purge-valve-holds-vacuum", "holds", "engine-off")
    assert not any(item.say.startswith(LEFT) for item in proof_document(sound, sound, injector).seen)


# ---- answers that do not fit together --------------------------------------------------------------------------------


def test_what_was_answered_in_two_ways_since_the_work_is_named() -> None:
    """In one state: one of them may be a slip. In another state it is no contradiction, and twice the same is none."""
    before = a_sensor()

    def named(*seen: tuple[str, str]) -> tuple[str, ...]:
        since = before
        for outcome, condition in seen:
            told = acts.answer(since, "trim-cruise" if condition == "cruise" else "trim-idle", {1: outcome},
                               seen_in=condition)  # fmt: skip
            since = since.after(told)
        return proof_document(since, before, SENSOR).unlike

    idle = book().checks["trim-idle"]
    texts = {o.name: o.text for o in idle.outcomes}
    (said,) = named(("rich", "warm-idle"), ("normal", "warm-idle"))
    assert said == f"{idle.title}: {texts['rich']} / {texts['normal']}"
    assert not named(("normal", "warm-idle"), ("normal", "warm-idle"))
    assert not named(("rich", "cruise"), ("normal", "warm-idle"))
    assert not named(("rich", "warm-idle"), ("normal", "long-idle"))


def test_a_proof_shows_what_was_answered_in_two_ways_beside_what_it_could_be_closed_as() -> None:
    before = a_sensor()
    page = proof_text(replace(proof_document(before, before, SENSOR), unlike=("Trim at idle: rich / normal",)))
    assert page.index("If the case were closed") < page.index("ANSWERED IN TWO WAYS") < page.index("TO BE SEEN")
    assert "Trim at idle: rich / normal" in page
