"""The review: calibration against published tables, and counts that can be checked by hand."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from reasoner.casebook.events import Closed
from reasoner.casebook.shape import Case, load_sound
from reasoner.history.replay import Ending, Grade, Said, ended
from reasoner.history.review import CheckTold, ClosedCase, Judged, calibration, judge, review, share_seen
from reasoner.history.trace import Trace, vehicle_of
from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell
from reasoner.inference.weight import log_odds
from reasoner.session.chapters import found_in
from reasoner.session.effort import Spent
from tests.fleet import a_case, a_vehicle
from tests.inference.test_statistics import WILKS
from tests.shipped import CASES, book, garage, some
from tests.test_cases import FOLLOWED_UP, UNSOLVED, WITH_SHOP_RULES, WRONG_FIRST


def test_the_table_of_wilks_comes_back_from_single_forecasts() -> None:
    """D. S. Wilks, Statistical Methods in the Atmospheric Sciences, Table 7.3 (see tests/inference/test_statistics.py),
    made into 100 000 single forecasts; A. H. Murphy's parts were recomputed from the table."""
    said: list[tuple[float, bool]] = []
    for forecast, observed, weight in WILKS:
        cases = round(weight * 100_000)
        came = round(cases * observed)
        said += [(forecast, True)] * came + [(forecast, False)] * (cases - came)
    found = calibration(said, bins=100)
    assert found is not None
    assert found.score.brier == pytest.approx(0.073461, abs=1e-5)
    assert found.score.reliability == pytest.approx(0.000828, abs=1e-5)
    assert found.score.resolution == pytest.approx(0.062787, abs=1e-5)
    assert found.score.uncertainty == pytest.approx(0.135420, abs=1e-5)
    for group, (forecast, observed, _) in zip(found.bins, WILKS, strict=True):
        assert group.said == pytest.approx(forecast)
        assert group.right.came / group.right.cases == pytest.approx(observed, abs=2e-3)
        assert group.right.low <= group.right.came / group.right.cases <= group.right.high


def test_ten_forecasts_in_exact_fractions() -> None:
    said = [(0.1, False)] * 4 + [(0.1, True)] + [(0.5, y) for y in (True, True, False, False)] + [(0.9, True)]
    found = calibration(said)
    assert found is not None
    assert found.score.brier == pytest.approx(93 / 500)
    assert (found.score.reliability, found.score.resolution) == (pytest.approx(3 / 500), pytest.approx(3 / 50))
    assert found.score.calibration_error == pytest.approx(3 / 50)
    assert [(b.right.came, b.right.cases) for b in found.bins] == [(1, 5), (2, 4), (1, 1)]
    assert found.right.came == 4 and found.right.cases == 10


def test_forecasts_that_keep_their_word_lie_in_their_intervals() -> None:
    """Nineteen times in twenty; with 200 tables of ten rows, no fewer than 90 % of the rows do."""
    dice = random.Random(7)
    inside = rows = 0
    for _ in range(200):
        forecasts = [dice.random() for _ in range(400)]
        found = calibration([(p, dice.random() < p) for p in forecasts])
        assert found is not None
        inside += sum(b.right.low <= b.said <= b.right.high for b in found.bins)
        rows += len(found.bins)
    assert 0.90 < inside / rows < 0.99


def test_nothing_to_judge() -> None:
    assert calibration([]) is None
    assert review([]).cases == 0
    assert share_seen(0, 3).low == 0


def judged(case: str, fault: str, right: bool, minutes: float, *told: CheckTold, chance: float = 0.95) -> ClosedCase:
    grade = Grade.RIGHT if right else Grade.WRONG
    ending = Ending(fault, fault, "engine", fault, chance, chance, 4, 4, Spent(minutes), grade)
    said = Said(fault, "settled", chance, right, right)
    return ClosedCase(
        case,
        "proven",
        (Judged(case, fault, "engine", fault, "proven", True, True, (said,), ending, minutes, 0.0, told),),
    )


def told(check: str, decibans: float, bits: float, minutes: float) -> CheckTold:
    return CheckTold(check, check.title(), f"{check}: seen", decibans, bits, minutes)


def test_counts_by_hand() -> None:
    found = review(
        [
            judged("one", "leak", True, 30, told("smell", 5, 0.5, 0), told("plugs", -4, -0.2, 20)),
            judged("two", "leak", True, 90, told("plugs", -6, -0.4, 20), told("trim", 8, 1.0, 10)),
            judged("three", "purge", False, 60, told("plugs", 2, 0.1, 20), told("trim", 9, 2.0, 10)),
            ClosedCase("four", "given up", ()),
            None,
        ]
    )
    assert (found.cases, found.judged, found.unproven) == (4, 3, 0)
    assert dict(found.states) == {"proven": 3, "given up": 1}
    assert found.repair_then is not None and (found.repair_then.came, found.repair_then.cases) == (2, 3)
    assert found.today is not None and (found.today.right.came, found.today.right.cases) == (2, 3)
    assert [(t.fault, t.cases, t.median, t.least, t.most) for t in found.times] == [
        ("leak", 2, 60, 30, 90), ("purge", 1, 60, 60, 60),
    ]  # fmt: skip
    (plugs,) = found.misled
    assert (plugs.check, plugs.cases, plugs.of, plugs.worst) == ("plugs", ("two", "one"), 3, -6)
    assert [(w.check, w.of, w.bits, w.minutes, w.rate) for w in found.worth] == [("trim", 2, 3.0, 20, 2.25)]
    assert [w.check for w in found.wasted] == ["plugs"]  # it cost an hour and led away


def test_the_shipped_cases_as_a_review() -> None:
    cases = sorted({*some(0), UNSOLVED, WITH_SHOP_RULES})
    found = review(judge(load_sound(path), garage()) for path in cases)
    assert found.cases == len(cases)
    closed = [e for path in cases for e in load_sound(path).events if isinstance(e, Closed) and e.fault]
    assert found.judged == len(closed)
    assert dict(found.states)["given up"] == 1
    assert found.today is not None and found.today.right.came >= found.judged - 3
    # One needs the shop's rules; of two things that the work brought in the case keeps less than whoever looked saw.
    assert found.not_in_rules == ()


def test_open_cases_are_not_judged() -> None:
    case = load_sound(CASES[0])
    still = replace(case, events=tuple(e for e in case.events if not isinstance(e, Closed)))
    assert judge(still, garage()) is None


def test_two_things_found_are_judged_apart() -> None:
    found = judge(load_sound(FOLLOWED_UP), garage())
    assert found is not None and [one.proven for one in found.judged] == [False, True]
    assert found.judged[0].minutes != found.judged[1].minutes
    unsolved = judge(load_sound(UNSOLVED), garage())
    assert unsolved is not None and unsolved.judged == ()


def test_a_verdict_that_led_to_the_wrong_repair_counts_as_wrong() -> None:
    """The second verdict of the case was right, the first was acted upon and cured nothing: one of two."""
    found = judge(load_sound(WRONG_FIRST), garage())
    assert found is not None
    (one,) = found.judged
    assert [said.right for said in one.said] == [False, True]
    both = review([found]).repair_then
    assert both is not None and (both.came, both.cases) == (1, 2)


def test_what_the_rules_do_not_have_is_listed() -> None:
    case = load_sound(CASES[0])
    events = tuple(
        replace(e, fault="cracked sender cover", where="engine") if isinstance(e, Closed) else e for e in case.events
    )
    found = review([judge(replace(case, events=events), garage())])
    assert found.not_in_rules == ((case.path.stem, "cracked sender cover", "engine"),)
    assert found.today is not None and found.today.right.came == 0  # whatever led, it was something else


def ending(case: Case) -> Ending:
    """As `judge` has it, but for what was settled on the way: only the belief at the end is worked out."""
    (chapter,) = chapters = garage().chapters(vehicle_of(case), case.events)
    workup, (found,) = chapter.workup, found_in(chapters)
    points = (len(case.events) - 1,)
    return ended(
        Trace(workup, workup.tables, case.events, points, workup.tables.prior, (workup.belief.probability,)), found
    )


def test_drawn_from_the_rules_themselves_the_chances_keep_their_word() -> None:
    """Virtual cars drawn from the rules: what is said comes true as often as said, within what 450 cars allow. Three
    lots: of 300 cars of one the score may be 0.85 of the uncertainty or 0.96, by luck."""
    vehicle = a_vehicle(layout="inline 4", injection="direct", distance="150000 km")
    truth = garage().tables(vehicle)
    cases = [a_case(book(), vehicle, truth, seed, i, spells=4, looks=10) for seed in (11, 12, 13) for i in range(150)]
    ends = [ending(case) for case in cases]
    for case, end in zip(cases[:10], ends, strict=False):  # the review says the same of them
        judged = judge(case, garage())
        assert judged is not None
        (one,) = judged.judged
        assert (end.cause, end.chance) == (one.today.cause, pytest.approx(one.today.chance, abs=0.01))
    found = calibration([(end.chance, end.grade in (Grade.RIGHT, Grade.LEADING)) for end in ends])
    assert found is not None
    assert found.score.calibration_error < 0.09
    rows = [b for b in found.bins if b.right.cases >= 5]
    off = [b for b in rows if not b.right.low - 0.05 <= b.said <= b.right.high + 0.05]
    assert len(rows) > 4
    assert not off
    # Better than always saying the rate. Ten looks: of eight, drawn from more and more checks, fewer tell anything (a
    # tenth better with 56 faults, 9 % with 78, 4 % once there were 245 checks).
    assert found.score.brier < 0.93 * found.score.uncertainty


def test_chances_are_binned_in_tenths_and_certainty_in_the_last() -> None:
    """Of four said at 12 to 18 % one came, of two said at 100 % both: by hand."""
    found = calibration([(0.12, False), (0.15, True), (0.16, False), (0.18, False), (1.0, True), (1.0, True)])
    assert found is not None
    (low, high) = found.bins
    assert (low.low, low.high, low.said) == pytest.approx((0.1, 0.2, 0.1525))
    assert (high.low, high.high, high.said) == pytest.approx((0.9, 1.0, 1.0))
    assert (low.right.came, low.right.cases, high.right.came, high.right.cases) == (1, 4, 2, 2)
    assert (found.right.came, found.right.cases) == (3, 6)


def test_every_check_that_was_asked_told_something_and_no_code_that_was_read_off() -> None:
    """By how much the odds of what was found fall without the answer; of several looks by the worst."""
    case = load_sound(CASES[0])
    closed = judge(case, garage())
    assert closed is not None
    (found,) = closed.judged
    chapters = garage().chapters(vehicle_of(case), case.events)
    workup = chapters[found_in(chapters)[0].chapters[-1]].workup
    assert any(answer.number < 0 for spell in workup.spells for answer in spell.answers)  # codes were read off
    counting = {a.check: a for spell in workup.belief.spells for a in spell.answers if a.number >= 0}
    assert {one.check for one in found.told} == {workup.tables.checks[n].name for n in counting}
    cause = workup.tables.cause_number[found_in(chapters)[0].cause]
    full = log_odds(workup.belief.probability)[cause]
    for one in found.told:
        number = workup.tables.check_number[one.check]
        lost = []
        for i, spell in enumerate(workup.belief.spells):
            for answer in spell.answers:
                if answer.check == number:
                    rest = Spell(spell.condition, tuple(a for a in spell.answers if a is not answer))
                    less = (*workup.belief.spells[:i], rest, *workup.belief.spells[i + 1 :])
                    lost.append(full - log_odds(believe(workup.tables, less).probability)[cause])
        assert one.decibans == pytest.approx(min(lost), abs=1e-9)
