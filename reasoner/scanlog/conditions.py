"""Operating conditions over time: engine runs, how each began, and what the engine was doing, from what was logged.

The words are this module's own; which condition of a rule base each of them is, the caller says (`answers`). Limits are
common practice, no source, unless said otherwise; each is used where its quantity was recorded and left out elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog import rolling
from reasoner.scanlog.columns import (
    AIRFLOW,
    COOLANT,
    INTAKE,
    LEVEL,
    LOAD,
    MANIFOLD,
    OUTSIDE,
    PEDAL,
    ROAD,
    SINCE_START,
    SPEED,
    THROTTLE,
)
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.resampling import Flags, Grid


class Phase(StrEnum):
    """What the engine is doing. DRIVING: moving, and nothing steadier to be said of it."""

    OFF = "engine off"
    STOPPED = "stopped a moment"
    COLD_SOAKED = "cold soaked"
    HOT_SOAK = "hot soak"
    COLD_START = "cold start"
    WARM_UP = "warm up"
    HOT_RESTART = "hot restart"
    REFUELLED = "after refuelling"
    WARM_IDLE = "warm idle"
    LONG_IDLE = "long idle"
    RAISED = "raised speed"
    CRUISE = "cruise"
    LOADED = "load"
    OVERRUN = "overrun"
    DRIVING = "driving"


PHASES = tuple(Phase)
# The only place where phases meet a rule base: which of its conditions each one is. DRIVING and STOPPED are none.
RULE_NAMES: Mapping[Phase, str] = {
    p: p.value.replace(" ", "-") for p in Phase if p not in (Phase.DRIVING, Phase.STOPPED)
}
PHASE_NUMBER = {phase: i for i, phase in enumerate(PHASES)}

TURNING_RPM = 350.0  # rpm below which the engine is not running by itself
COLD_ABOVE_AIR, COLD = 15.0, 45.0  # K above the intake air, and degC, up to which a start is cold
SETTLED = 5.0  # K below where the coolant is regulated, from which it rises no more; a thermostat swings by a few
HOT = 70.0  # degC; a warm-up cycle ends at 71 degC (13 CCR 1968.2(c)) or 343 K (98/69/EC), from memory
SOAK_SECONDS = (300.0, 5400.0)  # s off between which a hot start is one after a soak
MOMENT = 120.0  # s off that are a stop at the lights, not a soak
STARTING, SINCE_COLD, RESTARTED, FILLED = 120.0, 900.0, 300.0, 600.0  # s
TANK_RISE = 8.0  # % of the tank; the float wanders by a few
LONG = 600.0  # s of idle without a break
STANDS, MOVES, CRUISES = 2.0, 12.0, 40.0  # km/h
IDLE_SPEED, RAISED_SPEED = 1250.0, (1600.0, 3600.0)  # rpm
FULL_LOAD = 75.0  # % of calculated load
LITTLE = 0.95  # of the air for each turn at idle, below which the wheels drive the engine; judgement
RETURN = 4.0  # s after fuel has come back that still belong to the overrun


@dataclass(frozen=True)
class Run:
    """One run of the engine. start, end: cells (end past the last). seen: its start is in the log.

    kind: "cold", "hot", "between", or "running" where the start was not seen. off: s it stood before, NaN = unknown.
    coolant: degC at its start and end, NaN = unknown. filled: the tank was filled before it.
    """

    start: int
    end: int
    seen: bool
    kind: str
    off: float
    coolant: tuple[float, float]
    filled: bool


@dataclass(frozen=True)
class Conditions:
    """phase: (c,) codes, indexes of PHASES. runs. run: (c,) index of the run, -1 while off. on: (c,) s since its start.

    since_cold: (c,) s of running since the last cold start, infinite without one. warm: (c,) fully warm.
    regulated: degC that the coolant settles at, NaN = unknown. missing: what would have told more.
    idles: (c,) it idles, in whatever phase.
    """

    phase: NDArray[np.int64]
    runs: tuple[Run, ...]
    run: NDArray[np.int64]
    on: Array
    since_cold: Array
    warm: Flags
    regulated: float
    missing: tuple[str, ...]
    idles: Flags


def conditions(grid: Grid) -> Conditions:
    """Operating conditions over the grid. Never raises; without engine speed everything counts as one run."""
    running = _running(grid)
    runs = _runs(grid, running)
    n = len(grid)
    run = np.full(n, -1, dtype=np.int64)
    on = np.zeros(n)
    since_cold = np.full(n, np.inf)
    cold_for = math.inf
    for i, r in enumerate(runs):
        run[r.start : r.end] = i
        on[r.start : r.end] = grid.time[r.start : r.end] - grid.time[r.start] + (0.0 if r.seen else _before(grid, r))
        if r.kind == "cold":
            cold_for = 0.0 if r.seen else float(on[r.start])
        elif r.kind == "hot" and r.off > 0:
            cold_for = math.inf if cold_for > SINCE_COLD else cold_for
        here = grid.time[r.start : r.end] - grid.time[r.start]
        since_cold[r.start : r.end] = cold_for + here
        cold_for += float(here[-1]) if len(here) else 0.0
    warm, regulated = _warm(grid, run >= 0, since_cold, on, runs)
    phase = np.full(n, PHASE_NUMBER[Phase.DRIVING], dtype=np.int64)
    idles = _moving(grid, phase)
    _starts(grid, runs, phase, on, since_cold, warm)
    _off(grid, runs, run, phase)
    missing = tuple(q for q in (SPEED, ROAD, COOLANT, INTAKE, LOAD) if grid.get(q) is None)
    return Conditions(phase, runs, run, on, since_cold, warm, regulated, missing, idles)


# ---- engine runs -----------------------------------------------------------------------------------------------------


def _running(grid: Grid) -> Flags:
    """Whether the engine runs; an unknown cell is as the one before it."""
    rpm = grid.get(SPEED)
    if rpm is None:
        return np.ones(len(grid), dtype=bool)
    known = np.isfinite(rpm)
    index = np.maximum.accumulate(np.where(known, np.arange(len(rpm)), -1))
    first = bool(rpm[known][0] > TURNING_RPM) if known.any() else True
    with np.errstate(invalid="ignore"):
        return np.where(index >= 0, rpm[np.maximum(index, 0)] > TURNING_RPM, first)


def _runs(grid: Grid, running: Flags) -> tuple[Run, ...]:
    since = grid.of(SINCE_START)
    cut = np.zeros(len(grid), dtype=bool)
    with np.errstate(invalid="ignore"):
        cut[1:] = since[1:] < since[:-1] - 2.0  # the counter began anew: the engine was off in between
    resumed = grid.fresh & np.isfinite(since)
    unknown = grid.fresh & ~resumed & ~(grid.pause < SOAK_SECONDS[0])  # a long or unknown pause, and no counter to ask
    for i in np.flatnonzero(resumed).tolist():
        cut[i] |= i > 0 and not since[i] >= max(
            since[i - 1] if np.isfinite(since[i - 1]) else 0.0, 0.9 * _pause(grid, i)
        )
    cut |= unknown
    found: list[tuple[int, int]] = []
    for a, b in rolling.runs(running):
        inner = [a, *(np.flatnonzero(cut[a + 1 : b]) + a + 1).tolist(), b]
        found += [(p, q) for p, q in pairwise(inner) if q > p]
    found = _stalls(grid, found)
    runs: list[Run] = []
    for a, b in found:
        runs.append(_run(grid, a, b, running, found[len(runs) - 1] if runs else None))
    return tuple(runs)


def _stalls(grid: Grid, found: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Without stretches too short to be a run (a start that failed, a bad sample)."""
    return [(a, b) for a, b in found if grid.time[b - 1] - grid.time[a] >= 3.0] or found[:1]


def _run(grid: Grid, a: int, b: int, running: Flags, before: tuple[int, int] | None) -> Run:
    since, coolant, intake = grid.of(SINCE_START), grid.of(COOLANT), grid.of(INTAKE)
    early = since[a : a + 5]
    early = early[np.isfinite(early)]
    stood = a > 0 and not running[a - 1] and grid.time[a] - grid.time[a - 1] < 10.0
    seen = bool(early[0] < 30.0) if len(early) else stood or before is not None
    off = _off_before(grid, a, before)
    start, end = _first(coolant[a : a + 30]), _first(coolant[max(a, b - 30) : b][::-1])
    air = min(
        (x for x in (_first(intake[a : a + 30]), _first(grid.of(OUTSIDE)[a : a + 30])) if x == x), default=math.nan
    )
    cold = start < COLD and not start > air + COLD_ABOVE_AIR
    kind = "cold" if cold else "hot" if start >= HOT else "between" if start == start else "running"
    if not seen and not cold:
        kind = "running"
    return Run(a, b, seen, kind, off, (start, end), _filled(grid, a, b, before))


def _off_before(grid: Grid, a: int, before: tuple[int, int] | None) -> float:
    """Seconds the engine stood before a run; NaN where that is not in the log or the clock began anew."""
    if before is None:
        return math.nan
    between = slice(before[1], a + 1)
    if np.isnan(grid.pause[between]).any():
        return math.nan
    return float(grid.time[a] - grid.time[before[1] - 1])


def _filled(grid: Grid, a: int, b: int, before: tuple[int, int] | None) -> bool:
    level = grid.get(LEVEL)
    if level is None or before is None:
        return False
    last, now = level[max(before[0], before[1] - 120) : before[1]], level[a : min(b, a + 120)]
    last, now = last[np.isfinite(last)], now[np.isfinite(now)]
    return bool(len(last) and len(now) and np.median(now) - np.median(last) >= TANK_RISE)


def _before(grid: Grid, run: Run) -> float:
    """Seconds a run had lasted when the log began, as far as its counter tells; else long."""
    since = _first(grid.of(SINCE_START)[run.start : run.start + 30])
    return since if since == since else 0.0 if run.kind == "cold" else SINCE_COLD


def _pause(grid: Grid, i: int) -> float:
    return float(grid.pause[i]) if np.isfinite(grid.pause[i]) else math.inf


def _first(values: Array) -> float:
    finite = values[np.isfinite(values)]
    return float(finite[0]) if len(finite) else math.nan


# ---- warm or not -----------------------------------------------------------------------------------------------------


def _warm(grid: Grid, running: Flags, since_cold: Array, on: Array, runs: tuple[Run, ...]) -> tuple[Flags, float]:
    """Coolant warm, and since a cold start either once where it is regulated, so that it rises no more, or a quarter of
    an hour."""
    coolant = grid.get(COOLANT)
    long_enough = since_cold >= SINCE_COLD
    if coolant is None:
        known_start = np.zeros(len(grid), dtype=bool)
        for r in runs:
            known_start[r.start : r.end] = r.seen
        return running & (long_enough & ~known_start | (on >= SINCE_COLD)), math.nan
    late = coolant[running & np.isfinite(coolant)]
    regulated = float(np.percentile(late, 90)) if len(late) else math.nan
    limit = min(75.0, regulated - 8.0) if regulated >= HOT else HOT
    with np.errstate(invalid="ignore"):
        hot = coolant >= limit
    if regulated < HOT:  # it never gets there: a thermostat, or a short trip; a quarter of an hour must do
        return running & long_enough & (on >= SINCE_COLD), regulated
    for r in runs:
        with np.errstate(invalid="ignore"):
            there = coolant[r.start : r.end] >= regulated - SETTLED
        if there.any():
            first = r.start + int(np.argmax(there))
            long_enough[first : r.end] |= since_cold[first : r.end] >= STARTING
    return running & hot & long_enough, regulated


# ---- phases ----------------------------------------------------------------------------------------------------------


def _moving(grid: Grid, phase: NDArray[np.int64]) -> Flags:
    """Idle, raised speed, cruise, load, overrun: by what it does, whatever its temperature. Returns where it idles."""
    rpm, road, load = grid.of(SPEED), grid.of(ROAD), grid.of(LOAD)
    ten = max(1, round(5.0 / grid.step))
    with np.errstate(invalid="ignore"):
        stands = road < STANDS if grid.get(ROAD) is not None else ~(_effort(grid) > 35)
        steady_rpm = rolling.rolling_spread(rpm, ten) < 250
        idle = stands & (rpm > TURNING_RPM) & (rpm < IDLE_SPEED)
        raised = stands & (rpm > RAISED_SPEED[0]) & (rpm < RAISED_SPEED[1]) & steady_rpm
        loaded = (
            (load >= FULL_LOAD) | (grid.of(MANIFOLD) >= 88) if grid.get(LOAD) is not None else grid.of(MANIFOLD) >= 88
        )
        if grid.get(LOAD) is None and grid.get(MANIFOLD) is None:
            air = grid.of(AIRFLOW)
            loaded = air >= max(35.0, 0.5 * _high(air))
        loaded &= ~stands
        overrun = ~stands & (road > MOVES) & (rpm > 1100) & _foot_off(grid) & _little_air(grid, idle)
        if len(grid) and overrun.any():
            overrun = (rolling.since(overrun, grid.time) <= RETURN) & ~stands & ~loaded
        cruise = (road >= CRUISES) & (rolling.rolling_spread(road, ten + 2) <= 6.0) & ~loaded & ~overrun
    phase[cruise] = PHASE_NUMBER[Phase.CRUISE]
    phase[overrun] = PHASE_NUMBER[Phase.OVERRUN]
    phase[loaded] = PHASE_NUMBER[Phase.LOADED]
    phase[raised] = PHASE_NUMBER[Phase.RAISED]
    for a, b in rolling.runs(idle):
        phase[a:b] = PHASE_NUMBER[Phase.WARM_IDLE]
        phase[a:b][grid.time[a:b] - grid.time[a] >= LONG] = PHASE_NUMBER[Phase.LONG_IDLE]
    return np.asarray(idle, dtype=bool)


def _little_air(grid: Grid, idle: Flags) -> Flags:
    """Less air for each turn than at idle: the wheels drive the engine. Everywhere, where no air was recorded."""
    measures = (MANIFOLD, 1.0), (LOAD, 1.0), (AIRFLOW, grid.of(SPEED))
    for quantity, over in measures:
        values = grid.get(quantity)
        if values is not None:
            with np.errstate(divide="ignore", invalid="ignore"):
                each = values / over
            resting = each[idle & np.isfinite(each)]
            if len(resting) >= 10:
                return np.asarray(each < LITTLE * np.median(resting))
    return np.ones(len(grid), dtype=bool)


def _effort(grid: Grid) -> Array:
    """Calculated load, or throttle, or whatever tells effort, in %."""
    for quantity in (LOAD, THROTTLE, PEDAL):
        if grid.get(quantity) is not None:
            return grid.of(quantity)
    return np.full(len(grid), np.nan)


def _foot_off(grid: Grid) -> Flags:
    """Throttle or pedal at its least; else a load at its least."""
    with np.errstate(invalid="ignore"):
        for quantity, margin in ((PEDAL, 1.5), (THROTTLE, 2.0)):
            values = grid.get(quantity)
            if values is not None:
                finite = values[np.isfinite(values)]
                return values <= (np.percentile(finite, 2) if len(finite) else 0.0) + margin
        values = grid.of(LOAD)
        return values < 22.0


def _high(values: Array) -> float:
    finite = values[np.isfinite(values)]
    return float(np.percentile(finite, 99.5)) if len(finite) else math.inf


def _starts(
    grid: Grid, runs: tuple[Run, ...], phase: NDArray[np.int64], on: Array, since_cold: Array, warm: Flags
) -> None:
    """What the time since a start, and the temperature, make of it: they go before idle and cruise."""
    for r in runs:
        part, own = phase[r.start : r.end], on[r.start : r.end]
        part[~warm[r.start : r.end]] = PHASE_NUMBER[Phase.WARM_UP]
        if r.kind == "cold":
            part[since_cold[r.start : r.end] < STARTING] = PHASE_NUMBER[Phase.COLD_START]
        elif r.kind == "hot" and not r.off < SOAK_SECONDS[0] and not r.off > SOAK_SECONDS[1]:
            part[own < RESTARTED] = PHASE_NUMBER[Phase.HOT_RESTART]
        if r.filled:
            part[(own < FILLED) & warm[r.start : r.end]] = PHASE_NUMBER[Phase.REFUELLED]


def _off(grid: Grid, runs: tuple[Run, ...], run: NDArray[np.int64], phase: NDArray[np.int64]) -> None:
    """Cells recorded while the engine stood."""
    off = run < 0
    phase[off] = PHASE_NUMBER[Phase.OFF]
    coolant, intake = grid.of(COOLANT), grid.of(INTAKE)
    with np.errstate(invalid="ignore"):
        phase[off & (np.abs(coolant - intake) <= 6.0) & (coolant < COLD)] = PHASE_NUMBER[Phase.COLD_SOAKED]
    for before, after in zip(runs, (*runs[1:], None), strict=bool(runs)):
        a, b = before.end, after.start if after is not None else len(grid)
        stood = grid.time[a:b] - grid.time[before.end - 1]
        if not before.coolant[1] >= HOT:
            continue
        phase[a:b][(stood >= SOAK_SECONDS[0]) & (stood <= SOAK_SECONDS[1]) & off[a:b]] = PHASE_NUMBER[Phase.HOT_SOAK]
        if after is not None and after.off < MOMENT:
            phase[a:b][off[a:b]] = PHASE_NUMBER[Phase.STOPPED]
