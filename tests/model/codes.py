"""What a controller finds wrong of itself in a stretch of running: codes of the open standard (SAE J2012) it would set.

Thresholds are makers' secrets; these are of the usual size, from memory or judgement. Which monitors a car has is drawn
once for each car.
"""

from __future__ import annotations

from collections.abc import Iterator

from tests.model.car import Broken, Car
from tests.model.engine import IDLE, LOAD, State

LEAN = {"idle": ("P2187", "P2189"), "part": ("P2177", "P2179"), "load": ("P2191", "P2193")}
RICH = {"idle": ("P2188", "P2190"), "part": ("P2178", "P2180"), "load": ("P2192", "P2194")}


def has(car: Car, monitor: str, chance: float) -> bool:
    """Whether this maker's controller has a monitor (once and for all for a car)."""
    return car.dice("monitor", monitor).random() < chance


def monitored(car: Car, broken: Broken, state: State, minutes: float, drove: float, hot: bool) -> Iterator[str]:
    """Codes whose fault is found in this stretch."""
    yield from _mixture(car, state, minutes, hot, drove)
    yield from _air(car, broken, state)
    yield from _temperatures(car, broken, state, drove)
    yield from _fuel(car, broken, state)
    yield from _vapour(car, broken, state)
    yield from _exhaust(car, broken, state, minutes)


def _mixture(car: Car, state: State, minutes: float, hot: bool, drove: float) -> Iterator[str]:
    """Rich and lean codes: the total trim beyond the maker's limit for most of a minute in closed loop, engine warm."""
    lasts = minutes >= 0.9 or state.now.point is LOAD
    if state.open_loop or not lasts or state.coolant_read < car.watches_from:
        return
    for bank, trim in enumerate(state.trim):
        cell = state.now.point.cell
        if trim < -car.rich_code:
            yield RICH[cell][bank] if car.splits_codes else ("P0172", "P0175")[bank]
        if trim > car.rich_code:
            yield LEAN[cell][bank] if car.splits_codes else ("P0171", "P0174")[bank]
    for bank, cylinders in enumerate(car.profile.banks):
        mean = sum(state.phi[c - 1] for c in cylinders) / len(cylinders)
        worst = max(cylinders, key=lambda c: abs(state.phi[c - 1] - mean))
        if car.watches_imbalance and abs(state.phi[worst - 1] - mean) > 0.28 and minutes >= 1.2:
            yield ("P219A", "P219B")[bank]
            if has(car, "imbalance names", 0.4) and worst <= 8:
                yield ("P219C", "P219D", "P219E", "P219F", "P21A0", "P21A1", "P21A2", "P21A3")[worst - 1]


def _air(car: Car, broken: Broken, state: State) -> Iterator[str]:
    off = state.air_read / state.air - 1
    if car.profile.meters_air and abs(off) > 0.28 and has(car, "meter", 0.5):
        yield "P0104" if car.acts.jumps and has(car, "meter jumps", 0.5) else "P0101"
    if broken.meter_gain and car.acts.jumps and has(car, "meter circuit", 0.3):
        yield "P0103"
    if broken.manifold_kpa > 6 and has(car, "manifold", 0.5):
        yield "P0069"
    if broken.throttle_jumps and has(car, "throttle", 0.6):
        yield "P0121"
    if broken.egr_share > 0.15 and state.now.point is IDLE and has(car, "egr", 0.35):
        yield "P0402"
    if broken.cam_off > 0.12 and has(car, "cam", 0.6):
        yield ("P0011", "P0021")[max(0, broken.place - 1)]
    if broken.boost_leak > 100 and state.now.point is LOAD and has(car, "boost", 0.5):
        yield "P0299"


def _temperatures(car: Car, broken: Broken, state: State, drove: float) -> Iterator[str]:
    if broken.coolant_ohms:
        if state.coolant_read <= -30:
            yield "P0118"
        if drove > 15 and state.coolant_read < 60 and has(car, "coolant", 0.6):
            yield "P0128" if has(car, "thermostat", 0.5) else "P0116"
    if broken.intake_ohms and state.intake_read < -25:
        yield "P0113"
    if broken.intake_ohms and has(car, "intake", 0.3):
        yield "P0111"


def _fuel(car: Car, broken: Broken, state: State) -> Iterator[str]:
    if car.profile.direct:
        if state.rail_read > 1.5 * state.rail_target and has(car, "rail high", 0.8):
            yield "P0089" if has(car, "rail names", 0.5) else "P0088"
        if broken.rail_reads_low > 0.3 and has(car, "rail sensor", 0.3):
            yield "P0191"
        if state.now.hot_soaked and max(broken.leak, broken.soak_leak) > 4000 and has(car, "rail low", 0.15):
            yield "P0087"
    if broken.held_ms and has(car, "injector circuit", 0.4):
        yield f"P020{broken.place}"
    if broken.volts > 2.5 and has(car, "volts", 0.4):
        yield "P0562"
    if broken.ethanol_over > 0.3 and has(car, "ethanol", 0.3):
        yield "P0179"
    if broken.ignition and has(car, "coil", 0.15):
        yield f"P035{broken.place}"


def _vapour(car: Car, broken: Broken, state: State) -> Iterator[str]:
    if car.watches_purge and broken.purge_leak > 1.2 and state.now.point is IDLE:
        yield "P0496" if has(car, "purge names", 0.6) else "P0441"
    if broken.vent_blocked > 0.7 and has(car, "vent", 0.35):
        yield "P0446"


def _exhaust(car: Car, broken: Broken, state: State, minutes: float) -> Iterator[str]:
    bank = max(0, broken.place - 1)
    if broken.sensor_bias > 0.15 and has(car, "sensor rich", 0.4):
        yield ("P2196", "P2198")[bank]
    if broken.sensor_bias > 0.15 and car.acts.jumps and has(car, "sensor circuit", 0.5):
        yield ("P0132", "P0152")[bank]
    if broken.sensor_bias < -0.15 and has(car, "sensor lean", 0.4):
        yield ("P2195", "P2197")[bank]
    if broken.crossed and has(car, "crossed", 0.4):
        yield "P0040"
    if not state.open_loop and minutes > 2 and has(car, "rear trim", 0.4):
        for number, lam in enumerate(state.behind):
            if lam < 0.93:
                yield ("P2097", "P2099")[number]
            elif lam > 1.08:
                yield ("P2096", "P2098")[number]
