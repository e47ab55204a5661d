"""How fast a closed rail loses its pressure: by a leak that the trims can see, by one that they cannot, by cooling.

A closed volume of petrol: falling pressure p gives off V dp / K, and a leak's flow goes with the root of p. Bulk
modulus 588 MPa and expansion 0.00124 a kelvin at 80 degC are those of a petrol-like mixture of octane, heptane, toluene
and ethanol (CoolProp; tests/measure/test_hold.py asks it anew). Rail and pipes hold 50 to 150 mL (judgement).
"""

from __future__ import annotations

from math import sqrt

import pytest

from tests.physics.said import chance, rules

MODULUS, EXPANSION, STEEL = 588.0, 0.00124, 3.6e-5  # MPa, 1/K, 1/K
DENSITY, RATIO = 0.72, 14.6  # g/mL, kg of air a kg of petrol
RAILS = (50.0, 80.0, 150.0)  # mL
ENGINES = (1.6, 2.5, 3.3, 4.4)  # g/s of air at idle, one to three litres
RUNNING = 5.0  # MPa


def leak_for(trim: float, air: float) -> float:
    """mL/s at running pressure that make this trim of an engine with one upstream sensor."""
    return trim * air / RATIO / DENSITY


def until_half(leak: float, volume: float) -> float:
    """Seconds until the pressure has halved: sqrt(p) falls evenly, by leak K / (2 V sqrt(p0)) a second."""
    return (sqrt(RUNNING) - sqrt(RUNNING / 2)) * 2 * volume * sqrt(RUNNING) / (leak * MODULUS)


def test_a_leak_that_the_trims_see_collapses_the_rail() -> None:
    worst = max(until_half(leak_for(0.10, air), volume) for air in ENGINES for volume in RAILS)
    assert worst < 60  # even the least leak, the smallest engine and the largest rail: within the minute
    for fault in ("injector-leaks", "injectors-worn"):
        for check in ("rail-hold-hot", "rail-hold-cold"):
            said = {name: chance(rules(), check, name, fault) for name in ("holds", "falls", "collapses")}
            assert said["collapses"] > said["falls"] > said["holds"]
            assert said["collapses"] > 6 * chance(rules(), check, "collapses")


def test_one_that_takes_a_minute_or_more_is_far_below_what_trims_see() -> None:
    """So a rail that halves within 1 to 10 minutes is no steady rich fault by itself: pump valve, relief valve, age."""
    slow = (sqrt(RUNNING) - sqrt(RUNNING / 2)) * 2 * 80 * sqrt(RUNNING) / (MODULUS * 60)
    assert slow / leak_for(1.0, 3.3) < 0.05  # in trim
    ratio = chance(rules(), "rail-hold-hot", "falls", "injector-leaks") / chance(rules(), "rail-hold-hot", "falls")
    assert ratio < 1.2


def test_cooling_looks_like_a_leak_and_warming_hides_one() -> None:
    per_kelvin = MODULUS * (EXPANSION - STEEL)
    assert 0.6 < per_kelvin < 0.9
    assert RUNNING / 2 / per_kelvin < 4  # kelvin that halve a tight rail
    assert chance(rules(), "rail-hold-hot", "falls") > 0.15  # so a sound one is often called falling
    assert chance(rules(), "rail-hold-hot", "collapses") < 0.12  # it does not cool four kelvin in a minute
    assert chance(rules(), "rail-hold-cold", "falls") < chance(rules(), "rail-hold-hot", "falls")


def test_what_the_rail_stores_is_seconds_of_idle() -> None:
    given = 80 * (RUNNING - 0.5) / MODULUS * DENSITY
    lasts = given / (3.3 / RATIO)  # seconds of idle
    assert 1 < lasts < 4
    after = {n: chance(rules(), "hot-restart-watched", n, "injector-leaks-after-soak") for n in ("seconds", "minutes")}
    steady = {n: chance(rules(), "hot-restart-watched", n, "injector-leaks") for n in ("seconds", "minutes")}
    assert after["seconds"] / after["minutes"] > 3 * steady["seconds"] / steady["minutes"]


@pytest.mark.parametrize("fault", ["pump-leaks-into-oil"])
def test_what_sits_before_the_pump_s_outlet_valve_is_not_seen_behind_it(fault: str) -> None:
    for check in ("rail-hold-hot", "rail-hold-cold"):
        for name in ("falls", "collapses"):
            assert chance(rules(), check, name, fault) < 1.3 * chance(rules(), check, name)
    assert chance(rules(), "low-side-hold", "rail", fault) > 5 * chance(rules(), "low-side-hold", "rail")
