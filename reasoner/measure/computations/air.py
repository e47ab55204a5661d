"""Air: the meter against what the engine can swallow; sensors against each other while nothing moves."""

from __future__ import annotations

from dataclasses import replace

from reasoner.measure.asks import Ask, Inputs, Setting
from reasoner.measure.computations.base import DISPLACEMENT, Computation, Result
from reasoner.measure.finding import Figure, Finding, percent
from reasoner.measure.fuel import filling, sensor_trim, temperature_trim
from reasoner.measure.uncertain import Estimate, through
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At

OUTSIDE = 101.325  # kPa, standard atmosphere (ISO 2533), where nothing better is known
WEATHER = 3.0  # kPa, how far the air outside may be from it near sea level (1 s.d.); judgement
# Standard errors of what a reader shows: share of the airflow, rpm, kPa, degC; judgement.
AIR, SPEED, PRESSURE, TEMPERATURE = 0.02, 25.0, 1.0, 3.0
FULL, EMPTY = 98.0, 70.0  # % of filling at full load without boost; common practice, no source
STANDING = 85.0  # kPa; with less in the manifold the throttle is not wide open; common practice, no source

AIRFLOW_READ = Ask("airflow", "Airflow", "g/s", 0.2, 1000, needed=True, live=("airflow",))
RPM = Ask("speed", "Engine speed", "rpm", 200, 12000, needed=True, live=("engine speed",))
MANIFOLD = Ask(
    "pressure",
    "Pressure in the manifold (full throttle: outside), absolute",
    "kPa",
    8,
    400,
    live=("manifold pressure, absolute",),
)
CELSIUS = Ask("temperature", "Intake air temperature", "°C", -40, 150, live=("intake air temperature",))


def _filled(given: Inputs, setting: Setting) -> Result:
    flow, litres, rpm = (given.one(name, 0.0) for name in ("airflow", "litres", "speed"))
    told = given.get("pressure")
    pressure = Estimate(OUTSIDE, WEATHER) if told is None else Estimate(told, PRESSURE)
    celsius = Estimate(given.one("temperature", 20.0), TEMPERATURE if given.get("temperature") is not None else 10.0)
    found = filling(Estimate(flow, AIR * flow), litres, Estimate(rpm, SPEED), pressure, celsius)
    filled = Estimate(100 * found.value, 100 * found.error)
    if not 5 < filled.value < 300:
        return Mistake(
            "", f"{filled.value:.0f} % filling is no engine's", "see airflow (g/s), displacement (litres) and speed"
        )
    figure = Figure("volumetric efficiency", "%", filled)
    high, low = figure.chance(FULL, None), figure.chance(None, EMPTY)
    part = told is not None and told < STANDING
    if high > 0.5:
        means = (
            f"More than about {FULL:g} % cannot be without boost: the meter counts too much, or the engine is another. "
            f"If it fills to 90 %, that is a trim of {sensor_trim(filled.value, 90.0):.0f} % wherever it runs."
        )
    elif low > 0.5 and not part:
        means = "Far less than it can swallow: intake or exhaust is narrow, valves open wrongly, or the meter is low."
    elif part:
        means = (
            "At part load against the manifold's own pressure: 60 to 90 % is usual (Heywood 1988, ch. 6, from memory)."
        )
    else:
        means = "As the engine can swallow."
    taken = [] if told is not None else [f"pressure taken as {OUTSIDE:g} +- {WEATHER:g} kPa"]
    taken += [] if given.get("temperature") is not None else ["temperature taken as 20 +- 10 °C"]
    sure = f"Chance of more than {FULL:g} %: {percent(high)}; of less than {EMPTY:g} %: {percent(low)}"
    return Finding(
        {0: (figure,)},
        ("airflow / (displacement x speed / 2 x density of the air at that pressure and temperature)",),
        (means,),
        (f"{sure}.", *(f"{t[0].upper()}{t[1:]}." for t in taken)),
    )


VOLUMETRIC = Computation(
    "volumetric efficiency",
    At.ENGINE,
    "Measured airflow against what the engine can swallow.",
    (AIRFLOW_READ, RPM, Ask("litres", DISPLACEMENT.say, "L", 0.3, 10, needed=True, car=True), MANIFOLD, CELSIUS),
    _filled,
)


def _by_litre(given: Inputs, setting: Setting) -> Result:
    flow, litres = given.one("airflow", 0.0), given.one("litres", 1.0)
    found = through(lambda m: m / litres, Estimate(flow, AIR * flow))
    return Finding(
        {0: (Figure("airflow a litre", "g/s", Estimate(found.value)),)},
        ("airflow / displacement",),
        ("About 1 to 2 g/s a litre is usual at a warm idle (common practice).",),
        ("A meter 15 % high is still inside that: only a gross error shows.",),
    )


BY_LITRE = Computation(
    "airflow by litre",
    At.ENGINE,
    "Airflow at idle for each litre of displacement.",
    (AIRFLOW_READ, Ask("litres", DISPLACEMENT.say, "L", 0.3, 10, needed=True, car=True)),
    _by_litre,
)

RUNNING = 30.0  # kPa below the air outside, which an engine at rest does not do; common practice, no source
SENSORS_APART_AT_REST = 4.0  # kPa by which sensors may differ at rest; common practice, no source


def _at_rest(given: Inputs, setting: Setting) -> Result:
    outside = Estimate(given.one("air pressure", 0.0), PRESSURE / 2)
    figures, means = [], []
    for name, what in (("manifold", "manifold sensor"), ("barometer", "barometric sensor")):
        read = given.get(f"{name} sensor")
        if read is None:
            continue
        off = through(lambda a, b: a - b, Estimate(read, PRESSURE), outside)
        figures.append(Figure(name, "kPa", off))
        if abs(off.value) <= SENSORS_APART_AT_REST:
            means.append(f"The {what} agrees with the air outside.")
        else:
            trim = sensor_trim(32.0 + off.value, 32.0)
            side = "high" if off.value > 0 else "low"
            worth = f": {trim:+.0f} % of trim at an idle of 32 kPa" if name == "manifold" and trim > -90 else ""
            means.append(f"The {what} reads {abs(off.value):.0f} kPa {side}{worth}.")
    if not figures:
        return Mistake("", "no sensor's pressure was given", "that of the manifold, of the barometer, or both")
    return Finding(
        {0: tuple(figures)},
        ("what the sensor reads with the engine off - pressure of the air outside",),
        tuple(means),
        (
            f"A reader shows whole kPa: each is good to about {PRESSURE:g} kPa. A weather report gives the pressure at "
            "sea level: take off 1.2 kPa for every 100 m of height.",
        ),
        tuple(
            f"The {name} pressure is so far below the air outside as only a running engine takes it: was it off?"
            for name in ("manifold",)
            if any(figure.name == name and figure.value < -RUNNING for figure in figures)
        ),
    )


AT_REST_WORKING = Computation(
    "pressures at rest",
    At.ENGINE,
    "Manifold and barometric sensors against the air outside, engine off.",
    (
        Ask("air pressure", "Pressure of the air outside, here", "kPa", 50, 110, needed=True),
        Ask("manifold sensor", "Manifold pressure, engine off", "kPa", 0, 255, live=("manifold pressure, absolute",)),
        Ask("barometer sensor", "Barometric pressure", "kPa", 0, 255, live=("air pressure, absolute",)),
    ),
    _at_rest,
)


def _as_read(given: Inputs, setting: Setting) -> Result:
    return Finding(
        {0: (Figure("manifold pressure", "kPa", Estimate(given.one("pressure", 0.0))),)},
        ("as read",),
        ("Most engines idle at 25 to 40 kPa absolute (common practice); the maker's value comes first.",),
        ("A reader shows whole kPa.",),
    )


MANIFOLD_PRESSURE = Computation(
    "manifold pressure",
    At.ENGINE,
    "Manifold pressure as read.",
    (replace(MANIFOLD, say="Manifold pressure, absolute", needed=True),),
    _as_read,
)

SENSORS_AGREE_SOAKED = 5.0  # degC within which sensors agree after a cold soak; common practice, no source
SENSORS = {"coolant": "coolant temperature", "intake": "intake air temperature", "outside": "ambient temperature"}


def _soaked(given: Inputs, setting: Setting) -> Result:
    read = {name: given.one(name, 0.0) for name in SENSORS if given.get(name) is not None}
    if len(read) < 2:
        return Mistake(
            "", "one temperature alone has nothing to agree with", "coolant and intake, or a thermometer too"
        )
    figures, means = [], []
    true = given.get("thermometer")
    for name, value in read.items():
        others = sorted([v for n, v in read.items() if n != name] + ([] if true is None else [true]))
        middle = true if true is not None else (others[(len(others) - 1) // 2] + others[len(others) // 2]) / 2
        off = through(lambda a, b: a - b, Estimate(value, TEMPERATURE / 2), Estimate(middle, TEMPERATURE / 2))
        figures.append(Figure(name, "°C", off))
        if abs(off.value) > SENSORS_AGREE_SOAKED:
            side = "cold" if off.value < 0 else "warm"
            trim = f"; speed-density fuelling is {temperature_trim(value, middle):+.0f} % off by it"
            means.append(
                f"{name.capitalize()} reads {abs(off.value):.0f} °C too {side}{trim if name == 'intake' else ''}."
            )
    unclear = means and len(read) == 2 and true is None
    if unclear:
        (one, cold), (two, warm) = sorted(read.items(), key=lambda item: item[1])
        means = [f"They differ by {warm - cold:.0f} °C: {one} reads too cold, or {two} too warm."]
    return Finding(
        {0: tuple(figures)},
        ("what a sensor reads - the thermometer, or else the middle of the others",),
        tuple(means) or (f"All within {SENSORS_AGREE_SOAKED:g} °C of each other.",),
        (
            f"Each is taken to be good to {TEMPERATURE / 2:g} °C."
            + (" Of two that differ, either may be wrong: a thermometer says which." if unclear else ""),
        ),
    )


COLD_SOAK = Computation(
    "cold soak",
    At.ENGINE,
    "Temperature sensors against each other after a night, before the first start.",
    (
        *(
            Ask(name, name.capitalize() + " temperature", "°C", -40, 150, live=(live,))
            for name, live in SENSORS.items()
        ),
        Ask("thermometer", "A thermometer at the engine", "°C", -40, 60),
    ),
    _soaked,
)
