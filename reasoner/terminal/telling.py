"""What the owner tells, asked before the first question: a line each, Enter leaves it open."""

from __future__ import annotations

from collections.abc import Callable

from reasoner.casebook.trouble import Refused
from reasoner.measure.frozen import read_frame
from reasoner.session import acts, story
from reasoner.terminal.blocks import QUIET, choices, head, numbered, para, rows
from reasoner.terminal.pasted import frame_checks, offer
from reasoner.terminal.picking import numbers_in
from reasoner.terminal.prompting import ask
from reasoner.terminal.sitting import Sitting, in_words


def ask_heard(sitting: Sitting) -> None:
    """What the complaint says by the rules' own words, to be confirmed: nothing is taken from it unasked."""
    rows_heard = story.heard(sitting.workup, sitting.workup.record.complaint)
    if not rows_heard:
        return
    sitting.desk.show(head("Heard in it"), rows(numbered(row.text for row in rows_heard)))
    prompt = "Enter: right, 0: none of it, or the numbers that are right > "
    helps = "What is right counts as the owner's answer, and is not asked again. The rest as if it had not been said."
    while line := ask(sitting.desk, prompt, helps):
        chosen = [0] if line.lower() in ("n", "no", "none") else numbers_in(line, len(rows_heard), 0)
        if chosen is not None and (0 not in chosen or len(chosen) == 1):
            rows_heard = [rows_heard[n - 1] for n in chosen if n]
            break
        sitting.desk.say(f"{line[:20]} is not on the list: 0 to {len(rows_heard)}.")
    told = "; ".join(row.text for row in rows_heard)
    sitting.keep(story.tell_heard(sitting.workup, rows_heard), f"Kept: {told}.")


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


FRAME = "Such as: P0172 load 24, coolant 92, rpm 780, speed 0, run 85, st -6, lt -14. Any may be left out."


def ask_frame(sitting: Sitting) -> None:
    """A freeze frame in one line, or several one after another; what it answers is offered, the rest is noted."""
    sitting.desk.show(head("Freeze frame"), para(FRAME, style=QUIET))
    prompt, helps = (
        "Its values in one line, none: no frame is stored, Enter: that is all > ",
        "Copy what the reader shows of the frame.",
    )
    while line := ask(sitting.desk, prompt, helps):
        if line.lower() in ("none", "no", "no frame"):
            sitting.keep(story.no_frame(sitting.workup), "Kept: no freeze frame is stored.")
            return
        frame = read_frame(line)
        if frame.unread or not frame.values:
            sitting.desk.say(
                f'"{(frame.unread or line)[:40]}" is not clear; such as: P0172 load 24, coolant 92, rpm 780.'
            )
            continue
        taken = [offer(sitting, check, frame.values) for check in frame_checks(sitting)]
        sitting.keep(acts.note(sitting.workup, f"freeze frame: {line}"), "" if any(taken) else "Noted: the frame.")
        prompt = "Another frame, Enter: that is all > "


PARTS: dict[str, tuple[str, Callable[[Sitting], None]]] = {
    "work": ("work done lately", ask_work),
    "pattern": ("when it happens", ask_story),
    "frame": ("a freeze frame", ask_frame),
}


def open_parts(sitting: Sitting) -> list[tuple[str, Callable[[Sitting], None]]]:
    """What can be told of this car and was not yet."""
    return [
        part
        for kind, part in PARTS.items()
        if (frame_checks(sitting) if kind == "frame" else story.asked(sitting.workup, kind))
    ]


def _numbers(sitting: Sitting, prompt: str, most: int, least: int) -> list[int]:
    helps = "Type the numbers of what is true, with spaces between."
    while line := ask(sitting.desk, prompt, helps):
        chosen = numbers_in(line, most, least)
        if chosen is not None and (0 not in chosen or len(chosen) == 1):
            return chosen
        sitting.desk.say(f"{line[:20]} is not on the list: {least} to {most}.")
    return []
