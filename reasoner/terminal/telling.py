"""What the owner tells and what the car has got, asked on the screen: a line each, Enter leaves it open."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial

from rich.console import RenderableType

from reasoner.casebook.correcting import standing
from reasoner.casebook.events import KEPT_BESIDE
from reasoner.casebook.trouble import Refused
from reasoner.measure.frozen import begins_a_list, frames_in, read_frame, runs_rich
from reasoner.measure.pids import DecodedValue
from reasoner.rulebook.model import Check
from reasoner.session import acts, complaint, fitted, readings, story
from reasoner.session.document import FactDoc, Question
from reasoner.session.plain import glued, shortened
from reasoner.session.words import step_text
from reasoner.terminal.blocks import QUIET, choices_block, head, numbered, para, rows, table
from reasoner.terminal.pasted import ask_offers, confirm_from_list, kept_of
from reasoner.terminal.picking import Back, ask, not_listed, numbers_in, pick, pick_several
from reasoner.terminal.sitting import Sitting, form_of, in_words

# ---- The car as equipped, on the screen ------------------------------------------------------------------------------
# One line where a fact matters, this car has none, and car for all of it.

TYPED_FACTS = ("displacement", "model year", "distance", "charging")  # facts that are typed, not chosen
SUCH_AS = (
    "A figure is typed, for instance: car distance 98000 km, car model year 2014, car displacement 1.6 L; "
    "car charging natural, or charged."
)


def ask_fact(sitting: Sitting, fact: FactDoc) -> bool:
    """One line about the car, because the next check or a leading suspect hangs on it. Under a heading of its own: the
    same keys answer questions of the moment. True: something was kept."""
    sitting.console.show(head("About the car", "what it is, whatever it does now"))
    while True:
        helps = fact.how or "The handbook or the parts list says it."
        line = ask(sitting.console, f"{fact.ask} {_ways(fact)}, Enter: not known, h how to see it > ", helps)
        value = _value(line, fact)
        if value is None:
            sitting.console.say(f'"{shortened(line, 20)}" is not clear: {_ways(fact)}, or Enter.')
            continue
        return _keep(sitting, {fact.fact: value})


def has_none(sitting: Sitting, check: str) -> bool:
    """`This car has none`: of what the check needs; where that is several things, of what is chosen."""
    facts = fitted.needed_by(sitting.workup, check)
    if not facts:
        sitting.console.say("This check needs nothing that a car may be without; car shows what is known of it.")
        return False
    if len(facts) > 1:
        sitting.console.show(head("None of what?"), rows(numbered(f.title for f in facts)))
        numbers = pick_several(sitting.console, "Their numbers, Enter: back > ", len(facts))
        facts = tuple(facts[n - 1] for n in numbers)
    return bool(facts) and _keep(sitting, {f.fact: f.values[-1] for f in facts})


def tell_car(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """What is known of the car; numbers change it, `model year 2014` says a figure."""
    console, workup = sitting.console, sitting.workup
    key = next((key for key in TYPED_FACTS if rest.lower().startswith(key)), None)
    if key is not None:
        return _tried(sitting, {key: rest[len(key) :].strip(" :=")})
    facts = tuple(fitted.fact_document(entry) for entry in workup.book.equipment.values())
    if not facts:
        console.say(f"{workup.vehicle.title}. {SUCH_AS}")
        return False

    def show() -> None:
        lines = [(str(n), f.title, workup.vehicle.properties.get(f.fact, "not known")) for n, f in enumerate(facts, 1)]
        console.page(head("The car"), para(workup.vehicle.title), rows([(n, f"{t}: {v}") for n, t, v in lines]),
                  para(SUCH_AS, style=QUIET))  # fmt: skip

    number = pick(console, "Its number to change it, Enter: back > ", len(facts), rest, show)
    return number is not None and ask_fact(sitting, facts[number - 1])


def _tried(sitting: Sitting, told: dict[str, str]) -> bool:
    try:
        return _keep(sitting, told)
    except Refused as refused:
        sitting.console.say(in_words(refused))
        return False


def _keep(sitting: Sitting, told: dict[str, str]) -> bool:
    before = sitting.workup
    sitting.keep(acts.facts(before, told))
    after, names = sitting.workup, {entry.key: entry.title for entry in before.book.equipment.values()}
    fresh = {k: v for k, v in after.vehicle.properties.items() if before.vehicle.properties.get(k) != v}
    parts = [f"{names.get(k, k)}: {v}" for k, v in fresh.items()] or [
        f"{k}: {v or 'not known'}" for k, v in told.items()
    ]
    sitting.said.append("; ".join(filter(None, ("Kept: " + ", ".join(parts), fitted.gone(before, after)))) + ".")
    return True


def _ways(fact: FactDoc) -> str:
    return "y or n" if fact.values == ("yes", "no") else "1 or 2"


def _value(line: str, fact: FactDoc) -> str | None:
    """The value meant; "" where it is not known, None where the line is not clear."""
    text: str = line.lower()
    if text in ("", "0", "d", "not known"):
        return ""
    if fact.values == ("yes", "no"):  # a number typed ahead is no answer: it would take suspects away
        return {"y": "yes", "yes": "yes", "n": "no", "no": "no"}.get(text)
    chosen = numbers_in(text, len(fact.values))
    if chosen is not None and len(chosen) == 1:
        return fact.values[chosen[0] - 1]
    meant = [value for value in fact.values if value.startswith(text)]
    return meant[0] if len(meant) == 1 else None


def without_letter(line: str, *letters: str) -> str:
    """The line without the command that asked for it: the arrow key brings it back with that, and it is taken too."""
    first, _, rest = line.partition(" ")
    return rest.strip() if rest and first.lower() in letters else line


# ---- What the owner tells, asked before the first question -----------------------------------------------------------
# A line each, Enter leaves it open.


def ask_heard(sitting: Sitting, text: str = "") -> bool:
    """What the complaint, or more that the owner says, tells by the rules' own words, to be confirmed: nothing is taken
    from it unasked; what was not understood is said. False if nothing was heard."""
    said = text or sitting.workup.record.complaint
    rows_heard = complaint.heard(sitting.workup, said)
    missed = complaint.unheard(sitting.workup, said)
    if rows_heard:
        sitting.console.show(head("Heard in it"), rows(numbered(row.text for row in rows_heard)))
    if missed:
        listed = shortened("; ".join(missed), 300)
        instead = "After this, p and other words can tell it, or t and a word of it."
        sitting.console.show(para(f"Not understood: {listed}. {instead}", style=QUIET))
    if not rows_heard:
        return False
    helps = "What is right counts as the owner's answer and is not asked again; the rest as if it had not been said."
    offered = len(rows_heard)
    rows_heard = [rows_heard[n - 1] for n in confirm_from_list(sitting, offered, helps)]
    note = acts.note(sitting.workup, text) if text else []
    sitting.keep([*note, *story.tell_heard(sitting.workup, rows_heard)], kept_of(len(rows_heard), offered, "was heard"))
    return True


def ask_work(sitting: Sitting, line: str = "") -> None:
    """Work done lately, in one line: what, by whom, when, and which came first, the work or the complaint; several
    pieces of work with a semicolon between. line: as typed already."""
    found = story.rows_of(sitting.workup, "work")
    parts = [part.title.split(": ")[-1] for part in story.renewed(sitting.workup)]
    if not found:
        return

    def show() -> None:
        sitting.console.show(head("Work done lately, by anybody"), rows(numbered(row.text for row in found)))
        listed = "   ".join(glued(f"{n} {text}") for n, text in enumerate(parts, len(found) + 1))
        if parts:
            sitting.console.show(head("Or a part renewed"), para(listed))
        sitting.console.show(para("Which came first, the work or the complaint? The last word says it.", style=QUIET))

    shown = not line
    if shown:
        show()
    prompt = "Numbers, who, when, first (2 5, dealer, 800 km, work; 3, complaint), 0 none > "
    helps = "work: the work came first. complaint: the complaint was there already when it was done. Enter: not known."
    while line := line or without_letter(ask(sitting.console, prompt, helps), "w", "work"):
        try:
            told = story.read_work(line, len(found) + len(parts))
        except Refused as refused:
            sitting.console.say(in_words(refused))
            line = ""
            if not shown:
                show()
            shown = True
            continue
        noted = [text.removeprefix(story.WORK_LATELY) for text in story.work_noted(sitting.workup, told)]
        sitting.keep(
            story.tell_work(sitting.workup, told), f"Kept: {story.WORK_LATELY}{'. And: '.join(noted) or 'none'}."
        )
        for check in story.where_renewed(sitting.workup):
            _ask_where(sitting, check)
        return


def _ask_where(sitting: Sitting, check: Check) -> None:
    """At which places what the check asks is so."""
    places = list(form_of(sitting.workup, check).places)
    console, prompt = sitting.console, f"{check.ask} Numbers, all, or Enter: not known > "
    helps = f"{check.how} What is not named is taken not to be so.".strip()
    while line := ask(console, prompt, helps).lower():
        chosen = set(places if line == "all" else numbers_in(line, max(places)) or ())
        if chosen and chosen <= set(places):
            first, second = (outcome.name for outcome in check.outcomes)
            values = {place: second if place in chosen else first for place in places}
            sitting.keep(acts.answer(sitting.workup, check.name, values))
            return
        console.say(f'"{shortened(line, 20)}" is not clear: {", ".join(map(str, places))}, or all.')


def ask_story(sitting: Sitting, line: str = "") -> None:
    """When it happens: how warm, doing what, and what else it hangs on; and how it goes. b goes back to the question
    before. line: in words, and then what is heard in them is all that is asked."""
    if line:
        if not ask_heard(sitting, line):
            sitting.console.say("Nothing in that is known to say when it happens; p alone asks.")
        return
    patterns, manner = (story.tellable(sitting.workup, kind) for kind in ("pattern", "manner"))
    also = story.rows_of(sitting.workup, "also")
    if not (patterns or manner or also):
        sitting.console.say("All of that was told; b takes it back. Other words may tell more.")
        words = ask(sitting.console, "In words, Enter: leave it > ", "When it happens, how often, what it smells of.")
        if words:
            ask_story(sitting, words)
        return
    parts: list[Callable[[Sitting], None]] = [partial(_ask_pattern, check=check) for check in patterns]
    parts += [_ask_also] if also else []
    parts += [partial(_ask_manner, checks=manner)] if manner else []
    begun: list[int] = []  # the steps there were when each question was put
    while len(begun) < len(parts):
        begun.append(sitting.workup.record.steps)
        try:
            parts[len(begun) - 1](sitting)
        except Back:
            begun.pop()
            if not begun:
                raise
            take_back_since(sitting, begun.pop())


def _ask_pattern(sitting: Sitting, check: Check) -> None:
    sitting.console.show(
        head(check.ask), choices_block(numbered(o.text for o in check.outcomes), sitting.console.width)
    )
    numbers = _numbers(sitting, "Its number, or several (2 5), Enter: not known > ", len(check.outcomes), 1)
    if numbers:
        sitting.keep(story.tell_pattern(sitting.workup, check, numbers), f"Kept: {check.title}.")


def _ask_also(sitting: Sitting) -> None:
    found = story.rows_of(sitting.workup, "also")
    sitting.console.show(
        head("What else it hangs on"), choices_block(numbered(r.text for r in found), sitting.console.width)
    )
    numbers = _numbers(sitting, "Their numbers, 0 none of these, Enter: not known > ", len(found), 0)
    if numbers:
        told = [n for n in numbers if n]
        sitting.keep(story.tell_also(sitting.workup, told), "Kept: what else it hangs on.")


def _ask_manner(sitting: Sitting, checks: Sequence[Check]) -> None:
    rows = [story.StoryRow(check.name, o.name, o.text) for check in checks for o in check.outcomes]
    blocks: list[RenderableType] = []
    keyed = numbered(row.text for row in rows)
    for check in checks:
        own, keyed = keyed[: len(check.outcomes)], keyed[len(check.outcomes) :]
        blocks += [para(check.ask), choices_block(own, sitting.console.width)]
    sitting.console.show(head("How it goes", "leave out what nobody knows"), *blocks)
    numbers = _numbers(sitting, "Their numbers (1 5), Enter: not known > ", len(rows), 1)
    if numbers:
        sitting.keep(story.tell_heard(sitting.workup, [rows[n - 1] for n in numbers]), "Kept: how it goes.")


FRAME_HELP = "Such as: P0172 rpm 780 load 24 ect 92 run 85 stft -12 ltft -14 map 31 purge 0. Any may be left out."


def ask_frame(sitting: Sitting, line: str = "") -> None:
    """A freeze frame in one line, or several one after another; what it answers is offered, the rest is noted. line:
    the only one, where it was typed already."""
    two_banks = len(sitting.workup.vehicle.banks) == 2
    if not line:
        banks = " Bank 2 after a stroke: stft -3/-18." if two_banks else ""
        sitting.console.show(head("Freeze frame"), para(FRAME_HELP + banks, style=QUIET))
    such_as = "P0175 load 24, rpm 780, stft -3/-18, ltft 0/-4" if two_banks else "P0172 load 24, coolant 92, rpm 780"
    only, waiting = bool(line), frames_in(line) if line else []
    prompt, helps = (
        "Its values in one line, none: no frame is stored, Enter: that is all > ",
        "Copy what the reader shows of the frame: rpm, load, ect, speed, run, stft, ltft, map, maf, rail, purge, fuel.",
    )
    while True:
        waiting = waiting or frames_in(
            _gathered(sitting, without_letter(ask(sitting.console, prompt, helps), "f", "frame"))
        )
        typed = waiting.pop(0)
        if not typed:
            return
        if typed.lower() in story.NO_FRAME:
            sitting.keep(story.no_frame(sitting.workup), "Kept: no freeze frame is stored.")
            return
        frame = read_frame(typed)
        if frame.unread or frame.wrong or not frame.values:
            unclear = f'"{(frame.unread or typed)[:40]}" is not clear; such as: {such_as}.'
            unclear += (
                " Arrow up brings the line back." if sitting.console.tty and frame.unread and frame.values else ""
            )
            sitting.console.say(f"{frame.wrong[0]}." if frame.wrong else unclear)
            continue
        if frame.other:
            sitting.console.say(f"Not used: {', '.join(frame.other)}.")
        values = _read_back(sitting, frame.values, frame.odd)
        rich = readings.of_rich(sitting.workup.book, frame, values)
        if not rich:
            alone = readings.only_other_codes(sitting.workup)
            weighed = "where it was stored counts, no more" if alone else "noted, and not weighed"
            sitting.console.say(
                f"{' and '.join(frame.codes)}: no code of a rich mixture, nor are its trims: {weighed}."
            )
        kept, offers = story.frame_told(sitting.workup, frame, values, typed)
        unused = readings.not_used(sitting.workup, values) if rich and offers else []
        if unused:
            sitting.console.say(f"Noted, and no question here goes by it alone: {', '.join(unused)}.")
        if not ask_offers(sitting, offers, "the frame says", kept):  # in one step, so that b takes all of it back
            sitting.said.append("Noted: the frame." + (" No more is asked about one." if rich else ""))
        if only and not waiting:
            return
        prompt = "Another frame, Enter: that is all > "


def _gathered(sitting: Sitting, line: str) -> str:
    """A frame in one line. Where it was copied a value a line, the lines that follow are its too, up to an Enter."""
    if not begins_a_list(line):
        return line
    lines = [line]
    while more := ask(
        sitting.console, "More of this frame, Enter: that is all of it > ", "Its next value, or several of them."
    ):
        lines.append(more)
    return ", ".join(lines)


def _read_back(
    sitting: Sitting, values: Sequence[DecodedValue], odd: Mapping[str, tuple[str, str]]
) -> tuple[DecodedValue, ...]:
    """The values as they were meant: each one beyond what is usual is read back once."""
    return tuple(_meant(sitting, value, *odd[value.name]) if value.name in odd else value for value in values)


def _meant(sitting: Sitting, value: DecodedValue, said: str, unit: str) -> DecodedValue:
    word = re.split(r"[\s=:]*[+\-\u2212\d]", said, maxsplit=1)[0]
    while line := ask(
        sitting.console, f"{said}? In {unit}. Enter: as typed, or the right value > ", "With its unit, or without."
    ):
        found = read_frame(f"{word} {line}")
        if len(found.values) == 1 and not found.unread:
            return replace(found.values[0], name=value.name)
        sitting.console.say(f"{found.wrong[0]}." if found.wrong else f'"{line[:20]}" is no value of it.')
    return value


LIVE = (
    "Such as: {0}. The two numbers are short and long trim{1}. Any value may be left out: rpm, load, ect, iat, "
    "ambient, map, maf, rail, target, purge, rear, voltage."
)
LIVE_ONE_BANK = LIVE.format("idle +4 -14 maf 3.1 rpm 780 ect 92; 2500 +2 -6 maf 9.8; cruise 0 -4", "")
LIVE_TWO_BANKS = LIVE.format(
    "idle +4 -14 0 -2 maf 3.1 rpm 780 ect 92; 2500 +2 -6 0 -1 maf 9.8; cruise 0 -4 0 -2", " of bank 1, then of bank 2"
)


def ask_live(sitting: Sitting, line: str = "") -> bool:
    """Live values of one state or of several, side by side; what they answer is offered. True if anything was kept.

    line: as typed already. Values that were pasted are taken before any are asked for.
    """
    console = sitting.console
    if not line and not sitting.live:
        such_as = LIVE_ONE_BANK if len(sitting.workup.vehicle.banks) == 1 else LIVE_TWO_BANKS
        console.show(head("Live values"), para(such_as, style=QUIET))
    helps = "One line: what the car was doing, then the values, each with its name; a semicolon before the next state."
    while True:
        if sitting.live and not line:
            states = [readings.LiveState(None, runs_rich(sitting.live), _known(sitting.live))]
            sitting.live = ()
        else:
            line = line or without_letter(ask(console, "All in one line, Enter: leave it > ", helps), "l", "live")
            if not line:
                return False
            try:
                states = readings.live_states(sitting.workup, line)
            except Refused as refused:
                console.say(in_words(refused))
                line = ""
                continue
        break
    known = [_in_condition(sitting, replace(s, values=_read_back(sitting, s.values, s.odd))) for s in states]
    if any(state.condition is None for state in known):
        return False
    console.show(*_side_by_side(sitting, known))
    before, offers = readings.take_live(sitting.workup, known, _there_now(sitting, known))
    kept = ask_offers(sitting, offers, "they say", before, whole=True)
    if not offers:
        sitting.said.append("Kept: the readings.")
    return kept or not offers


def _there_now(sitting: Sitting, states: Sequence[readings.LiveState]) -> bool:
    """Whether the car does by now what the last of the values were read in; asked only where it was somewhere else."""
    here = sitting.workup.record.condition
    if here is None or any(state.condition == here for state in states):
        return False
    last = sitting.condition_title(states[-1].condition)
    helps = f"Where it is still at {sitting.condition_title(here)}, they are kept as values of another time."
    return ask(sitting.console, f"Is the car at {last} now? y: yes, Enter: no, that was before > ", helps).lower() in (
        "y",
        "yes",
    )


def _known(values: Sequence[DecodedValue]) -> tuple[DecodedValue, ...]:
    return tuple(value for value in values if value.value is not None)


def _in_condition(sitting: Sitting, state: readings.LiveState) -> readings.LiveState:
    """The state with what the car was doing then, asked for where that was not typed and is not known."""
    if state.condition is not None:
        return state
    conditions = [c for c in sitting.workup.book.conditions.values() if c.typed_as]
    sitting.console.show(
        head("What was the car doing when they were read?"),
        choices_block(numbered(c.title for c in conditions), sitting.console.width),
    )
    number = pick(sitting.console, "Its number, Enter: leave the values > ", len(conditions))
    return state if number is None else replace(state, condition=conditions[number - 1].name)


def _side_by_side(sitting: Sitting, states: Sequence[readings.LiveState]) -> list[RenderableType]:
    """The values as they were read, a column a state, beside what this car read there before."""
    columns = [column for state in states for column in (*readings.kept_before(sitting.workup.record, state), state)]
    words = {name: word for word, name in reversed(acts.typed_words(sitting.workup.book).items())}
    old = [all(state is not column for state in states) for column in columns]
    heads = [
        f"{words.get(column.condition or '', '?')}{' before' if was else ''}"
        + ("" if column.rich is None else ", rich" if column.rich else ", not rich")
        for column, was in zip(columns, old, strict=True)
    ]
    cells = [readings.values_by_name(column.values, len(sitting.workup.vehicle.banks)) for column in columns]
    names = list(dict.fromkeys(name for column in cells for name in column))
    lines = [("", *heads), *((name, *(column.get(name, "") for column in cells)) for name in names)]
    return [head("Read as", "total below -10 %: rich"), table(lines, [QUIET])]


TELLING_PARTS: dict[str, tuple[str, str, Callable[[Sitting], object]]] = {
    "work": ("w", "work done lately", ask_work),
    "pattern": ("p", "when it happens", ask_story),
    "frame": ("f", "a freeze frame", ask_frame),
}


def open_parts(sitting: Sitting) -> dict[str, tuple[str, Callable[[Sitting], object]]]:
    """What can be told of this car and was not yet, by its letter."""
    return {
        letter: (title, part) for kind, (letter, title, part) in TELLING_PARTS.items() if _may_be_told(sitting, kind)
    }


def _may_be_told(sitting: Sitting, kind: str) -> bool:
    """Whether anything of a kind is left to tell; when it happens may always be told in other words."""
    if kind == "frame":
        return bool(readings.frame_checks(sitting.workup))
    if kind == "pattern":
        return any(check.intake in ("pattern", "also", "manner") for check in sitting.workup.book.checks.values())
    return bool(story.tellable(sitting.workup, kind))


def take_back_since(sitting: Sitting, since: int) -> None:
    """Take back everything told after a step."""
    while told_since(sitting, since):
        take_back_last(sitting)


def take_back_last(sitting: Sitting) -> None:
    """Take back what was told last, in one step."""
    events = acts.undo(sitting.workup)
    told = step_text(sitting.workup, events[0].undone)
    sitting.keep(list(events), f"Taken back: {told or 'the last step'}")


def told_since(sitting: Sitting, since: int) -> bool:
    """Whether anything was told after a step, and stands."""
    events = standing(sitting.workup.events)
    return any(event.step > since for event in events if event.step and not isinstance(event, KEPT_BESIDE))


def _numbers(sitting: Sitting, prompt: str, most: int, least: int) -> list[int]:
    helps = "Type the numbers of what is true, with spaces between."
    while line := ask(sitting.console, prompt, helps):
        chosen = numbers_in(line, most, least)
        if chosen is not None and (0 not in chosen or len(chosen) == 1):
            return chosen
        sitting.console.say(f"{not_listed(line, most, least)} is not on the list: {least} to {most}.")
    return []
