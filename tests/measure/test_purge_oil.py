"""Purge vapour and petrol in the oil."""

from __future__ import annotations

import pytest

from reasoner.measure.fuel import (
    MOLAR_VOLUME,
    PETROL,
    Fuel,
    blended,
    boiling_off,
    dilution,
    fuel_in_oil,
    neutral_share,
    purge_trim,
    vapour_flow,
)
from reasoner.measure.trims import trim
from reasoner.measure.uncertain import Estimate

OIL_DENSITY = 0.86  # kg/L at 15 degC; common practice, no source


def by_mass(percent: float) -> float:
    """Dilution in % by mass of one given in % by volume."""
    fuel, oil = percent * PETROL.density, (100.0 - percent) * OIL_DENSITY
    return 100.0 * fuel / (fuel + oil)


def test_molar_volume() -> None:
    """24.465 L/mol at 25 degC and 1 atm: CODATA gas constant."""
    assert pytest.approx(24.465, abs=5e-4) == MOLAR_VOLUME


@pytest.mark.parametrize(
    ("litres", "share", "fuel", "idle", "cruise"),
    [  # recomputed: M = 65 g/mol, trim = (air - 14.6 fuel)/m at 3 and 12 g/s; beyond -100 % the engine is flooded
        (10, 0.02, 0.009, 2, 0.5),
        (5, 0.10, 0.022, -7.8, -2.0),
        (10, 0.20, 0.089, -38, -9.5),
        (20, 0.30, 0.266, -100, -30),
    ],
)
def test_purge(litres: float, share: float, fuel: float, idle: float, cruise: float) -> None:
    assert vapour_flow(litres, share) == pytest.approx(fuel, abs=5e-4)
    assert purge_trim(litres, share, 3) == pytest.approx(idle, abs=0.2)
    assert purge_trim(litres, share, 12) == pytest.approx(cruise, abs=0.1)


@pytest.mark.parametrize(("hydrogen", "grams", "percent"), [(4.0, 16.04, 9.5), (2.5, 58.12, 3.12), (2.4, 72.15, 2.55)])
def test_neutral_share_is_the_stoichiometric_one(hydrogen: float, grams: float, percent: float) -> None:
    """Stoichiometric volume % in air of methane, butane, pentane: Lewis & von Elbe, from memory."""
    share = neutral_share(Fuel(hydrogen).air_ratio, grams)
    assert 100 * share == pytest.approx(percent, abs=0.03)


def test_between_neutral_and_loaded() -> None:
    """2.96 % with 65 g/mol: an emptied canister makes purge slightly lean, a loaded one rich."""
    assert 100 * neutral_share() == pytest.approx(2.96, abs=0.01)
    assert purge_trim(10, neutral_share(), 3) == pytest.approx(0, abs=1e-9)
    assert purge_trim(10, 0.0, 3) > 0 > purge_trim(10, 0.05, 3)
    for wrong in ((10, 1.5, 3), (-1, 0.1, 3), (10, 0.1, 0)):
        with pytest.raises(ValueError):
            purge_trim(*wrong)


def test_petrol_in_the_oil() -> None:
    """4.5 L, 5 %: 225 mL, 168 g; gone in an hour 0.047 g/s, -23 % at 3 g/s and -5.7 % at 12. Recomputed."""
    assert fuel_in_oil(4.5, 5) == pytest.approx(168, abs=0.5)
    flow = boiling_off(fuel_in_oil(4.5, 5), 60)
    assert flow == pytest.approx(0.0466, abs=1e-4)
    assert trim(3, by_time=flow) == pytest.approx(-22.7, abs=0.2) and trim(12, by_time=flow) == pytest.approx(
        -5.7, abs=0.1
    )
    with pytest.raises(ValueError):
        boiling_off(100, 0)


@pytest.mark.parametrize(("percent", "viscosity"), [(2, 9.8), (5, 8.9), (10, 7.6)])
def test_viscosity_recomputed(percent: float, viscosity: float) -> None:
    """Oil of 10.5 mm2/s with fuel of 0.9 at 100 degC, % by volume."""
    assert blended(10.5, by_mass(percent)) == pytest.approx(viscosity, abs=0.06)


def test_five_percent_makes_an_sae_30_an_sae_20() -> None:
    """SAE J300, kinematic viscosity at 100 degC: SAE 30 from 9.3 to below 12.5, SAE 20 from 6.9 to below 9.3."""
    fresh = blended(10.5, by_mass(0))
    assert 9.3 <= fresh < 12.5
    assert 6.9 <= blended(10.5, by_mass(5)) < 9.3


def test_dilution_is_the_blend_turned_round() -> None:
    assert blended(10.5, 0) == pytest.approx(10.5) and blended(10.5, 100) == pytest.approx(0.9)
    got = dilution(10.5, blended(10.5, 4.0))
    assert got.value == pytest.approx(4.0) and got.error == 0
    noisy = dilution(Estimate(10.5, 0.2), Estimate(8.9, 0.2))
    assert 0.5 < noisy.error < 2.0  # a viscosity cup tells 4 % from 2 %, not from 3 %
    assert dilution(10.5, 11.5).value < 0  # thickened
    with pytest.raises(ValueError):
        blended(0.1, 5)
