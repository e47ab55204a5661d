"""The vehicle of a case on disk."""

from __future__ import annotations

from reasoner.casebook.correcting import vehicle_fields
from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError
from reasoner.network.vehicle import Vehicle, vehicle_from


def vehicle_of(case: Case) -> Vehicle:
    """The vehicle of a case, as last put right. Raises CasebookError."""
    vehicle, mistakes = vehicle_from(vehicle_fields(case))
    if vehicle is None:
        raise CasebookError(f"the vehicle cannot be read: {mistakes[0].message}", mistakes[0].mend, case.path)
    return vehicle
