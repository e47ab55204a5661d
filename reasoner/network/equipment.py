"""What a car has or has not got: what follows from it, and how likely it is where nobody has looked.

A fault's share is its part of rich complaints of all cars with its injection. Of a car known to have what the fault
needs it is larger, by 1 over the chance that a car has it; of a car that has not got it the fault is no cause (`only`).
"""

from __future__ import annotations

from collections.abc import Mapping

from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Equipment, Filter, Rulebook
from reasoner.rulebook.parts import PROPERTIES, passes

KnownEquipment = Mapping[str, Equipment]


def following(book: Rulebook, facts: Mapping[str, str]) -> dict[str, str]:
    """The facts with those that follow: a car without a return line has no regulator on its rail. What was said itself
    stands."""
    found, pending = dict(facts), list(facts)
    while pending:
        key = pending.pop()
        entry = book.equipment.get(key.replace(" ", "-"))
        if entry is None or found[key] != PROPERTIES[key][-1]:
            continue
        for name in entry.without:
            other = book.equipment[name].key
            if other not in found:
                found[other] = PROPERTIES[other][-1]
                pending.append(other)
    return found


def factor(only: Filter, vehicle: Vehicle, equipment: KnownEquipment) -> float:
    """By how much what is known of the car's equipment multiplies the share of a fault with this `only`."""
    value = 1.0
    for entry in equipment.values():
        allowed = only.values.get(entry.key)
        if allowed is None or entry.chance is None:
            continue
        usual = _among(allowed, entry.key, _chance(entry, {"injection": vehicle.properties["injection"]}, None))
        here = 1.0 if entry.key in vehicle.properties else _among(allowed, entry.key, chance(entry, vehicle))
        value *= here / usual
    return value


def chance(entry: Equipment, vehicle: Vehicle) -> float:
    """How likely a car like this one has the first value of a piece of equipment, before anybody has looked."""
    return _chance(entry, vehicle.properties, vehicle.distance_km)


def _chance(entry: Equipment, properties: Mapping[str, str], distance_km: float | None) -> float:
    assert entry.chance is not None
    for other in entry.among:
        if passes(other.when, properties, distance_km, unknown=False):
            return other.chance.value
    return entry.chance.value


def told_already(vehicle: Vehicle, equipment: KnownEquipment) -> frozenset[str]:
    """Checks that ask for what this car is known to have: the fact says it, and would count twice."""
    return frozenset(
        name
        for entry in equipment.values()
        if vehicle.properties.get(entry.key) == PROPERTIES[entry.key][0]
        for name in entry.told_by
    )


def _among(allowed: tuple[str, ...], key: str, first: float) -> float:
    """The chance of one of these values. Every piece of equipment has two."""
    values = dict(zip(PROPERTIES[key], (first, 1.0 - first), strict=True))
    return sum(values[value] for value in allowed)
