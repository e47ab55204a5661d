"""Values of one moment: a freeze frame, where it was stored and what it says; and live ones as they are read off."""

from __future__ import annotations

from collections.abc import Mapping

from reasoner.measure.asks import Ask, Inputs, Setting, Trouble
from reasoner.measure.computations.base import LITRES, Computation, Result
from reasoner.measure.finding import Figure, Finding, times
from reasoner.measure.uncertain import Estimate
from reasoner.rulebook.model import At

# Name of a figure -> name of the standard's value, unit, least, most, standard error (judgement).
FROZEN = {
    "load": ("calculated load", "%", 0.0, 100.0, 3.0),
    "road speed": ("road speed", "km/h", 0.0, 300.0, 2.0),
    "engine speed": ("engine speed", "rpm", 0.0, 12000.0, 25.0),
    "coolant": ("coolant temperature", "°C", -40.0, 215.0, 2.0),
    "time since start": ("time since start", "s", 0.0, 65535.0, 1.0),
}
ALONE = {  # that say something alone
    "purge": ("purge, commanded", "%", 0.0, 100.0, 1.0),
    "fuel level": ("fuel level", "%", 0.0, 100.0, 3.0),
    "fuel system": ("fuel system 1", "", 0.0, 16.0, 0.1),
}
RAIL = {
    "rail": ("rail pressure, absolute", "kPa", 0.0, 655350.0, 0.0),
    "target": ("rail pressure, commanded", "kPa", 0.0, 655350.0, 0.0),
}
AIR = {
    "airflow": ("airflow", "g/s", 0.0, 655.35, 0.0),
    "manifold": ("manifold pressure, absolute", "kPa", 0.0, 400.0, 0.0),
}
BANKS = {
    "short": ("short-term trim, bank {}", "%", -100.0, 100.0, 1.5),
    "long": ("long-term trim, bank {}", "%", -100.0, 100.0, 1.5),
    "rear": ("oxygen sensor, bank {} sensor 2", "V", 0.0, 1.275, 0.03),
}
SURE = ("Values of one frame are not all of the same instant; the errors taken are judgement.",)
WHEN = ("A frame shows when the controller gave up, not when the fault began.",)
RAIL_ERROR = 3.0  # % of the target, of two values that need not be of one instant; judgement
# A warm idle takes about 1 to 2 g/s for each litre, at 25 to 40 kPa (common practice, no source): what cars do between
# these is taken for one standard error of the logarithm to either side of the middle.
IDLE_AIR, IDLE_PRESSURE, IDLE_VARIES = 1.5, 32.0, 0.2
IDLING = {"engine speed": (400.0, 1300.0), "road speed": (0.0, 5.0), "coolant": (60.0, 150.0), "load": (0.0, 70.0)}


def _asks(values: dict[str, tuple[str, str, float, float, float]], at: At = At.ENGINE) -> tuple[Ask, ...]:
    return tuple(
        Ask(name, f"{name.capitalize()}, as frozen", unit, low, high, at, live=(live,))
        for name, (live, unit, low, high, _) in values.items()
    )


def _point(given: Inputs, setting: Setting) -> Result:
    found = {name: value for name in FROZEN if (value := given.get(name)) is not None}
    if not {"load", "coolant"} <= set(found):
        return Trouble("", "load and coolant temperature of the frame are wanted at least", "such as 24 % and 88 °C")
    return Finding({0: _figures(given, FROZEN)}, ("the frame as it was stored",), WHEN, SURE)


def _figures(given: Inputs, names: dict[str, tuple[str, str, float, float, float]]) -> tuple[Figure, ...]:
    found = {name: value for name in names if (value := given.get(name)) is not None}
    return tuple(Figure(name, names[name][1], Estimate(value, names[name][4])) for name, value in found.items())


def _values(given: Inputs, setting: Setting) -> Result:
    figures = list(
        _figures(given, {**ALONE, "coolant": FROZEN["coolant"], "time since start": FROZEN["time since start"]})
    )
    rail, target = given.get("rail"), given.get("target")
    if rail is not None and target:
        figures.append(Figure("rail off target", "%", Estimate(100 * (rail - target) / target, RAIL_ERROR)))
    air = _idle_air(given)
    if air is not None:
        figures.append(times("idle air", air, IDLE_VARIES))
    if not figures:
        return Trouble("", "none of these values says anything alone", "such as purge 0 %, fuel level 60 %")
    return Finding({0: tuple(figures)}, ("the frame as it was stored",), WHEN, SURE)


def _idle_air(given: Inputs) -> float | None:
    """Airflow a litre, or manifold pressure, against that of a usual warm idle: the one further from it. None where the
    frame is of no warm idle, or does not say."""
    known = {name: given.get(name) for name in IDLING}
    if known["engine speed"] is None or known["coolant"] is None:
        return None
    if not all(value is None or IDLING[name][0] <= value <= IDLING[name][1] for name, value in known.items()):
        return None
    flow, litres, pressure = given.get("airflow"), given.get("litres"), given.get("manifold")
    ratios = [flow / litres / IDLE_AIR] if flow and litres else []
    ratios += [pressure / IDLE_PRESSURE] if pressure else []
    return max(ratios, key=lambda ratio: max(ratio, 1 / ratio), default=None)


def _at_banks(given: Inputs, setting: Setting) -> Mapping[int, tuple[Figure, ...]]:
    by_place: dict[int, tuple[Figure, ...]] = {}
    for place in setting.places(At.BANK):
        found = {name: given.by_place(name)[place] for name in BANKS if place in given.by_place(name)}
        figures = (Figure(name, BANKS[name][1], Estimate(value, BANKS[name][4])) for name, value in found.items())
        if found:
            by_place[place] = tuple(figures)
    return by_place


def _banks(given: Inputs, setting: Setting) -> Result:
    by_place = _at_banks(given, setting)
    if not by_place:
        return Trouble("", "no bank has a value", "such as short -12, long -14")
    return Finding(by_place, ("the frame as it was stored",), WHEN, SURE)


FROZEN_POINT = Computation(
    "frozen point",
    At.ENGINE,
    "Where a freeze frame was stored, from its values.",
    _asks(FROZEN),
    _point,
    frame=True,
    picked=True,
)
FROZEN_VALUES = Computation(
    "frozen values",
    At.ENGINE,
    "What single values of a freeze frame say.",
    (*_asks({**ALONE, **RAIL, **AIR, **FROZEN}), LITRES),
    _values,
    frame=True,
    picked=True,
)
FROZEN_BANKS = Computation(
    "frozen at the banks",
    At.BANK,
    "Trims and the sensor after the catalyst, bank by bank, as frozen.",
    _asks(BANKS, At.BANK),
    _banks,
    frame=True,
    picked=True,
)

# ---- live values -----------------------------------------------------------------------------------------------------

TOTAL_ERROR = 3.0  # % of a total trim as it is read off, which swings; judgement
WATCH = ("One look at values that swing: read them once they have settled.",)
LEARNED = ("The long-term trim is what was learned in earlier minutes and drives, the short-term one is now.",)
REGULATED = ("A warm engine's coolant is at its thermostat's value, mostly 80 to 105 °C (common practice).",)
WARM_SURE = ("Sensors of one car agree within some degrees; errors are judgement.",)


def _read_banks(given: Inputs, setting: Setting) -> Result:
    by_place = dict(_at_banks(given, setting))
    if not by_place:
        return Trouble("", "no bank has a value", "such as short +4, long -14")
    purge = _figures(given, {"purge": ALONE["purge"]})
    for place, figures in by_place.items():
        known = {figure.name: figure.value for figure in figures}
        if {"short", "long"} <= set(known):
            total = Estimate(known["short"] + known["long"], TOTAL_ERROR)
            by_place[place] = (Figure("total fuel trim", "%", total), *figures, *purge)
    return Finding(by_place, ("as read; total: short-term + long-term trim",), LEARNED, WATCH)


def _warm(given: Inputs, setting: Setting) -> Result:
    coolant, intake, outside = (given.get(name) for name in ("coolant", "intake", "outside"))
    figures = [Figure("coolant", "°C", Estimate(coolant, 2.0))] if coolant is not None else []
    if intake is not None and outside is not None:
        figures.append(Figure("intake over outside", "°C", Estimate(intake - outside, 2.0)))
    if not figures:
        return Trouble("", "coolant, or intake and outside air are wanted", "such as 92 °C")
    return Finding({0: tuple(figures)}, ("as read",), REGULATED, WARM_SURE)


def _live(name: str, say: str, row: tuple[str, str, float, float, float], at: At = At.ENGINE) -> Ask:
    live, unit, low, high, _ = row
    return Ask(name, say, unit, low, high, at, live=(live,))


READ_BANKS = Computation(
    "read at the banks",
    At.BANK,
    "Short-term and long-term trim, bank by bank, with the purge then.",
    (
        _live("short", "Short-term trim", BANKS["short"], At.BANK),
        _live("long", "Long-term trim", BANKS["long"], At.BANK),
        _live("purge", "Commanded purge at that moment", ALONE["purge"]),
    ),
    _read_banks,
    picked=True,
)
READ_WARM = Computation(
    "temperatures when warm",
    At.ENGINE,
    "Coolant, and intake air against the air outside, fully warm.",
    tuple(
        Ask(name, say, "°C", -40.0, 215.0, live=(live,))
        for name, say, live in (
            ("coolant", "Coolant", "coolant temperature"),
            ("intake", "Intake air", "intake air temperature"),
            ("outside", "Air outside", "ambient temperature"),
        )
    ),
    _warm,
    picked=True,
)
