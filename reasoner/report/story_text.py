"""A case as a story: blocks for a screen or a page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from reasoner.history.replay import Ending
from reasoner.history.story import Hindsight, Moment, Story, StoryPart
from reasoner.report.pictures import bar, steps
from reasoner.report.shapes import HEAD, QUIET, count, head, item, para
from reasoner.session.effort import Spent
from reasoner.session.plain import clean, effort_text
from reasoner.session.words import percent

BAR = 10  # characters


STILL = 3  # so many answers one after another that moved nothing are named together


def story_blocks(
    document: Story, blocks: bool = True, again: Ending | None = None, every: bool = False
) -> list[RenderableType]:
    """The whole story. blocks: whether block characters can be shown. again: the loop's own way, where it was asked.

    every: each answer on its own, those too that moved nothing.
    """
    s = clean(document)
    found: list[RenderableType] = [
        head(f"case {s.case}", f"{s.vehicle}, opened {s.opened[:10]}"),
        *([para(f'"{s.complaint}"')] if s.complaint else []),
        *([para("Codes: " + ", ".join(s.codes))] if s.codes else []),
    ]
    for number, part in enumerate(s.parts):
        found += _part(part, number, len(s.parts), blocks, every)
    found += _outcome(s)
    found += _hindsight(s.hindsight, clean(again) if again else None)
    found += _list("Put right afterwards", s.corrected)
    found += _list("Notes", s.notes)
    if s.unread:
        found += [head("not in these rules"), para("Kept, and not weighed: " + ", ".join(dict.fromkeys(s.unread)))]
    return found


def _part(part: StoryPart, number: int, parts: int, blocks: bool, every: bool) -> list[RenderableType]:
    found: list[RenderableType] = []
    if number:
        work = "; ".join(part.work) or "what these rules do not have"
        found += [
            Text(),
            head("work was done", part.finished[:10]),
            para(f"{work}: {_effort(part.work_effort)} by the rules' own figures."),
        ]
    seen = _seen_since(part)
    closed = [para(f"Closed as {part.ended}." + (f" {_sentence(part.confirmed)}" if part.confirmed else ""))]
    told = bool(part.ended) and number < parts - 1  # how the last part ended stands under its own heading
    if told and part.gone_on:
        found += [*seen, *closed]
        seen, told = [], False
    title = "what was asked and seen" + (f", {_ordinal(number)} work" if number else "")
    if part.moments:
        rest = "at the right: how likely what leads then is"
        found += [Text(), head(title, rest)]
        found += _moments(part.moments, blocks, every)
        found += _moved(part.moments, blocks)
    found += [para(f"Said then: {text}") for text in dict.fromkeys(part.said)]
    return [*found, *seen, *(closed if told else [])]


def _seen_since(part: StoryPart) -> list[RenderableType]:
    """What was looked for after the work."""
    found: list[RenderableType] = []
    if part.looked:
        told = [f"{title}: {times} times, {clean_} clean" for title, times, clean_ in part.looked]
        found.append(para("Provoked since: " + "; ".join(told) + "."))
    if part.drives:
        found.append(para(f"{count(part.drives, 'drive')} counted towards the proof."))
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
            if quiet and len(run) >= STILL and not every:
                names = ", ".join(dict.fromkeys(m.text.partition(": ")[0] for m in run))
                text = Text(f"to {run[-1].step}, nothing moved: {names}", style=QUIET)
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


def _moved(moments: Sequence[Moment], blocks: bool) -> list[RenderableType]:
    """How the chance of what was found moved, as one row."""
    chances = [m.of_found for m in moments if m.of_found is not None]
    found: list[RenderableType] = []
    if any(m.settled for m in moments):
        found.append(para("* from here on what to do was settled", QUIET))
    if chances:
        row = f"{steps(chances, blocks=blocks)}  {percent(chances[0])} to {percent(chances[-1])}"
        found += [para("The fault that was found, answer by answer:", QUIET), Padding(Text(row), (0, 0, 0, 4))]
    return found


def _outcome(s: Story) -> list[RenderableType]:
    last = s.parts[-1]
    found: list[RenderableType] = [Text(), head("how it ended")]
    if s.found:
        found += [item(f"{state}: {title}") for title, state in s.found]
    else:
        found.append(para(_sentence(last.ended) if last.ended else "Still open."))
    if last.confirmed:
        found.append(para(f"Confirmed by: {_sentence(last.confirmed)}"))
    took = _effort(s.effort)
    work = "With the work that" if any(part.work for part in s.parts) else "That"
    return [
        *found,
        para(f"Looking took {took}. {work} costs {s.money:.0f}, with the hour at {s.hour:.0f}. By the rules' figures."),
    ]


def _hindsight(seen: Hindsight | None, again: Ending | None) -> list[RenderableType]:
    if seen is None and again is None:
        return []
    found: list[RenderableType] = [Text(), head("in hindsight")]
    if seen is not None and not seen.answers:
        found.append(para("The codes and what was told would have been enough."))
    elif seen is not None:
        took = f"{_effort(seen.effort)} instead of {_effort(seen.of_effort)}"
        found.append(
            para(
                f"With the codes and what was told, {len(seen.answers)} of {count(seen.of, 'look')} would do ({took}):"
            )
        )
        found += [item(text) for text in seen.answers]
    if again is not None:
        ends = f"{again.title}{'' if again.where in ('engine', '') else ', ' + again.where}, {percent(again.chance)}"
        how = f"{count(again.answers, 'answer')}, {_effort(again.effort)}"
        found.append(para(f"Asked again by today's rules, answered from this case: {how}; {ends}."))
    return found


def _list(title: str, texts: Iterable[str]) -> list[RenderableType]:
    texts = list(texts)
    return [Text(), head(title), *(item(text) for text in texts)] if texts else []


def _effort(effort: Spent) -> str:
    text = effort_text(effort.minutes, effort.wait) if effort.minutes >= 1 or effort.wait >= 1 else "no time"
    return f"{text} and {effort.money:.0f} in parts" if effort.money >= 1 else text


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")
