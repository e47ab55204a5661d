"""A trial of rules, as blocks: one column for each side."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.console import RenderableType
from rich.text import Text

from reasoner.history.review import IDLE, Share
from reasoner.report.pictures import bar
from reasoner.report.shapes import QUIET, columns, count, head, item, para
from reasoner.session.plain import clean, time_text
from reasoner.session.words import range_text
from reasoner.trial.trialled import FIRM, ByFault, Kept, Trialled

SHOWN = 12  # checks of a list
CONFUSED = 10  # pairs of faults


def trial_blocks(sides: Sequence[Trialled], how: str, blocks: bool = True) -> list[RenderableType]:
    """how: what the cars were drawn from, in words."""
    sides = [clean(side) for side in sides]
    found: list[RenderableType] = [
        head("trial", f"{count(sides[0].cars, 'virtual car')} drawn from {how}"),
        columns(_lines(sides), right=range(1, len(sides) + 1), heading=("", *(side.name for side in sides))),
        para(
            "These cars are drawn from rules, not from a workshop: they show whether the reasoning holds together and"
            " how much it bears, not whether the rules are true.",
            QUIET,
        ),
    ]
    for side in sides:
        title = f": {side.name}" if len(sides) > 1 else ""
        found += _sure(side, title, blocks)
        found += [Text(), head(f"fault by fault{title}"), _by_fault(side.faults)]
        found += _confused(side.faults, title)
        found += _kept(side.checks, title)
    return found


def _lines(sides: Sequence[Trialled]) -> list[tuple[str, ...]]:
    def line(title: str, say: Callable[[Trialled], str]) -> tuple[str, ...]:
        return (title, *(say(side) for side in sides))

    return [
        line("a verdict was given", lambda s: _rate(s.given)),
        line("it was right", lambda s: _rate(s.right)),
        line(f"it claimed {_percent(FIRM)} or more and was wrong", lambda s: _rate(s.firm_wrong)),
        line("the right repair led, verdict or not", lambda s: _rate(s.right_place)),
        line("claims off by, on average", lambda s: "-" if s.claims is None else f"{s.claims.calibration_error:.3f}"),
        line("Brier score of all leaders", lambda s: f"{s.leaders.brier:.3f}"),
        line("  reliability (0 is best)", lambda s: f"{s.leaders.reliability:.3f}"),
        line("  resolution", lambda s: f"{s.leaders.resolution:.3f}"),
        line("  uncertainty", lambda s: f"{s.leaders.uncertainty:.3f}"),
        line("leaders off by, on average", lambda s: f"{s.leaders.calibration_error:.3f}"),
        line("work, mean", lambda s: time_text(s.minutes)),
        line("work, half took less", lambda s: time_text(s.half)),
        line("waiting, mean", lambda s: time_text(s.waiting)),
        line("money beside work, mean", lambda s: f"{s.money:.0f}"),
        line("questions, mean", lambda s: f"{s.steps:.1f}"),
    ]


def _rate(rate: Share | None) -> str:
    return "-" if rate is None else f"{_share(rate)} ({range_text(rate.low, rate.high)})"


def _share(rate: Share | None) -> str:
    """As it was seen: 0 % is no car of these, not "hardly ever"."""
    return "-" if rate is None else _percent(rate.came / rate.cases)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _sure(side: Trialled, title: str, blocks: bool) -> list[RenderableType]:
    lines = [
        (_percent(g.forecast), _percent(g.observed), f"{g.weight:.0f}", bar(g.observed, 10, blocks))
        for g in side.leaders.groups
    ]
    shown = columns(lines, right=(0, 1, 2), heading=("claimed", "was right", "cars", ""))
    return [Text(), head(f"sure, and right{title}", "the leading repair of every car"), shown]


def _by_fault(faults: Sequence[ByFault]) -> RenderableType:
    lines = [
        (
            f.title,
            str(f.cars),
            _share(f.given),
            _share(f.right),
            _share(f.leading),
            time_text(f.minutes),
        )
        for f in faults
    ]
    heading = ("", "cars", "verdicts", "right", "led", "work")
    return columns(lines, right=(1, 2, 3, 4, 5), wrap=(0,), heading=heading)


def _confused(faults: Sequence[ByFault], title: str) -> list[RenderableType]:
    pairs = [(times, f.title, other, f.cars) for f in faults for other, times in f.taken_for]
    if not pairs:
        return []
    pairs.sort(key=lambda pair: -pair[0])
    found: list[RenderableType] = [Text(), head(f"taken for another{title}", "in a verdict, or in the lead at the end")]
    return found + [item(f"{fault} for {other}: {times} of {cars}") for times, fault, other, cars in pairs[:CONFUSED]]


def _kept(checks: Sequence[Kept], title: str) -> list[RenderableType]:
    """What took most time, and what did not earn it."""

    def rows(some: Sequence[Kept]) -> RenderableType:
        lines = [
            (k.title, f"{k.looks:.2f}", f"{k.minutes:.0f} min", f"{k.rate:+.2f}", f"{k.expected:.2f}")
            for k in some[:SHOWN]
        ]
        heading = ("", "looks a car", "work a car", "bits a quarter hour", "expected")
        return columns(lines, right=(1, 2, 3, 4), wrap=(0,), heading=heading)

    earned = [k for k in checks if k.rate >= IDLE]
    idle = [k for k in checks if k.rate < IDLE]
    found: list[RenderableType] = [
        Text(),
        head(f"checks that earned their time{title}", "the longest first"),
        rows(earned),
    ]
    if idle:
        found += [Text(), head(f"and that did not{title}"), rows(idle)]
    return found
