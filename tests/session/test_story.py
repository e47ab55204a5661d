"""What the owner tells in one go: each thing an answer of its own, taken back in one go, never asked again."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.casebook.trouble import Refused
from reasoner.session import acts, story
from reasoner.session.concluding import belief
from reasoner.session.workup import Workup
from tests.shipped import book, car, garage

BOOK = book()


def start() -> Workup:
    return garage().begin(car(injection="direct"))


def numbered(workup: Workup, check: str) -> int:
    """The number by which work or a renewed part is told: parts follow the work."""
    work, parts = story.rows_of(workup, "work"), story.renewed(workup)
    return 1 + [*(row.check for row in work), *(part.name for part in parts)].index(check)


def test_work_before_it_began_raises_what_such_work_brings_in_and_the_rest_is_none() -> None:
    before = start()
    injectors = numbered(before, "recent-work-injectors")
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
    valve, sensor = (numbered(before, f"renewed-{part}") for part in ("purge-valve", "upstream-sensor"))
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
        ("200 miles, work first", 321.8688),
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
    injectors = numbered(before, "recent-work-injectors")

    def slip(line: str) -> float:
        chances = belief(before.after(story.tell_work(before, story.read_work(line, 30))), ranges=False).all
        return sum(p for cause, p in chances.items() if cause.startswith("injector-value-wrong"))

    days, weeks, silent, long = (slip(f"{injectors}, {when}") for when in ("3 days", "1200 km", "dealer", "9000 km"))
    assert days > weeks > silent > long > slip("0")
    assert slip("0, 200 km") == slip(f"{injectors}, 200 km, complaint first") == slip("0")


def test_a_new_part_is_less_likely_and_not_excluded() -> None:
    """Renewed for it and no better: the part falls to a third or less, and what it hangs on does not fall."""
    before = start()
    for part, fault, stays in [
        ("renewed-purge-valve", "purge-valve-leaks", "canister-loaded"),
        ("renewed-air-sensor", "airflow-meter-fouled", "airflow-meter-intermittent"),
        ("renewed-upstream-sensor", "upstream-sensor-rich", "upstream-sensor-wiring"),
    ]:
        told, none = (
            before.after(story.tell_work(before, story.read_work(line, 30)))
            for line in (f"{numbered(before, part)}, complaint", "0")
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
    line = f"{numbered(before, 'renewed-fuel-pump')}, complaint"
    told = before.after(story.tell_work(before, story.read_work(line, 30)))
    none = before.after(story.tell_work(before, story.read_work("0", 30)))
    now, then = (belief(w, ranges=False).all for w in (told, none))
    assert now["rail-sensor-low"] > 1.5 * then["rail-sensor-low"]
    for in_the_pump in ("pump-leaks-into-oil", "rail-pressure-uncontrolled"):
        assert now[in_the_pump] < then[in_the_pump]


def test_an_oiled_filter_makes_a_wrong_air_meter_likelier() -> None:
    unsaid, oiled = (
        belief(garage().begin(car(injection="port", metering="airflow", **more)), ranges=False).all
        for more in ({}, {"air_filter": "oiled"})
    )
    for meter in ("airflow-meter-fouled", "airflow-meter-high"):
        assert oiled[meter] > 1.5 * unsaid[meter]


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


def test_work_that_the_complaint_told_is_still_listed_and_not_taken_back_by_what_is_added() -> None:
    """By whom and when is told with its number; what was heard already stays as it was heard."""
    before = start()
    rows = story.rows_of(before, "work")
    heard = before.after(story.tell_heard(before, [rows[1]]))
    assert [row.text for row in story.rows_of(heard, "work")] == [row.text for row in rows]
    after = heard.after(story.tell_work(heard, story.read_work("1, dealer, 800 km", len(rows))))
    told = {given.check: given.values for given in after.record.given}
    assert told[rows[1].check] == {given.check: given.values for given in heard.record.given}[rows[1].check]
    assert max(told[rows[0].check][0], key=told[rows[0].check][0].__getitem__) == rows[0].outcome
