"""One step on the screen: what leads, what to do next with its cautions first, why, what else, and how to answer.

Where it all fits it is one page. Where it does not, the first page goes as far as there is room, always with the
cautions, which come before the steps; the last page is the one that asks.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from rich.console import RenderableType
from rich.text import Text

from reasoner.session.document import BeliefDoc, Question, Suspect, Way
from reasoner.session.plain import clean, effort_text, glued, harmless, shortened
from reasoner.session.words import percent, range_text
from reasoner.terminal.blocks import CARE, LEAD, QUIET, choices, first_sentence, head, numbered, para, rows, table
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
OUTCOME = 44  # letters of an outcome where lines are few
SELDOM = 0.05  # outcomes less likely than this are left to `why`
UNEVEN = 0.05  # cylinders are listed where their chances differ by at least this
LETTERS = {**KEYS, "k": "kit", "?": "help"}


@dataclass(frozen=True)
class Page:
    """Lines of one screen, and the line that asks for something to be typed."""

    lines: list[str]
    asks: str


@dataclass(frozen=True)
class Surroundings:
    """What the screen says around the question. said: what just happened. car: the condition it is in.

    known: cautions already read in full at this desk. before: how often this check was answered. asking_on: a verdict
    stands, and the person asks on.
    """

    said: tuple[str, ...] = ()
    car: str = "not known"
    answers: int = 0
    known: frozenset[str] = frozenset()
    before: int = 0
    asking_on: bool = False


def step_pages(question: Question, belief: BeliefDoc, around: Surroundings, desk: Desk) -> list[Page]:
    """The pages of a step, each at most a screen less the line for typing."""
    question, belief = clean(question), clean(belief)
    room = desk.lines - 1
    top = desk.rendered(*_top(around, desk.width))
    title, facts = desk.rendered(*_title(question)), desk.rendered(*_facts(question, around.before))
    care, reach = desk.rendered(*_care(question, around.known)), desk.rendered(*_reach(question))
    how = desk.rendered(*_how(question))
    answers = desk.rendered(*answer_blocks(question, desk.width))
    keys = desk.rendered(*key_blocks(question))

    def leading(count: int) -> list[str]:
        return desk.rendered(*belief_blocks(belief, count))

    def why(count: int) -> list[str]:
        return desk.rendered(*why_blocks(question, count))

    def instead(times: bool = True) -> list[str]:
        return desk.rendered(*_instead(question, times))

    proposed = [*title, *facts, *care, *reach]
    for suspects, outcomes, times in ((3, 2, True), (3, 2, False), (2, 2, False), (2, 1, False)):
        whole = [*top, *leading(suspects), *proposed, *how, *why(outcomes), *instead(times), *answers]
        if len(whole) <= room:
            spare = len(whole) + len(keys) <= room
            return [Page([*whole, *keys] if spare else whole, asks="> ")]

    # The first page holds the cautions whatever else has to wait, from the best to the barest.
    firsts: tuple[tuple[list[str], list[list[str]]], ...] = (
        ([*top, *leading(3), *proposed], []),
        ([*top, *leading(1), *proposed], []),
        ([*top, *proposed], [leading(2)]),
        ([*top, *title, *care], [facts, reach, leading(2)]),
        ([*title, *care], [top[1:], facts, reach, leading(2)]),
    )
    first, wait = next((pair for pair in firsts if len(pair[0]) <= room), firsts[-1])
    wait = [part for part in (*wait, how, why(3), instead()) if part]
    while wait and len(first) + len(wait[0]) <= room:
        first = [*first, *wait.pop(0)]
    left = [line for part in wait for line in part]
    then = "Enter: how to do it > " if how and how in wait else "Enter: answer > "
    ask = desk.rendered(Text(question.ask, style=LEAD))
    return [*_cut(first, room, then), *_cut([*left, *ask, *answers, *keys], room, "> ")]


def _cut(lines: list[str], room: int, asks: str) -> list[Page]:
    """Pages of at most `room` lines; only a very low screen or a very long rule needs more than one."""
    starts = range(0, len(lines), room)
    return [Page(lines[i : i + room], asks if i == starts[-1] else "Enter: more > ") for i in starts]


# ---- parts -----------------------------------------------------------------------------------------------------------


def _top(around: Surroundings, width: int) -> list[RenderableType]:
    count = "no answers yet" if not around.answers else f"{around.answers} answer{'s' * (around.answers != 1)} so far"
    line = f"-- {count} -- the car: {around.car} "
    if around.asking_on:
        line += "-- asking on past the verdict "
    return [
        Text(harmless(line).ljust(width, "-"), style=QUIET, no_wrap=True),
        *(Text(glued(harmless(s))) for s in around.said),
    ]


def belief_blocks(belief: BeliefDoc, count: int) -> list[RenderableType]:
    chances = belief.cylinders.values()
    blocks: list[RenderableType] = [head("Likeliest now"), suspect_table(belief, count)]
    if chances and max(chances) - min(chances) >= UNEVEN:
        blocks.append(para("By cylinder: " + ", ".join(f"{n}: {_short(p)}" for n, p in belief.cylinders.items())))
    return blocks


def suspect_table(belief: BeliefDoc, count: int) -> RenderableType:
    """The likeliest faults, each with its number, its chance and range, and its likeliest place."""
    suspects = belief.faults[:count]
    lines = [
        (f"{n}", s.title, _short(s.probability), f"({_signs(range_text(s.low, s.high))})", _place(s, belief))
        for n, s in enumerate(suspects, start=1)
    ]
    return table(lines, [LEAD], right=(2,))


def _short(p: float) -> str:
    return _signs(percent(p))


def _signs(chance: str) -> str:
    return chance.replace("under ", "<").replace("over ", ">")


def _place(suspect: Suspect, belief: BeliefDoc) -> str:
    if suspect.where == "engine":
        return ""
    if not suspect.where:
        return "place: open"
    there = belief.all.get(suspect.cause, suspect.probability)
    only = suspect.probability - there < 1e-9  # it has no other place on this car
    return suspect.where if only else f"{suspect.where}: {percent(there)}"


def way_text(way: Way) -> str:
    """`Fuel trim (hot restart), 3 times`."""
    text = way.title + (f" ({way.condition_title})" if way.fresh and way.condition else "")
    if way.times > 1:
        text += f", {way.times} times"
    return text


def _title(question: Question) -> list[RenderableType]:
    """The check, its question, and what has to be brought about before anything else."""
    where = f", at {next(iter(question.places.values()))}" if question.way.place is not None else ""
    blocks: list[RenderableType] = [head("Next", question.way.title + where), para(question.ask, style=LEAD)]
    if question.way.fresh:
        blocks.append(para(f"First bring about: {question.way.condition_title}."))
    return blocks


def _facts(question: Question, before: int) -> list[RenderableType]:
    """How long, what it needs, in which condition, and why now or again."""
    way = question.way
    facts = [effort_text(way.minutes, way.waiting)]
    if way.money:
        facts.append(f"about {way.money:g} in money")
    facts.append("needs " + ", ".join(question.needs) if question.needs else "no tool needed")
    if way.condition and not way.fresh and question.kind not in ("told", "code"):
        facts.append(f"as the car is now ({way.condition_title})")
    blocks: list[RenderableType] = [para("; ".join(facts).capitalize() + ".")]
    if question.before:
        blocks.append(para(f"It comes before: {question.before}. That would wipe out what this can show."))
    if way.fresh and question.condition_means:
        blocks.append(para(f"{way.condition_title.capitalize()}: {question.condition_means}"))
    if before:
        times = "once" if before == 1 else f"{before} times"
        anew = "This is a new occasion, and counts anew" if way.fresh else "Its state may be another now: look again"
        blocks.append(para(f"Answered {times} before. {anew}."))
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


def why_blocks(question: Question, count: int, in_full: bool = False) -> list[RenderableType]:
    """What the check separates: what each likely outcome would do to the belief."""
    if not question.separates:
        return []
    lines = [
        (
            _short(s.chance),
            f"{s.outcome if in_full else _brief(s.outcome)} -> {s.lead}: "
            f"{percent(s.lead_after)} (now {percent(s.lead_before)})",
        )
        for n, s in enumerate(question.separates[:count])
        if in_full or n < 2 or s.chance >= SELDOM
    ]
    return [head("Why this one", "each result, how likely it is, and what it speaks for"), rows(lines, style="")]


def _brief(outcome: str) -> str:
    """An outcome on one short line: what the rest of the places show goes first."""
    return shortened(outcome if len(outcome) <= OUTCOME else re.split(", the (?:rest|other) ", outcome)[0], OUTCOME)


def _instead(question: Question, times: bool = True) -> list[RenderableType]:
    """The next best, without their times where lines are short."""
    if not question.alternatives:
        return []
    ways = [f"{way_text(w)}, {effort_text(w.minutes, w.waiting)}" if times else w.title for w in question.alternatives]
    return [Text.assemble(("OR  ", "bold"), glued(harmless("; ".join(ways))))]


def answer_blocks(question: Question, width: int) -> list[RenderableType]:
    """The ways to answer."""
    others = [("m", f"work it out ({question.works_out.by})")] if question.works_out else []
    none = choices([("d" if question.reading else "0", "can't tell"), ("x", "can't do it"), *others], width)
    if question.reading:
        return [head("Answer", "h: help"), para(_reading_hint(question)), none]
    codes = "Or the whole list as it stands on the reader (P0172 pending, P0301), or none. It answers them all at once."
    blocks: list[RenderableType] = [head("Answer", "h: help")]
    blocks.append(choices(numbered(o.text for o in question.outcomes), width))
    if len(question.places) > 1:
        blocks.append(by_place(question.at, question.places, len(question.outcomes) == 2 < max(question.places)))
    if question.lists_codes:
        blocks.append(para(codes, style=QUIET))
    return [*blocks, none]


def by_place(at: str, places: Mapping[int, str], bare: bool = False) -> RenderableType:
    """How to answer where each place has its own outcome. bare: the number of the last place alone will do."""
    last = list(places)[-1]
    such = f"{last}=2 or just {last}" if bare else f"{last}=2"
    return para(f"By {at}, such as {such}. One not named is 1. Nothing found anywhere: all=1", style=QUIET)


def _reading_hint(question: Question) -> str:
    assert question.reading is not None
    unit, words = question.reading.unit, ", ".join(o.name for o in question.outcomes)
    if len(question.places) > 1:
        shape = " ".join(f"{p}=.." for p in question.places)
        return f"The number in {unit} by {question.at} ({shape}), or by words ({shape.replace('..', 'word')}): {words}"
    return f"The number in {unit}, or a word: {words}"


def key_blocks(question: Question) -> list[RenderableType]:
    taken = yes_or_no(question)
    names = {("note" if k == "n" and taken else k): name for k, name in KEYS.items()}
    text = "  ".join(k if k == name else f"{k} {name}" for k, name in names.items())
    return [Text(text, style=QUIET)]


def yes_or_no(question: Question) -> bool:
    """Whether `y` and `n` are answers here."""
    return {"yes", "no"} <= {o.name for o in question.outcomes}
