"""Stoichiometry, air by speed and density, flow by pressure, errors carried through formulas.

Where a table says `recomputed`, its rows were worked out separately from this code from the formula named with it.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.measure.fuel import (
    ETHANOL,
    PETROL,
    Fuel,
    air_flow,
    blend,
    blend_trim,
    filling,
    flow_at,
    fuel_flow,
    grams_a_second,
    millilitres_a_minute,
    per_injection,
    pressure_for,
    pressure_trim,
    sensor_trim,
    temperature_trim,
    volume_needed,
)
from reasoner.measure.uncertain import Estimate, through

ISO_OCTANE = Fuel(18 / 8, 0.0, 0.696)  # density from memory


def heywood(y: float) -> float:
    """Heywood 1988, eq. 3.6, from memory: stoichiometric ratio of CHy."""
    return 34.56 * (4 + y) / (12.011 + 1.008 * y)


@pytest.mark.parametrize("y", [1.8, 1.85, 1.87, 2.0, 2.25])
def test_hydrocarbons_as_heywood(y: float) -> None:
    assert Fuel(y).air_ratio == pytest.approx(heywood(y), abs=0.01)


@pytest.mark.parametrize(
    ("fuel", "ratio"),
    [
        (ISO_OCTANE, 15.13),  # Heywood 1988, table D.4, from memory
        (ETHANOL, 9.00),  # the same
        (Fuel(4.0), 17.23),  # methane, the same
        (Fuel(2.5), 15.46),  # butane, handbook value from memory
        (PETROL, 14.60),  # recomputed from here on
        (Fuel(1.89, 0.016), 14.29),  # reference fuel E5 of UN R83
        (Fuel(1.93, 0.033), 13.99),  # E10
        (Fuel(2.74, 0.385), 9.86),  # E85
    ],
)
def test_stoichiometric_ratios(fuel: Fuel, ratio: float) -> None:
    assert fuel.air_ratio == pytest.approx(ratio, abs=0.01)


@pytest.mark.parametrize(
    ("ethanol", "ratio", "more"),
    [
        (0.05, 14.30, 1.7),
        (0.10, 14.01, 3.55),
        (0.15, 13.72, 5.4),
        (0.25, 13.13, 9.4),
        (0.50, 11.71, 20.7),
        (0.85, 9.80, 41.1),
    ],
)
def test_blends_recomputed(ethanol: float, ratio: float, more: float) -> None:
    """Recomputed with 0.745 and 0.794 kg/L at 15 degC."""
    assert blend(ethanol).air_ratio == pytest.approx(ratio, abs=0.01)
    assert 100 * (volume_needed(blend(ethanol)) - 1) == pytest.approx(more, abs=0.1)


def test_wrong_ethanol_value() -> None:
    """Learned E85, tank E0. By volume, as injectors dose: 1 / 1.411 - 1."""
    assert blend_trim(0.85, 0.0) == pytest.approx(-29.1, abs=0.05)
    assert blend_trim(0.1, 0.1) == 0
    with pytest.raises(ValueError, match="volume fraction"):
        blend(10)


@given(st.floats(0, 1))
def test_a_blend_needs_the_air_of_its_parts(ethanol: float) -> None:
    """By mass: the air that the petrol and the ethanol in a litre need, added up."""
    petrol, spirit = (1 - ethanol) * PETROL.density, ethanol * ETHANOL.density
    air = petrol * PETROL.air_ratio + spirit * ETHANOL.air_ratio
    assert blend(ethanol).air_ratio == pytest.approx(air / (petrol + spirit), rel=1e-9)


@pytest.mark.parametrize(
    ("litres", "rpm", "kpa", "fill", "kelvin", "air", "fuel", "milligrams"),
    [  # recomputed: m = VE p V n / (120 R T), AFR 14.6
        (2.0, 700, 32, 0.80, 313, 3.32, 0.228, 9.76),
        (2.0, 750, 35, 0.80, 313, 3.90, 0.267, 10.7),
        (1.5, 700, 32, 0.80, 313, 2.49, 0.171, 7.3),
        (3.0, 650, 30, 0.80, 313, 4.34, 0.297, 13.7),
        (2.0, 2500, 32, 0.85, 313, 12.6, 0.864, 10.4),
        (2.0, 3000, 95, 0.88, 308, 47.3, 3.24, 32.4),
        (2.0, 5500, 98, 0.90, 303, 93.0, 6.37, 34.7),
        (1.5, 2000, 180, 0.90, 320, 44.1, 3.02, 45.3),
    ],
)
def test_speed_density(
    litres: float, rpm: float, kpa: float, fill: float, kelvin: float, air: float, fuel: float, milligrams: float
) -> None:
    found = air_flow(litres, rpm, kpa, fill, kelvin - 273.15)
    assert found == pytest.approx(air, rel=0.003)
    assert fuel_flow(found, 14.6) == pytest.approx(fuel, rel=0.003)
    assert per_injection(fuel_flow(found, 14.6), rpm, 4) == pytest.approx(milligrams, rel=0.005)
    assert filling(found, litres, rpm, kpa, kelvin - 273.15).value == pytest.approx(fill)


def test_density_of_air() -> None:
    """1.184 g/L at 25 degC and 1 atm, with which SAE J1979 defines absolute load (PID 43)."""
    one_litre_a_second = air_flow(1.0, 120, 101.325, 1.0, 25)
    assert one_litre_a_second == pytest.approx(1.184, abs=0.0005)
    assert 100 * filling(3.32, 2.0, 700, 101.325, 25).value == pytest.approx(24.1, abs=0.1)


def test_an_implausible_filling_with_its_error() -> None:
    """60 g/s at 3000 rpm from 2.0 L at 25 degC and 100 kPa: 102.7 %, recomputed. Relative errors add as squares."""
    got = filling(Estimate(60, 1.2), 2.0, Estimate(3000, 30), 100, 25)
    assert got.value == pytest.approx(1.027, abs=0.0005)
    assert got.error / got.value == pytest.approx(math.hypot(0.02, 0.01), rel=1e-3)


@pytest.mark.parametrize(
    ("trim", "expected"),
    [
        (temperature_trim(-40, 30), -23.1),
        (temperature_trim(0, 40), -12.8),
        (sensor_trim(32 + 5, 32), -13.5),
        (sensor_trim(95 + 5, 95), -5.0),
        (sensor_trim(1.15, 1), -13.0),
        (sensor_trim(1, 0.9), -10.0),
        (sensor_trim(105, 100), -4.8),
    ],
)
def test_sensor_errors_recomputed(trim: float, expected: float) -> None:
    assert trim == pytest.approx(expected, abs=0.06)


@pytest.mark.parametrize(
    ("flow", "rated", "now", "expected"),
    [(200, 300, 350, 216.0), (200, 300, 400, 230.9), (200, 300, 500, 258.2), (15, 10, 5, 10.6), (15, 10, 35, 28.1)],
)
def test_square_root_law(flow: float, rated: float, now: float, expected: float) -> None:
    assert flow_at(flow, rated, now).value == pytest.approx(expected, abs=0.06)


def test_four_times_the_pressure_twice_the_flow_with_its_error() -> None:
    got = flow_at(Estimate(100, 3), 100, Estimate(400, 16))
    assert got.value == 200
    assert got.error / 200 == pytest.approx(math.hypot(0.03, 0.02), rel=1e-3)  # half the pressure's relative error


@pytest.mark.parametrize(("over", "trim"), [(5, -2.4), (10, -4.7), (20, -8.7), (30, -12.3), (50, -18.4), (100, -29.3)])
def test_pressure_and_trim(over: float, trim: float) -> None:
    """Recomputed. The way back: -20 and -25 % by pressure alone need 56 and 78 % more than assumed."""
    assert pressure_trim(100, 100 + over).value == pytest.approx(trim, abs=0.06)
    assert pressure_for(pressure_trim(100, 100 + over).value) == pytest.approx(1 + over / 100)
    assert pressure_for(-20) == pytest.approx(1.5625) and pressure_for(-25) == pytest.approx(1.7778, abs=1e-4)


def test_mass_and_volume_a_minute() -> None:
    """200 mL/min of 0.745 kg/L are 2.483 g/s: by hand."""
    assert grams_a_second(200, 0.745) == pytest.approx(2.483, abs=5e-4)
    assert grams_a_second(millilitres_a_minute(0.05)) == pytest.approx(0.05)


def test_errors_of_a_product_of_powers() -> None:
    """JCGM 100:2008, eq. 12: relative errors times their powers add as squares."""
    got = through(lambda a, b, c: a**2 * b / c**0.5, Estimate(3, 0.03), Estimate(5, 0.1), Estimate(7, 0.21))
    assert got.value == pytest.approx(45 / math.sqrt(7))
    assert got.error / got.value == pytest.approx(math.hypot(2 * 0.01, 0.02, 0.5 * 0.03), rel=1e-3)
    assert through(lambda a: a + 1, 2.0) == Estimate(3.0, 0.0)
    assert str(Estimate(1.2345, 0.03)) == "1.23 +- 0.06"


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: air_flow(2, 700, 32, 0.8, -300),
        lambda: filling(3, 0, 700, 32, 20),
        lambda: flow_at(1, 0, 1),
        lambda: pressure_for(-100),
        lambda: fuel_flow(3, 0),
        lambda: per_injection(1, 0, 4),
    ],
)
def test_impossible_inputs_are_errors(wrong) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError):
        wrong()
