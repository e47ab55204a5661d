"""Petrol in the oil: how much, what it does to the trim while it boils off, and what it does to the viscosity."""

from __future__ import annotations

import math

from reasoner.measure.fuel import PETROL
from reasoner.measure.uncertain import Estimate, Number, through

OIL_DENSITY = 0.86  # kg/L at 15 degC; common practice, no source
FUEL_VISCOSITY = 0.9  # mm2/s at 100 degC as commonly blended with; effective, from memory


def fuel_in_oil(litres: float, percent: float, density: float = PETROL.density) -> float:
    """g of petrol in `litres` of oil diluted by `percent` volume."""
    return litres * percent / 100.0 * density * 1000.0


def boiling_off(grams: float, minutes: float) -> float:
    """Mean fuel flow in g/s when `grams` leave the oil within `minutes`. Raises ValueError unless minutes > 0."""
    if minutes <= 0:
        raise ValueError("it takes some time")
    return grams / (60.0 * minutes)


def by_mass(percent: float, fuel_density: float = PETROL.density, oil_density: float = OIL_DENSITY) -> float:
    """Dilution in % by mass of one given in % by volume (densities in kg/L)."""
    fuel, oil = percent * fuel_density, (100.0 - percent) * oil_density
    return 100.0 * fuel / (fuel + oil)


def blended(oil: float, percent: float, fuel: float = FUEL_VISCOSITY) -> float:
    """Kinematic viscosity (mm2/s) of oil with `percent` of fuel by mass, all at one temperature.

    Refutas index: C. Baird, Guide to Petroleum Product Blending (1989), from memory. Raises ValueError where the
    formula has no value (below 0.2 mm2/s).
    """
    share = percent / 100.0
    return _viscosity(share * _index(fuel) + (1 - share) * _index(oil))


def dilution(fresh: Number, now: Number, fuel: Number = FUEL_VISCOSITY) -> Estimate:
    """Fuel in the oil, % by mass, from fresh and present viscosity at one temperature, with its standard error.

    Soot and oxidation thicken oil, so that this reads low in old oil; negative means thickened.
    """
    return through(lambda a, b, f: 100.0 * (_index(a) - _index(b)) / (_index(a) - _index(f)), fresh, now, fuel)


def _index(viscosity: float) -> float:
    if viscosity <= 0.2:
        raise ValueError(f"{viscosity} mm2/s lies outside the blending formula")
    return 14.534 * math.log(math.log(viscosity + 0.8)) + 10.975


def _viscosity(index: float) -> float:
    return math.exp(math.exp((index - 10.975) / 14.534)) - 0.8
