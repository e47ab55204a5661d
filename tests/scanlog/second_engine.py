"""A second engine on a road, for logs whose truth is known: it shares no code, equation or figure with the program.

The steps are pure functions on arrays at `STEP` seconds: `road` (speed, gear, work asked for), `breathe` (air),
`burn` (fuel, sensors, trims). One thing at most is wrong, by degree, and only in its own spells.

Where the equations come from (textbooks, quoted from memory; figures drawn around their usual values are `practice`):

- manifold filling with the engine as a pump, `s * p - y`: E. Hendricks and S. C. Sorenson, "Mean value modelling of
  spark ignition engines", SAE 900616, 1990;
- compressible flow through an orifice and friction `0.97 + 0.15 n + 0.05 n2` bar (n in 1000/min): J. B. Heywood,
  "Internal Combustion Engine Fundamentals", 1988, appendix C and chapter 13;
- wall film with share X and time tau: C. F. Aquino, "Transient A/F control characteristics of the 5 liter central
  fuel injection engine", SAE 810494, 1981;
- closed loop, its delay and learned trims: U. Kiencke and L. Nielsen, "Automotive Control Systems", 2nd ed. 2005.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import exp, sin, sqrt

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP = 0.1  # s
R_AIR = 287.05  # J/(kg K)
GAMMA = 1.4
LOWER_HEAT = 42.5e6  # J/kg of petrol (Heywood, table D.4, from memory)
LEANEST = 65535 * 2 / 65536  # the greatest lambda that the standard's two bytes hold

FAMILIES = {
    "healthy": "nothing is wrong",
    "injector-leak": "fuel at a constant rate on one bank, most of all after a hot soak (g/s)",
    "rail-scale": "true fuel pressure is off its reading: the same share of fuel on every bank (%)",
    "meter-scale": "airflow meter or pressure sensor off by the same share everywhere (%)",
    "injector-scale": "injectors of one bank, or of all, deliver a share too much or too little (%)",
    "meter-high": "airflow meter off at high flow only (% at the engine's highest flow)",
    "charge-leak": "metered air escapes between compressor and throttle under boost: rich (% of airflow, at most)",
    "air-leak": "air enters behind the meter: lean, most of all at idle (g/s at idle)",
    "purge-vapour": "a saturated canister: fuel vapour while it is purged (g/s, mean while purging)",
    "oil-vapour": "fuel boils out of the oil and comes through the crankcase vent on all banks (g/s)",
    "sensor-shift": "upstream sensor of one bank reads lean (+) or rich (-) of the truth (lambda)",
    "sensor-slow": "upstream sensor of one bank is slow (s, time constant)",
    "coolant-cold": "coolant sensor reads colder than the coolant: enrichment on all banks (K)",
    "exhaust-restriction": "less air at high flow than pressure and speed say: rich there (% at highest flow)",
    "fuel-restriction": "fuel supply falls short at high flow: lean there (% at highest flow, negative)",
    "misfire": "one cylinder misses: its oxygen reads lean upstream (% of its firings)",
}


@dataclass(frozen=True)
class Engine:
    """An engine, its controller and the car around it: SI units unless the name says otherwise."""

    litres: float
    cylinders: int
    banks: int
    direct: bool
    charged: bool
    metering: str  # "flow" or "pressure"
    wide: bool  # upstream sensor gives lambda (else a voltage that switches)
    stoich: float  # mass of air to mass of fuel
    slope: float  # Hendricks' s
    offset: float  # Hendricks' y, Pa
    manifold: float  # volume as a multiple of the swept volume
    idle: float  # 1/min, warm
    boost: float  # greatest pressure before the throttle as a multiple of ambient
    film: float  # share of the injected fuel that meets a wall, warm
    film_time: float  # s, warm
    film_known: float  # how much of the film the controller makes up for
    mixing: float  # s at 10 g/s: exhaust mixing
    transport: float  # s at 10 g/s
    sensor_time: float  # s
    gain: float  # proportional, per lambda (wide) or per jump (switching)
    integral: float  # 1/s
    learn_time: float  # s
    cells: tuple[int, int]  # of the long trim, by speed and by load
    learns_in_purge: bool
    base: tuple[float, ...]  # error of calibration, each bank
    ripple: float  # calibration error that varies over the map
    enrich_at: float  # load share where full-load enrichment begins
    closed_after: float  # s after the start
    closed_above: float  # degrees C of coolant
    thermostat: float
    ambient: float  # degrees C
    baro: float  # Pa
    mass: float  # of the car, kg
    drag: float  # cd * A, m2
    purge_area: float  # m2, effective
    purge_share: float  # of the airflow, at most
    purge_known: float  # how much of the purge flow the controller counts as air
    rail: float  # Pa, at idle

    @property
    def swept(self) -> float:
        """m3."""
        return self.litres / 1000

    @property
    def top_flow(self) -> float:
        """g/s: airflow at 4500/min with the greatest pressure before the throttle."""
        pressure = self.baro * self.boost * 0.95
        return 1000 * pumped(self, 4500, pressure, self.ambient + 283.15)


def draw_engine(rng: np.random.Generator, **fixed: object) -> Engine:
    """An engine at random; `fixed` holds the fields that are not left to chance."""
    cylinders = int(rng.choice([3, 4, 4, 4, 5, 6, 6, 8]))
    banks = 2 if cylinders >= 6 and rng.random() < 0.8 else 1
    cylinders, banks = int(fixed.get("cylinders", cylinders)), int(fixed.get("banks", banks))  # type: ignore[call-overload]
    charged = bool(fixed.get("charged", rng.random() < 0.35))
    direct = bool(fixed.get("direct", rng.random() < 0.45))
    wide = bool(fixed.get("wide", rng.random() < 0.6))
    each = rng.uniform(0.3, 0.5) if charged or cylinders <= 3 else rng.uniform(0.35, 0.62)
    common = rng.normal(0, 0.02)
    drawn: dict[str, object] = {
        "litres": float(np.clip(round(each * cylinders, 1), 1.0, 5.0)),
        "cylinders": cylinders,
        "banks": banks,
        "direct": direct,
        "charged": charged,
        "metering": "flow" if rng.random() < 0.65 else "pressure",
        "wide": wide,
        "stoich": float(rng.uniform(14.0, 14.7)),
        "slope": float(rng.uniform(0.86, 0.99)),
        "offset": float(rng.uniform(7000, 13000)),
        "manifold": float(rng.uniform(0.9, 2.2)),
        "idle": float(rng.uniform(640, 860)),
        "boost": float(rng.uniform(1.5, 2.1)) if charged else 1.0,
        "film": float(rng.uniform(0.02, 0.08) if direct else rng.uniform(0.12, 0.35)),
        "film_time": float(rng.uniform(0.25, 0.8)),
        "film_known": float(rng.uniform(0.6, 0.95)),
        "mixing": float(rng.uniform(0.04, 0.12)),
        "transport": float(rng.uniform(0.05, 0.15)),
        "sensor_time": float(rng.uniform(0.08, 0.25)),
        "gain": float(rng.uniform(0.05, 0.2) if wide else rng.uniform(0.01, 0.025)),
        "integral": float(rng.uniform(0.2, 0.5) if wide else rng.uniform(0.015, 0.04)),
        "learn_time": float(np.exp(rng.uniform(np.log(15), np.log(150)))),
        "cells": ((1, 1), (2, 2), (3, 3), (4, 4))[int(rng.integers(4))],
        "learns_in_purge": bool(rng.random() < 0.3),
        "base": tuple(float(common + rng.normal(0, 0.012)) for _ in range(banks)),
        "ripple": float(rng.uniform(0.0, 0.02)),
        "enrich_at": float(rng.uniform(0.8, 0.95)),
        "closed_after": float(rng.uniform(10, 50)),
        "closed_above": float(rng.uniform(5, 35)),
        "thermostat": float(rng.uniform(84, 100)),
        "ambient": float(rng.uniform(-5, 32)),
        "baro": float(rng.uniform(92e3, 102.5e3)),
        "mass": float(rng.uniform(1050, 1300) + 160 * each * cylinders),
        "drag": float(rng.uniform(0.58, 0.85)),
        "purge_area": float(rng.uniform(2.0e-6, 6.0e-6)),
        "purge_share": float(rng.uniform(0.03, 0.08)),
        "purge_known": float(rng.uniform(0.6, 1.0)),
        "rail": float(rng.uniform(4e6, 6e6) if direct else rng.uniform(3.0e5, 4.0e5)),
    }
    return Engine(**(drawn | fixed))  # type: ignore[arg-type]


def pumped(engine: Engine, speed: float, pressure: float, kelvin: float) -> float:
    """kg/s of air that the cylinders take in at 1/min, Pa and K (Hendricks and Sorenson, speed-density)."""
    return engine.swept * speed / (120 * R_AIR * kelvin) * max(0.0, engine.slope * pressure - engine.offset)


def orifice(area: float, before: float, behind: float, kelvin: float) -> float:
    """kg/s through an effective area (m2) between two pressures (Pa), never backwards (Heywood, appendix C).

    Close to equal pressures the flow is made linear, so that its slope stays finite.
    """
    if before <= behind or area <= 0:
        return 0.0
    ratio = behind / before
    critical = 0.528282  # (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
    if ratio < critical:
        flow = 0.684731  # sqrt(GAMMA) * (2 / (GAMMA + 1)) ** ((GAMMA + 1) / (2 * (GAMMA - 1)))
    elif ratio < 0.97:
        flow = sqrt(7.0 * (ratio ** (2 / GAMMA) - ratio ** (1 + 1 / GAMMA)))  # 2 gamma / (gamma - 1) = 7
    else:
        flow = 0.240980 * (1 - ratio) / 0.03
    return area * before / sqrt(R_AIR * kelvin) * flow


def falling_root(f: Callable[[float], float], low: float, high: float, guess: float) -> float:
    """Where a falling function crosses zero between two bounds, to 1 Pa: false position with the Illinois weight."""
    a, b = max(low, guess - 500.0), min(high, guess + 500.0)
    fa, fb = f(a), f(b)
    if fa < 0:
        a, b, fa, fb = low, a, f(low), fa
    elif fb > 0:
        a, b, fa, fb = b, high, fb, f(high)
    for _ in range(40):
        c = b if fa == fb else (a * fb - b * fa) / (fb - fa)
        fc = f(c)
        if abs(fc) < 1e-8 or abs(b - a) < 1:
            return c
        if fc * fb < 0:
            a, fa = b, fb
        else:
            fa /= 2
        b, fb = c, fc
    return b


# ---------------------------------------------------------------- the fault


@dataclass(frozen=True)
class Fault:
    """What is wrong: `amount` in the unit that `FAMILIES` names; `bank` counts from 1, None where all are meant."""

    family: str = "healthy"
    amount: float = 0.0
    bank: int | None = None
    cylinder: int | None = None
    spells: tuple[tuple[float, float], ...] = ()  # s: when it acts
    fades: float = 0.0  # s: time constant with which it fades within a spell (0: it does not)
    carried: float = 0.0  # how much of it was learned into the long trim before the drive


def acting(fault: Fault, steps: int, ramp: float = 2.0) -> Array:
    """0 to 1 at each step: how far the fault shows, with a short ramp at both ends of a spell."""
    clock = np.arange(steps) * STEP
    out = np.zeros(steps)
    for start, end in fault.spells:
        inside = np.clip((clock - start) / ramp, 0, 1) * np.clip((end - clock) / ramp, 0, 1)
        if fault.fades:
            inside = inside * np.exp(-np.clip(clock - start, 0, None) / fault.fades)
        out = np.maximum(out, inside)
    return out


# ---------------------------------------------------------------- the road


@dataclass(frozen=True)
class Leg:
    """One piece of a drive: idle, town, road, motorway, hills, pulls (hard accelerations) or stop (engine off)."""

    kind: str
    seconds: float


@dataclass(frozen=True)
class Road:
    """Arrays at each step."""

    running: NDArray[np.bool_]
    speed: Array  # m/s
    engine: Array  # 1/min
    power: Array  # W at the crankshaft, negative when the car drives the engine
    overrun: NDArray[np.bool_]  # fuel is cut


def wishes(legs: Sequence[Leg], rng: np.random.Generator) -> tuple[list[float], list[float], list[float], list[bool]]:
    """Speed wanted (m/s), acceleration allowed (m/s2), slope of the road and engine running, at each step."""
    wanted: list[float] = []
    push: list[float] = []
    slope: list[float] = []
    running: list[bool] = []

    def add(seconds: float, kmh: float, acceleration: float = 1.2, grade: float = 0.0, on: bool = True) -> None:
        steps = max(1, round(seconds / STEP))
        wanted.extend([kmh / 3.6] * steps)
        push.extend([acceleration] * steps)
        slope.extend([grade] * steps)
        running.extend([on] * steps)

    for leg in legs:
        end = len(wanted) + round(leg.seconds / STEP)
        if leg.kind in ("idle", "stop"):
            add(leg.seconds, 0.0, on=leg.kind == "idle")
        while len(wanted) < end:
            if leg.kind == "town":
                add(rng.uniform(12, 45), rng.choice([25, 30, 40, 50, 50, 55]), rng.uniform(0.8, 1.6))
                if rng.random() < 0.55:
                    add(rng.uniform(8, 14) + rng.exponential(12), 0.0)
            elif leg.kind == "road":
                add(rng.uniform(20, 60), rng.uniform(60, 95), rng.uniform(0.6, 1.5), rng.uniform(-0.01, 0.015))
            elif leg.kind == "motorway":
                add(rng.uniform(30, 90), rng.uniform(100, 135), rng.uniform(0.4, 1.2), rng.uniform(-0.015, 0.015))
            elif leg.kind == "hills":
                add(rng.uniform(25, 70), rng.uniform(50, 85), 1.2, rng.choice([-0.06, -0.04, 0.03, 0.05, 0.07]))
            elif leg.kind == "pulls":
                add(rng.uniform(10, 16), rng.uniform(95, 125), rng.uniform(2.2, 3.2), 0.01)
                add(rng.uniform(12, 20), rng.uniform(45, 60), 1.0)
            else:
                raise ValueError(f"no such leg: {leg.kind}")
        del wanted[end:], push[end:], slope[end:], running[end:]
    return wanted, push, slope, running


def road(engine: Engine, legs: Sequence[Leg], rng: np.random.Generator) -> Road:
    """The drive: a driver follows the speeds wanted, a gear is chosen, the crankshaft owes its work."""
    wanted, push, slope, running = wishes(legs, rng)
    steps = len(wanted)
    gears = [14.0, 8.2, 5.6, 4.3, 3.5, 2.9]  # engine to wheel, overall
    hertz = 60 / (2 * np.pi * 0.31)
    noise = rng.normal(0, 1, steps)
    speed = np.zeros(steps)
    turns = np.zeros(steps)
    power = np.zeros(steps)
    overrun = np.zeros(steps, dtype=bool)
    v = 0.0
    n = 0.0
    gear = 0
    since = 9.0
    hunt = 0.0
    cut = False
    for k in range(steps):
        if not running[k]:
            v, gear, cut = 0.0, 0, False
            n = max(0.0, n - 600 * STEP * 5)
            turns[k] = n
            continue
        lack = wanted[k] - v
        a = min(push[k], max(-1.6, lack / 3.0))
        a *= 1.0 if a < 0 else max(0.25, 1 - v / 60)
        v = max(0.0, v + a * STEP)
        if v < 0.3 and wanted[k] < 0.1:
            v = 0.0
        since += STEP
        floor = 1350 + 900 * max(0.0, min(1.6, a - 0.2)) + (1200 if push[k] > 2 and lack > 3 else 0)
        best = 0
        for i, ratio in enumerate(gears):
            if v * ratio * hertz > floor:
                best = i
        if best != gear and since > 1.5:
            gear, since = best, 0.0
        hunt += STEP * (-hunt / 0.7) + noise[k] * 6
        coupled = v * gears[gear] * hertz
        goal = max(engine.idle + hunt, coupled)
        n += (goal - n) * (0.5 if goal > 300 and n > 100 else 0.25)
        force = engine.mass * (a + 9.81 * (0.011 + slope[k])) + 0.5 * 1.2 * engine.drag * v * v
        work = force * v / 0.93 if v > 0 else 0.0
        off = v > 3 and work < -300 and lack < 0.4
        cut = off and (n > 1350 if not cut else n > 1150)
        speed[k], turns[k], overrun[k] = v, n, cut
        power[k] = work if work > 0 else 0.0
    return Road(np.array(running), speed, turns, power, overrun)


# ---------------------------------------------------------------- air


@dataclass(frozen=True)
class Air:
    """Arrays at each step: kg/s and Pa."""

    throttle: Array  # flow through the throttle
    cylinders: Array  # air that the cylinders take in, all of them
    meter: Array  # air that passes the meter's place
    leak: Array  # air that enters behind the throttle past the meter
    purge: Array  # air (with vapour) through the purge valve
    pressure: Array  # in the manifold
    before: Array  # before the throttle
    opening: Array  # of the throttle, 0 to 1
    kelvin: Array  # in the manifold
    load: Array  # share of the charge at ambient pressure
    duty: Array  # purge valve, 0 to 1
    coolant: Array  # degrees C, true
    intake: Array  # degrees C, where the sensor sits


def breathe(engine: Engine, way: Road, fault: Fault, act: Array, rng: np.random.Generator, coolant: float) -> Air:
    """Air through throttle, leaks and purge valve into the manifold and the cylinders; coolant from the heat."""
    steps = len(way.speed)
    names = ("throttle", "cylinders", "meter", "leak", "purge", "pressure", "before", "opening")
    names += ("kelvin", "load", "duty", "coolant", "intake")
    table: list[tuple[float, ...]] = []
    top = engine.swept * 5000 / 120 * engine.slope * engine.baro / (R_AIR * 300)
    widest = top / 300 * sqrt(R_AIR * 300) / (engine.baro * 0.240980) * 300 * 1.6  # 2 to 3 % of loss when wide open
    hole = 0.0
    if fault.family == "air-leak":  # choked at idle: area from the flow asked for
        hole = fault.amount / 1000 * sqrt(R_AIR * (engine.ambient + 283)) / (engine.baro * 0.684731)
    gap = 0.0
    if fault.family == "charge-leak":
        # the amount is the share lost at the full pressure before the throttle at 3000/min
        full = engine.baro * engine.boost
        gap = fault.amount / 100 * pumped(engine, 3000, 0.95 * full, engine.ambient + 290)
        gap /= orifice(1.0, full, engine.baro, engine.ambient + 290)
    p = engine.baro
    before = engine.baro
    warm = coolant
    bay = engine.ambient
    duty = 0.0
    started = 0.0
    purging = False
    switch = rng.uniform(40, 160)
    heat_store = 11000.0 + 5500.0 * engine.litres  # J/K: coolant and near metal
    volume = engine.swept * engine.manifold
    running, turns, power, overrun = way.running.tolist(), way.engine.tolist(), way.power.tolist(), way.overrun.tolist()
    speeds, acts = way.speed.tolist(), act.tolist()
    area = 0.0
    throttle = cylinders = leak = purge = escape = wanted = 0.0
    for k in range(steps):
        n = turns[k]
        kelvin = 273.15 + engine.ambient + 0.5 * (bay - engine.ambient) + 0.08 * max(0.0, warm - engine.ambient)
        if running[k]:
            started += STEP
            mean = (0.97 + 0.15 * n / 1000 + 0.05 * (n / 1000) ** 2) * 1e5 * (1 + max(0.0, 75 - warm) / 130)
            cycle = max(n, 400) / 120
            effective = power[k] / (engine.swept * cycle)
            indicated = mean + effective + 0.3e5 * engine.idle / max(n, 500)
            efficiency = 0.375 * (0.58 + 0.42 * min(1.0, indicated / 5e5))
            wanted = indicated * engine.swept * cycle / (efficiency * LOWER_HEAT / engine.stoich)
            if overrun[k]:
                wanted = pumped(engine, n, 0.27 * engine.baro, kelvin)
            goal = (wanted * 120 * R_AIR * kelvin / (engine.swept * max(n, 400)) + engine.offset) / engine.slope
            aim = min(engine.baro * engine.boost, max(engine.baro, goal * 1.08))
            before += (aim - before) * (1 - exp(-STEP / (0.7 if aim > before else 0.3)))
            need = wanted - leak - purge
            # the throttle is set by the airflow wanted at the pressure wanted
            capacity = orifice(1.0, before, min(goal, 0.985 * before), kelvin)
            area += (min(widest, max(0.0, need) / capacity) - area) * 0.6
            switch -= STEP
            if switch < 0:
                purging = not purging
                switch = rng.uniform(50, 220) if purging else rng.uniform(30, 110)
            allowed = purging and warm > 55 and started > 60 and not overrun[k]
            limit = min(
                1.0, engine.purge_share * wanted / max(1e-9, orifice(engine.purge_area, engine.baro, p, kelvin))
            )
            duty += max(-0.1, min(0.02, (limit if allowed else 0.0) - duty))
        else:
            started, duty, before, area = 0.0, 0.0, engine.baro, 0.0
            wanted = 0.0
        if n > 50:
            # the next pressure is where the manifold's balance closes (implicit, so that no step is too long):
            # V/(RT) * (p - old) / STEP = throttle(p) + leak(p) + purge(p) - pumped(p)
            old, fill = p, volume / (R_AIR * kelvin) / STEP
            here, there = hole * acts[k], duty * engine.purge_area
            rate = engine.swept * n / (120 * R_AIR * kelvin)

            def excess(q: float, old: float = old, fill: float = fill, rate: float = rate) -> float:
                inflow = orifice(area, before, q, kelvin) + orifice(here + there, engine.baro, q, kelvin)  # noqa: B023
                return inflow - rate * max(0.0, engine.slope * q - engine.offset) - fill * (q - old)

            p = falling_root(excess, 2000.0, max(before, engine.baro), old)
            cylinders = pumped(engine, n, p, kelvin)
            leak, purge = orifice(here, engine.baro, p, kelvin), orifice(there, engine.baro, p, kelvin)
            throttle = max(0.0, cylinders + fill * (p - old) - leak - purge)
        else:
            p += (engine.baro - p) * 0.02
            cylinders = throttle = leak = purge = 0.0
        escape = orifice(gap * acts[k], before, engine.baro, kelvin) if gap else 0.0
        heat = 0.22 * cylinders / engine.stoich * LOWER_HEAT if running[k] and not overrun[k] else 0.0
        loss = (3.0 + 0.25 * speeds[k]) * (warm - engine.ambient)
        open_ = min(1.0, max(0.0, (warm - engine.thermostat) / 6 + 0.5))
        radiator = open_ * (150 + 60 * speeds[k]) * (warm - engine.ambient) if running[k] else 0.0
        warm += (heat - loss - radiator + (300 if not running[k] and warm > 60 else 0)) * STEP / heat_store
        goal_bay = engine.ambient + (0.5 if not running[k] else 0.25 / (1 + speeds[k] / 4)) * (warm - engine.ambient)
        bay += (goal_bay - bay) * STEP / 90
        row = (throttle, cylinders, throttle + escape, leak, purge, p, before, area / widest, kelvin)
        row += (p / engine.baro / engine.boost, duty, warm, bay)
        table.append(row)
    return Air(**dict(zip(names, np.array(table).T, strict=True)))


# ---------------------------------------------------------------- fuel, sensors, trims


@dataclass
class Run:
    """A whole drive, dense: engine-wide arrays by name, banked arrays of shape (banks, steps)."""

    engine: Engine
    fault: Fault
    way: Road
    air: Air
    act: Array
    clock: Array
    metered: Array  # kg/s: what the meter, or pressure and speed, tell the controller
    short: Array = field(repr=False)
    long: Array = field(repr=False)
    upstream: Array = field(repr=False)  # lambda as the sensor says
    true: Array = field(repr=False)  # lambda in the cylinders
    downstream: Array = field(repr=False)  # V
    status: NDArray[np.int64] = field(repr=False)  # the standard's bits: 1 cold, 2 closed, 4 open by load or overrun
    target: Array = field(repr=False)  # lambda
    coolant_read: Array = field(repr=False)
    push: Array = field(repr=False)  # trim that the fault alone would ask for in the long run
    added: Array = field(repr=False)  # kg/s of fuel that the fault adds past the injectors' command
    injected: Array = field(repr=False)  # kg/s asked from the injectors
    misses: Array = field(repr=False)  # counted misfires so far, of the fault's cylinder

    @property
    def seconds(self) -> float:
        return len(self.clock) * STEP


def warm_factor(coolant: float) -> float:
    """Share of fuel that the controller adds at a coolant temperature (practice: nothing above 75 degrees C)."""
    return 0.0035 * max(0.0, 75.0 - coolant)


def shortfall(flow: float, top: float, amount: float) -> float:
    """Error (share) that grows from nothing at a fifth of the highest flow to `amount` percent at the highest."""
    x = min(1.0, max(0.0, (flow / top - 0.2) / 0.5))
    return amount / 100 * x * x * (3 - 2 * x)


def burn(engine: Engine, way: Road, air: Air, fault: Fault, act: Array, rng: np.random.Generator) -> Run:
    """The controller's fuel, what reaches the cylinders, what the sensors say, and the trims that follow.

    The controller has no other knowledge of the air than its meter (or pressure, speed and intake temperature).
    """
    steps, banks, kind, amount = len(way.speed), engine.banks, fault.family, fault.amount
    # plain lists: one number at a time is quicker than in arrays
    short, long_, up, true, down, push, added, injected = (
        [[x] * steps for _ in range(banks)] for x in (0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0)
    )
    status = [[0] * steps for _ in range(banks)]
    metered, read, misses, target = [0.0] * steps, [0.0] * steps, [0.0] * steps, [1.0] * steps
    top = engine.top_flow / 1000
    mine = [kind != "healthy" and fault.bank in (None, b + 1) for b in range(banks)]
    rows, columns = engine.cells
    cells = [[[0.0] * columns for _ in range(rows)] for _ in range(banks)]
    typical = {"rail-scale": 1, "meter-scale": 1, "injector-scale": 1}.get(kind, 0) * amount / 100
    learned_before = rng.uniform(0.6, 1.0)
    for b in range(banks):
        start = 1 / (1 + engine.base[b]) - 1
        start = learned_before * start - fault.carried * typical * mine[b]
        cells[b] = [[start + rng.normal(0, 0.004) for _ in range(columns)] for _ in range(rows)]
    s = [0.0] * banks
    film = [0.0] * banks
    mixed = [1.0] * banks
    felt = [1.0] * banks
    store = [0.5] * banks
    errors = [0.0] * banks
    rich = [False] * banks
    past: list[list[float]] = [[1.0] * steps for _ in range(banks)]
    canister = 0.0
    if kind == "purge-vapour":
        canister = amount / 100  # share of fuel in the purge flow
    usual = float(rng.uniform(0.0, 0.02))
    vapour_share = canister or usual
    running_for = 0.0
    after_cut = 99.0
    lagged = 0.0
    missed = 0.0
    jitter = rng.normal(0, 0.004, (banks, steps)).tolist()
    lists = {name: getattr(air, name).tolist() for name in ("cylinders", "meter", "throttle", "pressure", "purge")}
    coolants, intakes, turns = air.coolant.tolist(), air.intake.tolist(), way.engine.tolist()
    running, overrun, loads, acts = way.running.tolist(), way.overrun.tolist(), air.load.tolist(), act.tolist()
    leaks, opening = air.leak.tolist(), air.opening.tolist()
    tip = 0.0
    for k in range(steps):
        n, a, coolant = turns[k], acts[k], coolants[k]
        cylinders = lists["cylinders"][k]
        ect = coolant - (amount * a if kind == "coolant-cold" else 0.0)
        read[k] = ect
        # --- what the controller knows of the air
        if engine.metering == "flow":
            known = lists["meter"][k]
            past_meter = engine.purge_known * lists["purge"][k]
        else:
            guess = 273.15 + engine.ambient + 0.5 * (intakes[k] - engine.ambient) + 0.08 * max(0.0, ect - intakes[k])
            seen = lists["pressure"][k] * (1 + amount / 100 * a if kind == "meter-scale" else 1.0)
            known = pumped(engine, n, seen, guess) if n > 50 else 0.0
            past_meter = 0.0
        flow_error = 0.0
        if kind == "meter-scale" and engine.metering == "flow":
            flow_error = amount / 100 * a
        elif kind == "meter-high":
            flow_error = shortfall(known, top, amount) * a
        lagged += (known * (1 + flow_error) - lagged) * 0.8
        metered[k] = lagged
        # --- the engine stands
        if not running[k] or n < 200:
            running_for, after_cut = 0.0, 99.0
            for b in range(banks):
                s[b], film[b] = 0.0, film[b] * 0.98
                mixed[b] += (1.9 - mixed[b]) * STEP / 20
                felt[b] = mixed[b]
                up[b][k], true[b][k], down[b][k] = mixed[b], LEANEST, 0.45
                past[b][k] = mixed[b]
                status[b][k] = 0 if not running[k] else 1
                long_[b][k] = cells[b][0][0]
            misses[k] = missed
            continue
        running_for += STEP
        cut = overrun[k]
        after_cut = 0.0 if cut else after_cut + STEP
        tip = loads[k]
        cold = ect < engine.closed_above or running_for < engine.closed_after
        full = tip > engine.enrich_at and opening[k] > 0.25
        closed = not (cold or cut or full)
        aim = 1.0
        if full:
            aim = 0.9
        elif after_cut < 1.5 and not cut:
            aim = 0.95  # the catalyst is emptied of oxygen after overrun (practice)
        target[k] = aim
        extra = warm_factor(ect) * (1.0 if not cold else 1.05) + 0.25 * exp(-running_for / 6)
        fitting = warm_factor(coolant) + 0.25 * exp(-running_for / 6)  # what really is lost to cold walls
        vapour = lists["purge"][k] * vapour_share / banks
        if canister:
            vapour_share += -vapour_share * lists["purge"][k] / 0.35 * STEP  # 0.35 kg of air empties it (judgement)
        row = min(rows - 1, int(n / 3600 * rows))
        column = min(columns - 1, int(tip * columns))
        wave = engine.ripple * sin(n / 700.0) * sin(5.0 * tip)
        for b in range(banks):
            air_here = cylinders / banks
            trim = (1 + s[b]) * (1 + cells[b][row][column])
            ask = 0.0 if cut else (lagged + past_meter) / banks / engine.stoich / aim * (1 + extra) * trim
            scale = (1 + engine.base[b]) * (1 + wave)
            wrong = 0.0  # share of fuel too much, by the fault
            more = 0.0
            if mine[b]:
                if kind in ("rail-scale", "injector-scale"):
                    wrong = amount / 100 * a
                elif kind == "fuel-restriction":
                    wrong = shortfall(lagged, top, amount) * a
                elif kind == "injector-leak" or (kind == "oil-vapour" and coolant > 45):
                    more = amount / 1000 * a / (1 if kind == "injector-leak" else banks)
                    if kind == "oil-vapour":
                        more *= min(1.0, (coolant - 45) / 35)
            charge = air_here
            if kind == "exhaust-restriction" and mine[b]:
                charge = air_here / (1 + shortfall(lagged, top, amount) * a)
            jet = ask * scale * (1 + wrong)
            # --- wall film: share and time grow when cold
            x = min(0.6, engine.film * (1 + max(0.0, 80 - coolant) / 90))
            tau = engine.film_time * (1 + max(0.0, 80 - coolant) / 60)
            from_film = film[b] * (1 - exp(-STEP / tau)) / STEP
            given = jet
            if not cut:  # in full it would be (jet - from_film) / (1 - x); the controller knows part of it
                given = max(0.0, jet + engine.film_known * ((jet - from_film) / (1 - x) - jet))
            film[b] += (x * given - from_film) * STEP
            reaches = (1 - x) * given + from_film
            fuel = reaches / (1 + fitting) + more + vapour
            lam = LEANEST if fuel <= 0 or charge <= 0 else min(LEANEST, charge / (fuel * engine.stoich))
            true[b][k], injected[b][k] = lam, ask
            added[b][k] = more + (vapour if canister else 0.0)
            # --- what the fault alone asks of the trims
            need = charge / engine.stoich / aim
            if need > 0 and not cut:
                excess = (1 + wrong) * (1 + (extra - fitting) / (1 + fitting) * (kind == "coolant-cold"))
                if kind == "exhaust-restriction":
                    excess *= air_here / charge
                if kind in ("meter-scale", "meter-high", "charge-leak", "air-leak"):
                    if kind == "meter-scale" and engine.metering == "pressure":
                        flow_error = (
                            amount / 100 * a / max(0.2, 1 - engine.offset / engine.slope / lists["pressure"][k])
                        )
                    excess *= 1 + flow_error
                    if kind == "air-leak":
                        excess *= 1 - leaks[k] / max(1e-6, cylinders)
                    elif kind == "charge-leak":
                        excess *= 1 + (lists["meter"][k] - lists["throttle"][k]) / max(1e-6, cylinders)
                ours = (more + (vapour if canister else 0.0)) / need
                push[b][k] = (1 - ours) / excess - 1
            # --- the exhaust: transport, mixing, sensor
            gas = lam
            if kind == "misfire" and mine[b]:
                rate = amount / 100 * a
                gas = min(LEANEST, lam * (1 + 0.8 * rate / (engine.cylinders / banks)))
                missed += rate * n / 120 * STEP
                push[b][k] = 0.8 * rate / (engine.cylinders / banks)
            if kind == "sensor-shift" and mine[b]:
                push[b][k] = amount * a
            past[b][k] = gas
            grams = max(0.5, cylinders * 1000)
            delay = 150 / max(n, 400) + engine.transport * 10 / grams * banks
            came = past[b][max(0, k - int(delay / STEP + 0.5))]
            mixed[b] += (came - mixed[b]) * (1 - exp(-STEP / (engine.mixing * 10 / grams * banks)))
            slow = amount if kind == "sensor-slow" and mine[b] else engine.sensor_time
            slow = engine.sensor_time + (slow - engine.sensor_time) * a
            felt[b] += (mixed[b] - felt[b]) * (1 - exp(-STEP / slow))
            says = felt[b] + jitter[b][k] + (amount * a if kind == "sensor-shift" and mine[b] else 0.0)
            up[b][k] = min(LEANEST, says)
            store[b] += (mixed[b] - 1) * grams / banks * STEP * 0.23 / 0.9  # oxygen store of 0.9 g (judgement)
            store[b] += (0.45 - store[b]) * STEP / 40  # stands for the slow trim by the downstream sensor (judgement)
            store[b] = min(1.0, max(0.0, store[b]))
            lean = store[b] ** 3
            down[b][k] = 0.78 - 0.1 * store[b] - 0.6 * lean + jitter[b][k] * 2
            # --- the loop
            status[b][k] = 2 if closed else 1 if cold else 4
            if closed and after_cut > delay + 1.2:  # the lean gas of the overrun has to pass first
                if engine.wide:
                    error = max(-0.15, min(0.15, says - aim))
                    s[b] += engine.integral * error * STEP + engine.gain * (error - errors[b])
                    errors[b] = error
                else:
                    was = rich[b]
                    rich[b] = says < 1.0
                    sign = -1 if rich[b] else 1
                    s[b] += sign * engine.integral * STEP + (2 * sign * engine.gain if was != rich[b] else 0.0)
                s[b] = min(0.25, max(-0.25, s[b]))
                learns = ect > 70 and after_cut > 4 and (engine.learns_in_purge or lists["purge"][k] < 1e-6)
                if learns:
                    step = s[b] * STEP / engine.learn_time
                    cell = cells[b][row][column]
                    cells[b][row][column] = min(0.25, max(-0.25, cell + step))
                    s[b] -= (cells[b][row][column] - cell) * 0.9
            elif not closed:
                s[b] *= 1 - STEP / 1.5
                errors[b] = 0.0
            short[b][k], long_[b][k] = s[b], cells[b][row][column]
        misses[k] = missed
    clock = np.arange(steps) * STEP
    banked = {"short": short, "long": long_, "upstream": up, "true": true, "downstream": down, "push": push}
    banked |= {"added": added, "injected": injected}
    whole = {"metered": metered, "target": target, "coolant_read": read, "misses": misses}
    arrays = {name: np.array(x) for name, x in (banked | whole).items()}
    return Run(engine, fault, way, air, act, clock, status=np.array(status, dtype=np.int64), **arrays)


def drive(engine: Engine, legs: Sequence[Leg], fault: Fault, rng: np.random.Generator, coolant: float) -> Run:
    """The whole drive; `coolant` is the temperature at its start in degrees C."""
    way = road(engine, legs, rng)
    act = acting(fault, len(way.speed)) * way.running
    air = breathe(engine, way, fault, act, rng, coolant)
    return burn(engine, way, air, fault, act, rng)


def stretches(flags: NDArray[np.bool_], shortest: float = 0.0, bridge: float = 0.0) -> tuple[tuple[float, float], ...]:
    """Start and end in seconds of the runs of True; gaps up to `bridge` are closed, runs under `shortest` dropped."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    pairs = [(float(a) * STEP, float(b) * STEP) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    joined: list[tuple[float, float]] = []
    for start, end in pairs:
        if joined and start - joined[-1][1] <= bridge:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return tuple((round(a, 1), round(b, 1)) for a, b in joined if b - a >= shortest)
