"""What else a log says: purge, coolant, lambda, rail pressure, air, misfires, banks against each other.

Each finding carries its numbers with errors and is silent where its columns are not there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.measure.air import GAS_CONSTANT, KELVIN
from reasoner.measure.logs import rolling
from reasoner.measure.logs.cells import Array
from reasoner.measure.logs.conditions import CODE, Conditions, Phase
from reasoner.measure.logs.grid import Flags, Grid
from reasoner.measure.logs.quantities import (
    AIRFLOW,
    BAROMETER,
    COOLANT,
    INTAKE,
    LAMBDA,
    LAMBDA_WANTED,
    MANIFOLD,
    MISFIRES,
    OUTSIDE,
    PURGE,
    RAIL,
    RAIL_WANTED,
    SPEED,
)
from reasoner.measure.logs.usable import Air, Bank
from reasoner.measure.uncertain import Estimate

BEFORE, AFTER = (14.0, 2.0), (9.0, 24.0)  # s around a purge valve's move in which the trim is read
SAME_AIR = 0.3  # natural log of airflow, before against after
ONE_READING = 3.0  # % of trim, standard deviation of one such look; judgement
IDLING = (Phase.WARM_IDLE, Phase.LONG_IDLE)
OPPOSITE = 8.0  # % of trim, one bank below minus this and the other above plus this
AIR_ERROR = 0.05  # relative, of pressure, temperature and speed together at one moment; judgement


@dataclass(frozen=True)
class PurgeLink:
    """Trim (%) with the purge valve open less with it shut, airflow alike. moves: of the valve that were looked at.
    open_share: of running time that it was open."""

    bank: int
    difference: Estimate
    moves: int
    open_share: float


@dataclass(frozen=True)
class Warming:
    """start, end: coolant, degC. minutes: to 70 degC from a start below 45, None if not reached or not begun cold.

    soak_gap: coolant less intake air (K) at the first moment after a cold soak, None otherwise.
    """

    run: int
    start: float | None
    end: float | None
    minutes: float | None
    soak_gap: float | None


@dataclass(frozen=True)
class LambdaGap:
    """Measured less commanded lambda in closed loop; commanded taken as 1 where it was not recorded."""

    bank: int
    difference: Estimate
    seconds: float
    commanded_known: bool


@dataclass(frozen=True)
class RailGap:
    """Actual over commanded rail pressure less 1, in %: mean with the spread of ten-second means, and the furthest off.

    idle: MPa at idle. fall: minutes until half the pressure was gone after the engine stopped, None if not seen.
    """

    mean: Estimate | None
    furthest: float | None
    idle: float | None
    fall: float | None


@dataclass(frozen=True)
class Filling:
    """Air swallowed, in litres of manifold gas for two turns: swept volume times volumetric efficiency. efficiency: the
    same over the swept volume, where that is known. phase: where."""

    phase: Phase
    litres: Estimate
    efficiency: Estimate | None
    seconds: float


@dataclass(frozen=True)
class Misfires:
    """Counts that came in while the log ran. showing: of those, while the fault showed."""

    cylinder: int
    count: float
    showing: float


@dataclass(frozen=True)
class Opposite:
    """Two banks one rich and the other lean at the same time. share: of moments. trims: median % of each then."""

    banks: tuple[int, int]
    share: float
    trims: tuple[float, float]


def purge_links(grid: Grid, conditions: Conditions, banks: Sequence[Bank], air: Air | None) -> tuple[PurgeLink, ...]:
    """Each bank's trim around the moves of the purge valve."""
    duty = grid.get(PURGE)
    if duty is None:
        return ()
    with np.errstate(invalid="ignore"):
        is_open = np.where(np.isfinite(duty), duty, 0.0) > 2.0
    running = conditions.run >= 0
    open_share = float(is_open[running].mean()) if running.any() else 0.0
    moves = np.flatnonzero(is_open[1:] != is_open[:-1]) + 1
    found = []
    for bank in banks:
        looks = []
        for i in moves.tolist():
            look = _around(grid, bank, air, i, is_open)
            if look is not None:
                looks.append(look if is_open[i] else -look)
        if looks:
            spread = max(ONE_READING, float(np.std(looks, ddof=1)) if len(looks) > 2 else 0.0)
            difference = Estimate(float(np.mean(looks)), spread / math.sqrt(len(looks)))
            found.append(PurgeLink(bank.number, difference, len(looks), open_share))
    return tuple(found)


def _around(grid: Grid, bank: Bank, air: Air | None, i: int, is_open: Flags) -> float | None:
    """Trim (%) after the valve moved at cell i less before, if the valve and the airflow kept still otherwise."""
    away = grid.time - grid.time[i]
    a, b = np.searchsorted(away, -BEFORE[0]), np.searchsorted(away, AFTER[1], side="right")
    part, away = slice(int(a), int(b)), away[a:b]
    before, after = (away >= -BEFORE[0]) & (away <= -BEFORE[1]), (away >= AFTER[0])
    if before.sum() * grid.step < 6 or after.sum() * grid.step < 8:
        return None
    if not (bank.closed[part].all() and (is_open[part][away >= 0] == is_open[i]).all()):
        return None
    if (is_open[part][before] == is_open[i]).any():
        return None
    if air is not None:
        with np.errstate(invalid="ignore", divide="ignore"):
            flow = np.log(air.flow[part])
        if not abs(_change(flow, before, after)) < SAME_AIR:
            return None
    change = 100 * _change(bank.total[part], before, after)
    return change if math.isfinite(change) else None


def _change(values: Array, before: Flags, after: Flags) -> float:
    """Mean after less mean before; NaN where either is not known."""
    there = np.isfinite(values)
    if not (there & before).any() or not (there & after).any():
        return math.nan
    return float(values[there & after].mean() - values[there & before].mean())


def warmings(grid: Grid, conditions: Conditions) -> tuple[Warming, ...]:
    """How the coolant rose in each run, and whether it agreed with the air after a cold soak."""
    coolant = grid.get(COOLANT)
    if coolant is None:
        return ()
    air = grid.of(INTAKE) if grid.get(INTAKE) is not None else grid.of(OUTSIDE)
    found = []
    for number, run in enumerate(conditions.runs, start=1):
        minutes = gap = None
        if run.kind == "cold" and run.seen:
            there = np.flatnonzero(coolant[run.start : run.end] >= 70.0)
            minutes = float(grid.time[run.start + there[0]] - grid.time[run.start]) / 60 if len(there) else None
            first = air[run.start : run.start + 10]
            first = first[np.isfinite(first)]
            soaked = not run.off < 6 * 3600  # unknown, or long enough
            gap = float(run.coolant[0] - first[0]) if len(first) and soaked else None
        start, end = (float(c) if math.isfinite(c) else None for c in run.coolant)
        found.append(Warming(number, start, end, minutes, gap))
    return tuple(found)


def lambda_gaps(grid: Grid, banks: Sequence[Bank]) -> tuple[LambdaGap, ...]:
    """Each bank's measured lambda against what was asked for."""
    wanted = grid.get(LAMBDA_WANTED)
    asked = np.ones(len(grid)) if wanted is None else wanted
    found = []
    for bank in banks:
        measured = grid.get(LAMBDA, bank.number)
        if measured is None:
            continue
        gap = (measured - asked)[bank.good]
        estimate = _mean(gap, grid.step)
        if estimate is not None:
            found.append(
                LambdaGap(bank.number, estimate, float(np.isfinite(gap).sum()) * grid.step, wanted is not None)
            )
    return tuple(found)


def rail_gap(grid: Grid, conditions: Conditions) -> RailGap | None:
    """Rail pressure against what was commanded, at idle, and after the engine stopped."""
    rail = grid.get(RAIL)
    if rail is None:
        return None
    running = conditions.run >= 0
    wanted = grid.get(RAIL_WANTED)
    mean = furthest = None
    if wanted is not None:
        with np.errstate(invalid="ignore", divide="ignore"):
            off = np.where(running & (wanted > 100), 100 * (rail / wanted - 1), np.nan)
        smooth = rolling.mean(off, max(1, round(5.0 / grid.step)))
        known = smooth[np.isfinite(smooth) & np.isfinite(off)]
        if len(known):
            mean = Estimate(float(np.median(known)), float(np.percentile(known, 84) - np.percentile(known, 16)) / 2)
            furthest = float(known[np.argmax(np.abs(known))])
    idle = rail[_in(conditions, IDLING)]
    idle = idle[np.isfinite(idle)]
    at_idle = float(np.median(idle)) / 1000 if len(idle) else None
    return RailGap(mean, furthest, at_idle, _fall(grid, conditions, rail))


def _fall(grid: Grid, conditions: Conditions, rail: Array) -> float | None:
    """Minutes to half the pressure after the first stop that was recorded long enough."""
    for before, after in zip(conditions.runs, (*conditions.runs[1:], None), strict=bool(conditions.runs)):
        a, b = before.end, after.start if after is not None else len(grid)
        last = rail[max(before.start, a - 5) : a]
        last = last[np.isfinite(last)]
        if b <= a or not len(last):
            continue
        with np.errstate(invalid="ignore"):
            half = np.flatnonzero(rail[a:b] <= last[-1] / 2)
        if len(half):
            return float(grid.time[a + half[0]] - grid.time[a - 1]) / 60
    return None


def fillings(grid: Grid, conditions: Conditions, litres: float | None) -> tuple[Filling, ...]:
    """Measured airflow against speed, manifold pressure and temperature (Heywood 1988, eq. 2.27, from memory)."""
    measured, pressure, rpm = grid.get(AIRFLOW), grid.get(MANIFOLD), grid.get(SPEED)
    if measured is None or pressure is None or rpm is None:
        return ()
    celsius = grid.of(INTAKE)
    kelvin = np.where(np.isfinite(celsius), celsius, 35.0) + KELVIN
    with np.errstate(invalid="ignore", divide="ignore"):
        swallowed = measured * 120 * GAS_CONSTANT * kelvin / (1000 * pressure * rpm)
    found = []
    for phases in (IDLING, (Phase.CRUISE,), (Phase.LOADED,)):
        values = swallowed[_in(conditions, phases) & np.isfinite(swallowed)]
        if len(values) * grid.step < 10:
            continue
        middle = float(np.median(values))
        own = float(np.percentile(values, 84) - np.percentile(values, 16)) / 2 / math.sqrt(max(1.0, len(values) / 10))
        litre = Estimate(middle, math.hypot(own, AIR_ERROR * middle))
        ratio = Estimate(middle / litres, litre.error / litres) if litres else None
        found.append(Filling(phases[0], litre, ratio, float(len(values)) * grid.step))
    return tuple(found)


def misfires(grid: Grid, probability: Array) -> tuple[Misfires, ...]:
    """Counts of each cylinder, as they grew; a counter that falls back began anew."""
    found = []
    for key in sorted(k for k in grid.series if k.quantity == MISFIRES):
        values = grid.series[key]
        there = np.flatnonzero(np.isfinite(values))
        steps = np.maximum(0.0, np.diff(values[there]))
        with np.errstate(invalid="ignore"):
            shows = np.nan_to_num(probability[there[1:]]) > 0.5
        found.append(Misfires(key.place, float(steps.sum()), float(steps[shows].sum())))
    return tuple(found)


def opposite(grid: Grid, banks: Sequence[Bank]) -> Opposite | None:
    """Whether one of two banks is taken leaner while the other is made richer, most of the time."""
    if len(banks) != 2:
        return None
    one, two = banks
    both = one.good & two.good
    if both.sum() * grid.step < 30:
        return None
    a, b = 100 * one.total[both], 100 * two.total[both]
    apart = ((a < -OPPOSITE) & (b > OPPOSITE)) | ((a > OPPOSITE) & (b < -OPPOSITE))
    if apart.mean() < 0.3:
        return None
    return Opposite(
        (one.number, two.number), float(apart.mean()), (float(np.median(a[apart])), float(np.median(b[apart])))
    )


def pressure_at_rest(grid: Grid, conditions: Conditions) -> Estimate | None:
    """Manifold less air pressure (kPa) with the engine standing: two sensors that must agree."""
    manifold, air = grid.get(MANIFOLD), grid.get(BAROMETER)
    if manifold is None or air is None:
        return None
    stands = (conditions.run < 0) & (grid.of(SPEED) < 10)
    gap = (manifold - air)[stands]
    gap = gap[np.isfinite(gap)]
    return Estimate(float(np.median(gap)), max(1.0, float(np.std(gap)))) if len(gap) else None


def _in(conditions: Conditions, phases: Sequence[Phase]) -> Flags:
    return np.isin(conditions.phase, [CODE[p] for p in phases])


def _mean(values: Array, step: float) -> Estimate | None:
    """Mean with its standard error, neighbouring ten seconds counting as one."""
    values = values[np.isfinite(values)]
    if len(values) * step < 10:
        return None
    looks = max(1.0, len(values) * step / 10)
    return Estimate(float(np.mean(values)), float(np.std(values)) / math.sqrt(looks))
