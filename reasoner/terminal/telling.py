"""What the owner tells, asked before the first question: a line each, Enter leaves it open."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from reasoner.casebook.trouble import Refused
from reasoner.measure.frozen import Frame, read_frame
from reasoner.measure.pids import Value
from reasoner.session import acts, story
from reasoner.terminal.blocks import QUIET, choices, head, numbered, para, rows
from reasoner.terminal.pasted import confirmed, frame_checks, offer_frame
from reasoner.terminal.picking import numbers_in
from reasoner.terminal.prompting import ask
from reasoner.terminal.sitting import Sitting, in_words


def ask_heard(sitting: Sitting) -> None:
    """What the complaint says by the rules' own words, to be confirmed: nothing is taken from it unasked."""
    rows_heard = story.heard(sitting.workup, sitting.workup.record.complaint)
    if not rows_heard:
        return
    sitting.desk.show(head("Heard in it"), rows(numbered(row.text for row in rows_heard)))
    helps = "What is right counts as the owner's answer and is not asked again; the rest as if it had not been said."
    rows_heard = [rows_heard[n - 1] for n in confirmed(sitting, len(rows_heard), helps)]
    sitting.keep(story.tell_heard(sitting.workup, rows_heard), f"Kept: {len(rows_heard)} of what was heard.")


def ask_work(sitting: Sitting) -> None:
    """Work done lately, in one line: what, by whom, when, and whether the complaint began before or after it."""
    found = story.rows_of(sitting.workup, "work")
    if not found:
        return
    sitting.desk.show(head("Work done lately, by anybody"), rows(numbered(row.text for row in found)))
    prompt = "Their numbers, who, when, complaint before or after it (2 5, other workshop, 800 km, after), 0 none > "
    helps = "After: the complaint began after that work. Before: it was there already. Enter: not known."
    while line := ask(sitting.desk, prompt, helps):
        try:
            told = story.read_work(line, len(found))
        except Refused as refused:
            sitting.desk.say(in_words(refused))
            continue
        sitting.keep(story.tell_work(sitting.workup, told), f"Kept: work lately: {line}.")
        return


def ask_story(sitting: Sitting) -> None:
    """When it happens: how warm, doing what, and what else it hangs on."""
    for check in story.asked(sitting.workup, "pattern"):
        sitting.desk.show(head(check.ask), choices(numbered(o.text for o in check.outcomes), sitting.desk.width))
        numbers = _numbers(sitting, "Its number, or several (2 5), Enter: not known > ", len(check.outcomes), 1)
        if numbers:
            sitting.keep(story.tell_pattern(sitting.workup, check, numbers), f"Kept: {check.title}.")
    found = story.rows_of(sitting.workup, "also")
    if found:
        sitting.desk.show(head("What else it hangs on"), choices(numbered(r.text for r in found), sitting.desk.width))
        numbers = _numbers(sitting, "Their numbers, 0 none of these, Enter: not known > ", len(found), 0)
        if numbers:
            told = [n for n in numbers if n]
            sitting.keep(story.tell_also(sitting.workup, told), "Kept: what else it hangs on.")


FRAME = "Such as: P0172 rpm 780 load 24 ect 92 run 85 stft -12 ltft -14 map 31 purge 0. Any may be left out."
RICH = "rich"  # in the standard's name of a code


def ask_frame(sitting: Sitting, line: str = "") -> None:
    """A freeze frame in one line, or several one after another; what it answers is offered, the rest is noted. line:
    the only one, where it was typed already."""
    if not line:
        sitting.desk.show(head("Freeze frame"), para(FRAME, style=QUIET))
    only = bool(line)
    prompt, helps = (
        "Its values in one line, none: no frame is stored, Enter: that is all > ",
        "Copy what the reader shows of the frame: rpm, load, ect, speed, run, stft, ltft, map, maf, rail, purge, fuel.",
    )
    while line := line or ask(sitting.desk, prompt, helps):
        if line.lower() in ("none", "no", "no frame"):
            sitting.keep(story.no_frame(sitting.workup), "Kept: no freeze frame is stored.")
            return
        frame, typed, line = read_frame(line), line, ""
        if frame.unread or frame.wrong or not frame.values:
            unclear = f'"{(frame.unread or typed)[:40]}" is not clear; such as: P0172 load 24, coolant 92, rpm 780.'
            sitting.desk.say(f"{frame.wrong[0]}." if frame.wrong else unclear)
            continue
        values = [value if value.name not in frame.odd else _read_back(sitting, value, frame) for value in frame.values]
        title = sitting.workup.book.codes[frame.code].title if frame.code in sitting.workup.book.codes else ""
        weighed = not frame.code or RICH in title.lower()
        if not weighed:
            sitting.desk.say(f"{frame.code} is no code of a rich mixture: its frame is noted, and not weighed.")
        kept = weighed and offer_frame(sitting, values)
        put_right = "".join(f", {v.name} {v.value:g} {v.unit}" for v in values if v not in frame.values)
        note = acts.note(sitting.workup, f"freeze frame: {typed}{put_right}")
        sitting.keep(note, *(() if kept else ("Noted: the frame.",)))
        if only:
            return
        prompt = "Another frame, Enter: that is all > "


def _read_back(sitting: Sitting, value: Value, frame: Frame) -> Value:
    """A value beyond what is usual, as it was meant."""
    said, unit = frame.odd[value.name]
    word = re.split(r"[\s=:]*[+\-\u2212\d]", said, maxsplit=1)[0]
    while line := ask(
        sitting.desk, f"{said}? In {unit}. Enter: as typed, or the right value > ", "With its unit, or without."
    ):
        found = read_frame(f"{word} {line}")
        if len(found.values) == 1 and not found.unread:
            return replace(found.values[0], name=value.name)
        sitting.desk.say(f"{found.wrong[0]}." if found.wrong else f'"{line[:20]}" is no value of it.')
    return value


PARTS: dict[str, tuple[str, str, Callable[[Sitting], None]]] = {
    "work": ("w", "work done lately", ask_work),
    "pattern": ("p", "when it happens", ask_story),
    "frame": ("f", "a freeze frame", ask_frame),
}


def open_parts(sitting: Sitting) -> dict[str, tuple[str, Callable[[Sitting], None]]]:
    """What can be told of this car and was not yet, by its letter."""
    return {
        letter: (title, part)
        for kind, (letter, title, part) in PARTS.items()
        if (frame_checks(sitting) if kind == "frame" else story.asked(sitting.workup, kind))
    }


def _numbers(sitting: Sitting, prompt: str, most: int, least: int) -> list[int]:
    helps = "Type the numbers of what is true, with spaces between."
    while line := ask(sitting.desk, prompt, helps):
        chosen = numbers_in(line, most, least)
        if chosen is not None and (0 not in chosen or len(chosen) == 1):
            return chosen
        sitting.desk.say(f"{line[:20]} is not on the list: {least} to {most}.")
    return []
