"""Which moments of a log tell anything about the mixture, and what may explain their trims."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reasoner.measure.air import GAS_CONSTANT, KELVIN
from reasoner.scanlog import rolling
from reasoner.scanlog.columns import (
    ABSOLUTE_LOAD,
    AIRFLOW,
    COOLANT,
    INTAKE,
    LAMBDA,
    LAMBDA_WANTED,
    LONG,
    LOOP,
    MANIFOLD,
    PURGE,
    SHORT,
    SPEED,
    TOTAL,
    Key,
)
from reasoner.scanlog.conditions import CODE, Conditions, Phase
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.resampling import Flags, Grid
from reasoner.scanlog.shapes import Sample

# ---- which moments count ---------------------------------------------------------------------------------------------


SETTLES = 8.0  # s of closed loop, or after a purge valve moved, before the short-term trim has caught up; judgement
STARTED = 20.0  # s after a start
STEADY = 0.35  # natural log of airflow, greatest less least, over the seconds below: the trim follows airflow late
STEADY_BEFORE, STEADY_AFTER = 7.0, 2.0  # s
FROZEN = 6.0  # s that a trim stands exactly still, and at least so many samples, where the loop must be open
FROZEN_SAMPLES = 5
STEP = 100 / 128  # % of trim, its scaling (SAE J1979)
LEAST_STOP = 12.0  # % of trim: no controller's short-term trim has its stop nearer to zero; common practice, no source
STANDS, AT_STOP = 4.0, 10.0  # s on end, and in all, that a trim stands at its stop; judgement
NEAR_STOP, MORE_OFTEN = 3.0, 1.0  # % of trim near a stop, and how much more often it is at it; judgement
AGREES, ON_TARGET = 30, 0.04  # moments, and lambda off its target that a closed loop leaves; judgement
COMMANDED = 0.02  # of lambda, away from 1, that means fuel is added on purpose
FILLING = 0.80  # of the cylinder, where airflow has to be worked out from manifold pressure (Heywood 1988, from memory)
FILLING_ERROR = 0.10  # of it, one standard deviation; judgement
DENSITY = 1.184  # g/L of air that absolute load is counted with (SAE J1979, from memory)


@dataclass(frozen=True)
class Air:
    """flow: (c,) g/s of the whole engine, NaN where not known. how: where it comes from. error: relative, standard."""

    flow: Array
    how: str
    error: float


@dataclass(frozen=True)
class Bank:
    """One bank's trims. total: (c,) as a fraction, short and long multiplied. summed: the same added. needed: (c,)
    total with what lambda says is still missing of it.

    closed: (c,). good: (c,) moments that count. stop: (c,) -1 where the short-term trim stands at its lower stop, 1
    at its upper. how: how it is known whether the loop is closed.
    """

    number: int
    total: Array
    summed: Array
    needed: Array
    short: Array
    long: Array
    closed: Flags
    good: Flags
    stop: NDArray[np.int8]
    how: str


def airflow(grid: Grid, litres: float | None = None) -> Air | None:
    """Airflow as measured; else from manifold pressure or absolute load and the swept volume (litres), if known."""
    measured = grid.get(AIRFLOW)
    if measured is not None:
        return Air(np.where(measured > 0.2, measured, np.nan), "measured", 0.0)
    rpm = grid.get(SPEED)
    if litres is None or rpm is None:
        return None
    if grid.get(ABSOLUTE_LOAD) is not None:
        flow = grid.of(ABSOLUTE_LOAD) / 100 * DENSITY * litres * rpm / 120
        return Air(np.where(flow > 0.2, flow, np.nan), "from absolute load and swept volume", 0.05)
    if grid.get(MANIFOLD) is not None:
        celsius = grid.get(INTAKE)
        kelvin = (celsius if celsius is not None else np.full(len(grid), 35.0)) + KELVIN
        flow = FILLING * 1000 * grid.of(MANIFOLD) / (GAS_CONSTANT * kelvin) * litres * rpm / 120
        how = f"from manifold pressure, speed and swept volume, filling taken as {FILLING:g}"
        return Air(np.where(flow > 0.2, flow, np.nan), how, FILLING_ERROR)
    return None


def banks(grid: Grid, conditions: Conditions, air: Air | None) -> tuple[Bank, ...]:
    """Every bank that has a trim."""
    numbers = sorted({key.place for key in grid.series if key.quantity in (SHORT, LONG, TOTAL)})
    return tuple(_bank(grid, conditions, air, number) for number in numbers)


def _bank(grid: Grid, conditions: Conditions, air: Air | None, number: int) -> Bank:
    short, long = grid.of(SHORT, number), grid.of(LONG, number)
    whole = grid.get(TOTAL, number)
    s = np.where(np.isfinite(short), short, 0.0 if grid.get(SHORT, number) is None else np.nan) / 100
    held = np.where(np.isfinite(long), long, 0.0 if grid.get(LONG, number) is None else np.nan) / 100
    total = (1 + s) * (1 + held) - 1 if whole is None else whole / 100
    summed = s + held if whole is None else whole / 100
    closed, how = _closed(grid, conditions, number)
    good = closed & np.isfinite(total) & (conditions.on >= STARTED)
    good &= rolling.since(~closed, grid.time) >= SETTLES
    if air is not None:
        with np.errstate(invalid="ignore", divide="ignore"):
            before, after = (max(1, round(s / grid.step)) for s in (STEADY_BEFORE, STEADY_AFTER))
            good &= rolling.spread(np.log(air.flow), before, after) <= STEADY
            good &= np.isfinite(air.flow)
    purge = grid.get(PURGE)
    if purge is not None:
        with np.errstate(invalid="ignore"):
            moved = np.concatenate([[False], np.abs(np.diff(purge)) > 4.0])
        good &= rolling.since(moved, grid.time) >= SETTLES
    stop = _stopped(grid, number, closed)
    missing = _missing(grid, number, good)
    needed = total + np.nan_to_num(missing)
    stop[np.isfinite(missing)] = 0  # then it is known how far beyond the stop the mixture is
    return Bank(number, total, summed, needed, short, long, closed, good, stop, how)


def _closed(grid: Grid, conditions: Conditions, number: int) -> tuple[Flags, str]:
    """Closed loop as the controller says; where it says nothing, what gives an open loop away is left out."""
    running: Flags = np.asarray(conditions.run >= 0)
    own = grid.get(LOOP, number)
    status = grid.get(LOOP, 1) if own is None else own
    wanted = grid.of(LAMBDA_WANTED)
    with np.errstate(invalid="ignore"):
        on_purpose: Flags = np.abs(wanted - 1) > COMMANDED
        said: Flags = np.zeros(len(grid), dtype=bool) if status is None else status > 0.5
    if status is not None:
        told: Flags = running & said & ~on_purpose
        return told, "the fuel system status"
    overrun = conditions.phase == CODE[Phase.OVERRUN]
    closed = running & ~overrun & ~on_purpose & ~_frozen(grid, number)
    return np.asarray(
        closed, dtype=np.bool_
    ), "no status was recorded: left out where the short-term trim stands still, and the overrun"


def _missing(grid: Grid, number: int, good: Flags) -> Array:
    """(c,) what is still missing of the trim, as a fraction, where measured lambda is clearly off its target; NaN where
    there is no wide-band sensor that agrees with its target for most of the time.

    Fuel is base (1 + T) + a, air / (R lambda); base (1 + T') + a would be air / R: T' - T = 1 - 1/lambda for base near
    air / R.
    """
    off = grid.of(LAMBDA, number) / np.where(np.isfinite(wanted := grid.of(LAMBDA_WANTED)), wanted, 1.0)
    seen = good & np.isfinite(off)
    if seen.sum() < AGREES or np.median(np.abs(off[seen] - 1)) > ON_TARGET:
        return np.full(len(grid), np.nan)
    return np.where(seen, np.where(np.abs(off - 1) > ON_TARGET, 1 - 1 / off, 0.0), np.nan)


def _stopped(grid: Grid, number: int, closed: Flags) -> NDArray[np.int8]:
    """Where the short-term trim stands at a stop: at its least (or most) value for seconds on end, and more often there
    than near it. A trim that is free visits its extremes seldom."""
    values = _quick(grid, number)
    stop = np.zeros(len(grid), dtype=np.int8)
    there = closed & np.isfinite(values) if values is not None else closed
    if values is None or not there.any():
        return stop
    for sign in (-1, 1):
        signed = np.where(there, sign * values, -np.inf)
        most = float(signed.max())
        at = signed >= most - STEP / 2
        for a, b in list(rolling.runs(at)):
            if grid.time[b - 1] - grid.time[a] + grid.step < STANDS:
                at[a:b] = False
        close_by = (signed < most - STEP / 2) & (signed >= most - NEAR_STOP)
        if most >= LEAST_STOP and at.sum() * grid.step >= AT_STOP and at.sum() > MORE_OFTEN * close_by.sum():
            stop[at] = sign
    return stop


def _quick(grid: Grid, number: int) -> Array | None:
    """What moves at once: the short-term trim, or both together where they come as one."""
    short = grid.get(SHORT, number)
    return short if short is not None else grid.get(TOTAL, number)


def _frozen(grid: Grid, number: int) -> Flags:
    """Where the short-term trim stands exactly still over several samples."""
    key = Key(SHORT, number) if grid.get(SHORT, number) is not None else Key(TOTAL, number)
    values = grid.series.get(key)
    if values is None:
        return np.zeros(len(grid), dtype=bool)
    reach = max(2, round(max(FROZEN, FROZEN_SAMPLES * grid.every[key]) / 2 / grid.step))
    still: Flags = rolling.spread(values, reach) == 0.0
    for a, b in rolling.runs(still):
        still[max(0, a - reach) : b + reach] = True
    return still


# ---- what may explain their trims ------------------------------------------------------------------------------------


BETWEEN_RUNS = 600.0  # s that a stop of the engine counts for, at least, in what one moment tells about the next
EMPTIES = (10.0, 60.0)  # s of fully open purge in which vapour of tank and canister falls to a third; judgement
LEAST_PURGE = 20  # moments with purge, without which nothing can be said of it


@dataclass(frozen=True)
class Looked:
    """sample: the moments. index: (n,) their cells. reference: g/s of air that x counts from, 0 without airflow."""

    sample: Sample
    index: NDArray[np.int64]
    reference: float


def looked(grid: Grid, conditions: Conditions, air: Air | None, bank: Bank, duty: Array) -> Looked:
    """duty: (c,) of the purge valve in 0..1, NaN where not known."""
    index = np.flatnonzero(bank.good)
    flow = air.flow[index] if air is not None else np.ones(len(index))
    reference = float(np.percentile(flow, 10)) if len(flow) and air is not None else 1.0
    x = reference / flow if air is not None else np.ones(len(index))
    time = grid.time[index]
    gap = np.diff(time, prepend=time[:1])
    run = conditions.run[index]
    other = np.concatenate([[False], run[1:] != run[:-1]])
    gap = np.where(other, np.maximum(gap, BETWEEN_RUNS), gap)
    columns: list[Array] = []
    open_ = np.nan_to_num(duty[index])
    if (open_ > 0.01).sum() >= LEAST_PURGE:
        drawn = _drawn(grid, conditions, duty)[index]
        columns += [open_ * x * fades for fades in (np.ones(len(index)), *(np.exp(-drawn / e) for e in EMPTIES))]
    purging = len(columns)
    coldness = _coldness(grid, conditions, index)
    if (coldness > 0.05).sum() >= 10:
        columns += [coldness, coldness * x]
    covariates = np.column_stack(columns) if columns else np.zeros((len(index), 0))
    is_purge = np.arange(len(columns)) < purging
    sample = Sample(
        1 + bank.needed[index],
        x,
        gap,
        covariates,
        is_purge,
        conditions.since_cold[index],
        coldness > 0.2,
        bank.stop[index],
    )
    return Looked(sample, index, reference if air is not None else 0.0)


def duty(grid: Grid) -> Array:
    """The purge valve's commanded opening in 0..1, NaN where not known."""
    return grid.of(PURGE) / 100.0


def _drawn(grid: Grid, conditions: Conditions, duty: Array) -> Array:
    """Seconds of fully open purge so far in the run: how far the canister is emptied."""
    total = np.cumsum(np.nan_to_num(duty) * grid.step)
    for run in conditions.runs:
        part = slice(run.start, run.end)
        total[part] -= total[run.start]
    return np.asarray(np.maximum(total, 0.0))


def _coldness(grid: Grid, conditions: Conditions, index: NDArray[np.int64]) -> Array:
    """0 at the regulated temperature, 1 for 55 K below; 0 where the coolant is not known."""
    coolant = grid.of(COOLANT)[index]
    top = conditions.regulated if np.isfinite(conditions.regulated) else 85.0
    return np.clip(np.nan_to_num((max(70.0, top - 8.0) - coolant) / 55.0), 0.0, 1.5)
