"""What comes off a reader or a tool at the screen: codes as typed, raw replies as pasted, a log of a drive."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePath

from reasoner.casebook.events import Event
from reasoner.measure.codes import CODE_STATES, CodeList, TypedCode, described, read_codes
from reasoner.measure.finding import PLUS_MINUS_MEANS
from reasoner.measure.obd import STATE_OF, Codes, ControllerReply, Current, RefusedReply, read_pasted
from reasoner.measure.pids import DecodedValue
from reasoner.rulebook.model import Rulebook
from reasoner.session import acts, logged, readings
from reasoner.session.document import Question
from reasoner.session.plain import harmless, shortened
from reasoner.session.readings import Offer
from reasoner.session.words import EMPTY_LIST
from reasoner.session.workup import Workup
from reasoner.terminal.blocks import head, numbered, para, rows
from reasoner.terminal.console import Console
from reasoner.terminal.picking import Back, ask, not_listed, numbers_in
from reasoner.terminal.sitting import Sitting

# ---- Codes as a person types them off the reader ---------------------------------------------------------------------
# Read, what could not be taken said, completeness asked.

MORE = re.compile(r"(?:[\s,;]+(?:and )?more|\s*(?:\+|\.\.\.))\.?$", re.I)  # at the end of a list that is not all
Listed = Mapping[str, tuple[str, ...]]  # states by code, in the order typed


def slip_lines(listed: CodeList) -> list[str]:
    """One clear line for everything that could not be taken."""
    lines = [slip.line for slip in listed.slips[:3]]
    return lines + ([f"And {len(listed.slips) - 3} more of that kind."] if len(listed.slips) > 3 else [])


def code_lines(book: Rulebook, codes: Iterable[str]) -> list[str]:
    """Each code with its name, of one without a name here whose it is; and whether no check goes by it."""
    used = {code for check in book.checks.values() for listed in check.codes.values() for code in listed}
    named = {code: book.codes[code].title if code in book.codes else "" for code in codes}
    return [
        (f"{code} {title}" if title else described(code)) + ("" if code in used else ". No rule speaks of it.")
        for code, title in named.items()
    ]


def no_codes_said(workup: Workup) -> tuple[str, ...]:
    """That an empty list of codes was kept; and that it says nothing, where it was cleared with no drive since."""
    return ("Kept: no codes at all.", *((EMPTY_LIST,) if workup.record.cleared else ()))


def merged(codes: Listed, typed: Iterable[TypedCode]) -> dict[str, tuple[str, ...]]:
    """The codes with those typed, each with all the states it was ever said to be in."""
    found = dict(codes)
    for one in typed:
        found[one.code] = tuple(sorted({*found.get(one.code, ()), *one.states}))
    return found


def ask_rest(console: Console, workup: Workup, codes: Listed) -> tuple[dict[str, tuple[str, ...]], bool]:
    """Whether these are all the reader shows: only then does a code that is not there count as absent.

    Further codes may be typed or pasted there, a line each: the codes with those, and the answer.
    """
    found = dict(codes)
    while True:
        prompt = f"Is that all it shows ({shortened(', '.join(found), 40)})? Enter: yes, n: there may be more > "
        line = ask(
            console, prompt, "Only then does a code that is not there count as absent. Or type the further codes."
        )
        if line.lower() in ("", "y", "yes", "n", "no"):
            return found, line.lower() not in ("n", "no")
        listed = read_codes(line)
        if not listed.codes:
            console.say(f'"{shortened(line, 20)}" is not clear: Enter for yes, n for no, or further codes.')
            continue
        for told in (*slip_lines(listed), *code_lines(workup.book, (c.code for c in listed.codes))):
            console.show(para(told))
        found = merged(found, listed.codes)


# ---- Raw replies pasted where codes are asked ------------------------------------------------------------------------
# Decoded, said, kept as codes, and offered as answers where they can be.

ASKED_BY = {state: service - 0x40 for service, state in STATE_OF.items()}


def take_pasted(sitting: Sitting, line: str) -> bool:
    """Take this line and those that follow it, up to Enter. True if anything was kept."""
    console, lines = sitting.console, [line]
    while more := ask(console, "Next reply, Enter: that is all > ", "The lines of hex as the scan tool showed them."):
        lines.append(more)
    found = read_pasted("\n".join(lines))
    for slip in found.slips[:3]:
        console.say(slip.line)
    if not found.replies:
        return False
    kept = _codes(sitting, found.replies)
    for frame in (r for r in found.replies if isinstance(r, Current) and r.frame is not None):
        console.show(head(f"Freeze frame{f' of {frame.froze}' if frame.froze else ''}"), para(_listed(frame.values)))
    frames = [v for r in found.replies if isinstance(r, Current) and r.frame is not None for v in r.values]
    kept = ask_offers(sitting, readings.offer_frame(sitting.workup, frames), "the frame says") or kept
    sitting.live = tuple(v for r in found.replies if isinstance(r, Current) and r.frame is None for v in r.values)
    if sitting.live:
        console.show(head("Live values"), para(_listed(sitting.live)))
    return kept


def _codes(sitting: Sitting, replies: Sequence[ControllerReply]) -> bool:
    """The codes of services 03, 07 and 0A, added to those already listed."""
    console, record = sitting.console, sitting.workup.record
    lists = [reply for reply in replies if isinstance(reply, Codes)]
    codes = merged(dict(record.codes), (code for reply in lists for code in reply.codes))
    if not lists:
        return False
    for line in code_lines(sitting.workup.book, codes):
        console.show(para(line))
    complete = _all_read(replies)
    if codes and not complete:
        codes, complete = ask_rest(console, sitting.workup, codes)
    if not codes and not complete:
        console.say("No codes in what was pasted; stored and pending ones are wanted both (services 03 and 07).")
        return False
    return sitting.keep(acts.list_codes(sitting.workup, list(codes.items()), complete), "Kept: the codes read.")


def _all_read(replies: Sequence[ControllerReply]) -> bool:
    """Whether stored, pending and permanent codes were all asked for and answered, if only with a refusal."""
    refused = {r.service for r in replies if isinstance(r, RefusedReply)}
    told = {r.state for r in replies if isinstance(r, Codes)}
    return all(state in told or ASKED_BY[state] in refused for state in CODE_STATES)


def _listed(values: Iterable[DecodedValue]) -> str:
    return "; ".join(
        f"{v.name} {v.value if isinstance(v.value, str) else f'{v.value:.4g}'} {v.unit}".strip()
        for v in values
        if v.value is not None
    )


def ask_offers(
    sitting: Sitting, offers: Sequence[Offer], say: str, before: Sequence[Event] = (), whole: bool = False
) -> bool:
    """What values that were read answer, to be confirmed in one line and kept. True if any was. say: `the frame says`.
    before: events that are kept with those answers, and also where none of them is right; not so with whole: where no
    answer is right, the values that were read are taken to be wrong, and nothing is kept."""
    if not offers:
        sitting.keep(before)
        return False
    sitting.console.show(head(f"What {say}"), rows(numbered(offer.text for offer in offers)))
    right = confirm_from_list(
        sitting, len(offers), "It was worked out from what was read; what is right counts as answered."
    )
    if whole and not right:
        sitting.said.append("Nothing kept: none of it is right.")
        return False
    sitting.keep([*before, *(offers[n - 1].answer for n in right)], kept_of(len(right), len(offers), say))
    return bool(right)


def kept_of(right: int, offered: int, say: str) -> str:
    """How much of an offer was right, after it was kept. say: `the frame says`, `was heard`."""
    if right == offered:
        return f"Kept: all that {say}."
    return f"Kept: {right} of the {offered} things that {say}." if right else f"Kept: nothing of what {say}."


def confirm_from_list(sitting: Sitting, most: int, helps: str) -> list[int]:
    """Which of a list on the screen are right: all at Enter, none at 0."""
    while line := ask(sitting.console, "Enter: right, 0: none of it, or the numbers that are right > ", helps):
        chosen = [0] if line.lower() in ("n", "no", "none") else numbers_in(line, most, 0)
        if chosen is not None and (0 not in chosen or len(chosen) == 1):
            return [number for number in chosen if number]
        sitting.console.say(f"{not_listed(line, most, 0)} is not on the list: 0 to {most}.")
    return list(range(1, most + 1))


# ---- A scan log at the screen ----------------------------------------------------------------------------------------
# Read, what was understood read back, then kept as one step or not.

FILE = "The path of a text file with a header and one row a sample, from where the program was started."
LITRES_HELP = "With it the log's air is held against what the engine can take; Enter leaves that out."
KEEPS = "The answers above become one step of the case, which back takes back; n leaves the case as it is."


def ask_for_log(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """Take in the log of a file. Raises Refused where it is none; nothing has changed then, nor after going back."""
    try:
        return _taken(sitting, rest)
    except Back:
        sitting.console.say("Not kept.")
        return False


def _taken(sitting: Sitting, rest: str) -> bool:
    console, workup = sitting.console, sitting.workup
    file = (rest or ask(console, "File of the log, Enter: back > ", FILE)).strip().strip("\"'")
    if not file:
        return False
    content, columns = sitting.talk.fetch(file)
    litres = (
        ""
        if logged.displacement_known(workup)
        else ask(console, "Displacement of the engine in L, Enter: not known > ", LITRES_HELP)
    )
    log, *answered = logged.take_log(workup, content, PurePath(file).name, columns, litres.strip())
    says = [("-", harmless(line)) for line in log.says]
    answers = logged.understood(workup, [log, *answered])
    listed = rows(numbered(map(harmless, answers)))
    console.page(
        head("The log says", PLUS_MINUS_MEANS.rstrip(".")),
        rows(says),
        head("As answers", "each in a spell of its own time"),
        listed,
    )
    count = f"{len(answers)} answer{'s' * (len(answers) != 1)}"
    if ask(console, f"Enter keeps {count} as one step, n: not > ", KEEPS).lower() not in ("", "y", "yes"):
        console.say("Not kept.")
        return False
    return sitting.keep([log, *answered], f"Kept: the log {harmless(log.file)}: {count}. Back takes all of it back.")
