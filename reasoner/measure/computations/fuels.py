"""Fuel and gas: lambda of four gases against the trim; fuel in the oil, as vapour, blended, or at another pressure."""

from __future__ import annotations

import math

from reasoner.measure.asks import Ask, Inputs, Setting
from reasoner.measure.computations.base import ETHANOL_SHARE, RECTANGULAR, Computation, Result, fuel_of, within_limit
from reasoner.measure.finding import Figure, Finding, percent
from reasoner.measure.fuel import (
    HEXANE,
    Fuel,
    blend,
    blend_trim,
    boiling_off,
    dilution,
    flow_at,
    fuel_in_oil,
    lambda_of,
    neutral_share,
    pressure_for,
    pressure_trim,
    purge_trim,
    vapour_flow,
    volume_needed,
)
from reasoner.measure.trims import trim
from reasoner.measure.uncertain import Estimate, through
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At

# ---- Lambda from four gases against the trim and the sensor ----------------------------------------------------------
# Who of them is right.

# Limits of error of an analyser of class I, ISO 3930 / OIML R 99, from memory: share of the reading, least.
LIMITS = {"co": (0.05, 0.06), "co2": (0.05, 0.5), "hc": (0.05, 12.0), "o2": (0.05, 0.1)}
LAMBDA_ERROR = 0.01  # of lambda, for the composition of the fuel and for sampling; judgement
STEADY_TRIM_ERROR = 3.0  # % of trim, standard error of one steady reading; judgement
RICH, LEAN, MISFIRE, OFF = 0.97, 1.05, 4.0, 10.0  # lambda, lambda, % of the charge, % of trim; judgement
SENSOR = 0.01 * RECTANGULAR  # of a wideband sensor's lambda near 1; judgement
PETROL_CARBON = 17.0  # vol-% that CO and CO2 of petrol together stay below (15.3 when all is burnt)


def work_out_gas(given: Inputs, setting: Setting) -> Result:
    """Lambda, the trim it asks for, and what is unburnt."""
    co, co2, hc, o2 = (within_limit(given.one(name, 0.0), *LIMITS[name]) for name in LIMITS)
    if co.value > co2.value:
        return Mistake("", f"CO {co.value:g} % with CO2 {co2.value:g} % is no engine's", "are the two swapped?")
    if co.value + co2.value > PETROL_CARBON:
        return Mistake("", f"CO and CO2 together {co.value + co2.value:g} % is more than petrol gives", "read again")
    if co2.value < 2:
        return Mistake("co2", f"{co2.value:g} % is nearly air", "is the probe in the exhaust, deep and tight?")
    fuel = fuel_of(given)
    of_gases = lambda_of(co, co2, hc, o2, 0.0, fuel)
    lam = Estimate(of_gases.value, math.hypot(of_gases.error, LAMBDA_ERROR))
    gas = Figure("lambda", "", lam)
    unburnt = Figure("unburnt", "%", through(lambda *g: _unburnt(*g, fuel=fuel), co, co2, hc, o2))
    told = given.get("trim")
    trim = None if told is None else Figure("trim", "%", Estimate(told, STEADY_TRIM_ERROR))
    means = [_means(gas, unburnt, trim)]
    sensor = given.get("sensor lambda")
    if sensor is not None:
        means.append(_sensor(sensor, lam, unburnt.value))
    double = lambda_of(co, co2, hc, o2, 0.0, fuel, carbon=2 * HEXANE).value
    sure = [
        f"Lambda below {RICH:g}: {percent(gas.chance(None, RICH))}, {RICH:g} to {LEAN:g}: "
        f"{percent(gas.chance(RICH, LEAN))}, above: {percent(gas.chance(LEAN, None))}. Errors: limits of a "
        f"class I analyser, and {LAMBDA_ERROR:g} for fuel and sampling (judgement).",
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
            return "The mixture is right only because the ECU takes fuel away: there is fuel in excess."
        if off > OFF:
            return "The mixture is right only because the ECU adds fuel: too little of it, or too much air."
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
        ETHANOL_SHARE,
    ),
    work_out_gas,
)


# ---- Fuel where it should not be or is not what it should be ---------------------------------------------------------
# In the oil, as vapour, blended, at another pressure.

VISCOSITY, EFFECTIVE = 0.1, 0.2  # mm2/s: of a viscosity, and of the fuel's as blended with; judgement
LABORATORY = 0.3  # % of fuel by gas chromatography; judgement
CAUTION, ACTION = 2.0, 5.0  # % of fuel in oil: what laboratories call caution and action; secondary texts


def _oil(given: Inputs, setting: Setting) -> Result:
    told, fresh, now = given.get("found"), given.get("fresh viscosity"), given.get("viscosity")
    if told is not None:
        found, how = Estimate(told, LABORATORY), "fuel in the oil as the laboratory found it"
    elif fresh is not None and now is not None:
        fuel = Estimate(0.9, EFFECTIVE)
        found = dilution(Estimate(fresh, VISCOSITY), Estimate(now, VISCOSITY), fuel)
        how = "fuel by mass = fall of the blending index (Refutas) of the viscosity / that down to fuel"
    else:
        return Mistake("", "fuel found by the laboratory is wanted, or the viscosity fresh and now, at one temperature")
    figure = Figure("fuel in oil", "%", found)
    if found.value < -3 * found.error:
        means = ["The oil has thickened: soot and age hide what fuel there is. Ask for gas chromatography."]
    elif found.value < CAUTION:
        means = ["Little enough."]
    else:
        means = [
            "Some: caution." if found.value < ACTION else "Much: the oil is to be changed, after the reason is found."
        ]
    sump, minutes, airflow = given.one("sump", 4.5), given.one("minutes", 60.0), given.one("airflow", 3.0)
    grams = fuel_in_oil(sump, max(found.value, 0.0))
    rate = boiling_off(grams, minutes)
    says = f"{grams:.0f} g of petrol in {sump:g} L; boiling off within {minutes:g} min it is {rate:.3f} g/s"
    means.append(f"{says}, a trim of {max(-100.0, trim(airflow, by_time=rate)):.0f} % at {airflow:g} g/s of air.")
    sure = [
        f"Chance of more than {CAUTION:g} %: {percent(figure.chance(CAUTION, None))}, of more than {ACTION:g} %: "
        f"{percent(figure.chance(ACTION, None))}."
    ]
    if told is None:
        sure.append("Viscosity alone reads low in old oil, which soot and oxidation thicken.")
    return Finding({0: (figure,)}, (how,), tuple(means), tuple(sure))


FUEL_IN_OIL = Computation(
    "fuel in oil",
    At.ENGINE,
    "Petrol in the oil, and the trim that it makes while it boils off.",
    (
        Ask("found", "Fuel that the laboratory found", "%", 0, 50),
        Ask("fresh viscosity", "Viscosity of the fresh oil", "mm2/s", 1, 500),
        Ask("viscosity", "Viscosity now, at the same temperature", "mm2/s", 1, 500),
        Ask("sump", "Oil in the engine (else 4.5 L)", "L", 1, 30, car=True),
        Ask("minutes", "Time in which it boils off (else 60 min)", "min", 1, 1000),
        Ask("airflow", "Airflow at idle (else 3 g/s)", "g/s", 0.2, 1000),
    ),
    _oil,
)


def _purge(given: Inputs, setting: Setting) -> Result:
    flow, vapour, airflow = given.one("flow", 0.0), given.one("vapour", 0.0) / 100, given.one("airflow", 1.0)
    made = through(
        lambda q, v: purge_trim(max(q, 0.0), min(max(v, 0.0), 1.0), airflow),
        Estimate(flow, 0.1 * flow),
        Estimate(vapour, 0.1 * vapour),
    )
    fuel = vapour_flow(flow, vapour)
    neutral = 100 * neutral_share()
    if made.value <= -100:
        means = "More than the ECU can take away: it stalls or floods."
    elif made.value > 0:
        means = (
            f"Below {neutral:.1f} % of vapour purge is a little lean: a clean canister does not make an engine rich."
        )
    else:
        means = "Rich, and fading with the airflow and as the canister empties."
    return Finding(
        {0: (Figure("trim", "%", made), Figure("fuel", "g/s", Estimate(fuel, 0.14 * fuel)))},
        ("trim = (air of the purge - stoichiometric ratio x fuel of the purge) / airflow; ideal gas at 25 °C",),
        (means,),
        ("Flow and vapour are each taken to be known to 10 %; vapour of 65 g/mol (from memory).",),
    )


PURGE = Computation(
    "purge",
    At.ENGINE,
    "What a purge flow of so much vapour does to the trim.",
    (
        Ask("flow", "Flow through the purge valve", "L/min", 0, 200, needed=True),
        Ask("vapour", "Fuel vapour in it, by volume", "%", 0, 100, needed=True),
        Ask("airflow", "Airflow of the engine", "g/s", 0.2, 1000, needed=True, live=("airflow",)),
    ),
    _purge,
)


def _blend(given: Inputs, setting: Setting) -> Result:
    learned, sample, gained = given.one("learned", 0.0), given.get("sample"), given.get("gained")
    actual = given.get("ethanol")
    if actual is None and sample is not None and gained is not None:
        actual, off = 100 * gained / sample, 200 / sample  # a line on a glass is read to some 2 mL
        if actual > 100:
            return Mistake("gained", "water cannot gain more than there was fuel", "what it gained, not what there is")
    elif actual is None:
        return Mistake("ethanol", "ethanol in the tank is wanted, or a water test: fuel, and what the water gained")
    else:
        off = 1.0
    tank = Estimate(actual, off)
    fuel = blend(actual / 100)
    made = through(lambda e: blend_trim(learned / 100, min(max(e, 0.0), 100.0) / 100), tank)
    missing = through(lambda e: learned - e, tank)
    if abs(made.value) < 5:
        means = "What the ECU doses for and what is in the tank are near enough."
    else:
        means = (
            "The ECU doses for "
            + ("more" if made.value < 0 else "less")
            + " ethanol than there is: the same trim everywhere."
        )
    figures = (
        Figure("trim", "%", made),
        Figure("air-fuel ratio", "", through(lambda e: blend(min(max(e, 0), 100) / 100).air_ratio, tank)),
        Figure("missing ethanol", "%", missing),
    )
    return Finding(
        {0: figures},
        ("stoichiometric ratio from carbon, hydrogen and oxygen of the blend; injectors dose by volume",),
        (means, f"It takes {100 * (volume_needed(fuel) - 1):.0f} % more volume than petrol without ethanol."),
        (f"Ethanol is taken to be known to {off:.1g} %; petrol as CH1.87, 0.745 kg/L.",),
    )


FUEL_BLEND = Computation(
    "fuel blend",
    At.ENGINE,
    "Stoichiometric ratio of a blend, and the trim if the ECU doses for another.",
    (
        ETHANOL_SHARE,
        Ask("learned", "Ethanol that the ECU doses for (else 0 %)", "%", 0, 100, live=("ethanol in the fuel",)),
        Ask("sample", "Water test: fuel in the glass", "mL", 10, 2000),
        Ask("gained", "Water test: how much the water gained", "mL", 0, 2000),
    ),
    _blend,
)


def _flow(given: Inputs, setting: Setting) -> Result:
    rated, now = given.one("rated pressure", 0.0), given.one("pressure", 0.0)
    before, after = Estimate(rated, 0.01 * rated), Estimate(now, 0.02 * now)
    made = pressure_trim(before, after)
    figures = [Figure("trim", "%", made)]
    flow = given.get("flow")
    if flow is not None:
        figures.append(Figure("flow", "mL/min", flow_at(Estimate(flow, 0.01 * flow), before, after)))
    wanted = given.get("trim")
    means = ["The same trim wherever this pressure is there, and none where the ECU measures it and allows for it."]
    if wanted is not None:
        times = pressure_for(wanted)
        means.append(
            f"A trim of {wanted:g} % by pressure alone takes {times:.2f} times as much: {rated * times:.0f} kPa."
        )
    return Finding(
        {0: tuple(figures)},
        ("flow goes with the root of the pressure drop across the injector; trim = root(rated / now) - 1",),
        tuple(means),
        ("The pressure drop is fuel pressure less manifold pressure. A gauge is taken to be good to 2 %.",),
    )


INJECTOR_FLOW = Computation(
    "injector flow",
    At.ENGINE,
    "Flow of an injector at another pressure, and the trim that it makes.",
    (
        Ask("rated pressure", "Pressure drop that is assumed", "kPa", 50, 50000, needed=True),
        Ask("pressure", "Pressure drop that there is", "kPa", 10, 50000, needed=True),
        Ask("flow", "Flow at the first", "mL/min", 1, 5000),
        Ask("trim", "Trim to be explained by pressure", "%", -90, 100),
    ),
    _flow,
)
