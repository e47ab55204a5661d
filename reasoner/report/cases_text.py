"""Cases as blocks: a case as a story, cases that looked alike, and what replayed ones came to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from reasoner.history.alike import Alike, Likeness, SharedLook
from reasoner.history.replay import Changed, Ending, Grade, Replayed, Reweighed, Said
from reasoner.history.story import Hindsight, Moment, Story, StoryPart
from reasoner.report.lines import bar, steps
from reasoner.report.shapes import HEAD, QUIET, columns, count, item, padded_text, title_line
from reasoner.report.text import times_text
from reasoner.session.effort import Spent
from reasoner.session.plain import clean, effort_text, shortened
from reasoner.session.words import at_place, percent

# ---- Cases that looked alike, as blocks ------------------------------------------------------------------------------


def alike_blocks(document: Alike, blocks: bool = True) -> list[RenderableType]:
    """The solved cases most like one, and what each has in common with it. blocks: block characters may be used."""
    a = clean(document)
    if not a.nearest:
        return [padded_text(f"None of {count(a.looked_at, 'solved case')} can be held against {a.case}.")]
    found: list[RenderableType] = [
        title_line(f"most like {a.case}", f"of {count(a.looked_at, 'solved case')}"),
        padded_text(
            "= the same there; / otherwise there. In brackets: on how many cars with a rich code the rules expect it."
            " The rarer, the more it counts.",
            QUIET,
        ),
    ]
    for one in a.nearest:
        found += _one_alike(one, blocks)
    found += [Text(), title_line("what they turned out to be", "weighed by how alike")]
    found.append(
        columns([(percent(share), f"{count(n, 'case')}", title) for title, share, n in a.turned_out], right=(0,))
    )
    return found


def _one_alike(one: Likeness, blocks: bool) -> list[RenderableType]:
    where = "" if one.where in ("engine", "") else f", {one.where}"
    return [
        Text(),
        Text(f"  {bar(one.alike, 10, blocks)} {percent(one.alike)}  {one.case}: {one.vehicle}"),
        padded_text(f"{one.title}{where} ({one.state}); {count(one.both, 'thing')} seen in both", indent=4),
        *(item(text, "=", 4) for text in dict.fromkeys(_seen(s) for s in one.agrees if s.bits >= 0.5)),
        *(item(text, "/", 4) for text in dict.fromkeys(_otherwise(s) for s in one.differs if s.bits >= 0.5)),
        *([padded_text("nothing that says much was seen in both", QUIET, 4)] if not _how_telling(one) else []),
    ]


def _how_telling(one: Likeness) -> bool:
    return any(s.bits >= 0.5 for s in (*one.agrees, *one.differs))


def _seen(shared: SharedLook) -> str:
    return f"{shared.text} ({percent(2**-shared.bits)})"


def _otherwise(shared: SharedLook) -> str:
    return f"{shared.text}; there: {_after(shared.other)}"


def _after(text: str) -> str:
    """The answer without the name of the check, which has just been said."""
    return text.partition(": ")[2] or text


# ---- What replayed cases came to -------------------------------------------------------------------------------------
# A table of them, and one in full.

GRADES = {
    Grade.RIGHT: "right",
    Grade.LEADING: "leads, not settled",
    Grade.ASTRAY: "another leads",
    Grade.WRONG: "settled, and wrong",
    None: "nothing to hold it against",
}
REWEIGHED_SHOWN = 5  # answers that weigh differently, of each case
ROWS = 40  # of more cases, only those are in the table that do worse, differ or go astray
TOLD_IN_FULL = 3  # of so many cases or fewer, each is told in full
NAME_WIDTH = 32  # characters of a case's name that are kept on one line
VALUES_LISTED = 8  # values of the rules that differ


def replay_blocks(found: Sequence[Replayed], changed: Sequence[Changed] = ()) -> list[RenderableType]:
    """A table of cases, what differs in them, and how many were right. changed: the values of the rules that differ."""
    found, changed = clean(list(found)), clean(list(changed))
    shown = found if len(found) <= ROWS else [one for one in found if _telling(one)]
    blocks: list[RenderableType] = []
    if changed:
        blocks.append(title_line("what the changed rules say otherwise"))
        blocks += [
            item(f"{c.what}: {_value(c.before)} > {_value(c.after)}  [{c.place}]") for c in changed[:VALUES_LISTED]
        ]
        blocks += _more(len(changed) - VALUES_LISTED, "value")
        blocks.append(Text())
    if shown:
        blocks.append(_table(shown[:ROWS]))
        blocks += _more(len(shown) - ROWS, "case")
    if len(shown) < len(found):
        rest = len(found) - len(shown)
        which = count(rest, "other case") if shown else f"All {rest} cases"
        blocks.append(padded_text(f"{which} as before and right, or with nothing found."))
    for one in shown[:ROWS]:
        if _in_full(one, len(found)):
            blocks += _one(one)
    blocks += _sum(found)
    if len(found) > TOLD_IN_FULL:
        blocks.append(padded_text("`cases replay CASE` tells a case in full.", QUIET, 0))
    return blocks


def _in_full(one: Replayed, of: int) -> bool:
    """Whether a case is told in full: of many, only where it is right or wrong otherwise than before."""
    return of <= TOLD_IN_FULL or one.worse or (one.changed is not None and one.changed.grade != one.today.grade)


def _value(text: str) -> str:
    return shortened(text, 60) if text else "nothing"


def _more(number: int, what: str) -> list[RenderableType]:
    return [padded_text(f"and {count(number, what)} more", QUIET)] if number > 0 else []


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
    short = max(len(line[0]) for line in lines) <= NAME_WIDTH
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
        title_line(_name(one), f"found: {one.found or 'nothing'} ({one.state or 'open'})"),
    ]
    if one.said is not None:
        blocks.append(padded_text(f"Said then: {one.said.cause}, {percent(one.said.chance)} ({one.said.kind})."))
    blocks.append(padded_text(f"Today's rules: {_long(one.today)}"))
    if one.changed is not None:
        blocks.append(padded_text(f"Changed rules: {_long(one.changed)}"))
    if one.asked_again is not None:
        blocks.append(padded_text(f"Asked again: {_long(one.asked_again)}"))
    if one.reweighed:
        blocks.append(padded_text(f"Weighs otherwise for {one.against} (today, then changed):", QUIET))
        blocks += [item(_reweighed(r)) for r in one.reweighed[:REWEIGHED_SHOWN]]
        if len(one.reweighed) > REWEIGHED_SHOWN:
            blocks.append(padded_text(f"and {count(len(one.reweighed) - REWEIGHED_SHOWN, 'other')}", QUIET, 4))
    if one.today.unread:
        blocks.append(
            padded_text("Not in today's rules, so not weighed: " + ", ".join(dict.fromkeys(one.today.unread)))
        )
    return blocks


def _long(ending: Ending) -> str:
    grade = f" {GRADES[ending.grade].capitalize()}." if ending.grade is not None else ""
    found = "" if ending.found is None else f" What was found: {percent(ending.found)}."
    took = effort_text(ending.effort.minutes, ending.effort.wait)
    when = (
        f"settled after {ending.settled} of {ending.answers} answers (looking took {took})"
        if ending.settled is not None
        else f"not settled after {count(ending.answers, 'answer')} (looking took {took})"
    )
    return f"{at_place(ending.title, ending.where)}, {percent(ending.chance)}, {when}.{grade}{found}"


def _reweighed(one: Reweighed) -> str:
    rules = " > ".join(dict.fromkeys(filter(None, (one.rule_before, one.rule_after))))
    return f"{times_text(one.before)}, then {times_text(one.after)}: {one.text}" + (f"  [{rules}]" if rules else "")


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


# ---- A case as a story -----------------------------------------------------------------------------------------------
# Blocks for a screen or a page.

BAR = 10  # characters


UNMOVED_TOGETHER = 3  # so many answers one after another that moved nothing are named together


def story_blocks(
    document: Story, blocks: bool = True, again: Ending | None = None, every: bool = False
) -> list[RenderableType]:
    """The whole story. blocks: whether block characters can be shown. again: the loop's own way, where it was asked.

    every: each answer on its own, those too that moved nothing.
    """
    s = clean(document)
    found: list[RenderableType] = [
        title_line(f"case {s.case}", f"{s.vehicle}, opened {s.opened[:10]}"),
        *([padded_text(f'"{s.complaint}"')] if s.complaint else []),
        *([padded_text("Codes: " + ", ".join(s.codes))] if s.codes else []),
    ]
    for number, part in enumerate(s.parts):
        found += _part(part, number, len(s.parts), blocks, every)
    found += _outcome(s)
    found += _hindsight(s.hindsight, clean(again) if again else None)
    found += _list("Put right afterwards", s.corrected)
    found += _list("Notes", s.notes)
    if s.unread:
        found += [
            title_line("not in these rules"),
            padded_text("Kept, and not weighed: " + ", ".join(dict.fromkeys(s.unread))),
        ]
    return found


def _part(part: StoryPart, number: int, parts: int, blocks: bool, every: bool) -> list[RenderableType]:
    found: list[RenderableType] = []
    if number:
        work = "; ".join(part.work) or "what these rules do not have"
        found += [
            Text(),
            title_line("work was done", part.finished[:10]),
            padded_text(f"{work}: {_effort(part.work_effort)} by the rules' own figures."),
        ]
    seen = _seen_since(part)
    closed = [padded_text(f"Closed as {part.ended}." + (f" {_sentence(part.confirmed)}" if part.confirmed else ""))]
    told = bool(part.ended) and number < parts - 1  # how the last part ended stands under its own heading
    if told and part.gone_on:
        found += [*seen, *closed]
        seen, told = [], False
    title = "what was asked and seen" + (f", {_ordinal(number)} work" if number else "")
    if part.moments:
        rest = "at the right: how likely what leads then is"
        found += [Text(), title_line(title, rest)]
        found += _moments(part.moments, blocks, every)
        found += _how_it_moved(part.moments, blocks)
    found += [padded_text(f"Said then: {text}") for text in dict.fromkeys(part.said)]
    return [*found, *seen, *(closed if told else [])]


def _seen_since(part: StoryPart) -> list[RenderableType]:
    """What was looked for after the work."""
    found: list[RenderableType] = []
    if part.looked:
        told = [f"{title}: {count(times, 'time')}, {clean_} clean" for title, times, clean_ in part.looked]
        found.append(padded_text("Provoked since: " + "; ".join(told) + "."))
    if part.drives:
        found.append(padded_text(f"{count(part.drives, 'drive')} counted towards the proof."))
    return found


def _ordinal(number: int) -> str:
    return "after the " + {1: "first", 2: "second", 3: "third"}.get(number, f"{number}th")


def _moments(moments: Sequence[Moment], blocks: bool, every: bool) -> list[RenderableType]:
    """Grouped by the condition they were seen in; the leader is named where it changes."""
    found: list[RenderableType] = []
    leader = ""
    for condition, group in groupby(zip(moments, _still(moments), strict=True), key=lambda pair: pair[0].condition):
        grid = Table.grid(padding=(0, 1, 0, 0), expand=True)
        grid.add_column(justify="right", width=3, no_wrap=True)
        grid.add_column(ratio=1)
        grid.add_column(width=BAR, no_wrap=True)
        grid.add_column(width=10, justify="right", no_wrap=True)
        for quiet, several in groupby(group, key=lambda pair: pair[1]):
            run = [moment for moment, _ in several]
            if quiet and len(run) >= UNMOVED_TOGETHER and not every:
                names = ", ".join(dict.fromkeys(m.text.partition(": ")[0] for m in run))
                until = f"to {run[-1].step}, " if run[-1].step > run[0].step else ""
                text = Text(f"{until}nothing moved: {names}", style=QUIET)
                grid.add_row(str(run[0].step), text, "", "")
                continue
            for moment in run:
                text = Text(moment.text)
                if moment.lead != leader:
                    leader = moment.lead
                    text.append(f"\n-> {leader} leads", style=QUIET)
                mark = "*" if moment.settled else " "
                picture = bar(moment.chance, BAR, blocks)
                grid.add_row(str(moment.step), text, picture, f"{percent(moment.chance)}{mark}")
        found += [Text(f"  {condition or 'told or read'}", style=HEAD), Padding(grid, (0, 0, 0, 2))]
    return found


def _still(moments: Sequence[Moment]) -> list[bool]:
    """Which of them changed nothing of what is shown: neither what leads, nor how likely it is, nor whether that
    settles it."""
    shown = [(m.lead, percent(m.chance), m.settled) for m in moments]
    return [number > 0 and now == shown[number - 1] for number, now in enumerate(shown)]


def _how_it_moved(moments: Sequence[Moment], blocks: bool) -> list[RenderableType]:
    """How the chance of what was found moved, as one row."""
    chances = [m.of_found for m in moments if m.of_found is not None]
    found: list[RenderableType] = []
    if any(m.settled for m in moments):
        found.append(padded_text("* from here on what to do was settled", QUIET))
    if chances:
        row = f"{steps(chances, blocks=blocks)}  {percent(chances[0])} to {percent(chances[-1])}"
        found += [padded_text("The fault that was found, answer by answer:", QUIET), Padding(Text(row), (0, 0, 0, 4))]
    return found


def _outcome(s: Story) -> list[RenderableType]:
    last = s.parts[-1]
    found: list[RenderableType] = [Text(), title_line("how it ended")]
    if s.found:
        found += [item(f"{state}: {title}") for title, state in s.found]
    else:
        found.append(padded_text(_sentence(last.ended) if last.ended else "Still open."))
    if last.confirmed:
        found.append(padded_text(f"Confirmed by: {_sentence(last.confirmed)}"))
    took = _effort(s.effort)
    work = "With the work that" if any(part.work for part in s.parts) else "That"
    return [
        *found,
        padded_text(
            f"Looking took {took}. {work} costs {s.money:.0f}, with the hour at {s.hour:.0f}. By the rules' figures."
        ),
    ]


def _hindsight(seen: Hindsight | None, again: Ending | None) -> list[RenderableType]:
    if seen is None and again is None:
        return []
    found: list[RenderableType] = [Text(), title_line("in hindsight")]
    if seen is not None and not seen.answers:
        found.append(padded_text("The codes and what was told would have been enough."))
    elif seen is not None:
        took = f"{_effort(seen.effort)} instead of {_effort(seen.of_effort)}"
        found.append(
            padded_text(
                f"With the codes and what was told, {len(seen.answers)} of {count(seen.of, 'look')} would do ({took}):"
            )
        )
        found += [item(text) for text in seen.answers]
    if again is not None:
        ends = f"{at_place(again.title, again.where)}, {percent(again.chance)}"
        how = f"{count(again.answers, 'answer')}, {_effort(again.effort)}"
        found.append(padded_text(f"Asked again by today's rules, answered from this case: {how}; {ends}."))
    return found


def _list(title: str, texts: Iterable[str]) -> list[RenderableType]:
    texts = list(texts)
    return [Text(), title_line(title), *(item(text) for text in texts)] if texts else []


def _effort(effort: Spent) -> str:
    text = effort_text(effort.minutes, effort.wait) if effort.minutes >= 1 or effort.wait >= 1 else "no time"
    return f"{text} and {effort.money:.0f} in parts" if effort.money >= 1 else text


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
