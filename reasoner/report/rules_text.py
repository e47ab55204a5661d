"""What cases say of the rules, as blocks: what they would change, how often they were right, and a trial of rules."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

from rich.console import RenderableType
from rich.text import Text

from reasoner.history.learning import Helped
from reasoner.history.overlay import ELSEWHERE, Learned, changes
from reasoner.history.review import IDLE_GAIN, Calibration, Misleading, Review, Share, Worth
from reasoner.report.lines import bar
from reasoner.report.shapes import QUIET, columns, count, item, padded_text, title_line
from reasoner.session.plain import clean, time_text
from reasoner.session.words import percent, range_text
from reasoner.trial.trialled import FIRM_CLAIM, ByFault, CheckTally, Trialled

# ---- What closed cases would change in the rules, as blocks ----------------------------------------------------------

LESSONS_SHOWN = 12
FEW_LEARNED = 30  # cases below which one more may move a number back again; judgement


def learning_blocks(
    learned: Sequence[Learned],
    used: float,
    unproven: int,
    left_out: Sequence[tuple[str, str]],
    helped: Sequence[Helped],
) -> list[RenderableType]:
    """used: cases that count; unproven: those that count half. left_out: case and why. helped: leave-one-out."""
    learned, left_out, helped = clean(list(learned)), clean(list(left_out)), clean(list(helped))
    found: list[RenderableType] = [title_line("what the closed cases say", f"{count(used, 'case')} used")]
    if unproven:
        found.append(padded_text(f"{count(unproven, 'case')} of them not proven: counted half, and marked so."))
    for why, number in Counter(why for _, why in left_out).most_common():
        names = ", ".join(name for name, reason in left_out if reason == why)
        found.append(padded_text(f"{count(number, 'case')} left out, {why}: {_short(names)}"))
    if not learned:
        return [*found, padded_text("No number of the rules would move by as much as was asked for.")]
    found += [Text(), title_line("numbers that would change", f"{len(learned)}, those that move most first")]
    for one in sorted(learned, key=lambda one: -one.moved)[:LESSONS_SHOWN]:
        found.append(item(f"{_what(one)}: {changes(one)}  [{_seen(one)}]"))
    if len(learned) > LESSONS_SHOWN:
        found.append(padded_text(f"and {count(len(learned) - LESSONS_SHOWN, 'other')}", QUIET))
    found.append(padded_text("The file and --json have all of them, each with the cases behind it.", QUIET))
    found += _helped(helped)
    if used < FEW_LEARNED:
        text = f"{count(used, 'case')}: few to learn from. One more may move a number back again."
        found += [*([] if helped else [Text()]), padded_text(text)]
    return found


def _what(one: Learned) -> str:
    """In words: `smell-of-fuel, given truly-rich`, `port-injector-leaks shows in engine-off`."""
    _, name, kind, *rest = one.trail
    if kind == "given":
        return f"{name}, given {rest[0]}" + (f" {rest[1]}" if rest[1] == ELSEWHERE else "")
    if kind == "shows":
        return f"{name} shows in {rest[0]}"
    return f"{name}, {kind}" + (f" ({rest[0]})" if rest else "")


def _seen(one: Learned) -> str:
    if one.trail[2] == "share":
        return f"found {count(one.seen[0], 'time')} in {count(one.cases, 'case')}, the rules expected {one.seen[1]:.2g}"
    return f"{sum(one.seen):.1f} looks in {count(one.cases, 'case')}, beside {one.weight:g} that the rule stands for"


def _short(names: str, most: int = 120) -> str:
    return names if len(names) <= most else names[: most - 3] + "..."


def _helped(helped: Sequence[Helped]) -> list[RenderableType]:
    """Whether it helps: each case under what was learned from all the others."""
    if not helped:
        return []
    before = sum(one.before for one in helped) / len(helped)
    after = sum(one.after for one in helped) / len(helped)
    better = sum(one.after > one.before + 0.01 for one in helped)
    worse = sum(one.after < one.before - 0.01 for one in helped)
    found: list[RenderableType] = [
        Text(),
        title_line("would they have helped", "each case under what the others teach"),
        padded_text(
            f"Chance given to what was found, as a log score: {before:.3f} bits a case now, {after:.3f} with the"
            f" others' numbers (0 is certain and right, -1 is 50 %, -2 is 25 %). Better in {better} of {len(helped)},"
            f" worse in {worse}."
        ),
    ]
    losers = sorted((one for one in helped if one.after < one.before - 0.1), key=lambda one: one.after - one.before)
    found += [item(f"worse: {one.case}, {one.before:.2f} to {one.after:.2f}") for one in losers[:3]]
    if after < before:
        found.append(padded_text("They would not have helped: leave the rules as they are, or wait for more cases."))
    return found


# ---- The review of all closed cases, as blocks -----------------------------------------------------------------------

REVIEWED_SHOWN = 8  # rows of a list
FEW_REVIEWED = 30  # verdicts below which nobody should lean on the table


def review_blocks(document: Review, blocks: bool = True) -> list[RenderableType]:
    """What a look over all closed cases found. blocks: block characters may be used."""
    r = clean(document)
    if not r.cases:
        return [padded_text("No case is closed yet: `reasoner cases close` says what one was.")]
    states = ", ".join(f"{n} {state}" for state, n in r.states)
    found: list[RenderableType] = [title_line("closed cases", f"{r.cases}: {states}")]
    if not r.judged:
        return [*found, padded_text("In none of them was anything found that a verdict could be held against.")]
    unproven = f", {r.unproven} not proven" if r.unproven else ""
    found.append(
        padded_text(f"{count(r.judged, 'fault')} found in them{unproven}. Weighed by the rules of today unless said.")
    )
    found += [Text(), title_line("how often right")]
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
        found += [Text(), title_line("found, and not in the rules")]
        found += [item(f"{fault} ({where}): {case}") for case, fault, where in r.not_in_rules]
        found.append(padded_text("`reasoner rules new` begins a fault of your own.", QUIET))
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
    found: list[RenderableType] = [Text(), title_line("sure, and right", title)]
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
        padded_text(
            f"On average what was said and what came are {apart} in a hundred apart."
            f" Brier score {s.brier:.3f} (0 is best; always saying 50 % gives 0.25) = reliability {s.reliability:.3f}"
            f" (rows that are off) - resolution {s.resolution:.3f} (rows that differ) + uncertainty"
            f" {s.uncertainty:.3f} (cases that differ); Murphy 1973, by the means of the rows."
        )
    )
    if part.right.cases < FEW_REVIEWED:
        found.append(
            padded_text(f"{count(part.right.cases, 'verdict')}: too few to lean on; the intervals say so.", QUIET)
        )
    return found


def _times(r: Review) -> list[RenderableType]:
    lines = [
        (t.title, count(t.cases, "case"), time_text(t.median), _from_to(t.least, t.most) if t.cases > 1 else "")
        for t in r.times[:REVIEWED_SHOWN]
    ]
    heading = ("", "", "half took less", "from, to")
    found: list[RenderableType] = [Text(), title_line("time by fault", "work at looking, by the rules' minutes")]
    found.append(columns(lines, wrap=(0,), heading=heading))
    more = len(r.times) - REVIEWED_SHOWN
    return [*found, *([padded_text(f"and {count(more, 'other fault')}", QUIET)] if more > 0 else [])]


def _from_to(least: float, most: float) -> str:
    return f"{time_text(least)} to {time_text(most)}"


def _misled(rows: Sequence[Misleading]) -> list[RenderableType]:
    if not rows:
        return []
    found: list[RenderableType] = [Text(), title_line("spoke against what was found")]
    for row in rows[:REVIEWED_SHOWN]:
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
    return [Text(), title_line(title, rest), columns(lines, right=(2, 3, 4), wrap=(0,), heading=heading)]


# ---- A trial of rules, as blocks -------------------------------------------------------------------------------------
# One column for each side.

TRIED_SHOWN = 12  # checks of a list
CONFUSED = 10  # pairs of faults


def trial_blocks(sides: Sequence[Trialled], how: str, blocks: bool = True) -> list[RenderableType]:
    """how: what the cars were drawn from, in words."""
    sides = [clean(side) for side in sides]
    found: list[RenderableType] = [
        title_line("trial", f"{count(sides[0].cars, 'virtual car')} drawn from {how}"),
        columns(_lines(sides), right=range(1, len(sides) + 1), heading=("", *(side.name for side in sides))),
        padded_text(
            "These cars are drawn from rules, not from a workshop: they show whether the reasoning holds together and"
            " how much it bears, not whether the rules are true.",
            QUIET,
        ),
    ]
    for side in sides:
        title = f": {side.name}" if len(sides) > 1 else ""
        found += _sure(side, title, blocks)
        found += [Text(), title_line(f"fault by fault{title}"), _by_fault(side.faults)]
        found += _confused(side.faults, title)
        found += _kept(side.checks, title)
    return found


def _lines(sides: Sequence[Trialled]) -> list[tuple[str, ...]]:
    def line(title: str, say: Callable[[Trialled], str]) -> tuple[str, ...]:
        return (title, *(say(side) for side in sides))

    return [
        line("a verdict was given", lambda s: _rate(s.given)),
        line("it was right", lambda s: _rate(s.right)),
        line(f"it claimed {_percent(FIRM_CLAIM)} or more and was wrong", lambda s: _rate(s.firm_wrong)),
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
    return "-" if rate is None else f"{_share_tried(rate)} ({range_text(rate.low, rate.high)})"


def _share_tried(rate: Share | None) -> str:
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
    return [Text(), title_line(f"sure, and right{title}", "the leading repair of every car"), shown]


def _by_fault(faults: Sequence[ByFault]) -> RenderableType:
    lines = [
        (
            f.title,
            str(f.cars),
            _share_tried(f.given),
            _share_tried(f.right),
            _share_tried(f.leading),
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
    found: list[RenderableType] = [
        Text(),
        title_line(f"taken for another{title}", "in a verdict, or in the lead at the end"),
    ]
    return found + [item(f"{fault} for {other}: {times} of {cars}") for times, fault, other, cars in pairs[:CONFUSED]]


def _kept(checks: Sequence[CheckTally], title: str) -> list[RenderableType]:
    """What took most time, and what did not earn it."""

    def rows(some: Sequence[CheckTally]) -> RenderableType:
        lines = [
            (k.title, f"{k.looks:.2f}", f"{k.minutes:.0f} min", f"{k.rate:+.2f}", f"{k.expected:.2f}")
            for k in some[:TRIED_SHOWN]
        ]
        heading = ("", "looks a car", "work a car", "bits a quarter hour", "expected")
        return columns(lines, right=(1, 2, 3, 4), wrap=(0,), heading=heading)

    earned = [k for k in checks if k.rate >= IDLE_GAIN]
    idle = [k for k in checks if k.rate < IDLE_GAIN]
    found: list[RenderableType] = [
        Text(),
        title_line(f"checks that earned their time{title}", "the longest first"),
        rows(earned),
    ]
    if idle:
        found += [Text(), title_line(f"and that did not{title}"), rows(idle)]
    return found
