"""Closing a case: what it was, how firmly that is known, and what confirmed it; or that it was given up."""

from __future__ import annotations

from collections.abc import Sequence

from reasoner.casebook.correcting import last_step
from reasoner.network.vehicle import Vehicle
from reasoner.session.acts import Refused
from reasoner.session.chapters import Garage, cause_name
from reasoner.session.record import Event
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
        raise Refused("proven is what was found", "name the fault, or close it as another state")
    if where and not fault:
        raise Refused("a place without a fault", "name the fault too")
    if fault and not not_in_rules:
        _known(garage, vehicle, events, fault, where)
    said = {"fault": fault or None, "where": (where or "engine") if fault else None, "confirmed by": confirmed or None}
    return [{"event": "closed", "step": last_step(events) + 1, "state": state, **said}]


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
        raise Refused(f"{fault} cannot be on this vehicle, or not without work before it", "see the vehicle's layout")
    message = f"{fault} sits at no {where}" if where else f"{fault} sits somewhere: where?"
    raise Refused(message, "one of: " + ", ".join(places))
