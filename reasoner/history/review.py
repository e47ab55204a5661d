"""All closed cases together: how often the verdict was right, how sure it was, what misled, what was worth its time.

What was concluded at the time is judged where it was kept with the case; beside it, what today's rules make of the same
answers. Only cases in which something was found can be judged; what is not proven is counted apart.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import log2
from statistics import median

from reasoner.casebook.shape import Case
from reasoner.history.learning import LEAST_SCORED
from reasoner.history.replay import Ending, Said, ended, said_then
from reasoner.history.trace import Trace, trace, vehicle_of
from reasoner.inference.belief import by_class
from reasoner.inference.statistics import Score, score, wilson
from reasoner.inference.weight import weigh_answers
from reasoner.session.chapters import Chapter, Found, Garage, closing, found_in
from reasoner.session.concluding import answer_text
from reasoner.session.effort import effort_spent
from reasoner.session.workup import Workup

MISLED = 3.0  # decibans against what was found; twice as likely to be something else; judgement
ROWS_SHOWN = 8
QUARTER = 15.0  # minutes
IDLE_GAIN = 0.02  # bits a quarter of an hour, from which a look was worth its time (as `least gain`); judgement


@dataclass(frozen=True)
class CheckTold:
    """What one check did in one case: decibans for what was found, all else given (the least of several looks), and
    the bits by which the right repair gained at that point, for its minutes."""

    check: str
    title: str
    text: str
    decibans: float
    bits: float
    minutes: float


@dataclass(frozen=True)
class Judged:
    """One thing found in one case. said: as concluded then, in each chapter in which it was there: before a repair that
    did not cure it too. today: by today's rules. known: the rules have it."""

    case: str
    fault: str
    where: str
    title: str
    state: str
    proven: bool
    known: bool
    said: tuple[Said, ...]
    today: Ending
    minutes: float
    wait: float
    told: tuple[CheckTold, ...]


@dataclass(frozen=True)
class ClosedCase:
    """A closed case: how, and what was found in it (nothing, where it was given up)."""

    case: str
    state: str
    judged: tuple[Judged, ...]


def judge(case: Case, garage: Garage) -> ClosedCase | None:
    """A case as the review sees it; None for one that is not closed. Raises CasebookError."""
    end = closing(case.events)
    if end is None:
        return None
    vehicle = vehicle_of(case)
    chapters = garage.chapters(vehicle, case.events)
    judged = tuple(_judge(case.path.stem, chapters, found, garage) for found in found_in(chapters))
    return ClosedCase(case.path.stem, end.state, judged)


def _judge(name: str, chapters: Sequence[Chapter], found: Found, garage: Garage) -> Judged:
    own = chapters[found.chapters[-1]]
    moved = trace(own.workup)
    took = sum((effort_spent(chapters[n].workup) for n in found.chapters), start=effort_spent(own.workup, only=()))
    fault = garage.book.faults.get(found.fault)
    return Judged(
        case=name,
        fault=found.fault,
        where=found.where,
        title=fault.title if fault else found.fault,
        state=found.state,
        proven=found.proven,
        known=found.known,
        said=tuple(said for n in found.chapters if (said := said_then(chapters[n].workup, found)) is not None),
        today=ended(moved, found),
        minutes=took.minutes,
        wait=took.wait,
        told=_told(own.workup, moved, found) if found.known else (),
    )


def _told(workup: Workup, moved: Trace, found: Found) -> tuple[CheckTold, ...]:
    """What each check told of what was found."""
    tables, book = moved.tables, workup.book
    number = tables.cause_number[found.cause]
    own = int(tables.class_of[number])
    gained: dict[int, float] = {}
    before = float(by_class(tables, moved.before)[own])
    for point, belief in zip(moved.points, moved.beliefs, strict=True):
        after = float(by_class(tables, belief)[own])
        gained[point] = log2(max(after, LEAST_SCORED) / max(before, LEAST_SCORED))
        before = after
    told: dict[str, CheckTold] = {}
    for item in weigh_answers(workup.tables, workup.spells):
        answer = item.answer
        if answer.number < 0:
            continue  # codes are read off at once, whatever they say
        check = book.checks[tables.checks[answer.check].name]
        text = answer_text(workup, answer.number, answer.check, answer.weights)
        decibans, bits = float(item.decibans[number]), gained.get(answer.number, 0.0)
        old = told.get(check.name)
        if old is None:
            told[check.name] = CheckTold(check.name, check.title, text, decibans, bits, check.minutes)
        else:
            least = min((old.decibans, old.text), (decibans, text))
            minutes = old.minutes + check.minutes
            told[check.name] = CheckTold(check.name, check.title, least[1], least[0], old.bits + bits, minutes)
    return tuple(told.values())


# ---- all of them -----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Share:
    """So many of so many, and where the share may lie (19 times in 20)."""

    came: int
    cases: int
    low: float
    high: float


@dataclass(frozen=True)
class Bin:
    """Verdicts said with about the same chance: mean of what was said, and how many were right."""

    low: float
    high: float
    said: float
    right: Share


@dataclass(frozen=True)
class Calibration:
    """right: how many of all; score: Brier with its parts; bins: the reliability table."""

    right: Share
    score: Score
    bins: tuple[Bin, ...]


@dataclass(frozen=True)
class Time:
    """What the cases of one fault took."""

    fault: str
    title: str
    cases: int
    median: float
    least: float
    most: float


@dataclass(frozen=True)
class Misleading:
    """A check that spoke against what was found. of: in how many cases it was looked at. worst: the strongest."""

    check: str
    title: str
    cases: tuple[str, ...]
    of: int
    worst: float
    text: str


@dataclass(frozen=True)
class Worth:
    """bits for the right repair a quarter of an hour, over all cases; of: in how many it was looked at."""

    check: str
    title: str
    of: int
    bits: float
    minutes: float
    rate: float


@dataclass(frozen=True)
class Review:
    """states: closed cases by how. repair_then: how often what was concluded then was the repair that was needed.

    then: the chances said then, of the very cause; today: those of the leading repair by today's rules; settled: of
    these, where it is settled. None where there is nothing to judge.
    """

    cases: int
    states: tuple[tuple[str, int], ...]
    judged: int
    unproven: int
    repair_then: Share | None
    then: Calibration | None
    today: Calibration | None
    settled: Calibration | None
    times: tuple[Time, ...]
    misled: tuple[Misleading, ...]
    worth: tuple[Worth, ...]
    wasted: tuple[Worth, ...]
    not_in_rules: tuple[tuple[str, str, str], ...]


def review(found: Iterable[ClosedCase | None]) -> Review:
    """All closed cases together."""
    closed = [one for one in found if one is not None]
    judged = [one for case in closed for one in case.judged]
    known = [one for one in judged if one.known]
    settled = [one for one in judged if one.today.settled is not None]
    said = [said for one in judged for said in one.said]
    missing = tuple((one.case, one.fault, one.where) for one in judged if not one.known)
    worth, wasted = _worth(known)
    return Review(
        cases=len(closed),
        states=tuple(Counter(one.state for one in closed).most_common()),
        judged=len(judged),
        unproven=sum(not one.proven for one in judged),
        repair_then=share_seen(sum(bool(s.right) for s in said), len(said)) if said else None,
        then=calibration([(s.chance, bool(s.exact)) for s in said]),
        today=calibration([(one.today.chance, _right(one)) for one in judged]),
        settled=calibration([(one.today.chance, _right(one)) for one in settled]),
        times=_times(judged),
        misled=_misled(known),
        worth=worth,
        wasted=wasted,
        not_in_rules=missing,
    )


def _right(one: Judged) -> bool:
    return one.today.grade is not None and one.today.grade >= 2


def share_seen(came: int, cases: int) -> Share:
    """A share with its 95 % range."""
    low, high = wilson(came, cases)
    return Share(came, cases, low, high)


def calibration(said: Sequence[tuple[float, bool]], bins: int = 10) -> Calibration | None:
    """How well chances kept what they said. None without any."""
    if not said:
        return None
    forecasts, came = [p for p, _ in said], [right for _, right in said]
    found = score(forecasts, came, bins)
    table = []
    for group in found.groups:
        n = round(group.weight)
        number = min(int(group.forecast * bins), bins - 1)
        table.append(
            Bin(number / bins, (number + 1) / bins, group.forecast, share_seen(round(group.observed * n), n)),
        )
    return Calibration(share_seen(sum(came), len(came)), found, tuple(table))


def _times(judged: Sequence[Judged]) -> tuple[Time, ...]:
    by_fault: dict[str, list[Judged]] = defaultdict(list)
    for one in judged:
        by_fault[one.fault].append(one)
    found = []
    for fault, ones in by_fault.items():
        minutes = [one.minutes for one in ones]
        found.append(Time(fault, ones[0].title, len(ones), median(minutes), min(minutes), max(minutes)))
    return tuple(sorted(found, key=lambda t: (-t.cases, -t.median)))


def _misled(judged: Sequence[Judged]) -> tuple[Misleading, ...]:
    looked = Counter(told.check for one in judged for told in one.told)
    found: dict[str, list[tuple[float, str, CheckTold]]] = defaultdict(list)
    for one in judged:
        for told in one.told:
            if told.decibans <= -MISLED:
                found[told.check].append((told.decibans, one.case, told))
    rows = []
    for check, hits in found.items():
        hits.sort(key=lambda hit: hit[:2])
        cases = tuple(dict.fromkeys(case for _, case, _ in hits))
        worst = hits[0]
        rows.append(Misleading(check, worst[2].title, cases, looked[check], worst[0], worst[2].text))
    return tuple(sorted(rows, key=lambda row: (-len(row.cases), row.worst)))


def _worth(judged: Sequence[Judged]) -> tuple[tuple[Worth, ...], tuple[Worth, ...]]:
    """The checks that told most for their time, and those that took most for nothing."""
    sums: dict[str, list[float]] = defaultdict(lambda: [0.0, 0.0, 0.0])
    titles: dict[str, str] = {}
    for one in judged:
        for told in one.told:
            of, bits, minutes = sums[told.check]
            sums[told.check] = [of + 1, bits + told.bits, minutes + told.minutes]
            titles[told.check] = told.title
    rows = [
        Worth(check, titles[check], int(of), bits, minutes, bits / max(1.0, minutes) * QUARTER)
        for check, (of, bits, minutes) in sums.items()
        if minutes > 0
    ]
    best = sorted((row for row in rows if row.rate >= IDLE_GAIN), key=lambda row: -row.rate)
    idle = [row for row in rows if row.rate < IDLE_GAIN]
    return tuple(best[:ROWS_SHOWN]), tuple(sorted(idle, key=lambda row: -row.minutes)[:ROWS_SHOWN])
