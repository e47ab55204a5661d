"""Formulas of air, fuel and burnt gas: what an engine takes and needs, what comes out, what falling pressure means."""

from __future__ import annotations

import math
from dataclasses import dataclass

from reasoner.measure.uncertain import Estimate, Number, through

# ---- Air that an engine takes ----------------------------------------------------------------------------------------
# From speed and pressure, and how well it fills (four-stroke).
#
# Heywood, Internal Combustion Engine Fundamentals (1988), eqs. 2.27 and 6.2 (volumetric efficiency), from memory.

GAS_CONSTANT = 8.314462618 / 28.965e-3  # J/(kg K) of dry air: CODATA 2018 over the molar mass of dry air
KELVIN = 273.15


def air_flow(litres: float, rpm: float, pressure: float, filling: float, celsius: float) -> float:
    """Air in g/s of a four-stroke engine (speed-density).

    litres: swept volume of all cylinders. pressure: manifold, kPa absolute. filling: volumetric efficiency against
    manifold conditions, 0..1. celsius: charge temperature. Raises ValueError at or below absolute zero.
    """
    density = 1000.0 * pressure / (GAS_CONSTANT * _kelvin(celsius))  # kg/m3, which is g/L
    return density * litres * rpm / 120.0 * filling


def filling(flow: Number, litres: Number, rpm: Number, pressure: Number, celsius: Number) -> Estimate:
    """Volumetric efficiency (1 = full) that an air meter's g/s would mean, with its standard error.

    pressure, celsius: of the air it is counted against (kPa absolute). Above about 1 for a naturally aspirated engine
    the meter reads high, or the engine is not what was said. Raises ValueError unless speed, size, pressure are > 0.
    """
    return through(_filling, flow, litres, rpm, pressure, celsius)


def sensor_trim(believed: float, true: float) -> float:
    """Trim in % when the ECU believes one amount of air (any unit) and the engine takes another."""
    return 100.0 * (true / believed - 1.0)


def temperature_trim(reads: float, true: float) -> float:
    """Trim in % of a speed-density engine whose intake temperature reads `reads` degC at `true` degC."""
    return sensor_trim(1.0 / _kelvin(reads), 1.0 / _kelvin(true))


def _kelvin(celsius: float) -> float:
    if celsius <= -KELVIN:
        raise ValueError(f"{celsius} degC is below absolute zero")
    return celsius + KELVIN


def _filling(flow: float, litres: float, rpm: float, pressure: float, celsius: float) -> float:
    full = air_flow(litres, rpm, pressure, 1.0, celsius)
    if full <= 0:
        raise ValueError("swept volume, speed and pressure are above 0")
    return flow / full


# ---- Fuel ------------------------------------------------------------------------------------------------------------
# How much air it needs, what ethanol changes, what an injector passes, what comes out of the oil or the tank.
#
# Air ratio: Heywood, Internal Combustion Engine Fundamentals (1988), section 3.4, from memory. Injectors: Bernoulli
# through a sharp orifice with turbulent flow (the same, eq. 7.7, from memory): flow ~ sqrt(pressure drop). Purge:
# ideal gas at 25 degC and 101.325 kPa, vapour of 65 g/mol (petrol vapour near 60 to 70; from memory).

CARBON, HYDROGEN, OXYGEN = 12.011, 1.008, 15.999  # g/mol, IUPAC standard atomic weights (rounded)
AIR_MOLAR_MASS = 28.965  # g/mol of dry air
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
        return self.oxygen_needed / OXYGEN_IN_AIR * AIR_MOLAR_MASS / self.carbon_mass


PETROL = Fuel(1.87, 0.0, 0.745)  # EN 228 mid density; y from memory, 1.80 to 2.00 occurs
ETHANOL = Fuel(3.0, 0.5, 0.794)  # CoolProp 8.0.0; the usual 0.789 is that of 20 degC


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
    """Trim in % when the ECU doses for one ethanol volume fraction and the tank holds another.

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


FUEL_VISCOSITY = 0.9  # mm2/s at 100 degC as commonly blended with; effective, from memory


def fuel_in_oil(litres: float, percent: float, density: float = PETROL.density) -> float:
    """g of petrol in `litres` of oil diluted by `percent` volume."""
    return litres * percent / 100.0 * density * 1000.0


def boiling_off(grams: float, minutes: float) -> float:
    """Mean fuel flow in g/s when `grams` leave the oil within `minutes`. Raises ValueError unless minutes > 0."""
    if minutes <= 0:
        raise ValueError("it takes some time")
    return grams / (60.0 * minutes)


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


VAPOUR_MOLAR_MASS = 65.0  # g/mol
MOLAR_VOLUME = 8.314462618 * 298.15 / 101.325  # L/mol at 25 degC, 1 atm


def vapour_flow(litres: float, share: float) -> float:
    """Fuel in g/s of a purge flow (L/min) of which `share` (0..1 by volume) is vapour. Raises ValueError outside."""
    _check(litres, share)
    return litres * share / MOLAR_VOLUME * VAPOUR_MOLAR_MASS / 60.0


def purge_trim(litres: float, share: float, airflow: float, ratio: float = PETROL.air_ratio) -> float:
    """Trim in % of an engine with an air meter that measures `airflow` g/s, purge air coming in unmeasured.

    Below about 3 % vapour the purge air weighs more than the vapour: slightly lean. Never below -100: there the engine
    is flooded whatever the ECU does.
    """
    _check(litres, share)
    if airflow <= 0:
        raise ValueError("the engine takes some air")
    air = litres * (1 - share) / MOLAR_VOLUME * AIR_MOLAR_MASS / 60.0
    return max(-100.0, 100.0 * (air - ratio * vapour_flow(litres, share)) / airflow)


def neutral_share(ratio: float = PETROL.air_ratio, vapour: float = VAPOUR_MOLAR_MASS) -> float:
    """Vapour share (0..1) of purge that is neither rich nor lean: its air just burns its vapour (g/mol)."""
    return AIR_MOLAR_MASS / (AIR_MOLAR_MASS + ratio * vapour)


def _check(litres: float, share: float) -> None:
    if litres < 0 or not 0.0 <= share <= 1.0:
        raise ValueError("a purge flow is not negative, a share lies in 0..1")


# ---- Lambda from exhaust gas, and the exhaust gas of a lambda --------------------------------------------------------
# J. Brettschneider, Bosch Technische Berichte 6 (1979) 4, 177-186 (in secondary texts; also Directive 98/69/EC,
# 5.3.7.3, from memory). It counts oxygen against carbon and hydrogen in the gas, so that it does not care how
# complete the combustion was, and no trim or oxygen sensor has a part in it. Air that leaks in before the probe does:
# it looks lean.

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


# ---- Pressure hold ---------------------------------------------------------------------------------------------------
# How much fuel a falling pressure means, and how much of the fall is only cooling.
#
# Liquid fuel in a closed rail: dV = V dp / K. Isothermal bulk modulus K and thermal expansion b: computed with
# CoolProp 8.0.0 (a general-purpose property library) for a surrogate petrol of n-octane 45, n-heptane 15, toluene 30
# and ethanol 10 % by mass, volumes added up. By the same library a petrol with light ends (isopentane and n-hexane,
# as for winter) is softer: up to a fifth at 20 degC, a third at 90 degC and 5 MPa; it expands more, so that its pull
# by temperature is only up to a sixth less. Gas in the rail changes far more.

TEMPERATURES = (20.0, 60.0, 90.0)  # degC
PRESSURES = (0.4, 5.0, 10.0, 20.0, 35.0)  # MPa
MODULUS = (  # MPa, by temperature and pressure
    (860.0, 911.0, 966.0, 1072.0, 1224.0),
    (622.0, 674.0, 729.0, 835.0, 986.0),
    (474.0, 527.0, 582.0, 688.0, 837.0),
)
EXPANSION = (  # 1/K, by temperature and pressure: a fifth less at 35 MPa than without pressure
    (0.00113, 0.00109, 0.00106, 0.00099, 0.00092),
    (0.00124, 0.00118, 0.00113, 0.00104, 0.00094),
    (0.00136, 0.00128, 0.00120, 0.00109, 0.00097),
)
SOFTER, WIDER = 0.2, 0.12  # of K and of b, standard errors of a petrol of unknown make-up; they go together: above
STEEL = 3.6e-5  # 1/K, volume expansion of the rail: three times 1.2e-5; handbook value from memory


def bulk_modulus(celsius: float, pressure: float) -> float:
    """K in MPa at a temperature (degC) and pressure (MPa), linear between the table's points.

    Below 0.4 MPa as at 0.4. Raises ValueError outside 20 to 90 degC and 0 to 35 MPa.
    """
    return _of(MODULUS, celsius, pressure)


def expansion(celsius: float, pressure: float) -> float:
    """Thermal expansion in 1/K at constant pressure, at a temperature and pressure; read as `bulk_modulus`."""
    return _of(EXPANSION, celsius, pressure)


def temperature_pull(celsius: float, pressure: float) -> float:
    """MPa that the pressure of a closed rail falls for each kelvin of cooling: K (b - expansion of steel)."""
    return bulk_modulus(celsius, pressure) * (expansion(celsius, pressure) - STEEL)


def leak_after_cooling(
    litres: Number, drop: Number, minutes: float, cooled: Number, celsius: float, pressure: float
) -> Estimate:
    """mm3/min left of a fall in pressure (MPa) once `cooled` kelvin of cooling are allowed for.

    celsius, pressure: the middle of the test. About 1 MPa of every kelvin is no leak at all: unless the cooling is
    known to a fraction of a kelvin, a slow fall of a direct-injection rail proves nothing, and the error says so. It
    also carries what the petrol may be made of.
    """
    if minutes <= 0:
        raise ValueError("a pressure needs time to fall")
    modulus, grows = bulk_modulus(celsius, pressure), expansion(celsius, pressure)

    def lost(volume: float, fall: float, kelvin: float, light: float) -> float:
        shrunk = (grows * (1 + WIDER * light) - STEEL) * kelvin
        return 1e6 * volume * (fall / (modulus * (1 - SOFTER * light)) - shrunk) / minutes

    return through(lost, litres, drop, cooled, Estimate(0.0, 1.0))


def line_leak(give: Number, drop: Number, minutes: float) -> Estimate:
    """mm3/min of a low-pressure line that gives `give` mL for each kPa (damper, hoses), from its fall in kPa."""
    if minutes <= 0:
        raise ValueError("a pressure needs time to fall")
    return through(lambda g, p: 1000.0 * g * p / minutes, give, drop)


def emptying(litres: float, pressure: float, leak: float, celsius: float) -> float:
    """Seconds in which a leak of `leak` mL/min at `pressure` (MPa) takes all of it, slowing with its square root.

    Raises ValueError unless leak > 0.
    """
    if leak <= 0:
        raise ValueError("without a leak it never empties")
    return 2 * 60.0 * 1000.0 * litres * pressure / bulk_modulus(celsius, pressure) / leak


def _of(table: tuple[tuple[float, ...], ...], celsius: float, pressure: float) -> float:
    if not 0.0 <= pressure <= PRESSURES[-1]:
        raise ValueError(f"{pressure} MPa lies outside 0 to {PRESSURES[-1]:g} MPa")
    pressure = max(pressure, PRESSURES[0])
    return _between(TEMPERATURES, [_between(PRESSURES, row, pressure) for row in table], celsius)


def _between(points: tuple[float, ...], values: tuple[float, ...] | list[float], at: float) -> float:
    if not points[0] <= at <= points[-1]:
        raise ValueError(f"{at:g} lies outside {points[0]:g} to {points[-1]:g}")
    for low, high, a, b in zip(points, points[1:], values, values[1:], strict=False):
        if at <= high:
            return a + (b - a) * (at - low) / (high - low)
    return values[-1]
