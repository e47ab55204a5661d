"""What the owner tells in one go: each thing an answer of its own, taken back in one go, never asked again."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.casebook.trouble import Refused
from reasoner.network.vehicle import vehicle_from, vehicle_words
from reasoner.session import acts, story
from reasoner.session.concluding import belief
from reasoner.session.workup import Workup
from tests.shipped import book, garage

BOOK = book()


def start() -> Workup:
    vehicle, _ = vehicle_from({"injection": "direct"})
    assert vehicle is not None
    return garage().begin(vehicle)


def number(workup: Workup, kind: str, outcome: str) -> int:
    return 1 + [row.outcome for row in story.rows_of(workup, kind)].index(outcome)


def test_work_before_it_began_raises_what_such_work_brings_in_and_the_rest_is_none() -> None:
    before = start()
    injectors = 1 + [row.check for row in story.rows_of(before, "work")].index("recent-work-injectors")
    line = story.read_work(f"{injectors}, other workshop, 800 km, work", 10)
    after = before.after(story.tell_work(before, line))
    now, then = (belief(w, ranges=False).all for w in (after, before))
    wrong = [cause for cause in then if cause.startswith("injector-value-wrong")]
    assert sum(now[c] for c in wrong) > 5 * sum(then[c] for c in wrong)
    assert story.tellable(after, "work") == [] and "other workshop, 800 km, work" in after.record.notes[0]
    given = {g.check: g.values[0] for g in after.record.given}
    assert max(given["recent-work-other"], key=given["recent-work-other"].__getitem__) == "none"


def test_work_done_when_it_was_there_already_did_not_bring_it_in() -> None:
    before = start()
    older = before.after(story.tell_work(before, story.read_work("1, complaint", 10)))
    none = before.after(story.tell_work(before, story.read_work("0", 10)))
    assert np.array_equal(older.belief.probability, none.belief.probability)
    assert older.record.notes and not none.record.notes


def test_pieces_of_work_each_have_their_own_before_and_after() -> None:
    """Work that came first may have brought it in; a part that was renewed meanwhile has not mended it."""
    before = start()
    work, parts = story.rows_of(before, "work"), story.renewed(before)
    valve = len(work) + 1 + [part.name for part in parts].index("renewed-purge-valve")
    sensor = len(work) + 1 + [part.name for part in parts].index("renewed-upstream-sensor")
    told = story.read_work(f"1 {sensor}, dealer, May, work; {valve}, other workshop, 3 weeks, complaint", 30)
    after = before.after(story.tell_work(before, told))
    given = {g.check: max(g.values[0], key=g.values[0].__getitem__) for g in after.record.given}
    assert given["recent-work-injectors"] == "yes" and given["recent-work-other"] == "none"
    assert (given["renewed-purge-valve"], given["renewed-upstream-sensor"]) == ("went-on", "new")
    assert given["renewed-injectors"] == "none" and len(after.record.notes) == 2


@pytest.mark.parametrize(
    ("rest", "driven"),
    [
        ("dealer, 800 km, work first", 800),
        ("200 miles, work first", 321.8),
        ("1,500 km", 1500),
        ("6 weeks, work first", 1500),
        ("2 days", 72),
        ("1.5 years ago, work first", 19500),
        ("0.5 years", 6500),
        ("1.500 km", 1500),
        ("dealer, May", None),
    ],
)
def test_how_far_since_the_work_is_read_from_the_line(rest: str, driven: float | None) -> None:
    (line,) = story.read_work(f"1, {rest}", 30)
    assert line.driven == pytest.approx(driven)


def test_the_nearer_the_work_the_likelier_a_slip() -> None:
    """Only of work after which it began; no work is no answer of its own beside those about what was done."""
    before = start()
    injectors = 1 + [row.check for row in story.rows_of(before, "work")].index("recent-work-injectors")

    def slip(line: str) -> float:
        chances = belief(before.after(story.tell_work(before, story.read_work(line, 30))), ranges=False).all
        return sum(p for cause, p in chances.items() if cause.startswith("injector-value-wrong"))

    days, weeks, silent, long = (slip(f"{injectors}, {when}") for when in ("3 days", "1200 km", "dealer", "9000 km"))
    assert days > weeks > silent > long > slip("0")
    assert slip("0, 200 km") == slip(f"{injectors}, 200 km, complaint first") == slip("0")


def test_a_new_part_is_less_likely_and_not_excluded() -> None:
    """Renewed for it and no better: the part falls to a third or less, and what it hangs on does not fall."""
    before = start()
    numbers = {part.name: n for n, part in enumerate(story.renewed(before), len(story.rows_of(before, "work")) + 1)}
    for part, fault, stays in [
        ("renewed-purge-valve", "purge-valve-leaks", "canister-loaded"),
        ("renewed-air-sensor", "airflow-meter-fouled", "airflow-meter-intermittent"),
        ("renewed-upstream-sensor", "upstream-sensor-rich", "upstream-sensor-wiring"),
    ]:
        told, none = (
            before.after(story.tell_work(before, story.read_work(line, 30)))
            for line in (f"{numbers[part]}, complaint", "0")
        )
        now, then = (belief(w, ranges=False).all for w in (told, none))
        part_now, part_then, stays_now, stays_then = (
            sum(chance for cause, chance in found.items() if cause.startswith(name))
            for name in (fault, stays)
            for found in (now, then)
        )
        assert 0 < part_now < part_then / 3 and stays_now > stays_then, part


def test_a_pump_renewed_for_nothing_speaks_for_the_sensor_it_was_judged_by() -> None:
    before = start()
    numbers = {part.name: n for n, part in enumerate(story.renewed(before), len(story.rows_of(before, "work")) + 1)}
    line = f"{numbers['renewed-fuel-pump']}, complaint"
    told = before.after(story.tell_work(before, story.read_work(line, 30)))
    none = before.after(story.tell_work(before, story.read_work("0", 30)))
    now, then = (belief(w, ranges=False).all for w in (told, none))
    assert now["rail-sensor-low"] > 1.5 * then["rail-sensor-low"]
    for in_the_pump in ("pump-leaks-into-oil", "rail-pressure-uncontrolled"):
        assert now[in_the_pump] < then[in_the_pump]


def test_an_oiled_filter_makes_a_wrong_air_meter_likelier() -> None:
    metered = {"injection": "port", "metering": "airflow"}
    oiled, unsaid = (vehicle_from({**metered, **more})[0] for more in ({"air filter": "oiled"}, {}))
    assert oiled is not None and unsaid is not None
    now, then = (belief(garage().begin(vehicle), ranges=False).all for vehicle in (oiled, unsaid))
    for meter in ("airflow-meter-fouled", "airflow-meter-high"):
        assert now[meter] > 1.5 * then[meter]


def test_several_patterns_share_the_weight() -> None:
    before = start()
    check = BOOK.checks["how-warm"]
    after = before.after(story.tell_pattern(before, check, [2, 5]))
    value = after.record.given[0].values[0]
    assert value == {**dict.fromkeys((o.name for o in check.outcomes), 0.0), "hot-restart": 0.5, "warm": 0.5}
    assert "how-warm" not in {c.name for c in story.tellable(after, "pattern")}


def test_what_else_it_hangs_on() -> None:
    before = start()
    chosen = 1 + [row.check for row in story.rows_of(before, "also")].index("happens-after-refuelling")
    after = before.after(story.tell_also(before, [chosen]))
    assert [g.check for g in after.record.given] == ["happens-after-refuelling"]
    none = before.after(story.tell_also(before, []))
    assert len(none.record.given) == len(story.tellable(before, "also"))


def test_told_in_one_go_is_taken_back_in_one_go() -> None:
    before = start()
    after = before.after(story.tell_work(before, story.read_work("1 9, work", 10)))
    back = after.after(acts.undo(after))
    assert back.record.given == () and np.array_equal(back.belief.probability, before.belief.probability)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("injectors", "is no number of the list"),
        ("11", "11 is not on the list"),
        ("0 3", "0 3 is not on the list"),
        ("3, work complaint", "can be read in two ways"),
        ("3, dealer, before", "can be read in two ways"),
        ("3, dealer, after", "can be read in two ways"),
        ("2,5 weeks, work first", "can be read in two ways"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(line: str, says: str) -> None:
    with pytest.raises(Refused, match=says):
        story.read_work(line, 10)


@pytest.mark.parametrize(
    ("line", "fields"),
    [
        (
            "inline 4 port airflow 178000 km 2003 1.6 return line",
            {"layout": "inline 4", "injection": "port", "metering": "airflow", "distance": "178000 km",
             "model year": "2003", "displacement": "1.6", "return line": "yes"},
        ),
        ("V6 direct turbo, pressure sensor, 90k mi", {"layout": "v6", "injection": "direct", "charging": "charged",
                                                      "metering": "pressure", "distance": "90k mi"}),
        ("i4 port and direct 1998 cc no return remap", {"layout": "i4", "injection": "dual", "displacement": "1998 cc",
                                                        "return line": "no", "tuned": "yes"}),
        ("i3 both map 60000 km", {"layout": "i3", "injection": "dual", "metering": "pressure", "distance": "60000 km"}),
        ("i3 port both", {"layout": "i3", "injection": "port", "metering": "both"}),
        ("V6 both injections", {"layout": "v6", "injection": "dual"}),
        ("V8 2 sensors", {"layout": "v8", "upstream sensors": "2"}),
        ("i6 two upstream sensors", {"layout": "i6", "upstream sensors": "2"}),
        ("i6 port one lambda probe", {"layout": "i6", "injection": "port", "upstream sensors": "1"}),
        ("flat 6 2 oxygen sensors before the catalyst", {"layout": "flat 6", "upstream sensors": "2"}),
        ("i4 not tuned 2 l", {"layout": "i4", "tuned": "no", "displacement": "2 l"}),
    ],
)  # fmt: skip
def test_a_car_in_one_line(line: str, fields: dict[str, str]) -> None:
    assert vehicle_words(line) == (fields, "")
    assert vehicle_from(fields)[0] is not None


@pytest.mark.parametrize(
    ("said", "key", "value"),
    [
        ("no EGR", "gas recirculation", "no"), ("egr valve", "gas recirculation", "yes"),
        ("no secondary air", "secondary air", "no"), ("secondary air pump", "secondary air", "yes"),
        ("no gas kit", "gas conversion", "no"), ("lpg", "gas conversion", "yes"),
        ("no stop-start", "stop-start", "no"), ("no flex fuel", "flex fuel", "no"),
        ("regulator with vacuum hose", "rail vacuum hose", "yes"), ("regulator on the rail", "return line", "yes"),
        ("demand pump", "fuel pump", "demand"), ("no damper", "pulsation damper", "no"),
        ("oiled filter", "air filter", "oiled"), ("airflow and pressure", "metering", "both"),
        ("banks 1 2 / 3 4", "banks", "1 2 / 3 4"), ("1-3 / 2-4", "banks", "1-3 / 2-4"),
    ],
)  # fmt: skip
def test_what_a_car_has_and_has_not_got_is_said_with_it(said: str, key: str, value: str) -> None:
    fields, unread = vehicle_words(f"flat 4 port {said} 90000 km")
    assert (fields[key], unread) == (value, "") and vehicle_from(fields)[0] is not None


def test_so_few_cylinders_are_in_line() -> None:
    fields, unread = vehicle_words("4 cylinder 2.0 port")
    found = vehicle_from(fields)[0]
    assert unread == "" and found is not None and found.layout == "inline 4"


def test_an_age_is_no_model_year_yet() -> None:
    assert vehicle_words("V8 port, 11 years old") == ({"layout": "v8", "injection": "port", "age": "11"}, "")


def test_what_is_not_read_is_given_back() -> None:
    assert vehicle_words("inline 4 port with a sunroof")[1] == "with a sunroof"
    assert vehicle_words("inline 4 both")[1] == "both"  # of what?


def test_sensors_behind_the_catalyst_are_not_those_before_it() -> None:
    fields, unread = vehicle_words("inline 6 port two downstream sensors")
    assert "upstream sensors" not in fields and unread == "two downstream sensors"
    fields, unread = vehicle_words("V8 port three upstream sensors")
    assert "upstream sensors" not in fields and unread == "three upstream sensors"
