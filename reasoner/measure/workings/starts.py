"""What is watched while the engine runs: the rail against its target, how it warms up."""

from __future__ import annotations

import math

from reasoner.measure.asks import Ask, Given, Setting
from reasoner.measure.finding import Figure, Finding
from reasoner.measure.uncertain import Estimate, through
from reasoner.measure.workings.base import Result, Working
from reasoner.rulebook.model import At

GAUGE = 0.05  # MPa, standard error of a rail pressure at one moment; judgement
RAIL_OFF = 5.0  # % by which a rail may leave its target while it is steady; judgement
AT_REST = 0.4  # MPa by which a rail sensor may be off once the pressure has gone; judgement


def _against_target(given: Given, setting: Setting) -> Result:
    rail, target = given.one("rail", 0.0), given.one("target", 1.0)
    off = through(lambda a, b: 100 * (a / b - 1), Estimate(rail, GAUGE), Estimate(target, GAUGE))
    figures = [Figure("off target", "%", off)]
    means = [_side(off.value)]
    rest = given.get("at rest")
    if rest is not None:
        low = given.one("low side", 0.0)
        at_rest = through(lambda a, b: a - b, Estimate(rest, GAUGE), Estimate(low, GAUGE))
        figures.append(Figure("off at rest", "MPa", at_rest))
        agrees = abs(at_rest.value) <= AT_REST
        means.append(
            "The sensor is right at rest."
            if agrees
            else f"At rest the sensor is {abs(at_rest.value):.2g} MPa {'high' if at_rest.value > 0 else 'low'}: "
            "the controller makes the pressure that this sensor says."
        )
    else:
        means.append("A sensor that reads low follows its target all the same: read it at rest too.")
    return Finding(
        {0: tuple(figures)},
        ("rail pressure / its target - 1", "at rest: what the sensor reads - the low side's pressure there (else 0)"),
        tuple(means),
        (f"A rail pressure is taken to be good to {GAUGE:g} MPa (judgement). Read both at the same steady moment.",),
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


RAIL_TARGET = Working(
    "rail against target",
    At.ENGINE,
    "Rail pressure against its target, and its sensor at rest.",
    (
        Ask("rail", "Rail pressure", "MPa", 0, 60, needed=True, live=("rail pressure, absolute",)),
        Ask("target", "Its target at the same moment", "MPa", 0.2, 60, needed=True),
        Ask("at rest", "What the sensor reads after a night, key on", "MPa", -1, 60),
        Ask("low side", "Low-side pressure then (pump off and gone: 0)", "MPa", 0, 2),
    ),
    _against_target,
)

SLOW = 15.0  # min to 70 degC on the road, beyond which the thermostat is looked at; judgement
READ = 1.0  # min, standard error of a warm-up noted every minute or two; judgement


def _warming(given: Given, setting: Setting) -> Result:
    minutes = given.one("warming", 0.0)
    slow = minutes > SLOW
    means = "Slow: thermostat, unless it mostly stood and idled in the cold." if slow else "As it should be."
    return Finding(
        {0: (Figure("minutes to 70 °C", "min", Estimate(minutes, READ)),)},
        ("time of driving from a cold start until the coolant reads 70 °C",),
        (means,),
        (f"About {SLOW:g} min of gentle driving is the limit taken (judgement); the maker's value comes first.",),
    )


WARM_UP = Working(
    "warm-up",
    At.ENGINE,
    "How long the coolant takes from cold to 70 °C.",
    (Ask("warming", "Driving from a cold start until the coolant reads 70 °C", "min", 0.5, 120, needed=True),),
    _warming,
)
