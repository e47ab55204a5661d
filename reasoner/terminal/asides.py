"""What can be done at any step besides answering: each word of `ASIDES` with what it shows and asks.

Every one of them can be left with Enter. They return True where something was kept, so that the question is asked anew.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from rich.text import Text

from reasoner.measure.codes import read_codes
from reasoner.rulebook.model import Check, Sees
from reasoner.session import acts
from reasoner.session.acts import Refused
from reasoner.session.asking import way
from reasoner.session.concluding import belief, verdict, why
from reasoner.session.document import Question
from reasoner.session.finding import find
from reasoner.session.plain import effort_text, harmless, shortened
from reasoner.session.words import given_text, step_text
from reasoner.terminal.answering import take_answer
from reasoner.terminal.blocks import CARE, KEY, QUIET, choices, head, para, rows, table
from reasoner.terminal.listing import ask_codes_complete, slip_lines
from reasoner.terminal.replies import Unclear
from reasoner.terminal.sitting import Sitting, form_of, in_words, numbers_in
from reasoner.terminal.step import suspect_table, way_text, why_blocks

Aside = Callable[[Sitting, str, Question | None], bool]
AT_ONCE = 9


def back(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Take back the last step. It is recorded as taken back, not erased."""
    workup = sitting.workup
    if sitting.talk.chosen is not None:
        sitting.talk = replace(sitting.talk, chosen=None)  # nothing was answered yet: back to what was proposed
        return True
    events = acts.undo(workup)
    return sitting.keep(events, f"Taken back: {step_text(workup, events[0]['undone']) or 'the last step'}")


def why_this(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Why this question, and why a suspect stands where it stands."""
    desk, workup = sitting.desk, sitting.workup
    shown = belief(workup)
    suspects = shown.faults
    if not rest:
        blocks = []
        if question is not None:
            blocks += [head("This question", question.way.title), *why_blocks(question, len(question.separates))]
            if question.condition_means:
                blocks.append(para(f"{question.way.condition_title}: {question.condition_means}", style=QUIET))
        desk.page(*blocks, head("Why a suspect stands where it stands"), suspect_table(shown, len(suspects)))
        rest = desk.ask("Its number, or Enter > ")
    while rest:
        chosen = numbers_in(rest, len(suspects))
        if chosen is None or len(chosen) != 1:
            desk.say(f"{shortened(rest, 20)} is not on the list: 1 to {len(suspects)}.")
        else:
            sitting.pages.why(why(workup, suspects[chosen[0] - 1].cause), desk)
        rest = desk.ask("Another number, or Enter > ")
    return False


def tell(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Something seen that was not asked: found by words, answered, with the condition it was seen in."""
    desk = sitting.desk
    words = rest or desk.ask("What have you seen? A word or two, or a code > ")
    while words:
        if any(c.isdigit() for c in words) and read_codes(words).codes:
            return tell_codes(sitting, words)
        found = find(sitting.workup, words)
        if not found:
            words = desk.ask(f'Nothing here speaks of "{shortened(words, 24)}". Other words, n to note it, or Enter > ')
            if words.lower() in ("n", "note"):
                return note(sitting, "", question)
            continue
        desk.show(
            head("Which of these?"), rows([(str(n), f"{c.title}: {c.ask}") for n, c in enumerate(found, start=1)])
        )
        line = desk.ask("Its number, other words, or Enter > ")
        chosen = numbers_in(line, len(found))
        if chosen is not None and len(chosen) == 1:
            return _tell_check(sitting, found[chosen[0] - 1])
        if line.isdecimal():
            desk.say(f"{shortened(line, 20)} is not on the list: 1 to {len(found)}.")
            continue
        words = line
    return False


def _tell_check(sitting: Sitting, check: Check) -> bool:
    desk, workup = sitting.desk, sitting.workup
    seen_in: str | None = None
    given = [g for g in workup.record.given if g.check == check.name]
    steady = check.sees is Sees.EVER
    if not steady:
        allowed = check.conditions or tuple(workup.book.conditions)
        picked = _which_condition(sitting, allowed)
        if picked is None:
            return False
        seen_in = picked or None
    repeated = [g for g in given if steady or (seen_in is None and g.spell == workup.record.present)]
    if repeated:
        desk.say(f"Answered before: {given_text(workup, repeated[-1])}. A new answer takes its place.")
    form = form_of(workup, check)
    desk.show(Text(harmless(check.ask), style=KEY))
    if form.measure:
        desk.say(f"A number in {form.measure.unit}, or: " + ", ".join(o.name for o in form.outcomes))
    else:
        desk.show(choices([(str(n), o.text) for n, o in enumerate(form.outcomes, start=1)], desk.width))
    while True:
        line = desk.ask("Answer, or Enter > ")
        if not line:
            return False
        try:
            return take_answer(sitting, line, check, form, seen_in=seen_in)
        except Unclear as unclear:
            desk.say(str(unclear))
        except Refused as refused:
            desk.say(in_words(refused))


def _which_condition(sitting: Sitting, allowed: tuple[str, ...]) -> str | None:
    """The condition something was seen in: its name, "" for now, None if the person leaves."""
    desk, workup = sitting.desk, sitting.workup
    here = workup.record.condition
    now = here in allowed
    titles = [(str(n), workup.book.conditions[name].title) for n, name in enumerate(allowed, start=1)]
    desk.show(head("When was it seen?"), rows(titles))
    while True:
        enter = f"Enter: now ({sitting.condition_title(here)})" if now else "Enter: leave it"
        line = desk.ask(f"Its number. {enter} > ")
        if not line:
            return "" if now else None
        chosen = numbers_in(line, len(allowed))
        if chosen is not None and len(chosen) == 1:
            return allowed[chosen[0] - 1]
        desk.say(f"{shortened(line, 20)} is not on the list: 1 to {len(allowed)}.")


def tell_codes(sitting: Sitting, text: str) -> bool:
    """Codes read off: added to those already listed. `none` says that there are none at all."""
    workup, listed = sitting.workup, read_codes(text)
    for line in slip_lines(listed):
        sitting.desk.say(line)
    if listed.none and not workup.record.codes:
        return sitting.keep(acts.list_codes(workup, []), "Kept: no codes at all.")
    if not listed.codes:
        return False
    codes = dict(workup.record.codes)
    for typed in listed.codes:
        codes[typed.code] = tuple(sorted({*codes.get(typed.code, ()), *typed.states}))
    complete = ask_codes_complete(sitting.desk, tuple(codes))
    return sitting.keep(
        acts.list_codes(workup, list(codes.items()), complete), f"Kept: the codes read: {', '.join(codes)}"
    )


def other(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Another check instead of the proposed one, from the ranking."""
    desk, workup = sitting.desk, sitting.workup
    options = workup.ranked
    if not options:
        desk.say("No other check has anything to say now.")
        return False
    start, line = 0, rest
    while True:
        if not line:
            ways = [way(workup, o) for o in options[start : start + AT_ONCE]]
            lines = [("", "", "takes", "tells")] + [
                (str(n), way_text(w), effort_text(w.minutes, w.waiting), f"{w.bits:.2f}")
                for n, w in enumerate(ways, start=start + 1)
            ]
            desk.show(
                head("Other checks", "best first; tells: bits about the cause, more is better"), table(lines, [QUIET])
            )
            more = start + AT_ONCE < len(options)
            line = desk.ask("Its number, m for more, or Enter > " if more else "Its number, or Enter > ")
            if not line:
                return False
            if line.lower() in ("m", "more") and more:
                start, line = start + AT_ONCE, ""
                continue
        chosen = numbers_in(line, len(options))
        if chosen is not None and len(chosen) == 1:
            sitting.talk = replace(sitting.talk, chosen=options[chosen[0] - 1])
            return True
        desk.say(f"{shortened(line, 20)} is not on the list: 1 to {len(options)}.")
        line = ""


def changed(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """The car is in another condition now, or behaves differently: what was seen before was another occasion."""
    desk, workup = sitting.desk, sitting.workup
    names = list(workup.book.conditions)
    here = workup.record.condition
    titles = [(str(n), workup.book.conditions[name].title) for n, name in enumerate(names, start=1)]
    same = [("0", f"still {sitting.condition_title(here)}, but it behaves differently now")] if here else []
    last = len(names) + 1
    line = rest
    while True:
        if not line:
            desk.show(
                head("What is the car doing now?"),
                rows([*same, *titles, (str(last), "something else, or not known")]),
            )
            line = desk.ask("Its number, or Enter > ")
            if not line:
                return False
        if line == "0" and same:
            return sitting.keep(acts.change_condition(workup, here), "Kept: it behaves differently now.")
        chosen = numbers_in(line, last)
        if chosen is not None and len(chosen) == 1:
            name = None if chosen[0] == last else names[chosen[0] - 1]
            events = acts.change_condition(workup, name)
            return sitting.keep(events, f"Kept: the car is now: {sitting.condition_title(name)}.")
        desk.say(f"{shortened(line, 20)} is not on the list: {'0' if same else '1'} to {last}.")
        line = ""


def note(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """A line for the case, which changes nothing else."""
    text = rest or sitting.desk.ask("Note, or Enter > ")
    sitting.keep(acts.note(sitting.workup, text), f"Noted: {shortened(text, 60)}", same_question=True)
    return bool(text)


def kit(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """What is at hand: numbers switch between at hand and not."""
    desk = sitting.desk
    did = False
    line = rest
    while True:
        workup = sitting.workup
        tables = workup.tables
        used = set().union(*(c.needs for c in tables.checks), *tables.condition_needs)
        names = [name for name in workup.book.tools if name in used]
        if not names:
            desk.say("No check here needs a tool.")
            return did
        if not line:
            have = [n for n in names if n not in workup.record.lacking]
            order = have + [n for n in names if n in workup.record.lacking]
            titles = [(str(n), workup.book.tools[name].title) for n, name in enumerate(order, start=1)]
            desk.page(
                head("At hand"),
                *([rows(titles[: len(have)])] if have else [para("nothing")]),
                head("Not at hand"),
                *([rows(titles[len(have) :])] if len(have) < len(order) else [para("nothing")]),
            )
            line = desk.ask("Numbers that change sides (3 5), or Enter > ")
            if not line:
                return did
        else:
            order = [n for n in names if n not in workup.record.lacking] + [
                n for n in names if n in workup.record.lacking
            ]
        chosen = numbers_in(line, len(order))
        if chosen is None:
            desk.say(f"{shortened(line, 20)} is not on the list: 1 to {len(order)}.")
            line = ""
            continue
        picked = [order[n - 1] for n in chosen]
        gone = [n for n in picked if n not in workup.record.lacking]
        come = [n for n in picked if n in workup.record.lacking]
        title = workup.book.tools
        told = [f"{title[n].title}: not at hand" for n in gone] + [f"{title[n].title}: at hand" for n in come]
        sitting.keep(acts.tools(workup, gone, come), "Kept: " + "; ".join(told) + ".")
        return True


def so_far(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """What would be concluded if it ended here."""
    sitting.pages.verdict(verdict(sitting.workup, stopped=True), sitting.desk)
    sitting.desk.ask("Enter: back to the question > ")
    return False


def care(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """The cautions of this step in full."""
    if question is None or not question.cautions:
        sitting.desk.say("No cautions belong to this step.")
    else:
        sitting.desk.page(head("Take care first", style=CARE), rows([("!", t) for t in question.cautions], style=CARE))
    return False


HELP = (
    ("2", "the second answer on the list"),
    ("2 think so", "not quite sure: also 2 t, or 2?"),
    ("2 guess", "a guess: also 2 g, or 2??"),
    ("3=2", "cylinder (or bank) 3 has answer 2, those not named have 1; 3=2 4=2, all=1; 4=0: not looked at"),
    ("-18", "a reading, where one is asked; by bank 1=-18 2=-2"),
    ("0", "can't tell (it is not asked again as the car is now)"),
    ("x", "can't do it: no tool, not now, or not possible with this car"),
    ("b back", "take back the last thing"),
    ("w why", "why this question; why a suspect stands where it stands (w 2: the second)"),
    ("t tell", "something you saw that was not asked (t smell), or codes read since (t P0172)"),
    ("o other", "choose another check"),
    ("c changed", "the car is doing something else now, or behaves differently"),
    ("n note", "write something down"),
    ("k kit", "tools that are at hand, or not"),
    ("v verdict", "what would be concluded by now"),
    ("r again", "show the whole step again;  care: the cautions in full"),
    ("s stop", "keep all and leave; nothing answered is ever lost"),
)


def show_help(sitting: Sitting, rest: str, question: Question | None) -> bool:
    lines = [(f"  {key}", text) for key, text in HELP]
    sitting.desk.page(head("What you can type"), rows(lines, indent=0))
    return False


ASIDES: dict[str, Aside] = {
    "back": back,
    "why": why_this,
    "tell": tell,
    "other": other,
    "changed": changed,
    "note": note,
    "kit": kit,
    "tools": kit,
    "verdict": so_far,
    "care": care,
    "help": show_help,
}
