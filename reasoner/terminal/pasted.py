"""Raw replies pasted where codes are asked: decoded, said, kept as codes, and offered as answers where they can be."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from reasoner.casebook.events import Event
from reasoner.measure.codes import STATES
from reasoner.measure.obd import STATE_OF, Codes, ControllerReply, Current, RefusedReply, read_pasted
from reasoner.measure.pids import Value
from reasoner.session import acts, readings
from reasoner.session.plain import shortened
from reasoner.session.readings import Offer
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
    frames = [v for r in found.replies if isinstance(r, Current) and r.frame is not None for v in r.values]
    kept = ask_offers(sitting, readings.offer_frame(sitting.workup, frames), "the frame says") or kept
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


def ask_offers(sitting: Sitting, offers: Sequence[Offer], say: str, before: Sequence[Event] = ()) -> bool:
    """What values that were read answer, to be confirmed in one line and kept. True if any was. say: `the frame says`.
    before: events that are kept in any case, with those."""
    if not offers:
        return sitting.keep(before)
    sitting.desk.show(head(f"What {say}"), rows(numbered(offer.text for offer in offers)))
    right = confirmed(sitting, len(offers), "It was worked out from what was read; what is right counts as answered.")
    sitting.keep([*before, *(offers[n - 1].answer for n in right)], f"Kept: {len(right)} of what {say}.")
    return bool(right)


def confirmed(sitting: Sitting, most: int, helps: str) -> list[int]:
    """Which of a list on the screen are right: all at Enter, none at 0."""
    while line := ask(sitting.desk, "Enter: right, 0: none of it, or the numbers that are right > ", helps):
        chosen = [0] if line.lower() in ("n", "no", "none") else numbers_in(line, most, 0)
        if chosen is not None and (0 not in chosen or len(chosen) == 1):
            return [number for number in chosen if number]
        sitting.desk.say(f"{shortened(line, 20)} is not on the list: 0 to {most}.")
    return list(range(1, most + 1))
