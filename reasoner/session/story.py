"""What the owner tells before the first question, several things at once: work done lately, when it happens, what else;
and what a complaint in the owner's words says of them.

Each is an answer to a check of its own, so that it counts once and is not asked again; what is told in one go is taken
back in one go.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from reasoner.casebook.events import Event
from reasoner.casebook.trouble import Refused
from reasoner.measure.frozen import Frame, read_frame
from reasoner.measure.pids import DecodedValue
from reasoner.measure.uncertain import soften
from reasoner.rulebook.model import Check
from reasoner.rulebook.quantity import KM_PER_MILE
from reasoner.session import acts, readings
from reasoner.session.plain import shortened
from reasoner.session.readings import Offer
from reasoner.session.workup import Workup

# The kinds of `intake` of which all is asked together, before the first question.
AT_THE_COUNTER = ("work", "renewed", "since", "pattern", "also", "manner")
WORK_SUCH_AS = "such as: 2 5, other workshop, 6 weeks, work first; 3, dealer, complaint first"
# Which of the two came first, in a word at the end -> whether the complaint began before the work.
CAME_FIRST = {"complaint": True, "c": True, "work": False, "w": False}
# How far a car is driven in so long, in km, where only the time is told: some 13,000 km a year, as in most countries'
# traffic statistics (from memory).
KM_IN = {"km": 1.0, "mi": KM_PER_MILE, "day": 36.0, "week": 250.0, "month": 1080.0, "year": 13000.0}
_UNIT = rf"\s*({'|'.join(KM_IN)})(?:les|s)?"
_THOUSANDS = r"\d{1,3}(?:[,.]\d{3})+"
AGO = re.compile(rf"(?<![\d.])({_THOUSANDS}|\d+\.\d{{1,2}}|\d+){_UNIT}\b", re.IGNORECASE)
# `2,5 weeks`: a decimal comma, or a 2 of the list and 5 weeks?
COMMA_OF_TWO_MEANINGS = re.compile(rf"(?<![\d.,])\d+,\d{{1,2}}{_UNIT}", re.IGNORECASE)


@dataclass(frozen=True)
class StoryRow:
    """One thing that can be told: an outcome of a check."""

    check: str
    outcome: str
    text: str


@dataclass(frozen=True)
class WorkLine:
    """numbers: of the rows, empty = nothing was done. began_before: the complaint is older than the work. rest: by whom
    and when, as typed; driven: km since then, as far as that says it."""

    numbers: tuple[int, ...]
    began_before: bool
    rest: str

    @property
    def driven(self) -> float | None:
        found = AGO.search(self.rest)
        if found is None:
            return None
        thousands = re.fullmatch(_THOUSANDS, found[1])
        return float(re.sub(r"\D", "", found[1]) if thousands else found[1]) * KM_IN[found[2].lower()]


def tellable(workup: Workup, kind: str) -> list[Check]:
    """Checks of this kind that can be told of this car and were not yet."""
    told = _told(workup)
    return [check for check in _of_kind(workup, kind) if check.name not in told]


def _of_kind(workup: Workup, kind: str) -> list[Check]:
    known = workup.tables.check_number
    return [check for check in workup.book.checks.values() if check.intake == kind and check.name in known]


def _told(workup: Workup) -> set[str]:
    return {given.check for given in workup.record.given}


def told_first(workup: Workup) -> list[Check]:
    """What is told of any car before the first question: work done lately, when and how it happens, and the values of
    a freeze frame; what may make another of them needless stands before it."""
    frames = {check.name for check in readings.frame_checks(workup)}
    found = [
        workup.book.checks[table.name]
        for table in workup.tables.checks
        if table.name in frames or workup.book.checks[table.name].intake in AT_THE_COUNTER
    ]
    return sorted(found, key=lambda check: bool(check.not_where))


def rows_of(workup: Workup, kind: str) -> list[StoryRow]:
    """Everything but `nothing of it`, over the checks of a kind. Work is listed where the complaint told it already
    too: by whom and when is told with its number."""
    return [
        StoryRow(check.name, outcome.name, check.title if len(check.outcomes) == 2 else outcome.text)
        for check in (_of_kind if kind == "work" else tellable)(workup, kind)
        for outcome in check.outcomes[1:]
    ]


def tell_heard(workup: Workup, rows: Sequence[StoryRow]) -> list[Event]:
    """What was heard and is right, in one step; several outcomes of one check share the weight."""
    checks = [workup.book.checks[name] for name in dict.fromkeys(row.check for row in rows)]
    return _tell(workup, checks, rows, rest_is_none=False)


def read_work(line: str, count: int) -> tuple[WorkLine, ...]:
    """`2 5, other workshop, 6 weeks, work first; 3, dealer, complaint first`: of each piece of work numbers first, then
    who and when, and which came first, the work or the complaint.

    Raises Refused.
    """
    found = tuple(_read_work(part, count) for part in line.split(";") if part.strip(" ,"))
    if not found or (len(found) > 1 and any(not work.numbers for work in found)):
        raise Refused(f'"{shortened(line, 24)}" is no number of the list', WORK_SUCH_AS)
    return found


def _read_work(part: str, count: int) -> WorkLine:
    part = part.strip(" ,")
    unclear = COMMA_OF_TWO_MEANINGS.search(part)
    if unclear:
        point, comma = unclear[0].replace(",", "."), unclear[0].replace(",", ", ")
        raise Refused(f'"{shortened(unclear[0], 24)}" can be read in two ways', f'type "{point}" or "{comma}"')
    ago = AGO.search(part)
    until = ago.start() if ago else len(part)  # the number of 800 km is none of the list
    match = re.match(r"([\d, ]*\d)\b *[,:]? *(?!\d)(?=[^\d]|$)(.*)", part[:until].rstrip(" ,"))
    numbers, rest = (match[1], part[match.start(2) :]) if match else ("", part)
    if not numbers:
        raise Refused(f'"{shortened(part.strip(), 24)}" is no number of the list', WORK_SUCH_AS)
    chosen = tuple(dict.fromkeys(int(n[:6]) for n in re.findall(r"\d+", numbers)))
    if any(n > count for n in chosen) or (0 in chosen and len(chosen) > 1):
        raise Refused(f"{numbers.strip()[:24]} is not on the list", f"1 to {count}, or 0 alone for none of them")
    *_, last = re.split(r"[,;]", rest.lower())
    words = re.findall(r"[a-z]+", last)
    said = {CAME_FIRST[word] for word in words if word in CAME_FIRST}
    if len(said) > 1 or (not said and not {"before", "after"}.isdisjoint(words)):  # before what?
        raise Refused(
            f'"{shortened(last.strip(), 24)}" can be read in two ways', "end with: work first, or complaint first"
        )
    return WorkLine(() if chosen == (0,) else chosen, said == {True}, rest.strip(" ,"))


def renewed(workup: Workup) -> list[Check]:
    """Parts that may have been renewed; their numbers follow those of the work. Told already or not, as with work."""
    return _of_kind(workup, "renewed")


def tell_work(workup: Workup, lines: Sequence[WorkLine]) -> list[Event]:
    """Work done and parts renewed lately. Work that was done when the complaint was there already did not bring it in:
    it counts as none. A part that was renewed then and did not mend it is the less likely."""
    work, parts = rows_of(workup, "work"), renewed(workup)
    brought = [work[n - 1] for line in lines if not line.began_before for n in line.numbers if n <= len(work)]
    new = {n - len(work): line.began_before for line in lines for n in line.numbers if n > len(work)}
    rows = [
        StoryRow(part.name, part.outcomes[1 if new[n] else 2].name, part.title)
        for n, part in enumerate(parts, 1)
        if n in new
    ]
    told = _told(workup)
    events = _tell(workup, _of_kind(workup, "work"), list(dict.fromkeys(brought)), rest_is_none=True, but=told)
    events += _tell(workup, parts, rows, rest_is_none=True, but=told)
    done = [line for line in lines if not line.began_before and any(n <= len(work) for n in line.numbers)]
    ago = [line.driven for line in done if line.driven is not None]
    for check in tellable(workup, "since"):
        if check.measure is not None and ago:
            events += acts.answer(workup, check.name, {0: soften(check.measure, min(ago))}, reading=f"{min(ago):.0f}")
        elif not done and told.isdisjoint(row.check for row in work):  # no work that could have brought it in
            events += acts.answer(workup, check.name, {0: check.outcomes[0].name})
    return [*events, *(event for note in work_noted(workup, lines) for event in acts.note(workup, note))]


def where_renewed(workup: Workup) -> list[Check]:
    """What is still to be said of a part that is new: at which places, where there are several. Asked with the work."""
    told, found = _told(workup), []
    for check in workup.book.checks.values():
        parts = [name for name in check.after if workup.book.checks[name].intake == "renewed" and name in told]
        number = workup.tables.check_number.get(check.name)
        wanted = check.kind == "told" and parts and check.name not in told
        if wanted and number is not None and not workup.nothing_to_ask(number):
            found.append(check)
    return found


WORK_LATELY = "work lately: "  # how such a note begins


def work_noted(workup: Workup, lines: Sequence[WorkLine]) -> list[str]:
    """The work that was told, a note for each piece: what, by whom and when."""
    texts = [row.text for row in rows_of(workup, "work")] + [part.title for part in renewed(workup)]
    return [
        "; ".join(filter(None, (WORK_LATELY + ", ".join(texts[n - 1] for n in line.numbers), line.rest)))
        for line in lines
        if line.numbers
    ]


def tell_pattern(workup: Workup, check: Check, numbers: Sequence[int]) -> list[Event]:
    """When it happens; several answers share the weight, as each was so some of the times."""
    rows = [StoryRow(check.name, o.name, o.text) for o in check.outcomes]
    return _tell(workup, [check], [rows[n - 1] for n in numbers], rest_is_none=False)


def tell_also(workup: Workup, numbers: Sequence[int]) -> list[Event]:
    """What else it hangs on; none chosen: on none of these."""
    rows = rows_of(workup, "also")
    return _tell(workup, tellable(workup, "also"), [rows[n - 1] for n in numbers], rest_is_none=not numbers)


def no_frame(workup: Workup, shown: Collection[str] = ()) -> list[Event]:
    """No freeze frame is stored, or one that shows this and no more: nothing else is asked about one. shown: checks."""
    told = {*shown, *(given.check for given in workup.record.given)}
    frames = {check.name for check in readings.frame_checks(workup)}
    known = workup.tables.check_number
    open_ones = [
        check.name
        for check in workup.book.checks.values()
        if check.name in known and check.name not in told and (check.name in frames or frames & set(check.not_where))
    ]
    return [event for name in open_ones for event in acts.pass_over(workup, name, "not-now")]


def frame_told(
    workup: Workup, frame: Frame, values: Sequence[DecodedValue], typed: str
) -> tuple[list[Event], list[Offer]]:
    """What a freeze frame is kept as, whatever is made of it, and what it answers where it was rich in it: what it
    does not show is not asked about then. Of a car without a rich code it says in which state of the car the frame was
    stored.
    values: as they were meant, after odd ones were read back."""
    put_right = "".join(
        f", {v.name} {v.value if isinstance(v.value, str) else f'{v.value:g}'} {v.unit}"
        for v in values
        if v not in frame.values
    )
    events = acts.note(workup, f"freeze frame: {typed}{put_right}")
    if readings.of_rich(workup.book, frame, values):
        offers = readings.offer_frame(workup, values)
    elif readings.only_other_codes(workup):
        offers = readings.offer_point(workup, values)
    else:
        return events, []
    return [*events, *no_frame(workup, [offer.answer.check for offer in offers])], offers


NO_FRAME = ("none", "no", "no frame")


def keep_frame(workup: Workup, line: str, as_typed: bool = False) -> list[Event]:
    """The events of a freeze frame in one line, or of `none`, with all that it answers.

    Raises Refused, also for what is not usual where that is not confirmed (as_typed)."""
    if line.strip().lower() in NO_FRAME:
        return no_frame(workup)
    frame = read_frame(line)
    if frame.wrong:
        raise Refused("; ".join(frame.wrong))
    if frame.unread or not frame.values:
        raise Refused(f'"{shortened(frame.unread or line, 40)}" is not clear', "such as: P0172 load 24 ect 92 rpm 780")
    if frame.odd and not as_typed:
        odd = ", ".join(said for said, _ in frame.odd.values())
        raise Refused(f"{odd}: not usual", 'read it again; "as typed" keeps it as it is')
    events, offers = frame_told(workup, frame, frame.values, line)
    return [*events, *(offer.answer for offer in offers)]


def _tell(
    workup: Workup,
    checks: Sequence[Check],
    chosen: Sequence[StoryRow],
    rest_is_none: bool,
    but: Collection[str] = (),
) -> list[Event]:
    """rest_is_none: of checks that none of the chosen is of, the first outcome is told, but for those of `but`."""
    events: list[Event] = []
    for check in checks:
        mine = [row.outcome for row in chosen if row.check == check.name]
        if mine or (rest_is_none and check.name not in but):
            value: str | Mapping[str, float] = _shared(mine) if len(mine) > 1 else (mine or [check.outcomes[0].name])[0]
            events += acts.answer(workup, check.name, {0: value})
    return events


def _shared(outcomes: Sequence[str]) -> dict[str, float]:
    return {name: 1.0 / len(outcomes) for name in outcomes}
