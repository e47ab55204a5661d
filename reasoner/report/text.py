"""A verdict, or why a suspect stands where it stands, as text: 80 columns, wide, with or without styles, piped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from io import StringIO
from itertools import groupby
from typing import Protocol, TextIO

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from reasoner.report.shapes import CARE, HEAD, QUIET, count
from reasoner.session.document import Reason, Suspect, Verdict, Way, Why
from reasoner.session.plain import clean, effort_text, glued, unglued
from reasoner.session.words import at_place, founded, percent, place_text, range_text

WIDEST_PAGE = 100
FOR, AGAINST, CHANGES = 2, 1, 2  # answers for and against, and checks that could change it, on the one screen

# What an answer does to the odds is kept in decibans (tenfold odds: 10), the scale of Turing and Good (I. J. Good,
# Biometrika 66:393-396, 1979, as given in secondary texts); on the screen it is said in words.
SHOWN_FROM = 0.5
SCALE = "How much likelier each answer makes it, against all the rest together."
TOO_WIDE = "thin"  # so wide a range of a chance says nothing beside it
KINDS_WITHOUT_WORK = ("test", "watch", "hand on")  # courses without work


class Pager(Protocol):
    """What blocks are shown with, a page at a time."""

    def page(self, *blocks: RenderableType) -> None: ...


class RichPages:
    """What the question loop shows a verdict and a reason with."""

    def verdict(self, document: Verdict, console: Pager) -> None:
        console.page(*verdict_blocks(document))

    def why(self, document: Why, console: Pager) -> None:
        console.page(*why_page(document))


def write(document: Verdict | Why, out: TextIO, width: int = 80, colour: bool = False) -> None:
    """A document to a stream, all at once."""
    text = StringIO()
    console = Console(
        file=text,
        width=min(width, WIDEST_PAGE),
        force_terminal=colour,
        color_system="standard" if colour else None,
        no_color=not colour,
        highlight=False,
        markup=False,
        emoji=False,
        legacy_windows=False,
        _environ={},
    )
    for block in verdict_blocks(document) if isinstance(document, Verdict) else why_page(document):
        console.print(block)
    out.write("".join(line.rstrip() + "\n" for line in unglued(text.getvalue()).splitlines()))


# ---- the verdict -----------------------------------------------------------------------------------------------------


def verdict_blocks(document: Verdict) -> list[RenderableType]:
    """One screen: cause, place, how sure; what to do next, and what must be looked at before; why, in short; what is
    open, and what would change it. Every answer's weight is under `why`; steps and cautions are on the repair sheet."""
    v = clean(document)
    return [
        _rule(_title(v)),
        Text(glued(v.sentence), style=HEAD),
        *_how_sure(v),
        *_not_explained(v),
        *_conflict(v),
        *_to_do(v),
        *_why_in_short(v),
        *_left_open(v),
        *_unsure(v),
        *_would_change(v),
        *_section("Driving on", v.driving_on),
    ]


def _title(v: Verdict) -> str:
    spent = f": {effort_text(v.minutes_spent, v.waiting_spent)}" if v.minutes_spent >= 1 else ""
    return f"{'so far' if v.kind == 'stopped' else 'verdict'}, after {count(v.answers, 'answer')}{spent}"


def _how_sure(v: Verdict) -> list[RenderableType]:
    lines = [(_name(v.fault, with_place=False), _how_likely(v.fault))]
    elsewhere = v.fault.probability - v.lead.probability > 1e-9
    if v.lead.where not in ("engine", "") and v.lead.fault == v.fault.fault and elsewhere:
        lines.append((f"and that on {place_text(v.lead.where)}", _how_likely(v.lead, range_said=True)))
    return [_table(lines)]


def _not_explained(v: Verdict) -> list[RenderableType]:
    if not v.not_explained:
        return []
    told = "it may have a cause of its own: look at it before the car goes"
    return [_head("Not explained by it", CARE, told), *(_item("-", text) for text in v.not_explained)]


def _conflict(v: Verdict) -> list[RenderableType]:
    """Only where the answers speak against each other: then it comes before anything is done about the verdict."""
    found = v.surprise
    if found.bits <= 0 or found.explained or not found.disagreeing:
        return []
    return [
        _head("These answers do not fit together", CARE),
        *(_item("!", text) for text in found.disagreeing),
        _para("One may be a slip, or there are two faults, or one these rules do not know. Look again at these first."),
    ]


def _to_do(v: Verdict) -> list[RenderableType]:
    """What is recommended, after what must be looked at before; no repair where none is."""
    if v.kind == "stopped" or v.choice in KINDS_WITHOUT_WORK:
        if v.kind == "watch":
            return [_head("Replace nothing"), _para(f"{v.course}.")]
        course = "" if v.kind == "stopped" else f"{v.course}. "
        text = f"{course}If it turns out to be the likeliest one: {v.repair_title}."
        return [_head("Replace nothing on this alone"), _para(text)]
    blocks: list[RenderableType] = []
    if v.wanted_first:
        blocks += [_head("Before anything is replaced", CARE), *(_item("-", text) for text in v.wanted_first)]
    sheet = "The steps, each with its cautions first, and what proves it: on the repair sheet."
    next_step = "If something is to be done now" if v.kind == "nothing-worth" else "What to do next"
    return [*blocks, _head(next_step), _para(f"{v.course}."), _para(sheet, QUIET)]


def _why_in_short(v: Verdict) -> list[RenderableType]:
    """The strongest answers for it and against it."""
    told = [*v.spoke_for[:FOR], *v.spoke_against[:AGAINST]]
    more = len(v.spoke_for) + len(v.spoke_against) - len(told)
    return _weights("Why", told, short=True, rest=f"w: {count(more, 'more answer')}" if more else "")


def _left_open(v: Verdict) -> list[RenderableType]:
    """Each fault once, with its places where those are what is open."""
    if not v.open:
        return []
    named = [
        ", ".join([title, *(f"{place_text(s.where)} ({percent(s.probability)})" for s in several)])
        if several[0].where not in ("engine", "")
        else f"{title} ({percent(several[0].probability)})"
        for title, several in ((title, list(group)) for title, group in groupby(v.open, lambda s: s.title))
    ]
    return [_head("Left open"), _para(f"{'; '.join(named)}.")]


def _unsure(v: Verdict) -> list[RenderableType]:
    if not v.unsure:
        return []
    told = "a sure answer would count for more"
    return [_head("Answered without being sure", rest=told), *(_item("-", text) for text in v.unsure[:FOR])]


def _would_change(v: Verdict) -> list[RenderableType]:
    blocks: list[RenderableType] = []
    if v.would_change:
        blocks += [_head("What could still change it"), *(_item("-", _way(w)) for w in v.would_change[:CHANGES])]
    if v.out_of_reach:
        blocks += [_head("Would say more, with the tool for it"), *(_item("-", _way(w)) for w in v.out_of_reach[:1])]
    return blocks


# ---- why -------------------------------------------------------------------------------------------------------------


def why_page(document: Why) -> list[RenderableType]:
    """Where a suspect started, and what each answer did to it, strongest first, with the rule behind it."""
    w = clean(document)
    because = f" {w.prior_because}" if w.prior_because else ""
    moved = [r for r in w.reasons if abs(r.decibans) >= SHOWN_FROM]
    still = len(w.reasons) - len(moved)
    lines = [(_name(w.suspect), _chance(w.suspect))]
    if w.fault.probability - w.suspect.probability > 1e-9:
        lines.append(("the same fault, wherever it sits", _chance(w.fault)))
    blocks = [
        _head("Why it stands where it stands"),
        _table(lines),
        _para(f"Before any answer: {percent(w.prior)}.{because}"),
        _para(f"rule: {w.prior_rule}", QUIET),
        *_weights("For it", [r for r in moved if r.decibans > 0]),
        *_weights("Against it", [r for r in moved if r.decibans < 0]),
    ]
    if not w.reasons:
        return [*blocks, _para("No answer has moved it yet.")]
    if still:
        blocks.append(_para("What else was said or seen moved it by less than can be felt.", QUIET))
    return [*blocks, _para(SCALE, QUIET)] if moved else blocks


def _weights(title: str, reasons: Sequence[Reason], short: bool = False, rest: str = "") -> list[RenderableType]:
    """Answers with how much likelier or less likely they make it. short=False: with the rules behind them. rest: beside
    the title."""
    if not reasons:
        return []
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column()
    for reason in reasons:
        text = Text(glued(reason.text))
        if not short:
            source = f"{reason.because} " if reason.because else ""
            text.append(f"\n{source}rule: {reason.rule} ({reason.source})", style=QUIET)
        grid.add_row(Text(times_text(reason.decibans)), text)
    return [_head(title, rest=rest), Padding(grid, (0, 0, 0, 2))]


def times_text(decibans: float) -> str:
    """What an answer does to the odds, in words: `twice as likely`, `10 times less likely`."""
    factor = 10.0 ** (abs(decibans) / 10.0)
    if factor < 1.25:
        return "a little likelier" if decibans > 0 else "a little less likely"
    if factor < 1.75:
        return "1.5 times as likely" if decibans > 0 else "1.5 times less likely"
    if factor < 2.5:
        return "twice as likely" if decibans > 0 else "half as likely"
    times = f"{factor:.0f}" if factor < 100 else "over 100"
    return f"{times} times as likely" if decibans > 0 else f"{times} times less likely"


# ---- shapes ----------------------------------------------------------------------------------------------------------


def _name(suspect: Suspect, with_place: bool = True) -> str:
    return at_place(suspect.title, suspect.where if with_place else "")


def _how_likely(suspect: Suspect, range_said: bool = False) -> str:
    """The chance, with its range where that is narrow enough to go by; else in a word, once."""
    if founded(suspect.low, suspect.high) != TOO_WIDE:
        return _chance(suspect)
    if range_said:
        return percent(suspect.probability)
    return f"{percent(suspect.probability)}, thinly founded (w: its range)"


def _chance(suspect: Suspect) -> str:
    return f"{percent(suspect.probability)} ({range_text(suspect.low, suspect.high)})"


def _way(way: Way) -> str:
    where = f" ({way.condition_title})" if way.condition and way.fresh else ""
    times = f", {way.times} times" if way.times > 1 else ""
    lacks = f"; needs {', '.join(way.lacks)}" if way.lacks else ""
    return f"{way.title}{where}{times}: {effort_text(way.minutes, way.waiting)}{lacks}"


def _rule(text: str) -> Text:
    return Text(f"-- {text} --", style=QUIET)


def _head(title: str, style: str = HEAD, rest: str = "") -> Text:
    text = Text(title.upper(), style=style)
    return text.append("  " + rest, style="not bold default") if rest else text


def _para(text: str, style: str = "") -> Padding:
    return Padding(Text(glued(" ".join(text.split())), style=style), (0, 0, 0, 2))


def _section(title: str, text: str) -> list[RenderableType]:
    return [_head(title), _para(text)] if text.strip() else []


def _item(sign: str, text: str, style: str = "") -> Padding:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_row(Text(sign, style=style or HEAD), Text(glued(" ".join(text.split()))))
    return Padding(grid, (0, 0, 0, 2))


def _table(lines: Iterable[tuple[str, str]]) -> Padding:
    grid = Table.grid(padding=(0, 2, 0, 0))
    for left, right in lines:
        grid.add_row(Text(glued(left)), Text(glued(right)))
    return Padding(grid, (0, 0, 0, 2))
