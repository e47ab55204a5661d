"""Fuel: how much air it needs, what ethanol changes, and how much of it an engine takes.

Heywood, Internal Combustion Engine Fundamentals (1988), section 3.4 (formula), from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

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
