"""One step on the screen: what leads, what to do next with its cautions first, why, what else, and how to answer.

Where it all fits it is one page. Where it does not, the page breaks before the steps, so that cautions are always
read first, and the last page is the one that asks.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rich.console import RenderableType
from rich.text import Text

from reasoner.session.document import BeliefDoc, Question, Suspect, Way
from reasoner.session.plain import clean, effort_text, harmless, range_text
from reasoner.session.words import percent
from reasoner.terminal.blocks import CARE, LEAD, QUIET, choices, first_sentence, head, para, rows, table
from reasoner.terminal.desk import Desk

KEYS = {
    "b": "back",
    "w": "why",
    "t": "tell",
    "o": "other",
    "c": "changed",
    "n": "note",
    "v": "verdict",
    "s": "stop",
    "h": "help",
}
LETTERS = {**KEYS, "k": "kit", "?": "help"}


@dataclass(frozen=True)
class Surroundings:
    """What the screen says around the question. said: what just happened. car: the condition it is in.

    known: cautions already read in full at this desk. asking_on: a verdict stands, and the person asks on.
    """

    said: tuple[str, ...] = ()
    car: str = "not known"
    answers: int = 0
    known: frozenset[str] = frozenset()
    asking_on: bool = False


def step_pages(question: Question, belief: BeliefDoc, around: Surroundings, desk: Desk) -> list[list[str]]:
    """The pages of a step, each at most a screen less the line for typing."""
    question, belief = clean(question), clean(belief)
    room = desk.lines - 1
    top = desk.rendered(*_top(question, around, desk.width))
    proposed = desk.rendered(*_proposed(question), *_care(question, around.known), *_reach(question))
    how = desk.rendered(*_how(question))
    ask = desk.rendered(*ask_blocks(question, desk.width))
    keys = desk.rendered(*key_blocks(question, desk.width))
    instead = desk.rendered(*_instead(question))

    def leading(count: int) -> list[str]:
        return desk.rendered(*belief_blocks(belief, count))

    def why(count: int) -> list[str]:
        return desk.rendered(*why_blocks(question, count))

    for suspects, outcomes in ((3, 2), (3, 1), (2, 1)):
        whole = [*top, *leading(suspects), *proposed, *how, *why(outcomes), *instead, *ask, *keys]
        if len(whole) <= room:
            return [whole]
    first = _first_that_fits(room, ([*top, *leading(n), *proposed] for n in (3, 1)), [*top, *proposed])
    moved = leading(2) if len(first) == len(top) + len(proposed) else []
    last = _first_that_fits(
        room, ([*moved, *how, *why(n), *instead, *ask, *keys] for n in (3, 2, 1)), [*moved, *how, *instead, *ask, *keys]
    )
    return [*_cut(first, room), *_cut(last, room)]


def _first_that_fits(room: int, pages: Iterable[list[str]], otherwise: list[str]) -> list[str]:
    return next((page for page in pages if len(page) <= room), otherwise)


def _cut(lines: list[str], room: int) -> list[list[str]]:
    return [lines[i : i + room] for i in range(0, len(lines), room)]


# ---- parts -----------------------------------------------------------------------------------------------------------


def _top(question: Question, around: Surroundings, width: int) -> list[RenderableType]:
    count = "no answers yet" if not around.answers else f"{around.answers} answer{'s' * (around.answers != 1)} so far"
    line = f"-- {count} -- the car: {around.car} "
    if around.asking_on:
        line += "-- asking on past the verdict "
    return [
        Text(harmless(line).ljust(width, "-"), style=QUIET, no_wrap=True),
        *(Text(harmless(s)) for s in around.said),
    ]


def belief_blocks(belief: BeliefDoc, count: int) -> list[RenderableType]:
    """The likeliest faults, each with its chance and range, and its likeliest place."""
    suspects = belief.faults[:count]
    lines = [
        (f"{n}", s.title, percent(s.probability), f"({range_text(s.low, s.high)})", _place(s, belief))
        for n, s in enumerate(suspects, start=1)
    ]
    return [head("Likeliest now"), table(lines, [LEAD], right=(2,))]


def _place(suspect: Suspect, belief: BeliefDoc) -> str:
    if suspect.where == "engine":
        return ""
    if not suspect.where:
        return "which one: open"
    return f"{suspect.where}: {percent(belief.all.get(suspect.cause, suspect.probability))}"


def way_text(way: Way) -> str:
    """`Fuel trim, in hot restart, 3 times`."""
    text = way.title
    if way.condition:
        text += f", in {way.condition_title}" if way.fresh else ""
    if way.times > 1:
        text += f", {way.times} times"
    return text


def _proposed(question: Question) -> list[RenderableType]:
    way = question.way
    where = next(iter(question.places.values())) if way.place is not None else ""
    facts = [effort_text(way.minutes, way.waiting)]
    if way.money:
        facts.append(f"about {way.money:g} in money")
    facts.append("needs " + ", ".join(question.needs) if question.needs else "no tool needed")
    title = way.title + (f", at {where}" if where else "")
    blocks: list[RenderableType] = [head("Next", title)]
    if question.before:
        blocks.append(para(f"Before {question.before}, which would wipe out what this can show."))
    if way.fresh:
        blocks.append(para(f"First bring about: {way.condition_title}. {question.condition_means}"))
    elif way.condition:
        facts.append(f"as the car is now ({way.condition_title})")
    blocks.append(para("; ".join(facts).capitalize() + "."))
    if way.times > 1:
        blocks.append(
            para(
                f"Worth doing {way.times} times, each time anew: what comes and goes is easily missed, "
                "so one look that finds nothing says little."
            )
        )
    return blocks


def _care(question: Question, known: frozenset[str]) -> list[RenderableType]:
    if not question.cautions:
        return []
    short = [text in known and first_sentence(text) != text for text in question.cautions]
    texts = [first_sentence(t) if s else t for t, s in zip(question.cautions, short, strict=True)]
    title = head("Take care first", "(in full: care)" if any(short) else "", style=CARE)
    return [title, rows([("!", text) for text in texts], style=CARE)]


def _reach(question: Question) -> list[RenderableType]:
    if not question.bring_about:
        return []
    return [head("Bring it about"), para(question.bring_about)]


def _how(question: Question) -> list[RenderableType]:
    return [head("How"), para(question.how)] if question.how.strip() else []


def why_blocks(question: Question, count: int) -> list[RenderableType]:
    """What the check separates: what each likely outcome would do to the belief."""
    if not question.separates:
        return []
    lines = [
        (
            f"{percent(s.chance)}",
            f"{s.outcome}: {s.lead} goes from {percent(s.lead_before)} to {percent(s.lead_after)}",
        )
        for s in question.separates[:count]
    ]
    return [head("Why this one", "chance of each outcome, and who gains by it"), rows(lines, style="")]


def _instead(question: Question) -> list[RenderableType]:
    if not question.alternatives:
        return []
    ways = [f"{way_text(w)} ({effort_text(w.minutes, w.waiting)})" for w in question.alternatives]
    return [Text.assemble(("OR  ", "bold"), harmless("; ".join(ways)))]


def ask_blocks(question: Question, width: int) -> list[RenderableType]:
    """The question itself and the ways to answer it."""
    several = len(question.places) > 1
    blocks: list[RenderableType] = [Text("")] if question.how.strip() or question.separates else []
    blocks.append(Text(harmless(question.ask), style=LEAD))
    none = [("d" if question.reading else "0", "can't tell"), ("x", "can't do it")]
    if question.reading:
        blocks.append(para(_reading_hint(question)))
        blocks.append(choices(none, width))
        return blocks
    pairs = [(str(n), o.text) for n, o in enumerate(question.outcomes, start=1)]
    blocks.append(choices([*pairs, *none], width))
    if several:
        last = list(question.places)[-1]
        blocks.append(
            para(f"By {question.at}, such as {last}=2. One not named is 1. Nothing found anywhere: all=1", style=QUIET)
        )
    return blocks


def _reading_hint(question: Question) -> str:
    assert question.reading is not None
    unit, words = question.reading.unit, ", ".join(o.name for o in question.outcomes)
    if len(question.places) > 1:
        shape = " ".join(f"{p}=.." for p in question.places)
        return f"The number in {unit} by {question.at} ({shape}), or by words ({shape.replace('..', 'word')}): {words}"
    return f"The number in {unit}, or a word: {words}"


def key_blocks(question: Question, width: int) -> list[RenderableType]:
    taken = yes_or_no(question)
    names = {("note" if k == "n" and taken else k): name for k, name in KEYS.items()}
    text = "  ".join(k if k == name else f"{k} {name}" for k, name in names.items())
    return [Text(text, style=QUIET)]


def yes_or_no(question: Question) -> bool:
    """Whether `y` and `n` are answers here."""
    return {"yes", "no"} <= {o.name for o in question.outcomes}
