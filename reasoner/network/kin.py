"""Vehicles that the rules cannot tell apart: they have the same tables, which are slow to make and quick to share."""

from __future__ import annotations

from collections.abc import Hashable, Iterator

from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Filter, Rulebook


def limits(book: Rulebook) -> tuple[float, ...]:
    """Every distance (km) at which some rule begins or ceases to hold."""
    found = {end for only in _filters(book) for end in (only.distance_over, only.distance_under) if end is not None}
    return tuple(sorted(found))


def kin(limits: tuple[float, ...], vehicle: Vehicle) -> Hashable:
    """A key: equal for two vehicles only where rules with these limits make equal tables of them."""
    far = vehicle.distance_km
    passed = None if far is None else tuple((far > limit) - (far < limit) for limit in limits)
    return vehicle.layout, vehicle.cylinders, vehicle.banks, tuple(sorted(vehicle.properties.items())), passed


def _filters(book: Rulebook) -> Iterator[Filter]:
    for fault in book.faults.values():
        yield fault.only
        yield from (more.when for more in fault.more_likely)
    for check in book.checks.values():
        yield check.only
