"""Lambda from exhaust gas, and the exhaust gas of a lambda.

J. Brettschneider, Bosch Technische Berichte 6 (1979) 4, 177-186 (in secondary texts; also Directive 98/69/EC, 5.3.7.3,
from memory). It counts oxygen against carbon and hydrogen in the gas, so that it does not care how complete the
combustion was, and no trim or oxygen sensor has a part in it. Air that leaks in before the probe does: it looks lean.
"""

from __future__ import annotations

import math

from reasoner.measure.fuel import OXYGEN_IN_AIR, PETROL, Fuel
from reasoner.measure.uncertain import Estimate, Number, through

# (CO x H2O)/(CO2 x H2), Brettschneider's constant: that of 1720 K. What gas of 1600 to 1900 K has moves lambda by less
# than 0.01 down to 0.85; gas that froze at 1400 K would be read 0.02 too lean there (cantera, in the tests).
WATER_GAS = 3.5
HEXANE = 6.0  # carbon atoms in what the HC channel counts; 12 in petrol by NDIR (Singer & Harley 1998)


def lambda_of(
    co: Number,
    co2: Number,
    hc: Number,
    o2: Number,
    no: Number = 0.0,
    fuel: Fuel = PETROL,
    carbon: float = HEXANE,
) -> Estimate:
    """Lambda with its standard error. co, co2, o2 in volume % of dry gas, hc and no in ppm (hc as hexane).

    Before the catalyst, or in front of a cold one. Raises ValueError if a gas is negative or there is no CO2.
    """
    return through(lambda *gases: _lambda(*gases, fuel=fuel, carbon=carbon), co, co2, hc, o2, no)


def _lambda(co: float, co2: float, hc: float, o2: float, no: float, *, fuel: Fuel, carbon: float) -> float:
    if co2 <= 0:
        raise ValueError("exhaust gas without CO2: is the probe in the exhaust?")
    co, hc, o2, no = (max(g, 0.0) for g in (co, hc, o2, no))  # a gauge's zero wanders a little below
    hydrogen, oxygen = fuel.hydrogen / 4, fuel.oxygen / 2
    burnt = hydrogen * WATER_GAS / (WATER_GAS + co / co2) - oxygen
    supplied = co2 + co / 2 + o2 + no / 20000 + burnt * (co2 + co)
    needed = (1 + hydrogen - oxygen) * (co2 + co + carbon * hc / 10000)
    return supplied / needed


def exhaust(excess_air: float, fuel: Fuel = PETROL) -> dict[str, float]:
    """Dry exhaust of complete combustion at a lambda, in volume %: co2, co, h2, o2, n2.

    Rich gas is split by the water-gas equilibrium. Raises ValueError outside lambda 0.6 to 3, where soot or misfire
    would have the say.
    """
    if not 0.6 <= excess_air <= 3.0:
        raise ValueError(f"lambda {excess_air} makes no such exhaust gas")
    air = excess_air * fuel.oxygen_needed  # mol O2 to one mol of carbon
    nitrogen = air * (1 - OXYGEN_IN_AIR) / OXYGEN_IN_AIR
    water = fuel.hydrogen / 2
    if excess_air >= 1:
        co, h2, o2 = 0.0, 0.0, air - fuel.oxygen_needed
    else:
        missing = 2 * (fuel.oxygen_needed - air)  # mol O short = mol CO + mol H2
        co, o2 = _co(missing, water), 0.0
        h2 = missing - co
    dry = {"co2": 1 - co, "co": co, "h2": h2, "o2": o2, "n2": nitrogen}
    whole = sum(dry.values())
    return {name: 100 * part / whole for name, part in dry.items()}


def _co(missing: float, water: float) -> float:
    """mol of CO to one of carbon with CO x (water - H2) = K x (1 - CO) x H2 and CO + H2 = missing: a quadratic."""
    a = 1 - WATER_GAS
    b = water - missing + WATER_GAS * (1 + missing)
    c = -WATER_GAS * missing
    return (-b + math.sqrt(b * b - 4 * a * c)) / (2 * a)
