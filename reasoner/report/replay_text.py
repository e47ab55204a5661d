"""What replayed cases came to: a table of them, and one in full."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import RenderableType
from rich.text import Text

from reasoner.history.replay import Changed, Ending, Grade, Replayed, Reweighed, Said
from reasoner.report.shapes import QUIET, columns, count, head, item, para
from reasoner.session.plain import clean, effort_text, shortened
from reasoner.session.words import percent

GRADES = {
    Grade.RIGHT: "right",
    Grade.LEADING: "leads, not settled",
    Grade.ASTRAY: "another leads",
    Grade.WRONG: "settled, and wrong",
    None: "nothing to hold it against",
}
SHOWN = 5  # answers that weigh differently, of each case
ROWS = 40  # of more cases, only those are in the table that do worse, differ or go astray
FULL = 3  # of so many cases or fewer, each is told in full
NAMES = 32  # characters of a case's name that are kept on one line
VALUES = 8  # values of the rules that differ


def replay_blocks(found: Sequence[Replayed], changed: Sequence[Changed] = ()) -> list[RenderableType]:
    """A table of cases, what differs in them, and how many were right. changed: the values of the rules that differ."""
    found, changed = clean(list(found)), clean(list(changed))
    shown = found if len(found) <= ROWS else [one for one in found if _telling(one)]
    blocks: list[RenderableType] = []
    if changed:
        blocks.append(head("what the changed rules say otherwise"))
        blocks += [item(f"{c.what}: {_value(c.before)} > {_value(c.after)}  [{c.place}]") for c in changed[:VALUES]]
        blocks += _more(len(changed) - VALUES, "value")
        blocks.append(Text())
    if shown:
        blocks.append(_table(shown[:ROWS]))
        blocks += _more(len(shown) - ROWS, "case")
    if len(shown) < len(found):
        rest = len(found) - len(shown)
        which = count(rest, "other case") if shown else f"All {rest} cases"
        blocks.append(para(f"{which} as before and right, or with nothing found."))
    for one in shown[:ROWS]:
        if _in_full(one, len(found)):
            blocks += _one(one)
    blocks += _sum(found)
    if len(found) > FULL:
        blocks.append(para("`cases replay CASE` tells a case in full.", QUIET, 0))
    return blocks


def _in_full(one: Replayed, of: int) -> bool:
    """Whether a case is told in full: of many, only where it is right or wrong otherwise than before."""
    return of <= FULL or one.worse or (one.changed is not None and one.changed.grade != one.today.grade)


def _value(text: str) -> str:
    return shortened(text, 60) if text else "nothing"


def _more(number: int, what: str) -> list[RenderableType]:
    return [para(f"and {count(number, what)} more", QUIET)] if number > 0 else []


def _telling(one: Replayed) -> bool:
    """Whether a case belongs in a table of many."""
    astray = one.today.grade is not None and one.today.grade < Grade.LEADING
    return one.worse or astray or (one.changed is not None and _moved(one))


def _moved(one: Replayed) -> bool:
    assert one.changed is not None
    return (one.today.grade, one.today.cause, one.today.settled) != (
        one.changed.grade,
        one.changed.cause,
        one.changed.settled,
    )


def _table(found: Sequence[Replayed]) -> RenderableType:
    beside = any(one.changed is not None for one in found)
    again = any(one.asked_again is not None for one in found)
    then = not beside and any(one.said is not None for one in found)
    heading = ["case", *(["said then"] if then else []), "today's rules"]
    heading += ["changed rules", "verdict"] if beside else []
    heading += ["asked again"] if again else []
    lines = []
    for one in found:
        line = [_name(one), *([_said(one.said)] if then else []), _short(one.today, not beside)]
        if beside:
            line += [_short(one.changed, False), _sooner(one)]
        if again:
            line += [_short(one.asked_again, not beside)]
        lines.append(line)
    short = max(len(line[0]) for line in lines) <= NAMES
    return columns(lines, wrap=range(1 if short else 0, len(heading)), heading=heading, indent=0)


def _name(one: Replayed) -> str:
    return one.case if one.part == 1 else f"{one.case} ({one.part})"


def _said(said: Said | None) -> str:
    if said is None:
        return "-"
    settled = said.kind == "settled"
    if said.right is None:
        return "settled" if settled else "not settled"
    right = "right" if said.right else "wrong"
    return right if settled else f"{right}, not settled"


def _short(ending: Ending | None, chance: bool) -> str:
    """chance: with how likely it is, where there is room for that."""
    if ending is None:
        return "-"
    grade = GRADES[ending.grade] if ending.grade is not None else "settled" if ending.settled else "not settled"
    after = f" after {ending.settled}" if ending.settled is not None else ""
    return f"{grade}{after}" + (f", {percent(ending.chance)}" if chance else "")


def _sooner(one: Replayed) -> str:
    """How the changed rules do beside today's."""
    before, after = one.today, one.changed
    if after is None:
        return ""
    if one.same:
        return "same, to the last bit"
    if before.grade != after.grade and before.grade is not None and after.grade is not None:
        return "better" if after.grade > before.grade else "WORSE"
    if before.cause != after.cause and before.grade is None:
        return f"now {after.cause}"
    if before.settled is None or after.settled is None or before.settled == after.settled:
        return "same" if before.settled == after.settled else "settled now" if after.settled else "not settled now"
    step = abs(after.settled - before.settled)
    return f"{step} {'sooner' if after.settled < before.settled else 'later'}"


def _one(one: Replayed) -> list[RenderableType]:
    blocks: list[RenderableType] = [
        Text(),
        head(_name(one), f"found: {one.found or 'nothing'} ({one.state or 'open'})"),
    ]
    if one.said is not None:
        blocks.append(para(f"Said then: {one.said.cause}, {percent(one.said.chance)} ({one.said.kind})."))
    blocks.append(para(f"Today's rules: {_long(one.today)}"))
    if one.changed is not None:
        blocks.append(para(f"Changed rules: {_long(one.changed)}"))
    if one.asked_again is not None:
        blocks.append(para(f"Asked again: {_long(one.asked_again)}"))
    if one.reweighed:
        blocks.append(para(f"Weighs otherwise for {one.against} (today > changed, in decibans):", QUIET))
        blocks += [item(_reweighed(r)) for r in one.reweighed[:SHOWN]]
        if len(one.reweighed) > SHOWN:
            blocks.append(para(f"and {count(len(one.reweighed) - SHOWN, 'other')}", QUIET, 4))
        blocks.append(para("3 decibans double the odds, 10 make them ten times as high.", QUIET))
    if one.today.unread:
        blocks.append(para("Not in today's rules, so not weighed: " + ", ".join(dict.fromkeys(one.today.unread))))
    return blocks


def _long(ending: Ending) -> str:
    place = "" if ending.where in ("engine", "") else f", {ending.where}"
    grade = f" {GRADES[ending.grade].capitalize()}." if ending.grade is not None else ""
    found = "" if ending.found is None else f" What was found: {percent(ending.found)}."
    took = effort_text(ending.effort.minutes, ending.effort.wait)
    when = (
        f"settled after {ending.settled} of {ending.answers} answers ({took})"
        if ending.settled is not None
        else f"not settled after {count(ending.answers, 'answer')} ({took})"
    )
    return f"{ending.title}{place}, {percent(ending.chance)}, {when}.{grade}{found}"


def _reweighed(one: Reweighed) -> str:
    rules = " > ".join(dict.fromkeys(filter(None, (one.rule_before, one.rule_after))))
    return f"{one.before:+.1f} > {one.after:+.1f}  {one.text}" + (f"  [{rules}]" if rules else "")


def _sum(found: Sequence[Replayed]) -> list[RenderableType]:
    held = [one for one in found if one.today.grade is not None]
    lines = [("today's rules", [one.today for one in held])]
    if any(one.changed is not None for one in held):
        lines.append(("changed rules", [one.changed for one in held if one.changed is not None]))
    if any(one.asked_again is not None for one in held):
        lines.append(("asked again", [one.asked_again for one in held if one.asked_again is not None]))
    rows = []
    for title, endings in lines:
        grades = [
            sum(e.grade is grade for e in endings) for grade in (Grade.RIGHT, Grade.LEADING, Grade.ASTRAY, Grade.WRONG)
        ]
        settled = [e.settled for e in endings if e.settled is not None]
        mean = f"{sum(settled) / len(settled):.1f}" if settled else "-"
        rows.append((title, *map(str, grades), mean))
    heading = ("", "right", "leads", "another leads", "wrong", "answers to settle")
    worse = [_name(one) for one in found if one.worse]
    blocks: list[RenderableType] = []
    if rows and held:
        blocks = [Text(), columns(rows, right=(1, 2, 3, 4, 5), heading=heading, indent=0)]
    if worse:
        more = f" and {len(worse) - 10} more" if len(worse) > 10 else ""
        blocks.append(Text(f"Worse than before: {', '.join(worse[:10])}{more}."))
    return blocks
