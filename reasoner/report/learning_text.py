"""What closed cases would change in the rules, as blocks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from rich.console import RenderableType
from rich.text import Text

from reasoner.history.learning import Helped
from reasoner.history.overlay import ELSEWHERE, Learned, changes
from reasoner.report.shapes import QUIET, count, head, item, para
from reasoner.session.plain import clean

SHOWN = 12
FEW = 30  # cases below which one more may move a number back again; judgement


def learning_blocks(
    learned: Sequence[Learned],
    used: float,
    unproven: int,
    left_out: Sequence[tuple[str, str]],
    helped: Sequence[Helped],
) -> list[RenderableType]:
    """used: cases that count; unproven: those that count half. left_out: case and why. helped: leave-one-out."""
    learned, left_out, helped = clean(list(learned)), clean(list(left_out)), clean(list(helped))
    found: list[RenderableType] = [head("what the closed cases say", f"{count(used, 'case')} used")]
    if unproven:
        found.append(para(f"{count(unproven, 'case')} of them not proven: counted half, and marked so."))
    for why, number in Counter(why for _, why in left_out).most_common():
        names = ", ".join(name for name, reason in left_out if reason == why)
        found.append(para(f"{count(number, 'case')} left out, {why}: {_short(names)}"))
    if not learned:
        return [*found, para("No number of the rules would move by as much as was asked for.")]
    found += [Text(), head("numbers that would change", f"{len(learned)}, those that move most first")]
    for one in sorted(learned, key=lambda one: -one.moved)[:SHOWN]:
        found.append(item(f"{_what(one)}: {changes(one)}  [{_seen(one)}]"))
    if len(learned) > SHOWN:
        found.append(para(f"and {count(len(learned) - SHOWN, 'other')}", QUIET))
    found.append(para("The file and --json have all of them, each with the cases behind it.", QUIET))
    found += _helped(helped)
    if used < FEW:
        text = f"{count(used, 'case')}: few to learn from. One more may move a number back again."
        found += [*([] if helped else [Text()]), para(text)]
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
        head("would they have helped", "each case under what the others teach"),
        para(
            f"Chance given to what was found, as a log score: {before:.3f} bits a case now, {after:.3f} with the"
            f" others' numbers (0 is certain and right, -1 is 50 %, -2 is 25 %). Better in {better} of {len(helped)},"
            f" worse in {worse}."
        ),
    ]
    losers = sorted((one for one in helped if one.after < one.before - 0.1), key=lambda one: one.after - one.before)
    found += [item(f"worse: {one.case}, {one.before:.2f} to {one.after:.2f}") for one in losers[:3]]
    if after < before:
        found.append(para("They would not have helped: leave the rules as they are, or wait for more cases."))
    return found
