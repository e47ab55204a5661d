"""Which moments of a log tell anything about the mixture: closed loop, settled, steady; trim and airflow there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reasoner.measure.air import GAS_CONSTANT, KELVIN
from reasoner.measure.logs import rolling
from reasoner.measure.logs.cells import Array
from reasoner.measure.logs.conditions import CODE, Conditions, Phase
from reasoner.measure.logs.grid import Flags, Grid
from reasoner.measure.logs.quantities import (
    ABSOLUTE_LOAD,
    AIRFLOW,
    INTAKE,
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

SETTLES = 8.0  # s of closed loop, or after a purge valve moved, before the short-term trim has caught up; judgement
STARTED = 20.0  # s after a start
STEADY = 0.35  # natural log of airflow, greatest less least, over the seconds below: the trim follows airflow late
STEADY_BEFORE, STEADY_AFTER = 7.0, 2.0  # s
FROZEN = 6.0  # s that a trim stands exactly still, and at least so many samples, where the loop must be open
FROZEN_SAMPLES = 5
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
    """One bank's trims. total: (c,) as a fraction, short and long multiplied. summed: the same added.

    closed: (c,). good: (c,) moments that count. how: how it is known whether the loop is closed.
    """

    number: int
    total: Array
    summed: Array
    short: Array
    long: Array
    closed: Flags
    good: Flags
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
    return Bank(number, total, summed, short, long, closed, good, how)


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
