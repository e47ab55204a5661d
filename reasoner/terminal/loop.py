"""The question loop on a screen: shows what comes next, takes what is typed, keeps it. Session decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from enum import Enum, auto

from reasoner.casebook.events import PutAway
from reasoner.measure.codes import read_codes
from reasoner.measure.obd import looks_pasted
from reasoner.session import acts, fitted
from reasoner.session.acts import Refused
from reasoner.session.concluding import belief, proposals
from reasoner.session.document import Question, Verdict
from reasoner.session.logged import Fetch, no_files
from reasoner.session.plain import shortened
from reasoner.session.protocol import Talk
from reasoner.session.words import PASSES
from reasoner.session.workup import Workup
from reasoner.terminal import commands, working
from reasoner.terminal.blocks import numbered
from reasoner.terminal.console import Console, Leave
from reasoner.terminal.pasted import ask_for_log, take_pasted
from reasoner.terminal.picking import Back, ask, pick, pick_several
from reasoner.terminal.replies import Unclear
from reasoner.terminal.sitting import Keep, Pages, Sitting, form_of, in_words, take_answer
from reasoner.terminal.step import ALL_LETTERS, Surroundings, step_pages, yes_or_no
from reasoner.terminal.telling import ask_fact, ask_live, has_none

CANT_DO = ("x", "can't", "cant", "can't do", "cant do", "can't do it", "cannot", "cannot do", "skip")
AGAIN = ("r", "again")
TAKES_MORE = ("why", "tell", "note", "other", "kit", "changed", "log", "car", "live", "frame")  # by what they are about
AT_VERDICT = "g go on, b undo, h help, w why, t tell, l live, k kit, c changed, n note, s stop > "
WEIGHING_TWO = "Weighing two faults at once ..."
LEAVING = ("s", "stop", "q", "quit", "exit")


class After(Enum):
    """What the screen does after a line."""

    DECIDE = auto()  # something was kept: the next question or the verdict
    SHOW = auto()  # something else was on the screen: the question again
    STAY = auto()  # one line was said: just ask again


def run_loop(
    workup: Workup,
    keep: Keep,
    console: Console,
    pages: Pages,
    fetch: Fetch = no_files,
    logs: Sequence[str] = (),
    live: str = "",
) -> Workup:
    """Ask until the person leaves, by a word, Ctrl-C, Ctrl-D or with the terminal; then `console.left` says how.

    keep: puts events where they are safe and returns the case with them; its failures are the caller's. fetch: how the
    bytes of a log are got. logs: files to be taken in before the first question; live: a line of values, the same.
    """
    sitting = Sitting(Talk(workup, fetch=fetch), keep, console, pages)
    with console.seated():
        try:
            for file in logs:
                _first(sitting, file)
            if live:
                _live_first(sitting, live)
            while True:
                _once(sitting)
        except (Leave, KeyboardInterrupt) as leave:
            how = leave.how if isinstance(leave, Leave) else "interrupt"
            stop = [PutAway(step=sitting.workup.record.steps)]
            sitting.keep(stop, same_question=True)
            console.goodbye(how)
    return sitting.workup


def _first(sitting: Sitting, file: str) -> None:
    """A log named when the program was started."""
    try:
        ask_for_log(sitting, file, None)
    except Refused as refused:
        sitting.console.say(in_words(refused))


def _live_first(sitting: Sitting, line: str) -> None:
    """Live values named when the program was started."""
    with suppress(Back):
        ask_live(sitting, line)


def _once(sitting: Sitting) -> None:
    with sitting.console.waiting(lambda: WEIGHING_TWO if sitting.workup.weighs_two else ""):
        document = sitting.talk.next()
    if isinstance(document, Question):
        _step(sitting, document)
    else:
        _concluded(sitting, document)


# ---- a question ------------------------------------------------------------------------------------------------------


def _step(sitting: Sitting, question: Question) -> None:
    if question.facts and _fact_told(sitting, question):
        return
    if _rich_asked(sitting, question):
        return
    console, record = sitting.console, sitting.workup.record
    around = Surroundings(
        said=tuple(dict.fromkeys(sitting.said)),
        car=sitting.condition_title(record.condition),
        answers=record.answers,
        known=frozenset(sitting.known),
        before=_answered_before(sitting, question),
        asking_on=sitting.talk.go_on and sitting.workup.look is None,
        one_by_one=sitting.workup.book.checks[question.way.check].provokes,
    )
    sitting.said.clear()
    shown = belief(sitting.workup)
    page, pages = 0, step_pages(question, shown, around, console)
    console.show_lines(pages[0].lines)
    around = replace(around, said=())  # what was just said has been read
    while True:
        line = console.ask(pages[page].asks)
        sitting.known.update(question.cautions)
        last = page + 1 == len(pages)
        if not line and not last:
            page += 1
        elif not last and not _taken_anywhere(sitting, line):
            console.say("Nothing is taken here: the answers are on the next page. Enter goes there.")
            continue
        elif line.lower() in AGAIN:
            page, pages = 0, step_pages(question, shown, around, console)  # the screen may have another size by now
        else:
            after = _heard(sitting, line, question)
            if after is After.DECIDE:
                return
            if after is After.STAY:
                continue
            around = replace(around, said=tuple(sitting.said))
            sitting.said.clear()
            pages = step_pages(question, shown, around, console)
            page = len(pages) - 1
        console.show_lines(pages[page].lines)


def _taken_anywhere(sitting: Sitting, line: str) -> bool:
    """Whether a line means the same on the page before the answers: a word or a letter, or values as they were read."""
    return bool(_command(line)[0]) or line.lower() in (*CANT_DO, *AGAIN) or commands.is_values(sitting, line)


def _answered_before(sitting: Sitting, question: Question) -> int:
    """How often somebody looked: that it was not rich then is no look."""
    idle = question.while_rich

    def looked(values: Mapping[int, Mapping[str, float]]) -> bool:
        return set(question.places) <= set(values) and not (
            idle and all(max(one, key=lambda name: one[name]) == idle for one in values.values())
        )

    given = sitting.workup.record.given
    return sum(g.check == question.way.check and looked(g.values) for g in given)


def _fact_told(sitting: Sitting, question: Question) -> bool:
    """What the check hangs on is asked first, once. b there takes back the last thing, as anywhere."""
    _say_first(sitting)
    try:
        return ask_fact(sitting, question.facts[0])
    except Back:
        return commands.back(sitting, "", question)


def _say_first(sitting: Sitting) -> None:
    """What was just done, where no page says it."""
    for line in sitting.said:
        sitting.console.say(line)
    sitting.said.clear()


def _rich_asked(sitting: Sitting, question: Question) -> bool:
    """Whether it is rich now, where the check needs that: asked once, for as long as the car does the same. True: it is
    answered by that."""
    record = sitting.workup.record
    known = sitting.workup.rich_now is not None or record.present in record.rich
    if not question.while_rich or question.way.fresh or known:
        return False
    helps = "By trims, lambda or tailpipe, at this moment. It is remembered until the car does something else."
    here = sitting.condition_title(record.condition)
    prompt = f"Is it rich now ({here})? y: yes, n: no, Enter: can't tell > "
    _say_first(sitting)
    try:
        while (line := ask(sitting.console, prompt, helps)).lower() not in ("", "y", "yes", "n", "no", "d", "0"):
            word, rest = _command(line, yes_no=True)
            if word == "stop":
                raise Leave("stop")
            if word:  # as at any question; it is asked again where it is still open
                commands.STEP_COMMANDS[word](sitting, rest, question)
                return True
            sitting.console.say(f"{shortened(line, 20)} is not clear: y, n, or Enter for can't tell.")
    except Back:
        return commands.back(sitting, "", question)
    if line.lower() in ("", "d", "0"):
        return sitting.keep(acts.say_rich(sitting.workup, None), same_question=True)
    rich = line.lower() not in ("n", "no")
    events = acts.say_rich(sitting.workup, rich)
    if rich:
        sitting.keep(events, same_question=True)
        return True
    name, option = question.way.check, sitting.talk.option
    if question.while_rich in {o.name for o in question.outcomes}:
        events += acts.answer(sitting.workup, name, dict.fromkeys(question.places, question.while_rich), option=option)
    return sitting.keep(
        events, "Kept: it is not rich now. What needs it is left until the car does something else (c)."
    )


def _heard(sitting: Sitting, line: str, question: Question) -> After:
    """What a typed line does. Whatever is wrong with it is said in one line, and nothing has changed."""
    try:
        named = line.lower() in {o.name for o in question.outcomes}  # an outcome's own name is never a command
        word, rest = ("", "") if named else _command(line, yes_or_no(question))
        if word == "stop":
            raise Leave("stop")
        if word:
            return After.DECIDE if commands.STEP_COMMANDS[word](sitting, rest, question) else After.SHOW
        if line.lower() in CANT_DO:
            return After.DECIDE if _cant_do(sitting, question) else After.STAY
        if question.lists_codes and (read_codes(line).codes or line.lower() in ("none", "no codes")):
            return After.DECIDE if commands.tell_codes(sitting, line) else After.STAY
        if question.lists_codes and looks_pasted(line):
            return After.DECIDE if take_pasted(sitting, line) else After.SHOW
        if commands.is_values(sitting, line):
            return After.DECIDE if commands.tell_seen(sitting, line, question) else After.SHOW
        check = acts.find_check(sitting.workup, question.way.check)
        if question.works_out and line.lower() in working.MEASURE_WORDS:
            return After.DECIDE if working.ask_and_work_out(sitting, check, sitting.talk.option) else After.SHOW
        form = form_of(sitting.workup, check, question.places)
        return After.DECIDE if take_answer(sitting, line, check, form, sitting.talk.option) else After.STAY
    except Back:
        return After.SHOW
    except Unclear as unclear:
        sitting.console.say(str(unclear))
    except Refused as refused:
        sitting.console.say(in_words(refused))
    return After.STAY


def _command(line: str, yes_no: bool = False) -> tuple[str, str]:
    """The word of a command and what follows it; "" where the line is no command.

    A command is its whole word or its letter. Only those that take something more may be followed by it.
    """
    first, _, rest = line.partition(" ")
    word = "stop" if line.lower() in LEAVING else ALL_LETTERS.get(first.lower(), first.lower())
    known = word in commands.STEP_COMMANDS or word == "stop"
    if not known or (rest and word not in TAKES_MORE):
        return "", ""
    if first.lower() == "n" and yes_no:
        return "", ""
    return word, rest.strip()


def _cant_do(sitting: Sitting, question: Question) -> bool:
    """No tool, not now, or not in this condition: so that it is not proposed again."""
    workup, console, way = sitting.workup, sitting.console, question.way
    check = acts.find_check(workup, way.check)
    reasons: list[tuple[str, str]] = []
    tools = [t for t in check.needs if t not in workup.record.lacking]
    titles = workup.book.tools
    if tools:
        one = f"this shop has no {titles[tools[0]].title} at all"
        reasons.append(("no-tool", one if len(tools) == 1 else "a tool for it is missing"))
    reasons.append(("not-now", "leave out this check only"))
    if way.fresh:
        reasons.append(("avoid", f"{way.condition_title} can't be brought about"))
    if fitted.needed_by(workup, way.check):
        reasons.append(("none", "this car has none"))
    listed = "   ".join(f"{n} {text}" for n, text in numbered(text for _, text in reasons))
    number = pick(console, f"Why not?  {listed}   Enter: back > ", len(reasons))
    if number is None:
        return False
    why = reasons[number - 1][0]
    if why == "none":
        return has_none(sitting, way.check)
    if why == "avoid":
        return sitting.keep(acts.avoid(workup, way.condition), f"Kept: {way.condition_title} is left out from now on.")
    events = acts.pass_over(workup, way.check, why)
    if why == "no-tool" and len(tools) == 1:
        told = f"Kept: no {titles[tools[0]].title}. All that needs it is left out; k puts it back."
        return sitting.keep(events, told)
    if why == "no-tool":
        events = [*acts.tools(workup, lacking=_which_tools(sitting, tools)), *events]
    return sitting.keep(events, f"Kept: {check.title}: {PASSES[why]}. Type t to answer it all the same.")


def _which_tools(sitting: Sitting, tools: Sequence[str]) -> list[str]:
    titles = sitting.workup.book.tools
    listed = "   ".join(f"{n} {text}" for n, text in numbered(titles[t].title for t in tools))
    prompt = f"Which is missing?  {listed}   Enter: just this check > "
    return [tools[n - 1] for n in pick_several(sitting.console, prompt, len(tools))]


# ---- a verdict -------------------------------------------------------------------------------------------------------


def _concluded(sitting: Sitting, document: Verdict) -> None:
    """The verdict, and what can be done after it."""
    console = sitting.console
    sitting.keep(acts.conclude(sitting.workup, document))
    _say_first(sitting)
    sitting.pages.verdict(document, console)
    while True:
        line = console.ask(AT_VERDICT)
        word, rest = _command(line)
        try:
            if word == "stop":
                raise Leave("stop")
            if line.lower() in ("g", "go", "go on"):
                if not proposals(sitting.workup, go_on=True):
                    console.say("No check with the tools at hand would tell anything more worth the name.")
                    continue
                sitting.talk = replace(sitting.talk, go_on=True)
                return
            if line.lower() in AGAIN or word == "verdict":
                sitting.pages.verdict(document, console)
            elif word:
                if commands.STEP_COMMANDS[word](sitting, rest, None):
                    return
            else:
                console.say(
                    "One of the letters: g, b, h, w, t, l, k, c, n or s. What was answered is kept in any case."
                )
        except Back:
            continue
        except Refused as refused:
            console.say(in_words(refused))
        except Unclear as unclear:
            console.say(str(unclear))
