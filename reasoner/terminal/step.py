"""One step on the screen: what leads, what to do next with its cautions first, why, what else, and how to answer.

One page where it fits. New cautions come on a page of their own before it, in full; the page that asks always has the
suspects and the whole list of answers.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from rich.console import RenderableType
from rich.text import Text

from reasoner.rulebook.model import Rulebook
from reasoner.session.document import BeliefDoc, Move, Question, Separation, Suspect, Way
from reasoner.session.plain import clean, effort_text, glued, harmless
from reasoner.session.words import founded, percent, place_text, range_text
from reasoner.terminal.blocks import (
    CARE,
    LEAD,
    QUIET,
    choices_block,
    first_clause,
    first_sentence,
    head,
    numbered,
    para,
    rows,
    table,
)
from reasoner.terminal.console import Console
from reasoner.terminal.replies import first_word

QUESTION_KEYS = {
    "b": "undo",
    "h": "help",
    "w": "why",
    "t": "tell",
    "l": "live",
    "o": "other",
    "c": "changed",
    "v": "verdict",
    "s": "stop",
}
ORDER = ("top", "leading", "title", "facts", "care", "reach", "how", "why", "there", "instead", "answers", "keys")
FIRST = ("care", "reach", "facts")  # read before anything is done
LEAST_SUSPECTS = 3  # suspects on the screen, whatever else has to wait
FACTOR = 3.0  # and all that are not less likely than the first by more than this
FRAME_PROMPT = "Or the whole frame in one line: rpm 780 load 24 ect 92 stft -12 ltft -14"
TO_ANSWERS, MORE = "Enter: to the answers, b undo, h help > ", "Enter: more, b undo, h help > "
EARLIER = 3  # earlier readings beside a question
SELDOM = 0.05  # outcomes less likely than this are left to `why`
UNEVEN = 0.05  # cylinders are listed where their chances differ by at least this
ALL_LETTERS = {**QUESTION_KEYS, "b": "back", "f": "frame", "n": "note", "k": "kit", "?": "help"}


@dataclass(frozen=True)
class Page:
    """Lines of one screen, and the line that asks for something to be typed."""

    lines: list[str]
    asks: str


@dataclass(frozen=True)
class Surroundings:
    """What the screen says around the question. said: what just happened. car: the condition it is in.

    known: cautions already read in full at this console. before: how often this check was answered. asking_on: a
    verdict stands, and the person asks on. one_by_one: the check is done place by place.
    """

    said: tuple[str, ...] = ()
    car: str = "not known"
    answers: int = 0
    known: frozenset[str] = frozenset()
    before: int = 0
    asking_on: bool = False
    one_by_one: bool = False


def step_pages(question: Question, belief: BeliefDoc, around: Surroundings, console: Console) -> list[Page]:
    """The pages of a step, each at most a screen less the line for typing.

    The last page always has suspects, question, the whole list of answers and the keys. Cautions that are new come on
    a page before it, in full and before the steps they are about; so does whatever must be read and has no room beside
    the answers, and what was just said where that is long.
    """
    question, belief = clean(question), clean(belief)
    room, show = console.lines - 1, console.rendered
    parts: dict[str, list[str]] = {
        "top": show(*_top(around, console.width)),
        "title": show(*_title(question, around.car)),
        "care": show(*_care(question, around.known)),
        "reach": show(*_reach(question)),
        "facts": show(*_facts(question, around.before)),
        "how": show(*_how(question)),
        "answers": show(*answer_blocks(question, console.width, around.one_by_one)),
        "leading": show(*belief_blocks(belief, LEAST_SUSPECTS, cylinders=False)),
        "keys": show(*key_blocks()),
    }
    why = show(*why_blocks(question, 1))
    at_least = [("why", show(head("Why this one", "w says it")))] if why else []  # where there is no room for more
    wished = [  # for the last page, the most wanted first
        *((name, parts[name]) for name in FIRST),
        ("why", why),
        ("leading", show(*belief_blocks(belief, LEAST_SUSPECTS))),
        *(("leading", show(*belief_blocks(belief, n))) for n in range(LEAST_SUSPECTS + 1, close_suspects(belief) + 1)),
        ("why", show(*why_blocks(question, 2))),
        ("instead", show(*_instead(question, times=False))),
        ("how", parts["how"]),
        ("there", show(*_there_too(question))),
        ("instead", show(*_instead(question))),
    ]
    needed = {name: parts.pop(name) for name in (*FIRST, "how")}
    new = any(text not in around.known for text in question.cautions)
    last = _filled(parts, [] if new else wished, room)
    if not new and all(name in last for name in (*FIRST, "why")):
        return _cut(_in_order(last), room, "> ")
    bare = {**parts, "top": show(*_top(replace(around, said=()), console.width))}
    last = _filled(bare, [*at_least, *((name, lines) for name, lines in wished if name not in FIRST)], room)
    first = _filled({"top": parts["top"], "title": parts["title"], **needed, "how": []}, [("how", needed["how"])], room)
    if "how" in last:
        first["how"] = []
    return [*_cut(_in_order(first), room, TO_ANSWERS), *_cut(_in_order(last), room, "> ")]


def _filled(parts: Mapping[str, list[str]], wished: Iterable[tuple[str, list[str]]], room: int) -> dict[str, list[str]]:
    """The parts of a page, with each wished one that still has room; a later one of the same name takes its place."""
    found = dict(parts)
    for name, lines in wished:
        rest = sum(len(own) for key, own in found.items() if key != name)
        if rest + len(lines) <= room:
            found[name] = lines
    return found


def _in_order(parts: Mapping[str, list[str]]) -> list[str]:
    return [line for name in ORDER for line in parts.get(name, ())]


def close_suspects(belief: BeliefDoc) -> int:
    """How many suspects belong on the screen: all within a factor of three of the first, three at least."""
    chances = [suspect.probability for suspect in belief.faults]
    return max(LEAST_SUSPECTS, sum(p >= chances[0] / FACTOR for p in chances)) if chances else LEAST_SUSPECTS


def _cut(lines: list[str], room: int, asks: str) -> list[Page]:
    """Pages of at most `room` lines; only a very low screen or a very long rule needs more than one."""
    starts = range(0, len(lines), room)
    return [Page(lines[i : i + room], asks if i == starts[-1] else MORE) for i in starts]


# ---- parts -----------------------------------------------------------------------------------------------------------


def _top(around: Surroundings, width: int) -> list[RenderableType]:
    count = "no answers yet" if not around.answers else f"{around.answers} answer{'s' * (around.answers != 1)} so far"
    past = "-- past the verdict " if around.asking_on else ""  # before the car, whose state may be long and is cut last
    line = f"-- {count} {past}-- the car: {around.car} "
    return [
        Text(harmless(line).ljust(width, "-"), style=QUIET, no_wrap=True),
        *(Text(glued(harmless(s))) for s in around.said),
    ]


def belief_blocks(belief: BeliefDoc, count: int, cylinders: bool = True) -> list[RenderableType]:
    """The likeliest suspects, at most `count`, and the cylinders where they differ."""
    chances = belief.cylinders.values()
    blocks: list[RenderableType] = [head("Likeliest now", "the chance, and how well it is founded")]
    blocks.append(suspect_table(belief, count))
    if cylinders and chances and max(chances) - min(chances) >= UNEVEN:
        each = ", ".join(f"{n}: {_short(p)}" for n, p in belief.cylinders.items())
        both = "; two at once count at both" if sum(chances) > 1 else ""
        blocks.append(para(f"At a cylinder, whatever it is there: {each}{both}"))
    return blocks


def suspect_table(belief: BeliefDoc, count: int, ranges: bool = False) -> RenderableType:
    """The likeliest faults, each with its number, its chance, how well that is founded, and its likeliest place; and
    what is in no rule, where it is not among them. ranges: the range itself as well.
    """
    suspects = list(belief.faults[:count])
    marks = [str(number) for number in range(1, len(suspects) + 1)]
    other = belief.anything_else
    if other is not None and other.fault not in [s.fault for s in suspects]:
        suspects, marks = [*suspects, other], [*marks, "-"]
    lines = [
        (
            mark,
            s.title,
            _short(s.probability),
            f"{founded(s.low, s.high)}{_range(s) if ranges else ''}",
            _place(s, belief),
        )
        for mark, s in zip(marks, suspects, strict=True)
    ]
    return table(lines, [LEAD], right=(2,))


def _range(suspect: Suspect) -> str:
    return f" ({range_text(suspect.low, suspect.high)})"


def _short(p: float) -> str:
    return _signs(percent(p))


def _signs(chance: str) -> str:
    return chance.replace("under ", "<").replace("over ", ">")


def _place(suspect: Suspect, belief: BeliefDoc) -> str:
    if suspect.where == "engine":
        return ""
    if not suspect.where:
        return "place not known"
    there = belief.all.get(suspect.cause, suspect.probability)
    where, chance = place_text(suspect.where), percent(there)
    alone = chance == percent(suspect.probability)  # it is hardly ever at another place, or never
    return where if alone else f"{where}: {chance}"


def way_text(way: Way) -> str:
    """`Fuel trim (hot restart), 3 times`."""
    text = way.title + (f" ({way.condition_title})" if way.fresh and way.condition else "")
    if way.times > 1:
        text += f", {way.times} times"
    return text


def _title(question: Question, car: str) -> list[RenderableType]:
    """The check, its question, and what has to be brought about before anything else: anew where the car is in it."""
    where = f", at {next(iter(question.places.values()))}" if question.way.place is not None else ""
    blocks: list[RenderableType] = [head("Next", question.way.title + where), para(question.ask, style=LEAD)]
    if question.way.fresh:
        there = question.way.condition_title == car
        again = f"Again, on another occasion: {car}, after something else in between."
        blocks.append(para(again if there else f"First bring about: {question.way.condition_title}."))
    return blocks


def _facts(question: Question, before: int) -> list[RenderableType]:
    """How long, what it needs, in which condition, and why now or again."""
    way = question.way
    facts = [effort_text(way.minutes, way.waiting)]
    if way.money:
        facts.append(f"about {way.money:g} in money")
    facts.append("needs " + ", ".join(question.needs) if question.needs else "no tool needed")
    if way.condition and not way.fresh and question.sees == "now":
        facts.append(f"as the car is now ({way.condition_title})")
    blocks: list[RenderableType] = [para("; ".join(facts).capitalize() + ".")]
    if question.before:
        blocks.append(para(f"It comes before: {question.before}. That would wipe out what this can show."))
    if way.fresh and question.condition_means:
        blocks.append(para(f"{way.condition_title.capitalize()}: {question.condition_means}"))
    if question.earlier:
        blocks.append(para(f"This car before: {'; '.join(question.earlier[-EARLIER:])}."))
    if before:
        times = "once" if before == 1 else f"{before} times"
        why = "again, on another occasion: a fault that comes and goes may show this time"
        blocks.append(para(f"Answered {times} before; {why if way.fresh else 'the car may behave differently now'}."))
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
    short = [text in known and first_clause(text) != text for text in question.cautions]
    texts = [first_clause(t) if s else t for t, s in zip(question.cautions, short, strict=True)]
    title = head("Take care first", "(in full: care)" if any(short) else "", style=CARE)
    return [title, rows([("!", text) for text in texts], style=CARE)]


def _reach(question: Question) -> list[RenderableType]:
    if not question.bring_about:
        return []
    return [head("Bring it about"), para(question.bring_about)]


def _how(question: Question) -> list[RenderableType]:
    return [head("How"), para(question.how)] if question.how.strip() else []


def why_blocks(question: Question, count: int, in_full: bool = False) -> list[RenderableType]:
    """What the check separates: how each likely answer would move the suspects on the screen."""
    lines = [
        (_short(s.chance), f"{_answer(question, s, in_full)}: {'; '.join(_move(move) for move in s.moves)}")
        for n, s in enumerate(question.separates[:count])
        if in_full or n < 2 or s.chance >= SELDOM
    ]
    return [head("Why this one", "how likely each answer is, and how it would move them"), rows(lines)] if lines else []


def _answer(question: Question, separation: Separation, in_full: bool) -> str:
    """An answer by its number on the screen, or by its word where a reading is asked and there are none; else in its
    own words: never cut."""
    if in_full or not separation.number:
        return separation.outcome
    if question.reading is not None:
        return question.outcomes[separation.number - 1].name
    return f"answer {separation.number}"


def _move(move: Move) -> str:
    before, after = _short(move.before), _short(move.after)
    if before == after:
        return f"{move.title} stays at {before}"
    return f"{move.title} {before.removesuffix(' %')} to {after}"


def _there_too(question: Question) -> list[RenderableType]:
    """What else to look at before the car leaves the condition it is in, or is brought into."""
    if not question.while_there:
        return []
    titles = "; ".join(way.title for way in question.while_there)
    label = "WHILE THERE  " if question.way.fresh else "BEFORE MOVING ON  "
    return [Text.assemble((label, "bold"), glued(harmless(titles)))]


def _instead(question: Question, times: bool = True) -> list[RenderableType]:
    """The next best, without their times where lines are short."""
    if not question.alternatives:
        return []
    ways = [f"{way_text(w)}, {effort_text(w.minutes, w.waiting)}" if times else w.title for w in question.alternatives]
    return [Text.assemble(("OR  ", "bold"), glued(harmless("; ".join(ways))))]


def answer_blocks(question: Question, width: int, one_by_one: bool = False) -> list[RenderableType]:
    """The ways to answer."""
    others = [("m", "work it out from readings")] if question.works_out else []
    cannot = "can't tell" if question.while_rich != "only" else "can't tell, or it is not rich now"
    none = choices_block([("d" if question.reading else "0", cannot), ("x", "can't do it"), *others], width)
    top = head("Answer", _ways_on(question))
    if question.reading:
        return [top, para(_reading_hint(question)), none]
    codes = "Or the whole list as the scan tool shows it (P0172 pending, P0301), or none. It answers them all at once."
    blocks: list[RenderableType] = [top]
    blocks.append(choices_block(numbered(o.text for o in question.outcomes), width))
    if len(question.places) > 1:
        blocks.append(by_place(question.at, question.places, len(question.outcomes), one_by_one))
    if question.works_out and question.works_out.frame:
        blocks.append(para(FRAME_PROMPT, style=QUIET))
    if question.lists_codes:
        blocks.append(para(codes, style=QUIET))
    return [*blocks, none]


def _ways_on(question: Question) -> str:
    """What may be typed besides an answer and the keys."""
    how = ["how: how it is done"] if question.how.strip() else []
    note = [] if yes_or_no(question) else ["n: a note"]  # there n is an answer, and `note` is typed in full
    return "   ".join([*how, "f: a freeze frame", *note])


def by_place(at: str, places: Mapping[int, str], answers: int, one_by_one: bool) -> RenderableType:
    """How to answer where each place has its own outcome; every place as the last. one_by_one: as of `replies.Form`."""
    last = list(places)[-1]
    such = f"{last}=2 or {'cyl' if at == 'cylinder' else at} {last}" if answers == 2 else f"{last}=2"
    rest = "was not tried" if one_by_one else "is 1"
    return para(f"By {at}, such as {such}, or all=2. One not named {rest}. a: all are 1", style=QUIET)


def _reading_hint(question: Question) -> str:
    assert question.reading is not None
    unit, words = f"{question.reading.unit} ({question.reading.typed})", ", ".join(o.name for o in question.outcomes)
    if len(question.places) > 1:
        shape = " ".join(f"{p}=.." for p in question.places)
        return f"The number in {unit} by {question.at} ({shape}), or by words ({shape.replace('..', 'word')}): {words}"
    return f"The number in {unit}, or a word: {words}"


def condition_rows(book: Rulebook) -> list[tuple[str, str]]:
    """The states a car can be in, each with its number and with what it means as far as its first sentence goes."""
    return numbered(f"{c.title}: {first_sentence(c.means)}" if c.means else c.title for c in book.conditions.values())


def key_blocks() -> list[RenderableType]:
    """The line of keys under a question."""
    return [Text("  ".join(f"{k} {name}" for k, name in QUESTION_KEYS.items()), style=QUIET)]


def yes_or_no(question: Question) -> bool:
    """Whether `y` and `n` are answers here: as names of answers, or as the first word of what they say."""
    return {"yes", "no"} <= {word for o in question.outcomes for word in (o.name, first_word(o))}
