"""What can be done at any step besides answering: each word of `STEP_COMMANDS` with what it shows and asks.

Every one of them can be left with Enter. They return True where something was kept, so that the question is asked anew.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from rich.text import Text

from reasoner.inference.plan import Option
from reasoner.measure.codes import read_codes
from reasoner.measure.frozen import read_frame, read_live
from reasoner.measure.obd import looks_pasted
from reasoner.rulebook.model import Check, Sees
from reasoner.session import acts, fitted
from reasoner.session.acts import Refused
from reasoner.session.asking import way
from reasoner.session.concluding import belief, verdict, why
from reasoner.session.document import Question
from reasoner.session.finding import find_checks
from reasoner.session.plain import effort_text, harmless, shortened
from reasoner.session.readings import typed_as
from reasoner.session.words import given_text, step_text
from reasoner.terminal import working
from reasoner.terminal.blocks import CARE, KEY, QUIET, choices_block, head, numbered, para, rows, table
from reasoner.terminal.pasted import (
    MORE,
    ask_for_log,
    ask_rest,
    code_lines,
    merged,
    no_codes_said,
    slip_lines,
    take_pasted,
)
from reasoner.terminal.picking import ask, numbers_in, pick, pick_several
from reasoner.terminal.replies import Unclear
from reasoner.terminal.sitting import Sitting, form_of, in_words, take_answer
from reasoner.terminal.step import by_place, condition_rows, suspect_table, way_text, why_blocks
from reasoner.terminal.telling import ask_frame, ask_live, has_none, tell_car

StepCommand = Callable[[Sitting, str, Question | None], bool]


def back(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Take back the last step. It is recorded as taken back, not erased."""
    workup = sitting.workup
    if sitting.talk.chosen is not None:
        sitting.talk = replace(sitting.talk, chosen=None)  # nothing was answered yet: back to what was proposed
        return True
    [back] = acts.undo(workup)
    return sitting.keep([back], f"Taken back: {step_text(workup, back.undone) or 'the last step'}")


def why_this(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Why this question, and why a suspect stands where it stands."""
    console, workup = sitting.console, sitting.workup
    shown = belief(workup)
    suspects = shown.faults
    if not rest:
        blocks = []
        if question is not None:
            blocks += [
                head("This question", question.way.title),
                *why_blocks(question, len(question.separates), in_full=True),
            ]
            if question.condition_means:
                blocks.append(para(f"{question.way.condition_title}: {question.condition_means}", style=QUIET))
        console.page(
            *blocks, head("Why a suspect stands where it stands"), suspect_table(shown, len(suspects), ranges=True)
        )
    prompt = "Its number, Enter: back > "
    while (number := pick(console, prompt, len(suspects), rest)) is not None:
        sitting.pages.why(why(workup, suspects[number - 1].cause), console)
        prompt, rest = "Another number, Enter: back > ", ""
    return False


def live(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Live values as they are read, in one line: kept with the state they were taken in."""
    return ask_live(sitting, rest)


def frame(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """A freeze frame in one line: what it answers is offered, the rest is noted."""
    before = sitting.workup
    ask_frame(sitting, rest)
    return sitting.workup is not before


def tell_seen(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Something seen that was not asked: found by words, answered, with the condition it was seen in."""
    console = sitting.console
    helps = "A word or two of what you saw (smell, misfire), or a code such as P0172. Enter leaves it."
    words = rest or ask(console, "What have you seen? A word or two, or a code, Enter: back > ", helps)
    while words:
        if _are_live(sitting, words):
            return ask_live(sitting, words.removeprefix("live").strip())
        if _is_frame(words):
            return frame(sitting, words, question)
        first, _, whole = words.partition(" ")
        if first.lower() == "codes" and not _in_a_title(sitting, words):
            return list_codes_anew(sitting, whole)
        if any(c.isdigit() for c in words) and read_codes(words).codes:
            return tell_codes(sitting, words)
        if looks_pasted(words):
            return take_pasted(sitting, words)
        found = find_checks(sitting.workup, words)
        if not found:
            said, words = words, ""
            line = ask(
                console,
                f'Nothing here speaks of "{shortened(said, 24)}". Other words, n to note it, Enter: back > ',
                helps,
            )
            if line.lower() in ("n", "note"):
                return note_line(sitting, said, question)
            words = line
            continue
        console.show(head("Which of these?"), rows(numbered(f"{c.title}: {c.ask}" for c in found)))
        line = ask(console, "Its number, or other words, Enter: back > ", helps)
        chosen = numbers_in(line, len(found))
        if chosen is not None and len(chosen) == 1:
            return _tell_check(sitting, found[chosen[0] - 1])
        if line.isdecimal():
            console.say(f"{shortened(line, 20)} is not on the list: 1 to {len(found)}.")
            continue
        words = line
    return False


def _in_a_title(sitting: Sitting, words: str) -> bool:
    """Whether words, more than one, stand in the title of a check."""
    checks = sitting.workup.tables.checks
    return " " in words and any(words.lower() in sitting.workup.book.checks[c.name].title.lower() for c in checks)


def is_values(sitting: Sitting, line: str) -> bool:
    """Whether a line is a freeze frame or live values, which are taken at any question."""
    return _is_frame(line) or _are_live(sitting, line)


def _is_frame(words: str) -> bool:
    frame = read_frame(words)
    return len(frame.values) > 1 and not frame.unread


def _are_live(sitting: Sitting, words: str) -> bool:
    """Whether words are live values: they begin with what the car was doing, or with `live`."""
    if words.lower().split()[:1] == ["live"]:
        return True
    found = read_live(words, acts.typed_words(sitting.workup.book))
    return any(state.words for state in found.states) and not found.unread


def _tell_check(sitting: Sitting, check: Check) -> bool:
    console, workup = sitting.console, sitting.workup
    seen_in: str | None = None
    if check.sees is Sees.NOW and check.after_work:
        seen_in = ""  # since the work, in whatever the car has done
    elif check.sees is Sees.NOW:
        allowed = check.conditions or tuple(workup.book.conditions)
        picked = _which_condition(sitting, allowed)
        if picked is None:
            return False
        seen_in = picked or None
    instead_of = _instead_of(sitting, check, seen_in)
    if instead_of is None:
        return False
    form = form_of(workup, check)
    console.show(Text(harmless(check.ask), style=KEY))
    if form.measure:
        words = ", ".join(o.name for o in form.outcomes)
        console.say(f"The number in {form.measure.unit} ({harmless(typed_as(check))}), or: {words}")
    else:
        console.show(choices_block(numbered(o.text for o in form.outcomes), console.width))
        if len(form.places) > 1:
            console.show(by_place(form.at, form.places, len(form.outcomes), form.one_by_one))
    if check.computed:
        console.say(working.offers(check))
    needs = bool(fitted.needed_by(workup, check.name))
    none, has_not = ("x: this car has none, ", " x: this car has not got what it is about.") if needs else ("", "")
    while True:
        helps = f"One of the answers above, by its number or word.{has_not}"
        line = ask(console, f"Answer, {none}Enter: leave it > ", helps)
        if not line:
            return False
        if line.lower() == "x":
            return has_none(sitting, check.name)
        try:
            if check.computed and line.lower() in working.MEASURE_WORDS:
                return working.ask_and_work_out(sitting, check, seen_in=seen_in, instead_of=instead_of)
            return take_answer(sitting, line, check, form, seen_in=seen_in, instead_of=instead_of)
        except Unclear as unclear:
            console.say(str(unclear))
        except Refused as refused:
            console.say(in_words(refused))


def _instead_of(sitting: Sitting, check: Check, seen_in: str | None) -> int | None:
    """The step of the earlier answer that a new one takes the place of; 0 where there is none, or it was another
    occasion. None if the person leaves."""
    console, workup, record = sitting.console, sitting.workup, sitting.workup.record
    before = acts.told_before(workup, check)
    state = record.condition if seen_in is None else seen_in or None
    now = seen_in in (None, record.condition)
    same = [g for g in before if check.sees is Sees.EVER or (now and g.spell == record.present)]
    if same:
        console.say(f"Answered before: {given_text(workup, same[-1])}. A new answer takes its place.")
        return same[-1].step
    alike = [g for g in before if record.spells[g.spell] == state]
    if not alike:
        return 0
    console.say(f"Answered before: {given_text(workup, alike[-1])}.")
    number = pick(console, "1 this takes its place   2 it was another time: both count   Enter: leave it > ", 2)
    return None if number is None else alike[-1].step if number == 1 else 0


def _which_condition(sitting: Sitting, allowed: tuple[str, ...]) -> str | None:
    """The condition something was seen in: its name, "" for now, None if the person leaves."""
    console, workup = sitting.console, sitting.workup
    here = workup.record.condition
    now = here in allowed
    console.show(head("When was it seen?"), rows(numbered(workup.book.conditions[name].title for name in allowed)))
    alone = allowed[0] if len(allowed) == 1 else None  # where it is seen in one state only, it was that one
    enter = f"now ({sitting.condition_title(here)})" if now else sitting.condition_title(alone) if alone else "leave it"
    number = pick(console, f"Its number. Enter: {enter} > ", len(allowed))
    if number is not None:
        return allowed[number - 1]
    if not now and alone is None:
        console.say("Nothing kept: what is seen now and then counts only with the state it was seen in.")
    return "" if now else alone


def list_codes_anew(sitting: Sitting, text: str) -> bool:
    """The whole list of codes in place of the one that is kept: for a code that was forgotten, or typed wrong."""
    console, workup = sitting.console, sitting.workup
    kept = ", ".join(code for code, _ in workup.record.codes) or "none"
    prompt = f"All codes, in place of {kept}; none, or + after them if there may be more > "
    while text := text or ask(
        console, prompt, "The whole list with states, such as P0172 pending, P0301. Enter leaves it."
    ):
        listed, more = read_codes(MORE.sub("", text)), MORE.search(text) is not None
        for line in (*slip_lines(listed), *code_lines(workup.book, (c.code for c in listed.codes))):
            console.say(line)
        if not listed.slips and (listed.codes or listed.none):
            codes = merged({}, listed.codes)
            told = f"Kept: the codes are now: {', '.join(codes) or 'none'}; in place of {kept}."
            nothing = workup.record.cleared and not codes and not more
            said = no_codes_said(workup) if nothing else (told,)
            return sitting.keep(acts.list_codes(workup, list(codes.items()), not more), *said)
        text = ""
    return False


def tell_codes(sitting: Sitting, text: str) -> bool:
    """Codes read off: added to those already listed. `none` says that there are none at all."""
    workup, listed = sitting.workup, read_codes(text)
    for line in slip_lines(listed):
        sitting.console.say(line)
    if listed.none and not workup.record.codes:
        return sitting.keep(acts.list_codes(workup, []), *no_codes_said(workup))
    if not listed.codes:
        return False
    codes, complete = ask_rest(sitting.console, workup, merged(dict(workup.record.codes), listed.codes))
    return sitting.keep(
        acts.list_codes(workup, list(codes.items()), complete),
        f"Kept: the codes read: {', '.join(codes)}. If one is wrong: t codes and the whole list.",
    )


def other(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Another check instead of the proposed one, from the ranking."""
    console, workup = sitting.console, sitting.workup
    options = workup.ranked
    if not options:
        console.say("No other check has anything to say now.")
        return False
    if rest and not rest[0].isdigit():  # words: those that speak of them
        names = {check.name for check in find_checks(workup, rest)}
        spoken = [option for option in options if workup.tables.checks[option.check].name in names]
        if not spoken:
            console.say(f'None of the checks to choose from speaks of "{shortened(rest, 24)}"; o alone lists them all.')
            return False
        options, rest = spoken, ""
    named = [_words_of(sitting, option) for option in options]
    number = pick(
        console,
        "Its number or words, Enter: back > ",
        len(options),
        rest,
        lambda: _show_options(sitting, options),
        named=named,
    )
    if number is None:
        return False
    sitting.talk = replace(sitting.talk, chosen=options[number - 1])
    return True


def _words_of(sitting: Sitting, option: Option) -> str:
    """All words by which an option can be chosen: those of its check, and the condition it is done in."""
    check = sitting.workup.book.checks[sitting.workup.tables.checks[option.check].name]
    return " ".join((check.title, *check.words, way(sitting.workup, option).condition_title))


def _show_options(sitting: Sitting, options: Sequence[Option]) -> None:
    ways = [way(sitting.workup, option) for option in options]
    lines = [("", "", "takes", "tells")] + [
        (str(n), way_text(w), effort_text(w.minutes, w.waiting), f"{w.bits:.2f}") for n, w in enumerate(ways, start=1)
    ]
    told = "best for their time first; tells: 1 would settle an even yes or no"
    sitting.console.page(head("Other checks", told), table(lines, [QUIET]))


def changed(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """The car is in another condition now, or behaves differently: what was seen before was another occasion."""
    console, workup = sitting.console, sitting.workup
    names = list(workup.book.conditions)
    here = workup.record.condition
    same = [("0", f"still {sitting.condition_title(here)}, but it behaves differently now")] if here else []
    last = len(names) + 1
    whole = rows([*same, *condition_rows(workup.book), (str(last), "something else, or not known")])
    meant = acts.typed_words(workup.book, here).get(rest.lower())
    number = pick(
        console,
        "Its number or words, Enter: back > ",
        last,
        str(names.index(meant) + 1) if meant else rest,
        lambda: console.show(head("What is the car doing now?"), whole),
        least=0 if same else 1,
        named=[*(workup.book.conditions[name].title for name in names), "something else, or not known"],
    )
    if number is None:
        return False
    if number == 0:
        return sitting.keep(acts.change_condition(workup, here), "Kept: it behaves differently now.")
    name = None if number == last else names[number - 1]
    told = f"Kept: the car is now: {sitting.condition_title(name)}."
    return sitting.keep(acts.change_condition(workup, name), told)


def note_line(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """A line for the case, which changes nothing else."""
    text = rest or ask(sitting.console, "Note, Enter: back > ", "A line that is kept with the case and weighs nothing.")
    sitting.keep(acts.note(sitting.workup, text), f"Noted: {shortened(text, 60)}", same_question=True)
    return bool(text)


def kit(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """What is at hand: numbers switch between at hand and not."""
    console, workup = sitting.console, sitting.workup
    tables, tool, lacking = workup.tables, workup.book.tools, workup.record.lacking
    used = set().union(*(c.needs for c in tables.checks), *tables.condition_needs)
    have = [name for name in tool if name in used and name not in lacking]
    names = have + [name for name in tool if name in used and name in lacking]
    if not names:
        console.say("No check here needs a tool.")
        return False

    def show() -> None:
        titles = numbered(tool[name].title for name in names)
        nothing = para("nothing")
        console.page(
            head("At hand"),
            rows(titles[: len(have)]) if have else nothing,
            head("Not at hand"),
            rows(titles[len(have) :]) if len(have) < len(names) else nothing,
        )

    picked = [
        names[n - 1] for n in pick_several(console, "What changes sides (3 5), Enter: back > ", len(names), rest, show)
    ]
    gone, come = [n for n in picked if n in have], [n for n in picked if n not in have]
    told = [f"{tool[n].title}: not at hand" for n in gone] + [f"{tool[n].title}: at hand" for n in come]
    return bool(picked) and sitting.keep(acts.tools(workup, gone, come), f"Kept: {'; '.join(told)}.")


def so_far(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """What would be concluded if it ended here; and why, where that is asked."""
    sitting.pages.verdict(verdict(sitting.workup, stopped=True), sitting.console)
    while line := sitting.console.pause("w why, ", ("w", "why")):
        why_this(sitting, line.partition(" ")[2].strip(), None)
    return False


def care(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """The cautions of this step in full."""
    if question is None or not question.cautions:
        sitting.console.say("No cautions belong to this step.")
    else:
        sitting.console.page(
            head("Take care first", style=CARE), rows([("!", t) for t in question.cautions], style=CARE)
        )
        sitting.console.pause()
    return False


def how(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """How the check is done."""
    if question is None or not question.how.strip():
        sitting.console.say("There is no more to say of how it is done.")
    else:
        sitting.console.page(head("How", question.way.title), para(question.how))
        sitting.console.pause()
    return False


HELP_TEXT = (
    ("2", "the second answer on the list"),
    ("2 think so", "not quite sure: also 2 t, or 2?"),
    ("2 guess", "a guess: also 2 g, or 2??"),
    ("3=2", "cylinder (or bank) 3 has answer 2, those not named have 1; 3=2 4=2, all=1; 4=0: not looked at"),
    ("-18", "a reading, where one is asked; by bank 1=-18 2=-2"),
    ("m", "work the answer out from readings, where that is offered"),
    ("0, d", "can't tell (it is not asked again as the car is now); where a reading is asked only d"),
    ("x", "can't do it: no tool, not now, or not possible with this car"),
    ("b undo", "take back the last thing; on a page that is only read, b leaves it and takes nothing back"),
    ("w why", "why this question; why a suspect stands where it stands (w 2: the second)"),
    (
        "t tell",
        "something you saw that was not asked (t smell), or codes read since (t P0172; t codes and the whole list"
        " puts them right)",
    ),
    ("l live", "live values as read, in one line: l idle +4 -14 maf 3.1; 2500 +2 -6"),
    ("f frame", "a freeze frame in one line: f P0172 rpm 780 load 24 ect 92 stft -12 ltft -14"),
    ("o other", "choose another check (o purge: of those that speak of it)"),
    ("c changed", "the car is doing something else now, or behaves differently"),
    ("n note", "write something down"),
    ("k kit", "tools that are at hand, or not"),
    ("car", "what this car has or has not got; car model year 2014"),
    ("log drive.csv", "take in a scan log: what it says of all the checks it can answer"),
    ("v verdict", "what would be concluded by now"),
    ("r again", "show the whole step again;  care: the cautions in full;  how: how it is done"),
    ("s stop", "keep all and leave; nothing answered is ever lost"),
)


def show_help(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """`h`: everything that can be typed. False: the question stands."""
    lines = [(f"  {key}", text) for key, text in HELP_TEXT]
    sitting.console.page(head("What you can type"), rows(lines, indent=0))
    sitting.console.pause()
    return False


STEP_COMMANDS: dict[str, StepCommand] = {
    "back": back,
    "undo": back,
    "why": why_this,
    "tell": tell_seen,
    "live": live,
    "frame": frame,
    "other": other,
    "changed": changed,
    "note": note_line,
    "kit": kit,
    "tools": kit,
    "car": tell_car,
    "verdict": so_far,
    "log": ask_for_log,
    "care": care,
    "how": how,
    "help": show_help,
}
