"""Lambda from four gases against the trim and the sensor: who of them is right."""

from __future__ import annotations

import math

from reasoner.measure.asks import Ask, Inputs, Setting, Trouble
from reasoner.measure.computations.base import ETHANOL, RECTANGULAR, Computation, Result, fuel_of, within
from reasoner.measure.finding import Figure, Finding, percent
from reasoner.measure.fuel import Fuel
from reasoner.measure.gas import HEXANE, lambda_of
from reasoner.measure.uncertain import Estimate, through
from reasoner.rulebook.model import At

# Limits of error of an analyser of class I, ISO 3930 / OIML R 99, from memory: share of the reading, least.
LIMITS = {"co": (0.05, 0.06), "co2": (0.05, 0.5), "hc": (0.05, 12.0), "o2": (0.05, 0.1)}
MODEL = 0.01  # of lambda, for the composition of the fuel and for sampling; judgement
LOOP = 3.0  # % of trim, standard error of one steady reading; judgement
RICH, LEAN, MISFIRE, OFF = 0.97, 1.05, 4.0, 10.0  # lambda, lambda, % of the charge, % of trim; judgement
SENSOR = 0.01 * RECTANGULAR  # of a wideband sensor's lambda near 1; judgement
PETROL_CARBON = 17.0  # vol-% that CO and CO2 of petrol together stay below (15.3 when all is burnt)


def work(given: Inputs, setting: Setting) -> Result:
    """Lambda, the trim it asks for, and what is unburnt."""
    co, co2, hc, o2 = (within(given.one(name, 0.0), *LIMITS[name]) for name in LIMITS)
    if co.value > co2.value:
        return Trouble("", f"CO {co.value:g} % with CO2 {co2.value:g} % is no engine's", "are the two exchanged?")
    if co.value + co2.value > PETROL_CARBON:
        return Trouble("", f"CO and CO2 together {co.value + co2.value:g} % is more than petrol gives", "read again")
    if co2.value < 2:
        return Trouble("co2", f"{co2.value:g} % is nearly air", "is the probe in the exhaust, deep and tight?")
    fuel = fuel_of(given)
    of_gases = lambda_of(co, co2, hc, o2, 0.0, fuel)
    lam = Estimate(of_gases.value, math.hypot(of_gases.error, MODEL))
    gas = Figure("lambda", "", lam)
    unburnt = Figure("unburnt", "%", through(lambda *g: _unburnt(*g, fuel=fuel), co, co2, hc, o2))
    told = given.get("trim")
    trim = None if told is None else Figure("trim", "%", Estimate(told, LOOP))
    means = [_means(gas, unburnt, trim)]
    sensor = given.get("sensor lambda")
    if sensor is not None:
        means.append(_sensor(sensor, lam, unburnt.value))
    double = lambda_of(co, co2, hc, o2, 0.0, fuel, carbon=2 * HEXANE).value
    sure = [
        f"Lambda below {RICH:g}: {percent(gas.chance(None, RICH))}, {RICH:g} to {LEAN:g}: "
        f"{percent(gas.chance(RICH, LEAN))}, above: {percent(gas.chance(LEAN, None))}. Errors: limits of a "
        f"class I analyser, and {MODEL:g} for fuel and sampling (judgement).",
        "Before the catalyst, or in front of a cold one. Air drawn in ahead of the probe makes it look lean.",
    ]
    if abs(double - lam.value) > 0.01:
        sure.append(f"With so much HC its count matters: taken as in petrol instead of hexane, lambda is {double:.3f}.")
    return Finding(
        {0: (gas, *([trim] if trim else []), unburnt)},
        (
            "oxygen there is (in CO2, CO, O2, water) / oxygen that its carbon and hydrogen need (Brettschneider 1979)",
            "unburnt: part of the charge that came through, by its HC and by its oxygen; the smaller of the two",
        ),
        tuple(means),
        tuple(sure),
    )


def _unburnt(co: float, co2: float, hc: float, o2: float, *, fuel: Fuel) -> float:
    """% of the charge. Hydrocarbons alone are rich gas, oxygen alone is leaked air: only both together came through."""
    fuel_left = HEXANE * hc / 10000
    burnt = co + co2
    by_fuel = fuel_left / (burnt + fuel_left)
    by_air = o2 / (o2 + fuel.oxygen_needed * burnt)
    return 100 * min(by_fuel, by_air)


def _means(gas: Figure, unburnt: Figure, trim: Figure | None) -> str:
    if unburnt.value > MISFIRE:
        return (
            f"{unburnt.value:.0f} % of the charge comes through unburnt: a cylinder does not fire. Its oxygen makes "
            "sensor and lambda look lean; find that first."
        )
    value, off = gas.value, 0.0 if trim is None else trim.value
    if value < RICH:
        if off > OFF:
            return "Really rich, and made so by the trim: the sensor reads lean, or air leaks in ahead of it."
        return "Really rich, more than has been taken away: at its limit, too quick for it, or in open loop."
    if value < LEAN:
        if off < -OFF:
            return "The mixture is right only because the controller takes fuel away: there is fuel in excess."
        if off > OFF:
            return "The mixture is right only because the controller adds fuel: too little of it, or too much air."
        return "The mixture is right." if trim else "The mixture is right; what the trim has to do for it was not said."
    if off < -OFF:
        return "Lean, because fuel is taken away that was not too much: the sensor reads rich."
    return "Lean, or air is drawn in ahead of the probe: the gases alone do not tell the two apart."


def _sensor(sensor: float, lam: Estimate, unburnt: float) -> str:
    off = through(lambda s, g: s - g, Estimate(sensor, SENSOR), lam)
    if abs(off.value) < max(0.02, 2 * off.error):
        return f"The sensor ({sensor:g}) agrees with the gases."
    if off.value < 0:
        return (
            f"The sensor reads {-off.value:.3f} richer than the gases: the sensor lies, or air leaks in between the "
            "two (exhaust, probe)."
        )
    cause = "oxygen of a misfire" if unburnt > MISFIRE else "a leak ahead of the sensor, or the sensor"
    return f"The sensor reads {off.value:.3f} leaner than the gases: {cause}."


EXHAUST_GAS = Computation(
    "exhaust gas",
    At.ENGINE,
    "Lambda from the four gases, and whether trim and sensor agree with it.",
    (
        Ask("co", "CO", "%", 0, 15, needed=True),
        Ask("co2", "CO2", "%", 0, 20, needed=True),
        Ask("hc", "HC, as hexane", "ppm", 0, 30000, needed=True),
        Ask("o2", "O2", "%", 0, 21, needed=True),
        Ask("trim", "Total trim of that moment and bank", "%", -100, 100, pairs=True),
        Ask("sensor lambda", "Lambda of the upstream sensor", "lambda", 0.5, 2),
        ETHANOL,
    ),
    work,
)
