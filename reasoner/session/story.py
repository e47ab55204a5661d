"""What the owner tells before the first question, several things at once: work done lately, when it happens, what else.

Each is an answer to a check of its own, so that it counts once and is not asked again; what is told in one go is taken
back in one go.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reasoner.casebook.events import Event
from reasoner.casebook.trouble import Refused
from reasoner.rulebook.model import Check
from reasoner.session import acts, readings
from reasoner.session.workup import Workup

WHEN = {"before": True, "after": False}  # whether the complaint began before the work


@dataclass(frozen=True)
class Row:
    """One thing that can be told: an outcome of a check."""

    check: str
    outcome: str
    text: str


@dataclass(frozen=True)
class WorkLine:
    """numbers: of the rows, empty = nothing was done. began_before: the complaint is older than the work. rest: by whom
    and when, as typed."""

    numbers: tuple[int, ...]
    began_before: bool
    rest: str


def asked(workup: Workup, kind: str) -> list[Check]:
    """Checks of this kind that can be told of this car and were not yet."""
    told = {given.check for given in workup.record.given}
    known = workup.tables.check_number
    return [c for c in workup.book.checks.values() if c.intake == kind and c.name in known and c.name not in told]


def rows_of(workup: Workup, kind: str) -> list[Row]:
    """Everything but `nothing of it`, over the checks of a kind."""
    return [
        Row(check.name, outcome.name, check.title if len(check.outcomes) == 2 else outcome.text)
        for check in asked(workup, kind)
        for outcome in check.outcomes[1:]
    ]


def read_work(line: str, count: int) -> WorkLine:
    """`2 5, other workshop, 6 weeks, after`: numbers first, then who and when, and whether it began before or after.

    Raises Refused.
    """
    numbers, _, rest = line.strip().partition(",")
    if not re.fullmatch(r"[\d ]+", numbers):
        raise Refused(
            f'"{numbers.strip()[:24]}" is no number of the list', "such as: 2 5, other workshop, 6 weeks, after"
        )
    chosen = tuple(dict.fromkeys(int(n[:6]) for n in numbers.split()))
    if any(n > count for n in chosen) or (0 in chosen and len(chosen) > 1):
        raise Refused(f"{numbers.strip()[:24]} is not on the list", f"1 to {count}, or 0 alone for none of them")
    words = re.findall(r"[a-z]+", rest.lower())
    said = [WHEN[word] for word in words if word in WHEN]
    if len(set(said)) > 1:
        raise Refused("it cannot have begun both before and after", "end with one of the two: before, after")
    return WorkLine(() if chosen == (0,) else chosen, bool(said) and said[0], rest.strip())


def tell_work(workup: Workup, line: WorkLine) -> list[Event]:
    """Work done lately. What was done when the complaint was there already did not bring it in: it counts as none."""
    rows = rows_of(workup, "work")
    chosen = [] if line.began_before else [rows[n - 1] for n in line.numbers]
    events = _tell(workup, asked(workup, "work"), chosen, rest_is_none=True)
    done = [rows[n - 1].text for n in line.numbers]
    note = "; ".join(filter(None, ("work lately: " + ", ".join(done) if done else "", line.rest)))
    return [*events, *acts.note(workup, note)] if done else events


def tell_pattern(workup: Workup, check: Check, numbers: Sequence[int]) -> list[Event]:
    """When it happens; several answers share the weight, as each was so some of the times."""
    rows = [Row(check.name, o.name, o.text) for o in check.outcomes]
    return _tell(workup, [check], [rows[n - 1] for n in numbers], rest_is_none=False)


def tell_also(workup: Workup, numbers: Sequence[int]) -> list[Event]:
    """What else it hangs on; none chosen: on none of these."""
    rows = rows_of(workup, "also")
    return _tell(workup, asked(workup, "also"), [rows[n - 1] for n in numbers], rest_is_none=not numbers)


def no_frame(workup: Workup) -> list[Event]:
    """No freeze frame is stored: nothing more is asked about one."""
    events: list[Event] = []
    for check in workup.book.checks.values():
        working = readings.working_of(check)
        if working is not None and working.frame and check.name in workup.tables.check_number:
            events += acts.pass_over(workup, check.name, "not-now")
    return events


def _tell(workup: Workup, checks: Sequence[Check], chosen: Sequence[Row], rest_is_none: bool) -> list[Event]:
    events: list[Event] = []
    for check in checks:
        mine = [row.outcome for row in chosen if row.check == check.name]
        if mine or rest_is_none:
            value: str | Mapping[str, float] = _shared(mine) if len(mine) > 1 else (mine or [check.outcomes[0].name])[0]
            events += acts.answer(workup, check.name, {0: value})
    return events


def _shared(outcomes: Sequence[str]) -> dict[str, float]:
    return {name: 1.0 / len(outcomes) for name in outcomes}
