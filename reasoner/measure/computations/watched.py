"""What is watched while the engine runs, and what a freeze frame kept of one moment in which it showed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from reasoner.measure.asks import Ask, Inputs, Setting
from reasoner.measure.computations.base import DISPLACEMENT, NOW, Computation, Result, numbered_places
from reasoner.measure.finding import Figure, Finding, ratio_figure
from reasoner.measure.uncertain import Estimate, through
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At

# ---- Values of one moment --------------------------------------------------------------------------------------------
# A freeze frame, where it was stored and what it says; and live ones as they are read off.

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
FROZEN_AIR = {  # of the air drawn in, and of that outside
    "intake": ("intake air temperature", "°C", -40.0, 215.0, 2.0),
    "outside": ("ambient temperature", "°C", -40.0, 60.0, 2.0),
}
RAIL = {
    "rail": ("rail pressure, absolute", "kPa", 0.0, 655350.0, 0.0),
    "target": ("rail pressure, commanded", "kPa", 0.0, 655350.0, 0.0),
}
FRAME_AIR = {
    "airflow": ("airflow", "g/s", 0.0, 655.35, 0.0),
    "manifold": ("manifold pressure, absolute", "kPa", 0.0, 400.0, 0.0),
}
BANKS = {
    "short": ("short-term trim, bank {}", "%", -100.0, 100.0, 1.5),
    "long": ("long-term trim, bank {}", "%", -100.0, 100.0, 1.5),
    "rear": ("oxygen sensor, bank {} sensor 2", "V", 0.0, 1.275, 0.03),
}
FRAME_SURE = ("Values of one frame are not all of the same instant; the errors taken are judgement.",)
FRAME_MEANS = ("A frame shows when the ECU gave up, not when the fault began.",)
# Where the air outside was not told: colder is rare where cars are driven (common practice, no source).
COLDEST_OUTSIDE = -20.0  # °C
AIRS_ERROR = 3.0  # K between two air temperatures, of which one may be that day's weather; judgement
RAIL_ERROR = 3.0  # % of the target, of two values that need not be of one instant; judgement
# A warm idle takes about 1 to 2 g/s for each litre, at 25 to 40 kPa (common practice, no source): what cars do between
# these is taken for one standard error of the logarithm to either side of the middle.
IDLE_AIR, IDLE_PRESSURE, IDLE_VARIES = 1.5, 32.0, 0.2
# Exhaust gas left in the clearance volume takes its part of the charge: with a compression ratio of 10 the air taken in
# goes with the pressure less a tenth of that in the exhaust (ideal cycle; Heywood 1988 ch. 5, from memory).
RESIDUAL = 10.0  # kPa
IDLING_VALUES = {
    "engine speed": (400.0, 1300.0),
    "road speed": (0.0, 5.0),
    "coolant": (60.0, 150.0),
    "load": (0.0, 70.0),
}


def _asks(values: dict[str, tuple[str, str, float, float, float]], at: At = At.ENGINE) -> tuple[Ask, ...]:
    return tuple(
        Ask(name, f"{name.capitalize()}, as frozen", unit, low, high, at, live=(live,))
        for name, (live, unit, low, high, _) in values.items()
    )


def _point(given: Inputs, setting: Setting) -> Result:
    found = {name: value for name in FROZEN if (value := given.get(name)) is not None}
    if not {"load", "coolant"} <= set(found):
        return Mistake("", "load and coolant temperature of the frame are wanted at least", "such as 24 % and 88 °C")
    return Finding({0: _figures(given, FROZEN)}, ("the frame as it was stored",), FRAME_MEANS, FRAME_SURE)


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
    intake, outside = (given.get(name) for name in FROZEN_AIR)
    if intake is not None and outside is None and intake < COLDEST_OUTSIDE - 2 * AIRS_ERROR:
        outside = COLDEST_OUTSIDE  # -38 says of itself that it is a sensor's circuit
    if intake is not None and outside is not None:
        figures.append(Figure("intake over outside", "°C", Estimate(intake - outside, AIRS_ERROR)))
    air = _idle_air(given)
    if air is not None:
        figures.append(ratio_figure("idle air", air, IDLE_VARIES))
    if not figures:
        return Mistake("", "none of these values says anything alone", "such as purge 0 %, fuel level 60 %")
    return Finding({0: tuple(figures)}, ("the frame as it was stored",), FRAME_MEANS, FRAME_SURE)


def _idle_air(given: Inputs) -> float | None:
    """How many times the air of a usual warm idle was drawn in, by airflow a litre or by manifold pressure: the figure
    that is further from 1. None where the frame is of no warm idle, or does not say."""
    known = {name: given.get(name) for name in IDLING_VALUES}
    if known["engine speed"] is None or known["coolant"] is None:
        return None
    if not all(
        value is None or IDLING_VALUES[name][0] <= value <= IDLING_VALUES[name][1] for name, value in known.items()
    ):
        return None
    flow, litres, pressure = given.get("airflow"), given.get("litres"), given.get("manifold")
    ratios = [flow / litres / IDLE_AIR] if flow and litres else []
    ratios += [(pressure - RESIDUAL) / (IDLE_PRESSURE - RESIDUAL)] if pressure and pressure > RESIDUAL else []
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
        return Mistake("", "no bank has a value", "such as short -12, long -14")
    return Finding(by_place, ("the frame as it was stored",), FRAME_MEANS, FRAME_SURE)


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
    (*_asks({**ALONE, **FROZEN_AIR, **RAIL, **FRAME_AIR, **FROZEN}), DISPLACEMENT),
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

# A car's own warm idle comes again within some tenths: gear, lights and fan move it (common practice, no source); one
# standard error of the logarithm.
OWN_VARIES = 0.12
SPEED_VARIES = 0.1  # the same of an idle's speed, where that was not read both times; judgement
# calculated load in % and speed in rpm of a usual warm idle; common practice, no source
IDLE_LOAD, IDLE_SPEED = 22.0, 750.0
MUCH_VARIES = 0.3  # of the logarithm: load and speed stand for air, and idles differ; judgement


def _against_now(given: Inputs, setting: Setting) -> Result:
    """Air of a frame's idle against this car's own: airflow a revolution, or manifold pressure. Where one of the speeds
    was not read, both idles are taken to be as fast, with a wider error."""
    frozen = _idle_air(given)
    flow, speed, pressure = (given.get(name) for name in ("airflow", "engine speed", "manifold"))
    own_flow, own_speed, own_pressure = (given.get(name) for name in ("airflow now", "speed now", "manifold now"))
    ratios = [(pressure / own_pressure, OWN_VARIES)] if pressure and own_pressure else []
    if flow and own_flow:
        faster = speed / own_speed if speed and own_speed else 0.0
        ratios.append(
            (flow / own_flow / faster, OWN_VARIES)
            if faster
            else (flow / own_flow, math.hypot(OWN_VARIES, SPEED_VARIES))
        )
    if not ratios or (frozen is None and given.get("coolant") is None):
        return Mistake("", "airflow or manifold pressure of the frame and of now are wanted", "such as 5.2 and 3.9 g/s")
    if not all((v := given.get(name)) is None or low <= v <= high for name, (low, high) in IDLING_VALUES.items()):
        return Mistake("", "the frame is of no warm idle", "leave it out")
    furthest, varies = max(ratios, key=lambda each: max(each[0], 1 / each[0]))
    return Finding(
        {0: (ratio_figure("against now", furthest, varies),)}, ("the frame's / now",), FRAME_MEANS, FRAME_SURE
    )


def _much(given: Inputs, setting: Setting) -> Result:
    """Fuel that a frame's trims take away, in shares of what a warm idle needs: load and speed stand for air."""
    load, speed = given.get("load"), given.get("engine speed")
    banks = [given.by_place(name) for name in ("short", "long")]
    totals = [banks[0][place] + banks[1][place] for place in banks[0] if place in banks[1]]
    if not totals or load is None or speed is None or min(totals) > -10:
        return Mistake("", "a total trim below -10 %, load and speed of the frame are wanted", "such as -24 %, 45 %")
    share = -min(totals) * load * speed / (IDLE_LOAD * IDLE_SPEED)
    return Finding(
        {0: (replace(ratio_figure("surplus as a share of an idle's fuel", share / 100, MUCH_VARIES), unit=""),)},
        ("total trim x load x speed / those of a warm idle (22 %, 750 rpm)",),
        ("What comes in whatever the engine takes would be this share of an idle's fuel: above 1 it could not idle.",),
        FRAME_SURE,
    )


def _frozen_ask(name: str, say: str, row: tuple[str, str, float, float, float], live: str) -> Ask:
    _, unit, low, high, _ = row
    return Ask(name, say, unit, low, high, live=(live,))


FROZEN_NOW = Computation(
    "frozen against now",
    At.ENGINE,
    "Air at a frame's warm idle against this car's own now, running right.",
    (
        *_asks({**FRAME_AIR, **FROZEN}),
        _frozen_ask("airflow now", "Airflow at a warm idle now", FRAME_AIR["airflow"], NOW + "airflow"),
        _frozen_ask("speed now", "Engine speed then", FROZEN["engine speed"], NOW + "engine speed"),
        _frozen_ask("manifold now", "Manifold pressure then", FRAME_AIR["manifold"], NOW + FRAME_AIR["manifold"][0]),
    ),
    _against_now,
    frame=True,
    picked=True,
)
FROZEN_MUCH = Computation(
    "frozen amount",
    At.ENGINE,
    "How much fuel the trims of a frame took away, against what an idle needs.",
    (
        *_asks({key: BANKS[key] for key in ("short", "long")}, At.BANK),
        *_asks({key: FROZEN[key] for key in ("load", "engine speed")}),
    ),
    _much,
    frame=True,
    picked=True,
)

# ---- live values -----------------------------------------------------------------------------------------------------

TOTAL_ERROR = 3.0  # % of a total trim as it is read off, which swings; judgement
WATCH = ("One look at values that swing: read them once they have settled.",)
LEARNED_MEANS = ("The long-term trim is what was learned in earlier minutes and drives, the short-term one is now.",)
REGULATED = ("A warm engine's coolant is at its thermostat's value, mostly 80 to 105 °C (common practice).",)
WARM_SURE = ("Sensors of one car agree within some degrees; errors are judgement.",)


def _read_banks(given: Inputs, setting: Setting) -> Result:
    by_place = dict(_at_banks(given, setting))
    if not by_place:
        return Mistake("", "no bank has a value", "such as short +4, long -14")
    purge = _figures(given, {"purge": ALONE["purge"]})
    for place, figures in by_place.items():
        known = {figure.name: figure.value for figure in figures}
        if {"short", "long"} <= set(known):
            total = Estimate(known["short"] + known["long"], TOTAL_ERROR)
            by_place[place] = (Figure("total fuel trim", "%", total), *figures, *purge)
    return Finding(by_place, ("as read; total: short-term + long-term trim",), LEARNED_MEANS, WATCH)


def _warm(given: Inputs, setting: Setting) -> Result:
    coolant, intake, outside = (given.get(name) for name in ("coolant", "intake", "outside"))
    figures = [Figure("coolant", "°C", Estimate(coolant, 2.0))] if coolant is not None else []
    if intake is not None:
        figures.append(Figure("intake", "°C", Estimate(intake, 2.0)))
    if intake is not None and outside is not None:
        figures.append(Figure("intake over outside", "°C", Estimate(intake - outside, 2.0)))
    if not figures:
        return Mistake("", "coolant or intake air is wanted", "such as 92 °C")
    return Finding({0: tuple(figures)}, ("as read",), REGULATED, WARM_SURE)


def _rear(given: Inputs, setting: Setting) -> Result:
    read = given.by_place("rear").items()
    figures = {
        bank: (Figure("voltage behind the catalyst", "V", Estimate(volts, BANKS["rear"][4])),) for bank, volts in read
    }
    return Finding(figures, ("as read",), ("A good many engines keep it near 0.7 V on purpose.",), WATCH)


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
REAR = Computation(
    "voltage behind the catalyst",
    At.BANK,
    "What the sensor behind the catalyst reads, bank by bank.",
    (replace(_live("rear", "Voltage behind the catalyst, settled", BANKS["rear"], At.BANK), needed=True),),
    _rear,
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


# ---- What is watched while the engine runs ---------------------------------------------------------------------------
# Purge, lambda and rail against their targets, banks, starts, the warm-up.

RAIL_MOMENT_ERROR = 0.05  # MPa, standard error of a rail pressure at one moment; judgement
RAIL_OFF = 5.0  # % by which a rail may leave its target while it is steady; judgement
RAIL_OFF_AT_REST = 0.4  # MPa by which a rail sensor may be off once the pressure has gone; judgement


def _against_target(given: Inputs, setting: Setting) -> Result:
    rail, target = given.one("rail", 0.0), given.one("target", 1.0)
    off = through(
        lambda a, b: 100 * (a / b - 1), Estimate(rail, RAIL_MOMENT_ERROR), Estimate(target, RAIL_MOMENT_ERROR)
    )
    figures = [Figure("off target", "%", off)]
    means = [_side(off.value)]
    rest = given.get("at rest")
    if rest is not None:
        low = given.one("low side", 0.0)
        at_rest = through(lambda a, b: a - b, Estimate(rest, RAIL_MOMENT_ERROR), Estimate(low, RAIL_MOMENT_ERROR))
        figures.append(Figure("off at rest", "MPa", at_rest))
        agrees = abs(at_rest.value) <= RAIL_OFF_AT_REST
        means.append(
            "The sensor is right at rest."
            if agrees
            else f"At rest the sensor is {abs(at_rest.value):.2g} MPa {'high' if at_rest.value > 0 else 'low'}: "
            "the ECU makes the pressure that this sensor says."
        )
    else:
        means.append("A sensor that reads low follows its target all the same: read it at rest too.")
    return Finding(
        {0: tuple(figures)},
        ("rail pressure / its target - 1", "at rest: what the sensor reads - the low side's pressure there (else 0)"),
        tuple(means),
        (
            f"A rail pressure is taken to be good to {RAIL_MOMENT_ERROR:g} MPa (judgement). "
            "Read both at the same steady moment.",
        ),
    )


def _side(off: float) -> str:
    if abs(off) <= RAIL_OFF:
        return "It follows its target."
    if off > 0:
        more = f"{_richer(off):.0f} % more fuel at each injection that is not shortened for it"
        return f"It stands {off:.0f} % above its target: {more}."
    return f"It stands {-off:.0f} % below its target: that does not make an engine rich."


def _richer(off: float) -> float:
    """% of flow: with the root of the pressure."""
    return 100 * (math.sqrt(1 + off / 100) - 1)


RAIL_TARGET = Computation(
    "rail against target",
    At.ENGINE,
    "Rail pressure against its target, and its sensor at rest.",
    (
        Ask("rail", "Rail pressure", "MPa", 0, 60, needed=True, live=("rail pressure, absolute",)),
        Ask("target", "Its target at the same moment", "MPa", 0.2, 60, needed=True, live=("rail pressure, commanded",)),
        Ask("at rest", "What the sensor reads after a night, key on", "MPa", -1, 60),
        Ask("low side", "Low-side pressure then (pump off and gone: 0)", "MPa", 0, 2),
    ),
    _against_target,
)

NOTED, PART = 5.0, 0.1  # s, and share of itself, standard error of a time that was watched; judgement


def noted_time(seconds: float) -> Estimate:
    """A time that was noted while watching, with its standard error."""
    return Estimate(seconds, max(NOTED, PART * seconds))


def _after_start(given: Inputs, setting: Setting) -> Result:
    rich, first, lean = (given.by_place(name) for name in ("seconds rich", "at first", "seconds lean"))
    over = [bank for bank in first if bank in rich and first[bank] > rich[bank] + NOTED]
    if over:
        return Mistake("at first", "more than in all", "the part of it right after the start")
    figures: dict[int, tuple[Figure, ...]] = {}
    for bank, seconds in rich.items():
        figures[bank] = (Figure("seconds rich", "s", noted_time(seconds)),)
        if bank in first:
            figures[bank] += (Figure("at first", "s", Estimate(first[bank], AFTER_START_ERROR)),)
        figures[bank] += (Figure("seconds lean", "s", noted_time(lean.get(bank, 0.0))),)
    long = [bank for bank, seconds in rich.items() if seconds > 60]
    burnt = [bank for bank in first if bank not in long and first[bank] > 3]
    means = [f"{numbered_places(long, 'bank').capitalize()}: fuel goes on coming."] if long else []
    means += [f"{numbered_places(burnt, 'bank').capitalize()}: what had gathered burnt off."] if burnt else []
    adds = [bank for bank, seconds in lean.items() if seconds > 60]
    means += (
        [f"{numbered_places(adds, 'bank').capitalize()}: fuel is added, so it was lean, or told so."] if adds else []
    )
    return Finding(
        figures,
        ("seconds with the total trim below -10 % (lean: above +10 %) in the first minutes",),
        tuple(means) or ("Nothing out of the common.",),
        (
            f"Times are taken to be good to {NOTED:g} s, or {100 * PART:.0f} % (judgement). Open loop shows no trim.",
            *(("It is taken not to have been lean.",) if not lean else ()),
        ),
    )


AFTER_START_ERROR = 2.0  # s, standard error of the seconds right after a start; judgement
RICH_AFTER_START = Computation(
    "rich after a start",
    At.BANK,
    "How long it was rich after a start, and whether only at first.",
    (
        Ask("seconds rich", "Time with the trim below -10 % (or clearly rich)", "s", 0, 3600, At.BANK, needed=True),
        Ask("at first", "Of that, right after the start, rough or rich", "s", 0, 3600, At.BANK),
        Ask("seconds lean", "Time with the trim above +10 %", "s", 0, 3600, At.BANK),
    ),
    _after_start,
)

SLOW = 15.0  # min to 70 degC on the road, beyond which the thermostat is looked at; judgement
FALSELY = 2.0  # %, standard error of the share of the time with a false reading; judgement
WARM_UP_ERROR = 1.0  # min, standard error of a warm-up noted every minute or two; judgement


def _warming(given: Inputs, setting: Setting) -> Result:
    minutes = given.one("warming", 0.0)
    slow, false = minutes > SLOW, given.one("false", 0.0)
    means = "Slow: thermostat, unless it mostly stood and idled in the cold." if slow else "As it should be."
    return Finding(
        {
            0: (
                Figure("minutes to 70 °C", "min", Estimate(minutes, WARM_UP_ERROR)),
                Figure("cannot be", "%", Estimate(false, FALSELY)),
            )
        },
        ("time of driving from a cold start until the coolant reads 70 °C",),
        (means,),
        (
            f"About {SLOW:g} min of gentle driving is the limit taken (judgement); the maker's value comes first.",
            "Unless said, the reading is taken to have climbed without jumps.",
        ),
    )


WARM_UP = Computation(
    "warming up",
    At.ENGINE,
    "How long the coolant takes from cold to 70 °C.",
    (
        Ask("warming", "Driving from a cold start until the coolant reads 70 °C", "min", 0.5, 120, needed=True),
        Ask("false", "Share of the time that the reading jumps, or is far too cold to be true", "%", 0, 100),
    ),
    _warming,
)

STEADY_TRIM = 1.5  # %, standard error of a trim watched for a minute at steady airflow; judgement


VAPOUR_MEANS = "The trim follows the purge: vapour comes through the valve."
NO_LINK = "No link. A valve that leaks when shut does not show so: pinch its hose."


def _purged(given: Inputs, setting: Setting) -> Result:
    open_, shut = (Estimate(given.one(name, 0.0), STEADY_TRIM) for name in ("purge on", "purge off"))
    moves = through(lambda a, b: a - b, open_, shut)
    follows = moves.value < -FOLLOWS
    return Finding(
        {0: (Figure("trim moves", "%", moves),)},
        ("trim with purge on - trim with purge off",),
        (VAPOUR_MEANS if follows else NO_LINK,),
        (f"A trim is taken to be good to {STEADY_TRIM:g} % (judgement); a clean canister makes it a little lean.",),
    )


FOLLOWS = 5.0  # % by which purge moves the trim, from which it counts; judgement
PURGE_MOVES = Computation(
    "purge on and off",
    At.ENGINE,
    "What the trim does when purge comes on, at the same airflow.",
    (
        Ask("purge on", "Total trim with purge on (of the richer bank)", "%", -100, 100, needed=True, pairs=True),
        Ask("purge off", "Total trim with purge at 0, same airflow", "%", -100, 100, needed=True, pairs=True),
    ),
    _purged,
)

COMES, GOES = 4.0, -4.0  # % by which an idle's trim changes as the engine warms, from which it counts; judgement


def _warmed(given: Inputs, setting: Setting) -> Result:
    first, warm = (Estimate(given.one(name, 0.0), STEADY_TRIM) for name in ("first", "warm"))
    change = through(lambda a, b: a - b, warm, first)
    means = "It comes as the oil gets warm." if change.value < GOES else "Warming up makes no difference to it."
    return Finding(
        {0: (Figure("comes with warmth", "%", change),)},
        ("idle trim after a quarter of an hour of driving - idle trim as soon as the loop was closed",),
        ("It goes as the engine gets warm." if change.value > COMES else means,),
        (f"A trim is taken to be good to {STEADY_TRIM:g} % (judgement); the purge shut both times.",),
    )


TRIM_WARMS = Computation(
    "trims as it warms",
    At.ENGINE,
    "What the idle's trim does as coolant and oil get warm after a cold start.",
    (
        Ask(
            "first",
            "Total trim at idle once the loop is closed (of the richer bank)",
            "%",
            -100,
            100,
            needed=True,
            pairs=True,
        ),
        Ask("warm", "The same after a quarter of an hour of driving", "%", -100, 100, needed=True, pairs=True),
    ),
    _warmed,
)

# By how much (%; K) a car's own reading may be elsewhere at another idle, one standard error: what else draws on the
# engine, and how warm it is; judgement.
OWN_AIR, OWN_PRESSURE, OWN_KELVIN = 5.0, 2.0, 2.0


def _own_quiet(given: Inputs, setting: Setting) -> Result:
    def both(name: str) -> tuple[float, float] | None:
        now, quiet = given.get(f"{name} now"), given.get(f"{name} quiet")
        return None if now is None or quiet is None else (now, quiet)

    now, quiet = (Estimate(given.one(f"trim {when}", 0.0), STEADY_TRIM) for when in ("now", "quiet"))
    moves = through(lambda a, b: a - b, now, quiet)
    figures = [Figure("trim moved", "%", Estimate(abs(moves.value), moves.error))]
    if air := both("air"):
        figures.append(Figure("air over its own", "%", Estimate(100 * (air[0] / air[1] - 1), OWN_AIR)))
    if coolant := both("coolant"):
        figures.append(Figure("temperature below its own", "°C", Estimate(coolant[1] - coolant[0], OWN_KELVIN)))
    if rail := both("pressure"):
        figures.append(Figure("pressure off its own", "%", Estimate(100 * abs(rail[0] / rail[1] - 1), OWN_PRESSURE)))
    return Finding(
        {0: tuple(figures)},
        ("each reading now against the same reading of the same idle, or cruise, while it ran right",),
        ("What stands elsewhere besides the trims is where to look; the trims only answer.",),
        ("What else draws on the engine moves an idle's air by some per cent (judgement).",),
    )


def _own(name: str, say: str, unit: str, least: float, most: float) -> tuple[Ask, Ask]:
    trim = name == "trim"
    return (
        Ask(f"{name} now", f"{say}, now", unit, least, most, needed=trim, pairs=trim),
        Ask(
            f"{name} quiet",
            f"{say}, in the same condition while it ran right",
            unit,
            least,
            most,
            needed=trim,
            pairs=trim,
        ),
    )


OWN_QUIET = Computation(
    "against its own",
    At.ENGINE,
    "Which reading stands elsewhere than when the same car ran right, at the same idle or cruise.",
    (
        *_own("trim", "Total trim (of the bank that moved more)", "%", -100, 100),
        *_own("air", "Airflow, or else manifold pressure, in the same unit both times", "", 0.1, 700),
        *_own("coolant", "Coolant", "°C", -40, 215),
        *_own("pressure", "Rail pressure, in the same unit both times", "", 0.1, 700000),
    ),
    _own_quiet,
)

LAMBDA_READ, LAMBDA_OFF = 0.01, 0.03  # standard error of a wide-band reading that moves; what counts as off; judgement


def _lambda_off(given: Inputs, setting: Setting) -> Result:
    measured, target = given.by_place("measured"), given.one("commanded", 1.0)
    off = {bank: Estimate(value - target, LAMBDA_READ) for bank, value in measured.items()}
    rich = [bank for bank, one in off.items() if one.value < -LAMBDA_OFF]
    lean = [bank for bank, one in off.items() if one.value > LAMBDA_OFF]
    means = [f"{numbered_places(rich, 'bank').capitalize()}: richer than the ECU wants."] if rich else []
    means += [f"{numbered_places(lean, 'bank').capitalize()}: leaner than the ECU wants."] if lean else []
    return Finding(
        {bank: (Figure("lambda off target", "lambda", one),) for bank, one in off.items()},
        ("measured lambda - commanded lambda",),
        tuple(means) or ("The loop holds it.",),
        (
            f"Lambda is taken to be good to {LAMBDA_READ:g} (judgement)"
            + ("." if given.get("commanded") is not None else ", the commanded one to be 1."),
        ),
    )


LAMBDA_TARGET = Computation(
    "lambda against target",
    At.BANK,
    "Measured lambda against the commanded one, in closed loop.",
    (
        Ask(
            "measured",
            "Measured lambda, before the catalyst",
            "lambda",
            0.5,
            2.0,
            At.BANK,
            needed=True,
            live=("lambda, bank {} sensor 1",),
        ),
        Ask("commanded", "Commanded lambda (else 1)", "lambda", 0.5, 2.0, live=("lambda, commanded",)),
    ),
    _lambda_off,
)


def _opposite(given: Inputs, setting: Setting) -> Result:
    share = Estimate(given.one("share", 0.0), SHARE_READ)
    crossed = share.value > CROSSED
    return Finding(
        {0: (Figure("time opposite", "%", share),)},
        ("share of the time in closed loop with one bank below -8 % and the other above +8 %",),
        ("As sensors do that are connected crosswise." if crossed else "The banks do not go opposite ways.",),
        (f"A share told from a drive is taken to be good to {SHARE_READ:g} % (judgement).",),
    )


SHARE_READ, CROSSED = 10.0, 30.0  # %, standard error of a share that was watched; share that counts; judgement
BANKS_OPPOSITE = Computation(
    "banks against each other",
    At.ENGINE,
    "How much of the time the banks go opposite ways.",
    (Ask("share", "Time with one bank below -8 % and the other above +8 %", "%", 0, 100, needed=True),),
    _opposite,
)
