"""Fuel: how much air it needs, what ethanol changes, what an injector passes, what comes out of the oil or the tank.

Air ratio: Heywood, Internal Combustion Engine Fundamentals (1988), section 3.4, from memory. Injectors: Bernoulli
through a sharp orifice with turbulent flow (the same, eq. 7.7, from memory): flow ~ sqrt(pressure drop). Purge: ideal
gas at 25 degC and 101.325 kPa, vapour of 65 g/mol (petrol vapour near 60 to 70; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from reasoner.measure.uncertain import Estimate, Number, through

CARBON, HYDROGEN, OXYGEN = 12.011, 1.008, 15.999  # g/mol, IUPAC standard atomic weights (rounded)
AIR = 28.965  # g/mol of dry air
OXYGEN_IN_AIR = 0.2095  # mole fraction


@dataclass(frozen=True)
class Fuel:
    """CHyOz: hydrogen and oxygen atoms to each carbon atom; density in kg/L at 15 degC."""

    hydrogen: float
    oxygen: float = 0.0
    density: float = 0.745

    @property
    def carbon_mass(self) -> float:
        """g of fuel that hold one mol of carbon."""
        return CARBON + HYDROGEN * self.hydrogen + OXYGEN * self.oxygen

    @property
    def oxygen_needed(self) -> float:
        """mol of O2 that one mol of carbon with its hydrogen needs."""
        return 1.0 + self.hydrogen / 4 - self.oxygen / 2

    @property
    def air_ratio(self) -> float:
        """Stoichiometric air-fuel ratio by mass. SAE J1979 counts with 14.64 for petrol, handbooks with 14.7."""
        return self.oxygen_needed / OXYGEN_IN_AIR * AIR / self.carbon_mass


PETROL = Fuel(1.87, 0.0, 0.745)  # EN 228 mid density; y from memory, 1.80 to 2.00 occurs
ETHANOL = Fuel(3.0, 0.5, 0.794)  # CoolProp 8.0.0; the usual 0.789 is that of 20 degC
ISO_OCTANE = Fuel(18 / 8, 0.0, 0.696)  # density from memory


def blend(ethanol: float, petrol: Fuel = PETROL) -> Fuel:
    """Petrol with `ethanol` (volume fraction, 0..1). Raises ValueError outside."""
    if not 0.0 <= ethanol <= 1.0:
        raise ValueError(f"a volume fraction lies in 0..1: {ethanol}")
    spirit = ethanol * ETHANOL.density / ETHANOL.carbon_mass  # mol of carbon in a litre of blend
    spring = (1.0 - ethanol) * petrol.density / petrol.carbon_mass
    whole = spirit + spring
    return Fuel(
        (spirit * ETHANOL.hydrogen + spring * petrol.hydrogen) / whole,
        (spirit * ETHANOL.oxygen + spring * petrol.oxygen) / whole,
        ethanol * ETHANOL.density + (1.0 - ethanol) * petrol.density,
    )


def volume_needed(fuel: Fuel, instead_of: Fuel = PETROL) -> float:
    """Volume of `fuel` that the same air needs, as a multiple of that of the other fuel."""
    return (instead_of.air_ratio * instead_of.density) / (fuel.air_ratio * fuel.density)


def blend_trim(learned: float, actual: float, petrol: Fuel = PETROL) -> float:
    """Trim in % when the controller doses for one ethanol volume fraction and the tank holds another.

    Injectors dose nearly by volume.
    """
    meant, there = blend(learned, petrol), blend(actual, petrol)
    return 100.0 * (meant.air_ratio / there.air_ratio * (meant.density / there.density) - 1.0)


def fuel_flow(air: float, ratio: float = PETROL.air_ratio, excess_air: float = 1.0) -> float:
    """Fuel in g/s for an air flow in g/s at a stoichiometric ratio and lambda. Raises ValueError unless both > 0."""
    if ratio <= 0 or excess_air <= 0:
        raise ValueError("an air-fuel ratio and lambda are above 0")
    return air / ratio / excess_air


def millilitres_a_minute(flow: float, density: float = PETROL.density) -> float:
    """g/s of fuel as mL/min."""
    return 60.0 * flow / density


def grams_a_second(flow: float, density: float = PETROL.density) -> float:
    """mL/min of fuel as g/s."""
    return flow * density / 60.0


def per_injection(flow: float, rpm: float, cylinders: int) -> float:
    """mg of fuel in each injection of a four-stroke engine that takes `flow` g/s. Raises ValueError unless both > 0."""
    if rpm <= 0 or cylinders <= 0:
        raise ValueError("speed and cylinders are above 0")
    return 1000.0 * flow * 120.0 / (rpm * cylinders)


# ---- through an injector ---------------------------------------------------------------------------------------------


def flow_at(flow: Number, rated: Number, now: Number) -> Estimate:
    """Flow (any unit) at the pressure drop `now`, of what flows `flow` at the drop `rated` (same unit, both > 0)."""
    return through(lambda q, p0, p: q * _root(p0, p), flow, rated, now)


def pressure_trim(assumed: Number, actual: Number) -> Estimate:
    """Trim in % when fuel is dosed for one pressure drop and the injector works at another (same unit, both > 0)."""
    return through(lambda p0, p: 100.0 * (1.0 / _root(p0, p) - 1.0), assumed, actual)


def pressure_for(trim: float) -> float:
    """Actual over assumed pressure drop that alone would make this trim in %. Raises ValueError at -100 or below."""
    if trim <= -100.0:
        raise ValueError("no pressure makes a trim of -100 %")
    return (1.0 + trim / 100.0) ** -2


def _root(rated: float, now: float) -> float:
    if rated <= 0 or now < 0:
        raise ValueError("a pressure drop is above 0")
    return math.sqrt(now / rated)


# ---- in the oil ------------------------------------------------------------------------------------------------------


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


# ---- vapour from the tank --------------------------------------------------------------------------------------------


VAPOUR = 65.0  # g/mol
MOLAR_VOLUME = 8.314462618 * 298.15 / 101.325  # L/mol at 25 degC, 1 atm


def vapour_flow(litres: float, share: float) -> float:
    """Fuel in g/s of a purge flow (L/min) of which `share` (0..1 by volume) is vapour. Raises ValueError outside."""
    _check(litres, share)
    return litres * share / MOLAR_VOLUME * VAPOUR / 60.0


def purge_trim(litres: float, share: float, airflow: float, ratio: float = PETROL.air_ratio) -> float:
    """Trim in % of an engine with an air meter that measures `airflow` g/s, purge air coming in unmeasured.

    Below about 3 % vapour the purge air weighs more than the vapour: slightly lean. Never below -100: there the engine
    is flooded whatever the controller does.
    """
    _check(litres, share)
    if airflow <= 0:
        raise ValueError("the engine takes some air")
    air = litres * (1 - share) / MOLAR_VOLUME * AIR / 60.0
    return max(-100.0, 100.0 * (air - ratio * vapour_flow(litres, share)) / airflow)


def neutral_share(ratio: float = PETROL.air_ratio, vapour: float = VAPOUR) -> float:
    """Vapour share (0..1) of purge that is neither rich nor lean: its air just burns its vapour (g/mol)."""
    return AIR / (AIR + ratio * vapour)


def _check(litres: float, share: float) -> None:
    if litres < 0 or not 0.0 <= share <= 1.0:
        raise ValueError("a purge flow is not negative, a share lies in 0..1")
