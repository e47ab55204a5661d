"""Pressure hold: the property table against handbook compressibilities, decays recomputed apart from this code."""

from __future__ import annotations

import math

import pytest

from reasoner.measure.fuel import (
    MODULUS,
    PRESSURES,
    SOFTER,
    TEMPERATURES,
    bulk_modulus,
    emptying,
    leak_after_cooling,
    line_leak,
    temperature_pull,
)
from reasoner.measure.uncertain import Estimate


def test_table_against_handbook_compressibilities() -> None:
    """Isothermal compressibilities at 25 degC and 1 atm, 1e-10/Pa (CRC Handbook of Chemistry and Physics, from memory):

    octane 12.8, heptane 14.4, toluene 9.1, ethanol 11.4, mixed by volume (densities 0.703, 0.684, 0.867, 0.789).
    """
    parts = ((0.45, 0.703, 12.8), (0.15, 0.684, 14.4), (0.30, 0.867, 9.1), (0.10, 0.789, 11.4))
    volume = sum(mass / density for mass, density, _ in parts)
    mixed = sum(mass / density * k for mass, density, k in parts) / volume * 1e-10
    assert bulk_modulus(25, 0.1) == pytest.approx(1e-6 / mixed, rel=0.03)


def test_at_the_points_of_the_table_and_between() -> None:
    for t, row in zip(TEMPERATURES, MODULUS, strict=True):
        for p, k in zip(PRESSURES, row, strict=True):
            assert bulk_modulus(t, p) == k
    assert bulk_modulus(40, 5) == pytest.approx((911 + 674) / 2)
    assert bulk_modulus(20, 15) == pytest.approx((966 + 1072) / 2)
    for wrong in ((10, 5), (100, 5), (50, -1), (50, 40)):
        with pytest.raises(ValueError):
            bulk_modulus(*wrong)


@pytest.mark.parametrize(("drop", "minutes", "rate"), [(1, 30, 4.58), (1, 10, 13.75), (2, 10, 27.49)])
def test_leak_from_decay(drop: float, minutes: float, rate: float) -> None:
    """V dp / (K t) with 80 mL and 582 MPa, no cooling: by hand."""
    assert leak_after_cooling(0.080, drop, minutes, 0.0, 90, 10).value == pytest.approx(rate, abs=0.006)


def test_a_kelvin_of_cooling_looks_like_a_leak() -> None:
    """K (b - 3.6e-5): 0.6 to 1 MPa for each kelvin."""
    assert temperature_pull(20, 5) == pytest.approx(911 * (0.00109 - 3.6e-5))
    assert 0.6 < temperature_pull(90, 5) < temperature_pull(60, 5) < 1.0
    all_cooling = leak_after_cooling(0.080, temperature_pull(60, 5), 30, 1.0, 60, 5)
    assert all_cooling.value == pytest.approx(0, abs=1e-9)
    unknown = leak_after_cooling(0.080, 1.0, 30, Estimate(0.0, 1.0), 60, 5)
    pull = temperature_pull(60, 5)  # of 1 MPa: nearly as large as what it measures; by hand, with the petrol's 0.2
    assert unknown.error / unknown.value == pytest.approx(math.hypot(pull, SOFTER), rel=0.01)
    assert leak_after_cooling(0.080, 1.0, 30, 0.0, 60, 5).error < unknown.error / 3


def test_a_softer_petrol_also_expands_more() -> None:
    """What the petrol may be made of pulls the leak up by its softness and down by its expansion: by hand, at 60 degC
    and 5 MPa, 1 MPa and 1 K in 30 min."""
    got = leak_after_cooling(0.080, 1.0, 30, 1.0, 60, 5)
    by_hand = 1e6 * 0.080 * (SOFTER / 674 - 0.12 * 0.00118) / 30
    assert got.error == pytest.approx(by_hand, rel=0.1)


def test_low_pressure_line() -> None:
    """0.005 to 0.02 mL/kPa, 100 kPa in 10 min: 50 to 200 mm3/min."""
    assert line_leak(0.005, 100, 10).value == pytest.approx(50)
    assert line_leak(Estimate(0.02, 0.01), 100, 10) == Estimate(pytest.approx(200), pytest.approx(100))


def test_a_leak_that_trims_show_empties_a_rail_in_seconds() -> None:
    """3.3 mL/min from 5 MPa: about 25 s as the flow decays; checked by stepping dp/dt = -K q0 sqrt(p/p0) / V."""
    assert emptying(0.080, 5, 3.3, 80) == pytest.approx(25, abs=0.5)
    p, seconds, step = 5.0, 0.0, 0.001
    while p > 1e-4:
        p -= step * bulk_modulus(80, 5) * (3.3 / 60) * (p / 5) ** 0.5 / 80
        seconds += step
    assert emptying(0.080, 5, 3.3, 80) == pytest.approx(seconds, rel=0.01)


def test_no_time_no_leak() -> None:
    for wrong in (
        lambda: leak_after_cooling(0.08, 1, 0, 1, 60, 5),
        lambda: line_leak(0.01, 1, -1),
        lambda: emptying(0.08, 5, 0, 80),
    ):
        with pytest.raises(ValueError):
            wrong()
