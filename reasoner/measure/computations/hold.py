"""Pressure hold: how fast a closed rail or line loses pressure, what of that is cooling, and what leak a trim needs."""

from __future__ import annotations

import math

from reasoner.measure.asks import Ask, Inputs, Setting
from reasoner.measure.computations.base import Computation, Result
from reasoner.measure.finding import ErrorScale, Figure, Finding, plus_minus
from reasoner.measure.fuel import SOFTER, bulk_modulus, emptying, leak_after_cooling, line_leak, temperature_pull
from reasoner.measure.trims import leak_for
from reasoner.measure.uncertain import Estimate, through
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At

RAIL, RAIL_OFF = 0.08, 0.03  # L of rail and pipes, usual 0.05 to 0.15; judgement
RAIL_GAUGE_ERROR = 0.05  # MPa, standard error of a rail pressure; judgement
COOLING, TOLD = 0.5, 0.3  # K, standard error of a cooling taken as none, and of one that was read; judgement
WARM = 60.0  # degC where the fuel's temperature is not said
EMPTY = 0.7  # MPa: what the low side holds; below it the rail had emptied before (SAE 2012-01-0393: 0.4 to 0.6)
TO_HALF_FLOW = 1 - math.sqrt(0.5)

MINUTES = Ask("minutes", "Time between the beginning and the end", "min", 0.05, 240, needed=True)
TRIM_TO_EXPLAIN = Ask("trim", "Trim that is to be explained", "%", -100, 0, pairs=True)
AIRFLOW_AT_TRIM = Ask("airflow", "Airflow at that trim", "g/s", 0.2, 1000)


def _rate(before: float, after: float, minutes: float) -> float:
    """Halvings a minute of a leak that flows with the root of the pressure: sqrt(p) then falls steadily."""
    return (
        (math.sqrt(before) - math.copysign(math.sqrt(abs(after)), after)) / math.sqrt(before) / TO_HALF_FLOW / minutes
    )


def rail(given: Inputs, setting: Setting) -> Result:
    """Minutes until the rail pressure has halved, cooling allowed for."""
    before, after, minutes = (given.one(name, 0.0) for name in ("rail before", "rail after", "minutes"))
    if after > before + 3 * RAIL_GAUGE_ERROR and given.get("cooled") is None:
        return Mistake(
            "rail after", "the pressure rose: the rail was warming up", "wait until it falls, or say how much it cooled"
        )
    warm = given.get("temperature")
    celsius = min(90.0, max(20.0, WARM if warm is None else warm))
    cooled = given.get("cooled")
    cooling = Estimate(0.0 if cooled is None else cooled, COOLING if cooled is None else TOLD)
    middle = (before + after) / 2
    pull = temperature_pull(celsius, middle)
    first, last = Estimate(before, RAIL_GAUGE_ERROR), Estimate(after, RAIL_GAUGE_ERROR)
    rate = through(lambda p0, p1, t: _rate(p0, p1 + pull * t, minutes), first, last, cooling)
    emptied = after < EMPTY < before
    if emptied:
        rate = Estimate(1.5 * rate.value, math.hypot(rate.error, rate.value / 2))  # it fell faster, not known how much
    half = Figure("time until the rail pressure has halved", "min", rate, ErrorScale.UNTIL)
    litres = Estimate(given.one("litres of rail", RAIL), 0.0 if given.get("litres of rail") else RAIL_OFF)
    drop = through(lambda a, b: a - b, first, last)
    leak = leak_after_cooling(litres, drop, minutes, cooling, celsius, middle)
    means = [_held(half), *_against_trim(given, leak.value)]
    sure = [
        f"1 K of cooling takes {pull:.2f} MPa off a closed rail here. It is known to {cooling.error:g} K: "
        f"{pull * cooling.error:.2f} MPa of the {drop.value:.2f} MPa that were lost.",
        f"The petrol's own stiffness is taken, to {100 * SOFTER:.0f} %: one with light ends, as "
        "for winter, is softer, and the same fall then is more fuel.",
    ]
    if emptied:
        sure.append("It had emptied down to the low side before that: the time is at most this. Read it sooner.")
    if pull * cooling.error > abs(drop.value) / 3 and rate.value > 0:
        sure.append("So this says little: read the first minutes, or when the fuel is as warm as at the start.")
    return Finding(
        {0: (half, Figure("leak", "mm3/min", leak))},
        (
            "leaked volume = volume of the rail x (fall - pull of the cooling) / bulk modulus "
            f"({bulk_modulus(celsius, middle):.0f} MPa at {celsius:g} °C)",
            "time to half: the leak flows with the root of the pressure, so the root falls steadily",
        ),
        tuple(means),
        tuple(sure),
    )


def _held(half: Figure) -> str:
    if not math.isfinite(half.value):
        return "It did not fall by more than cooling takes: tight."
    if half.value > 30:
        return f"It would halve in {half.value:.0f} min: tight."
    if half.value > 10:
        return f"It would halve in {half.value:.0f} min: acceptable (judgement)."
    return (
        f"It halves in {half.value:.2g} min: it leaks somewhere - injector, pump valve or relief valve, not yet which."
    )


def _against_trim(given: Inputs, leak: float) -> list[str]:
    trim, airflow = given.get("trim"), given.get("airflow")
    if trim is None or airflow is None or trim >= 0:
        return []
    wanted = leak_for(trim, airflow)
    lines = [f"A trim of {trim:g} % at {airflow:g} g/s needs {wanted:.1f} mL/min ({1000 * wanted:.0f} mm3/min)."]
    if leak > 0:
        share = leak / 1000 / wanted
        lines.append(
            f"What was lost is {100 * share:.2g} % of that"
            + (": the rail leaks far too little to make it." if share < 0.1 else ".")
        )
    empties = emptying(RAIL, 5.0, wanted, WARM)
    lines.append(f"A leak that makes it would empty a usual rail from 5 MPa in about {empties:.0f} s.")
    return lines


RAIL_HOLD = Computation(
    "rail hold",
    At.ENGINE,
    "How fast a direct-injection rail loses its pressure, cooling allowed for.",
    (
        Ask("rail before", "Rail pressure at the beginning", "MPa", 0.3, 35, needed=True),
        Ask("rail after", "Rail pressure at the end", "MPa", 0, 35, needed=True),
        MINUTES,
        Ask("temperature", "Temperature of the fuel in the rail", "°C", -20, 120),
        Ask("cooled", "How much the fuel cooled meanwhile", "K", -20, 60),
        Ask("litres of rail", "Volume of rail and pipes (else 80 mL)", "L", 0.01, 0.5, car=True),
        TRIM_TO_EXPLAIN,
        AIRFLOW_AT_TRIM,
    ),
    rail,
)

LOW_GAUGE = 3.0  # kPa, standard error of a dial gauge; judgement
GIVE, GIVE_OFF = 0.01, 0.004  # mL that a low-pressure line gives for each kPa; judgement
STOPPED = {"open": "with nothing shut", "supply shut": "with the supply shut", "return shut": "with the return shut"}
ALLOWED = 50.0  # kPa in ten minutes; common practice (15 to 35 kPa in five minutes), no source


def low_side(given: Inputs, setting: Setting) -> Result:
    """The fall in ten minutes, with nothing, the supply and the return shut."""
    before, minutes = given.one("line before", 0.0), given.one("minutes", 0.0)
    falls: dict[str, Estimate] = {}
    for name in STOPPED:
        after = given.get(name)
        if after is None:
            continue
        if after > before + 3 * LOW_GAUGE:
            return Mistake(name, "the pressure rose", f"no more than the {before:g} kPa of the beginning")
        falls[name] = through(
            lambda p0, p1: (p0 - p1) * 10 / minutes, Estimate(before, LOW_GAUGE), Estimate(after, LOW_GAUGE)
        )
    first = falls.get("open")
    if first is None:
        return Mistake("open", "the pressure after the time, with nothing shut, comes first")
    leak = line_leak(Estimate(GIVE, GIVE_OFF), through(lambda f: f * minutes / 10, first), minutes)
    means = [_falls(falls), f"Lost with nothing shut: about {plus_minus(leak)} mm3/min.", *_against_trim_low(given)]
    return Finding(
        {0: tuple(Figure(name, "kPa", fall) for name, fall in falls.items())},
        ("fall in ten minutes = (pressure before - after) x 10 / minutes", "volume = fall x what the line gives"),
        tuple(means),
        (
            f"A gauge is taken to be good to {LOW_GAUGE:g} kPa; the line to give {GIVE:g} +- {GIVE_OFF:g} mL for each "
            "kPa (judgement). Maker's limit first.",
        ),
    )


def _falls(falls: dict[str, Estimate]) -> str:
    held = {name: fall.value < ALLOWED for name, fall in falls.items()}
    if held["open"]:
        return "It holds."
    if held.get("supply shut"):
        return "It holds with the supply shut: the pump's valve, which does not make an engine rich."
    if held.get("return shut"):
        return "It holds with the return shut: the regulator lets it go."
    if len(held) == 3:
        return "It falls with either shut: injectors, a diaphragm or the rail itself."
    return "It falls; which way is found with supply and return shut one after the other."


def _against_trim_low(given: Inputs) -> list[str]:
    trim, airflow = given.get("trim"), given.get("airflow")
    if trim is None or airflow is None or trim >= 0:
        return []
    return [f"A trim of {trim:g} % at {airflow:g} g/s needs {1000 * leak_for(trim, airflow):.0f} mm3/min."]


LOW_SIDE_HOLD = Computation(
    "low side hold",
    At.ENGINE,
    "How fast the low-pressure side falls, with nothing, the supply, the return shut.",
    (
        Ask("line before", "Pressure at the beginning, above the air", "kPa", 50, 1200, needed=True),
        MINUTES,
        *(Ask(name, f"Pressure at the end, {how}", "kPa", 0, 1200) for name, how in STOPPED.items()),
        TRIM_TO_EXPLAIN,
        AIRFLOW_AT_TRIM,
    ),
    low_side,
)
