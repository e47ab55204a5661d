"""The vehicle of a case on disk, and what putting it right takes away."""

from __future__ import annotations

from dataclasses import replace

from reasoner.casebook.correcting import vehicle_fields
from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError
from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.session.words import given_text
from reasoner.session.workup import Workup


def vehicle_of(case: Case) -> Vehicle:
    """The vehicle of a case, as last put right. Raises CasebookError."""
    vehicle, mistakes = vehicle_from(vehicle_fields(case))
    if vehicle is None:
        raise CasebookError(f"the vehicle cannot be read: {mistakes[0].message}", mistakes[0].mend, case.path)
    return vehicle


def no_longer_counted(before: Workup, after: Workup) -> tuple[str, ...]:
    """The answers of a case that counted before its vehicle was put right, and do not now, each with its step: checks
    that the car cannot be asked, and places that it has not got."""
    left = {given.number: set(given.values) for given in after.record.given if given.check in after.tables.check_number}
    found = []
    for given in before.record.given:
        gone = {place: said for place, said in given.values.items() if place not in left.get(given.number, ())}
        if gone and given.check in before.tables.check_number:
            found.append(f"step {given.step}, {given_text(before, replace(given, values=gone))}")
    return tuple(found)
