"""What the owner tells, asked before the first question: a line each, Enter leaves it open."""

from __future__ import annotations

from collections.abc import Callable

from reasoner.casebook.trouble import Refused
from reasoner.session import story
from reasoner.terminal.blocks import choices, head, numbered, rows
from reasoner.terminal.picking import numbers_in
from reasoner.terminal.prompting import ask
from reasoner.terminal.sitting import Sitting, in_words


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


PARTS: dict[str, tuple[str, Callable[[Sitting], None]]] = {
    "work": ("work done lately", ask_work),
    "pattern": ("when it happens", ask_story),
}


def open_parts(sitting: Sitting) -> list[tuple[str, Callable[[Sitting], None]]]:
    """What can be told of this car and was not yet."""
    return [part for kind, part in PARTS.items() if story.asked(sitting.workup, kind)]


def _numbers(sitting: Sitting, prompt: str, most: int, least: int) -> list[int]:
    helps = "Type the numbers of what is true, with spaces between."
    while line := ask(sitting.desk, prompt, helps):
        chosen = numbers_in(line, most, least)
        if chosen is not None and (0 not in chosen or len(chosen) == 1):
            return chosen
        sitting.desk.say(f"{line[:20]} is not on the list: {least} to {most}.")
    return []
