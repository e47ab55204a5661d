"""A dirty element: why an air-mass meter reads too much at little air and too little at much.

A heated wire is held at a fixed temperature; the power it needs is read as airflow. Heat leaves a thin cylinder by
Kramers' law, Nu = 0.42 Pr^0.20 + 0.57 Pr^0.33 Re^0.50 (H. Kramers, Heat transfer from spheres to flowing media, Physica
12, 1946, 61-80; from memory). Dust on it makes it thicker, so that it meets more air, and puts a layer in between that
conducts badly. The first counts at little air, the second at much.
"""

from __future__ import annotations

from math import log, pi, sqrt

import pytest

from tests.physics.engine import CRUISE, FAULTS, IDLE, LOAD, RAISED, trim
from tests.physics.said import chance, rules

AIR, PRANDTL, VISCOSITY = 0.031, 0.70, 2.5e-5  # W/(m K), none, m2/s of air at 120 degC (handbook values, from memory)
WIRE = 70e-6  # m across
DUST = 0.10  # W/(m K): a loose powder in air (handbooks give 0.05 to 0.2, from memory)


def speed(air: float) -> float:
    """m/s past the element at so many g/s: 1.5 m/s at idle, 21 m/s at full load."""
    return 0.45 * air


def power(air: float, dirt: float = 0.0) -> float:
    """W for each metre of wire and each degree, at so many g/s of air, with so many metres of dust all round."""
    across = WIRE + 2 * dirt
    reynolds = speed(air) * across / VISCOSITY
    nusselt: float = 0.42 * PRANDTL**0.20 + 0.57 * PRANDTL**0.33 * sqrt(reynolds)
    through = log(across / WIRE) / (2 * pi * DUST)
    return 1 / (1 / (pi * AIR * nusselt) + through)


def read(air: float, dirt: float) -> float:
    """g/s that the ECU takes that power for: it knows the clean curve."""
    low, high = 1e-6, 1e4
    wanted = power(air, dirt)
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if power(middle) < wanted else (low, middle)
    return (low + high) / 2


@pytest.mark.parametrize("dirt", [5e-6, 10e-6, 20e-6])
def test_too_much_at_idle_and_too_little_at_full_load(dirt: float) -> None:
    assert read(IDLE.air, dirt) > IDLE.air
    assert read(LOAD.air, dirt) < LOAD.air
    parts = [read(air, dirt) / air for air in (3, 6, 12, 25, 50, 100)]
    assert parts == sorted(parts, reverse=True)


def test_the_trims_that_come_of_it() -> None:
    """Rich at idle, about right in between, lean under load; the rules have the same signs and the same order."""
    trims = {p: p.air / read(p.air, 20e-6) - 1 for p in (IDLE, RAISED, CRUISE, LOAD)}
    assert trims[IDLE] < -0.10 < 0.05 < trims[LOAD]
    assert trims[IDLE] < trims[RAISED] < trims[CRUISE] < trims[LOAD]
    kind = FAULTS["dirty element"]
    for point, worked in trims.items():
        assert trim(kind(point, 1.0), point) == pytest.approx(worked, abs=0.05), point.name
    book, dirty = rules(), "airflow-meter-fouled"
    said = [chance(book, c, "rich", dirty) for c in ("trim-idle", "trim-2500", "trim-cruise", "trim-load")]
    assert said == sorted(said, reverse=True)
    assert said[0] > 5 * chance(book, "trim-idle", "rich") and said[-1] < chance(book, "trim-load", "rich")
    assert chance(book, "trim-load", "lean", dirty) > 5 * chance(book, "trim-load", "lean")
    assert chance(book, "code-lean-too", "present", dirty) > chance(book, "code-lean-too", "present")
    high = "airflow-meter-high"
    assert chance(book, "airflow-against-displacement", "low", dirty) > chance(
        book, "airflow-against-displacement", "high", dirty
    )
    assert chance(book, "airflow-against-displacement", "high", high) > chance(
        book, "airflow-against-displacement", "low", high
    )
