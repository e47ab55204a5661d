"""Closing a case: what it was, how firmly that is known, and what confirmed it; or that it was given up."""

from __future__ import annotations

from collections.abc import Sequence

from reasoner.casebook.correcting import last_step
from reasoner.casebook.events import Closed, Event
from reasoner.network.vehicle import Vehicle
from reasoner.session.acts import Refused
from reasoner.session.chapters import Garage, cause_name
from reasoner.session.repairing import STATES


def close_case(
    garage: Garage,
    vehicle: Vehicle,
    events: Sequence[Event],
    state: str,
    fault: str = "",
    where: str = "",
    confirmed: str = "",
    not_in_rules: bool = False,
) -> list[Event]:
    """The event that closes a case. Raises Refused for a fault or a place that this vehicle cannot have.

    not_in_rules: the fault is one that the rules do not have, in the shop's own words.
    """
    if state not in STATES:
        raise Refused(f'"{state}" is no way to end', "one of: " + ", ".join(STATES))
    if state == "proven" and not fault:
        raise Refused(
            '"proven" says what was wrong: which fault was it?',
            "--fault NAME; or close it as `cured but unproven` or `given up`",
        )
    if where and not fault:
        raise Refused("a place without a fault", "name the fault too")
    if fault and not not_in_rules:
        _known(garage, vehicle, events, fault, where)
    place = (where or "engine") if fault else ""
    return [Closed(step=last_step(events) + 1, state=state, fault=fault, where=place, confirmed_by=confirmed)]


def _known(garage: Garage, vehicle: Vehicle, events: Sequence[Event], fault: str, where: str) -> None:
    if fault not in garage.book.faults:
        from difflib import get_close_matches

        near = get_close_matches(fault, garage.book.faults, 3)
        mend = f"did you mean {' or '.join(near)}?" if near else "See `reasoner rules list faults`."
        raise Refused(f'no fault is called "{fault}"', f"{mend} One that the rules do not have: --not-in-rules")
    causes = [cause for chapter in garage.chapters(vehicle, events) for cause in chapter.workup.tables.causes]
    if any(cause.name == cause_name(fault, where) for cause in causes):
        return
    places = list(dict.fromkeys(cause.where for cause in causes if cause.fault == fault))
    if not places:
        raise Refused(
            f"by the rules this vehicle ({vehicle.title}) cannot have {fault}, or not without work before it",
            "`reasoner rules show` says on which vehicles it can be; `cases correct --vehicle` puts the vehicle right",
        )
    message = f"{fault} cannot sit at {where} of this vehicle" if where else f"{fault} sits at one place: --where?"
    single, pairs = [p for p in places if " and " not in p], [p for p in places if " and " in p]
    raise Refused(message, "one of: " + ", ".join(single) + (f"; or two, such as {pairs[0]}" if pairs else ""))
