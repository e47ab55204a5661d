"""What a trial showed: many virtual cars as one document.

A verdict given is one that settles the repair, or the fault with its place left open. What it claimed is held against
what the car has: how often right, how sure, with Murphy's decomposition (`inference.statistics`); a firm verdict is one
that claimed FIRM or more.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean, median

from reasoner.history.review import QUARTER, Share, share_seen
from reasoner.inference.statistics import Score, score
from reasoner.rulebook.model import Rulebook
from reasoner.trial.trial import TrialRun

FIRM_CLAIM = 0.9


@dataclass(frozen=True)
class ByFault:
    """One fault. given: verdicts, right: of these. leading: the right repair led at the end, verdict or not. taken_for:
    other faults named in a verdict, or in the lead, and how often. minutes: mean work."""

    fault: str
    title: str
    cars: int
    given: Share
    right: Share | None
    leading: Share
    minutes: float
    taken_for: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class CheckTally:
    """A check: how often it was made and its minutes, a car; bits by which one look helped what was right; bits for a
    quarter of an hour, and what was expected of it."""

    check: str
    title: str
    looks: float
    minutes: float
    bits: float
    rate: float
    expected: float


@dataclass(frozen=True)
class Trialled:
    """All cars of one side. minutes, waiting, money and steps are means; half: the median of the minutes.

    firm_wrong: of the verdicts given. claims: what verdicts claimed; leaders: the leading repair of every car.
    """

    name: str
    cars: int
    given: Share
    right: Share | None
    right_place: Share
    firm_wrong: Share | None
    minutes: float
    half: float
    waiting: float
    money: float
    steps: float
    claims: Score | None
    leaders: Score
    faults: tuple[ByFault, ...]
    checks: tuple[CheckTally, ...]


def trialled(name: str, runs: Sequence[TrialRun], book: Rulebook) -> Trialled:
    """The document of some cars. Raises ValueError without any."""
    if not runs:
        raise ValueError("no car, no trial")
    given = [r for r in runs if r.given]
    by_fault: dict[str, list[TrialRun]] = defaultdict(list)
    for run in runs:
        by_fault[run.fault].append(run)
    return Trialled(
        name=name,
        cars=len(runs),
        given=_rate(r.given for r in runs),
        right=_rate(r.right for r in given) if given else None,
        right_place=_rate(r.right_class for r in runs),
        firm_wrong=_rate(r.firmness >= FIRM_CLAIM and not r.right for r in given) if given else None,
        minutes=fmean(r.minutes for r in runs),
        half=median(r.minutes for r in runs),
        waiting=fmean(r.wait for r in runs),
        money=fmean(r.money for r in runs),
        steps=fmean(len(r.steps) for r in runs),
        claims=score([r.firmness for r in given], [r.right for r in given]) if given else None,
        leaders=score([r.claimed for r in runs], [r.right_class for r in runs]),
        faults=tuple(
            _fault(fault, cars, book) for fault, cars in sorted(by_fault.items(), key=lambda item: -len(item[1]))
        ),
        checks=_checks(runs, book),
    )


def _rate(came: Iterable[bool]) -> Share:
    found = list(came)
    return share_seen(sum(found), len(found))


def _fault(fault: str, cars: Sequence[TrialRun], book: Rulebook) -> ByFault:
    given = [r for r in cars if r.given]
    others = Counter(r.said_fault for r in cars if r.said_fault != fault)
    return ByFault(
        fault,
        _title(fault, book),
        len(cars),
        _rate(r.given for r in cars),
        _rate(r.right for r in given) if given else None,
        _rate(r.right_class for r in cars),
        fmean(r.minutes for r in cars),
        tuple((_title(name, book), times) for name, times in others.most_common()),
    )


def _title(fault: str, book: Rulebook) -> str:
    return book.faults[fault].title if fault in book.faults else fault


def _checks(runs: Sequence[TrialRun], book: Rulebook) -> tuple[CheckTally, ...]:
    """Every check that was made, those that took most time first."""
    steps = defaultdict(list)
    for run in runs:
        for step in run.steps:
            steps[step.check].append(step)
    found = []
    for check, made in steps.items():
        minutes = sum(s.minutes for s in made)
        bits = sum(s.bits for s in made)
        expected = sum(s.gain for s in made)
        quarters = max(minutes, 1e-9) / QUARTER
        looks = len(made) / len(runs)
        title = book.checks[check].title
        found.append(
            CheckTally(check, title, looks, minutes / len(runs), bits / len(made), bits / quarters, expected / quarters)
        )
    return tuple(sorted(found, key=lambda kept: (-kept.minutes, kept.check)))
