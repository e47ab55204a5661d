"""Raw replies pasted where codes are asked: decoded, said, kept as codes, and offered as answers where they can be."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from reasoner.casebook.events import Event
from reasoner.measure.codes import STATES
from reasoner.measure.frames import read_pasted
from reasoner.measure.obd import STATE_OF, Codes, ControllerReply, Current, RefusedReply
from reasoner.measure.pids import Value
from reasoner.rulebook.model import Check
from reasoner.session import acts, readings
from reasoner.session.plain import shortened
from reasoner.session.record import fold
from reasoner.session.words import given_text
from reasoner.terminal.blocks import head, numbered, para, rows
from reasoner.terminal.listing import ask_rest, code_lines, merged
from reasoner.terminal.picking import numbers_in
from reasoner.terminal.prompting import ask
from reasoner.terminal.sitting import Sitting

ASKED_BY = {state: service - 0x40 for service, state in STATE_OF.items()}


def take_pasted(sitting: Sitting, line: str) -> bool:
    """Take this line and those that follow it, up to Enter. True if anything was kept."""
    desk, lines = sitting.desk, [line]
    while more := ask(desk, "Next reply, Enter: that is all > ", "The lines of hex as the scan tool showed them."):
        lines.append(more)
    found = read_pasted("\n".join(lines))
    for slip in found.slips[:3]:
        desk.say(slip.line)
    if not found.replies:
        return False
    kept = _codes(sitting, found.replies)
    for frame in (r for r in found.replies if isinstance(r, Current) and r.frame is not None):
        desk.show(head(f"Freeze frame{f' of {frame.froze}' if frame.froze else ''}"), para(_listed(frame.values)))
    kept = _frames(sitting, found.replies) or kept
    sitting.live = tuple(v for r in found.replies if isinstance(r, Current) and r.frame is None for v in r.values)
    if sitting.live:
        desk.show(head("Live values"), para(_listed(sitting.live)))
    return kept


def _codes(sitting: Sitting, replies: Sequence[ControllerReply]) -> bool:
    """The codes of services 03, 07 and 0A, added to those already listed."""
    desk, record = sitting.desk, sitting.workup.record
    lists = [reply for reply in replies if isinstance(reply, Codes)]
    codes = merged(dict(record.codes), (code for reply in lists for code in reply.codes))
    if not lists:
        return False
    for line in code_lines(sitting.workup, codes):
        desk.show(para(line))
    complete = _all_read(replies)
    if codes and not complete:
        codes, complete = ask_rest(desk, sitting.workup, codes)
    if not codes and not complete:
        desk.say("No codes in what was pasted; stored and pending ones are wanted both (services 03 and 07).")
        return False
    return sitting.keep(acts.list_codes(sitting.workup, list(codes.items()), complete), "Kept: the codes read.")


def _all_read(replies: Sequence[ControllerReply]) -> bool:
    """Whether stored, pending and permanent codes were all asked for and answered, if only with a refusal."""
    refused = {r.service for r in replies if isinstance(r, RefusedReply)}
    told = {r.state for r in replies if isinstance(r, Codes)}
    return all(state in told or ASKED_BY[state] in refused for state in STATES)


def _listed(values: Iterable[Value]) -> str:
    return "; ".join(
        f"{v.name} {v.value if isinstance(v.value, str) else f'{v.value:.4g}'} {v.unit}".strip()
        for v in values
        if v.value is not None
    )


def _frames(sitting: Sitting, replies: Sequence[ControllerReply]) -> bool:
    """What a freeze frame answers, offered."""
    return offer_frame(
        sitting, [v for r in replies if isinstance(r, Current) and r.frame is not None for v in r.values]
    )


def offer_frame(sitting: Sitting, values: Sequence[Value]) -> bool:
    """What the values of a frame answer that nobody has told yet, to be confirmed in one line. True if any was kept."""
    told = {given.check for given in sitting.workup.record.given}
    found = [answer for c in frame_checks(sitting) if c.name not in told and (answer := _answer(sitting, c, values))]
    if not found:
        return False
    sitting.desk.show(head("What the frame says"), rows(numbered(text for _, text in found)))
    right = confirmed(sitting, len(found), "It was worked out from what was read; what is right counts as answered.")
    return sitting.keep([e for n in right for e in found[n - 1][0]], f"Kept: {len(right)} of what the frame says.")


def confirmed(sitting: Sitting, most: int, helps: str) -> list[int]:
    """Which of a list on the screen are right: all at Enter, none at 0."""
    while line := ask(sitting.desk, "Enter: right, 0: none of it, or the numbers that are right > ", helps):
        chosen = [0] if line.lower() in ("n", "no", "none") else numbers_in(line, most, 0)
        if chosen is not None and (0 not in chosen or len(chosen) == 1):
            return [number for number in chosen if number]
        sitting.desk.say(f"{shortened(line, 20)} is not on the list: 0 to {most}.")
    return list(range(1, most + 1))


def frame_checks(sitting: Sitting) -> list[Check]:
    """Checks of this vehicle that a freeze frame answers."""
    return _worked(sitting, frame=True)


def _worked(sitting: Sitting, frame: bool) -> list[Check]:
    """Checks of this vehicle whose computation works on a freeze frame, or on live values."""
    found = []
    for check in sitting.workup.book.checks.values():
        working = readings.working_of(check)
        if working is not None and working.frame is frame and check.name in sitting.workup.tables.check_number:
            found.append(check)
    return found


def _has_what_it_needs(check: Check, worked: readings.Worked) -> bool:
    """Whether the figure that every outcome is told by was among the values: no time since a start, no how soon."""
    if check.computed is None or not check.computed.outcomes:
        return True
    named = [{within.figure for within in told if not within.kind} for told in check.computed.outcomes.values()]
    figures = {figure.name for found in worked.finding.figures.values() for figure in found}
    return set.intersection(*named) <= figures


def _answer(sitting: Sitting, check: Check, values: Iterable[Value]) -> tuple[list[Event], str] | None:
    """What values that were read say of a check, as events and in words; None where they do not suffice."""
    working, workup = readings.working_of(check), sitting.workup
    if working is None:
        return None
    inputs = readings.from_values(working, values, workup.vehicle)
    try:
        worked = readings.told(workup, check.name, inputs)
    except acts.Refused:
        return None
    if not _has_what_it_needs(check, worked):
        return None
    events = acts.answer(workup, check.name, worked.weights, "sure", None, worked.reading, None, worked.inputs)
    return events, given_text(workup, fold(workup.book, [*workup.events, *events], workup.vehicle).given[-1])


def offer(sitting: Sitting, check: Check, values: Iterable[Value]) -> bool:
    """What values that were read say of a check, kept if the person agrees. False where they do not suffice."""
    answer = _answer(sitting, check, values)
    if answer is None:
        return False
    events, text = answer
    prompt, helps = f"{text}. Enter keeps it, n: not > ", "It was worked out from what was read."
    while (line := ask(sitting.desk, prompt, helps).lower()) not in ("", "y", "yes"):
        if line in ("n", "no"):
            return False
        sitting.desk.say(f"{shortened(line, 20)} is neither: Enter keeps it, n does not.")
    return sitting.keep(events, f"Kept: {text}")
