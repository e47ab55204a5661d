"""The review of all closed cases, as blocks."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import RenderableType
from rich.text import Text

from reasoner.history.review import Calibration, Misleading, Review, Share, Worth
from reasoner.report.pictures import bar
from reasoner.report.shapes import QUIET, columns, count, head, item, para
from reasoner.session.plain import clean, time_text
from reasoner.session.words import percent, range_text

SHOWN = 8  # rows of a list
FEW = 30  # verdicts below which nobody should lean on the table


def review_blocks(document: Review, blocks: bool = True) -> list[RenderableType]:
    r = clean(document)
    if not r.cases:
        return [para("No case is closed yet: `reasoner cases close` says what one was.")]
    states = ", ".join(f"{n} {state}" for state, n in r.states)
    found: list[RenderableType] = [head("closed cases", f"{r.cases}: {states}")]
    if not r.judged:
        return [*found, para("In none of them was anything found that a verdict could be held against.")]
    unproven = f", {r.unproven} not proven" if r.unproven else ""
    found.append(
        para(f"{count(r.judged, 'fault')} found in them{unproven}. Weighed by the rules of today unless said.")
    )
    found += [Text(), head("how often right")]
    found.append(columns(_rights(r)))
    title = "as said then" if r.then is not None and r.then.right.cases >= r.judged else "by today's rules"
    shown = r.then if title == "as said then" else r.today
    if shown is not None:
        found += _calibration(shown, title, blocks)
    found += _times(r)
    found += _misled(r.misled)
    found += _worth("worth their time", "a bit: what was found became twice as likely", r.worth)
    found += _worth("took time and told next to nothing", "beside what was known by then", r.wasted)
    if r.not_in_rules:
        found += [Text(), head("found, and not in the rules")]
        found += [item(f"{fault} ({where}): {case}") for case, fault, where in r.not_in_rules]
        found.append(para("`reasoner rules new` begins a fault of your own.", QUIET))
    return found


def _rights(r: Review) -> list[tuple[str, str]]:
    lines = []
    for title, right in (
        ("the repair as concluded then", r.repair_then),
        ("the cause itself, as said then", r.then.right if r.then else None),
        ("the repair that leads by today's rules", r.today.right if r.today else None),
        ("and where these settle it", r.settled.right if r.settled else None),
    ):
        lines.append((title, "nothing to judge" if right is None else _share(right)))
    return lines


def _share(share: Share) -> str:
    return f"{share.came} of {share.cases} ({range_text(share.low, share.high)})"


def _calibration(part: Calibration, title: str, blocks: bool) -> list[RenderableType]:
    s = part.score
    apart = count(round(100 * s.calibration_error), "point")
    found: list[RenderableType] = [Text(), head("sure, and right", title)]
    lines = [
        (
            f"{100 * b.low:.0f} to {100 * b.high:.0f} %",
            percent(b.said),
            f"{b.right.came} of {b.right.cases}",
            range_text(b.right.low, b.right.high),
            bar(b.right.came / b.right.cases, 10, blocks),
        )
        for b in part.bins
    ]
    found.append(columns(lines, right=(0, 1, 2, 3), heading=("said", "mean", "right", "19 times in 20", "")))
    found.append(
        para(
            f"On average what was said and what came are {apart} in a hundred apart."
            f" Brier score {s.brier:.3f} (0 is best; always saying 50 % gives 0.25) = reliability {s.reliability:.3f}"
            f" (rows that are off) - resolution {s.resolution:.3f} (rows that differ) + uncertainty"
            f" {s.uncertainty:.3f} (cases that differ); Murphy 1973, by the means of the rows."
        )
    )
    if part.right.cases < FEW:
        found.append(para(f"{count(part.right.cases, 'verdict')}: too few to lean on; the intervals say so.", QUIET))
    return found


def _times(r: Review) -> list[RenderableType]:
    lines = [
        (t.title, count(t.cases, "case"), time_text(t.median), _from_to(t.least, t.most) if t.cases > 1 else "")
        for t in r.times[:SHOWN]
    ]
    heading = ("", "", "half took less", "from, to")
    found: list[RenderableType] = [Text(), head("time by fault", "work at looking, by the rules' minutes")]
    found.append(columns(lines, wrap=(0,), heading=heading))
    more = len(r.times) - SHOWN
    return [*found, *([para(f"and {count(more, 'other fault')}", QUIET)] if more > 0 else [])]


def _from_to(least: float, most: float) -> str:
    return f"{time_text(least)} to {time_text(most)}"


def _misled(rows: Sequence[Misleading]) -> list[RenderableType]:
    if not rows:
        return []
    found: list[RenderableType] = [Text(), head("spoke against what was found")]
    for row in rows[:SHOWN]:
        cases = ", ".join(row.cases[:3]) + (f" and {len(row.cases) - 3} more" if len(row.cases) > 3 else "")
        times = f"made it {10 ** (-row.worst / 10):.0f} times less likely"
        found.append(item(f"{row.text}: {times}; {_of(row)}: {cases}"))
    return found


def _of(row: Misleading) -> str:
    return f"in {len(row.cases)} of {count(row.of, 'case')}"


def _worth(title: str, rest: str, rows: Sequence[Worth]) -> list[RenderableType]:
    if not rows:
        return []
    lines = [
        (row.title, count(row.of, "case"), f"{row.bits:.1f} bits", time_text(row.minutes), f"{row.rate:.2f}")
        for row in rows
    ]
    heading = ("", "", "told", "took", "bits a quarter hour")
    return [Text(), head(title, rest), columns(lines, right=(2, 3, 4), wrap=(0,), heading=heading)]
