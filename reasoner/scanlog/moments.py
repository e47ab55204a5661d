"""Which moments of a log tell anything about the mixture, and what may explain their trims."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reasoner.measure.fuel import GAS_CONSTANT, KELVIN
from reasoner.scanlog import rolling
from reasoner.scanlog.columns import (
    ABSOLUTE_LOAD,
    AIRFLOW,
    BAROMETER,
    COOLANT,
    INTAKE,
    LAMBDA,
    LAMBDA_WANTED,
    LOAD,
    LONG,
    LOOP,
    MANIFOLD,
    PURGE,
    ROAD,
    SHORT,
    SPEED,
    TOTAL,
    PlacedQuantity,
)
from reasoner.scanlog.conditions import PHASE_NUMBER, Conditions, Phase
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.resampling import Flags, Grid
from reasoner.scanlog.shapes import Sample

# ---- which moments count ---------------------------------------------------------------------------------------------


LOOP_SETTLES = (
    8.0  # s of closed loop, or after a purge valve moved, before the short-term trim has caught up; judgement
)
STARTED = 20.0  # s after a start; judgement
STEADY_AIRFLOW = (
    0.5  # natural log of airflow, greatest less least, over the seconds below: the trim follows airflow late
)
STEADY_BEFORE, STEADY_AFTER = 7.0, 2.0  # s; judgement
# Under load airflow never keeps still, and hard pulls are over soon: there what fades with airflow is all but gone, and
# the loop is quicker, for the gas reaches the sensor sooner.
UNDER_LOAD, LOADED_CHANGE = 4.0, 0.9  # times the airflow at idle, and natural log of its change; judgement
LOADED_BEFORE, LOADED_AFTER, LOADED_SETTLES = 4.0, 1.0, 5.0  # s; judgement
FROZEN, STILL = 6.0, 40.0  # s that a trim stands exactly at zero, or elsewhere, where the loop must be open; judgement
FROZEN_SAMPLES = 5  # and at least so many samples; judgement
TRIM_STEP = 100 / 128  # % of trim, its scaling (SAE J1979)
LEAST_STOP = 12.0  # % of trim: no controller's short-term trim has its stop nearer to zero; common practice, no source
STANDS, AT_STOP = 4.0, 10.0  # s on end, and in all, that a trim stands at its stop; judgement
NEAR_STOP, MORE_OFTEN = 3.0, 1.0  # % of trim near a stop, and how much more often it is at it; judgement
AGREES, ON_TARGET = 30, 0.04  # moments, and lambda off its target that a closed loop leaves; judgement
COMMANDED = 0.02  # of lambda, away from 1, that means fuel is added on purpose; judgement
FILLING_ERROR = 0.13  # of airflow from manifold pressure, one standard deviation; judgement
METER = 0.04  # of an air meter's reading that may be its own; from memory of makers' statements, 2 to 3 %, and ageing
UNBURNT, BEFORE_CUT = 1.4, 3.0  # lambda, leaner than any engine runs on: fuel is cut; s before it is seen; judgement
DENSITY = 1.184  # g/L of air that absolute load is counted with (SAE J1979, from memory)


@dataclass(frozen=True)
class Air:
    """flow: (c,) g/s of the whole engine, NaN where not known. how: where it comes from. error: relative, standard.

    absolute: in g/s; else only in proportion, so that shapes can be told but no amounts.
    """

    flow: Array
    how: str
    error: float
    absolute: bool = True


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
    """Airflow as measured; else from absolute load, manifold pressure or calculated load, with the swept volume
    (litres) if it is known, or only in proportion."""
    measured, rpm = grid.get(AIRFLOW), grid.get(SPEED)
    if measured is not None and np.isfinite(measured).mean() > 0.2:
        return Air(np.where(measured > 0.2, measured, np.nan), "measured", METER)
    if rpm is None:
        return None
    swept, known = (litres, True) if litres is not None else (2.0, False)
    much = " and swept volume" if known else ", in proportion only: the swept volume was not said"
    if grid.get(ABSOLUTE_LOAD) is not None:
        flow = grid.of(ABSOLUTE_LOAD) / 100 * DENSITY * swept * rpm / 120
        return Air(np.where(flow > 0.2, flow, np.nan), f"from absolute load, speed{much}", 0.05, known)
    if grid.get(MANIFOLD) is not None:
        celsius = grid.get(INTAKE)
        kelvin = (celsius if celsius is not None else np.full(len(grid), 35.0)) + KELVIN
        pressure = grid.of(MANIFOLD)
        flow = filled(pressure) * 1000 * pressure / (GAS_CONSTANT * kelvin) * swept * rpm / 120
        return Air(np.where(flow > 0.2, flow, np.nan), f"from manifold pressure, speed{much}", FILLING_ERROR, known)
    if grid.get(LOAD) is not None:
        flow = grid.of(LOAD) / 100 * DENSITY * 0.9 * swept * rpm / 120
        much = "in proportion only"
        return Air(np.where(flow > 0.2, flow, np.nan), f"from calculated load and speed, {much}", 0.2, False)
    if grid.get(ROAD) is not None:
        flow = _driven(grid, swept)
        return Air(
            np.where(flow > 0.2, flow, np.nan), "roughly from road and engine speed, in proportion only", 0.4, False
        )
    return None


def _driven(grid: Grid, swept: float) -> Array:
    """(c,) g/s of air that a car of middling weight needs: for its own friction as the engine turns, and for each kW
    at the wheels (mass times acceleration, rolling, drag); a slope of the road is not known. Figures are judgement:
    1.1 g/s a litre at a warm idle of 750 rpm, 0.8 g/s a kW."""
    v = rolling.rolling_mean(grid.of(ROAD), max(1, round(2.0 / grid.step))) / 3.6
    there = np.isfinite(v)
    if there.sum() < 2:
        return np.full(len(grid), np.nan)
    gains = np.full(len(v), np.nan)
    gains[there] = np.gradient(v[there], grid.time[there])
    kilowatts = v * (1400.0 * (gains + 0.012 * 9.81) + 0.4 * v**2) / 1000
    return np.asarray(1.1 * swept * grid.of(SPEED) / 750.0 + 0.8 * np.maximum(0.0, kilowatts))


def filled(pressure: Array) -> Array:
    """Air that stays in a cylinder over what its swept volume holds at the manifold's pressure (kPa).

    Less the lower the pressure, for burnt gas that stays behind or flows back takes more of the room and warms the
    rest: tables of speed-density controllers run from about 0.55 at idle to 0.9 wide open; common practice, no source.
    """
    return np.clip(0.59 + 0.30 * (pressure - 30.0) / 70.0, 0.5, 0.95)


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
    closed &= ~_cut(grid, number)
    good = closed & np.isfinite(total) & (conditions.on >= STARTED) & _steady(grid, air, closed)
    purge = grid.get(PURGE)
    if purge is not None:
        with np.errstate(invalid="ignore"):
            moved = np.concatenate([[False], np.abs(np.diff(purge)) > 4.0])
        good &= rolling.since(moved, grid.time) >= LOOP_SETTLES
    stop = _stopped(grid, number, closed)
    missing = _missing(grid, number, good)
    needed = total + np.nan_to_num(missing)
    stop[np.isfinite(missing)] = 0  # then it is known how far beyond the stop the mixture is
    return Bank(number, total, summed, needed, short, long, closed, good, stop, how)


def _steady(grid: Grid, air: Air | None, closed: Flags) -> Flags:
    """Where the trim has had time to follow the airflow, since it changed and since the loop was closed."""
    since = rolling.since(~closed, grid.time)
    if air is None:
        return np.asarray(since >= LOOP_SETTLES)
    with np.errstate(invalid="ignore", divide="ignore"):
        logs = np.log(air.flow)

        def change(before: float, after: float) -> Array:
            return rolling.rolling_spread(logs, *(max(1, round(s / grid.step)) for s in (before, after)))

        idle = float(np.nanpercentile(air.flow[closed], 10)) if np.isfinite(air.flow[closed]).any() else math.inf
        light = ~(air.flow >= UNDER_LOAD * idle)
        loaded = rolling.since(light, grid.time) > LOADED_BEFORE
        steady = (change(STEADY_BEFORE, STEADY_AFTER) <= STEADY_AIRFLOW) & (since >= LOOP_SETTLES)
        steady |= loaded & (change(LOADED_BEFORE, LOADED_AFTER) <= LOADED_CHANGE) & (since >= LOADED_SETTLES)
    return np.asarray(steady & np.isfinite(air.flow))


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
    overrun = conditions.phase == PHASE_NUMBER[Phase.OVERRUN]
    closed = running & ~overrun & ~on_purpose & ~_frozen(grid, number)
    return np.asarray(
        closed, dtype=np.bool_
    ), "no status was recorded: left out where the short-term trim stands still, and the overrun"


def _cut(grid: Grid, number: int) -> Flags:
    """Where the exhaust is air: fuel is cut, whatever the status says or leaves out."""
    with np.errstate(invalid="ignore"):
        there = grid.of(LAMBDA, number) >= UNBURNT
    return rolling.since(there[::-1], -grid.time[::-1])[::-1] <= BEFORE_CUT


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
        at = signed >= most - TRIM_STEP / 2
        for a, b in list(rolling.runs(at)):
            if grid.time[b - 1] - grid.time[a] + grid.step < STANDS:
                at[a:b] = False
        close_by = (signed < most - TRIM_STEP / 2) & (signed >= most - NEAR_STOP)
        if most >= LEAST_STOP and at.sum() * grid.step >= AT_STOP and at.sum() > MORE_OFTEN * close_by.sum():
            stop[at] = sign
    return stop


def _quick(grid: Grid, number: int) -> Array | None:
    """What moves at once: the short-term trim, or both together where they come as one."""
    short = grid.get(SHORT, number)
    return short if short is not None else grid.get(TOTAL, number)


def _frozen(grid: Grid, number: int) -> Flags:
    """Where the short-term trim stands exactly still over several samples."""
    key = PlacedQuantity(SHORT, number) if grid.get(SHORT, number) is not None else PlacedQuantity(TOTAL, number)
    values = grid.series.get(key)
    if values is None:
        return np.zeros(len(grid), dtype=bool)
    still: Flags = np.zeros(len(grid), dtype=bool)
    with np.errstate(invalid="ignore"):
        at_zero = np.abs(values) < TRIM_STEP / 2
    for seconds, where in ((FROZEN, at_zero), (STILL, ~at_zero)):
        reach = max(2, round(max(seconds, FROZEN_SAMPLES * grid.every[key]) / 2 / grid.step))
        for a, b in rolling.runs((rolling.rolling_spread(values, reach) == 0.0) & where):
            still[max(0, a - reach) : b + reach] = True
    return still


# ---- what may explain their trims ------------------------------------------------------------------------------------


BEGINNING_MOMENTS = 30  # moments of the log's beginning, for what was learned before; judgement
BETWEEN_RUNS = 600.0  # s that a stop counts for, at least, in what one moment tells about the next; judgement
EMPTIES = (10.0, 60.0, 300.0)  # s of fully open purge in which vapour of tank and canister falls to a third; judgement
LEAST_PURGE = 20  # moments with purge, without which nothing can be said of it; judgement
LEAST_COLD = 60  # moments after a cold start without which nothing can be said of fuel out of the oil; judgement
RISES, FALLS = (200.0, 400.0, 800.0), (600.0, 1200.0, 2400.0, 4800.0)  # s, of fuel out of the oil; judgement
RANGE = 1.5  # highest over lowest airflow that tells what goes with airflow from what does not; judgement
# kPa of manifold that are boost: above measured air pressure, and above 100 where it was not measured. On a hill less
# is, and before the throttle there is some while the manifold is still just below: trims say from where on it leaks.
# Judgement.
OVER_KNOWN, OVER_AIR = 1.0, (6.0, 0.0, -6.0, -12.0)
BOOSTED = 10  # moments of boost, without which nothing can be said of it; judgement
WANDERS, MOST_KNOTS, BENDS = 300.0, 24, 5  # s between knots over time, and how many over airflow; judgement
TRIM_LAGS = (0.0, 2.0, 5.0)  # s that trims may lag behind airflow; judgement


@dataclass(frozen=True)
class Looked:
    """sample: the moments. index: (n,) their cells. flow: (n,) g/s of the engine, as far as known (`Air.absolute`).
    reference: of idle, 0 without airflow. lag: s that the trims follow airflow late. told_apart: airflow varied enough.
    """

    sample: Sample
    index: NDArray[np.int64]
    flow: Array
    reference: float
    lag: float
    told_apart: bool


def looked(
    grid: Grid, conditions: Conditions, air: Air | None, bank: Bank, duty: Array, misread: Array | None = None
) -> Looked:
    """duty: (c,) of the purge valve in 0..1, NaN where not known. misread: (c,) K that the coolant reads off."""
    index = np.flatnonzero(bank.good)
    flow = air.flow[index] if air is not None else np.ones(len(index))
    reference = float(np.percentile(flow, 10)) if len(flow) and air is not None else 1.0
    high = float(np.percentile(flow, 95)) if len(flow) else 1.0
    told = air is not None and len(flow) > 0 and float(np.percentile(flow, 90)) >= RANGE * reference
    time = grid.time[index]
    gap = np.diff(time, prepend=time[:1])
    run = conditions.run[index]
    other = np.concatenate([[False], run[1:] != run[:-1]])
    gap = np.where(other, np.maximum(gap, BETWEEN_RUNS), gap)
    coldness = _coldness(grid, conditions)
    best: tuple[float, Looked] | None = None
    lags = TRIM_LAGS if told and grid.step <= 2.0 else TRIM_LAGS[:1]
    overs = OVER_AIR if told and _boosts(grid) else OVER_AIR[:1]
    for lag, over in ((lag, over) for over in overs for lag in lags):
        columns = _columns(grid, conditions, air, duty, coldness, reference, high, told, bank.closed, lag, over)
        kept = {name: values[index] for name, values in columns.items()}
        if misread is not None and (np.abs(misread[index]) > 5).sum() >= LEAST_PURGE:
            kept["misread"] = -misread[index] / float(np.abs(misread).max())
        kept = {name: v for name, v in kept.items() if name == "share" or np.abs(v).max(initial=0.0) > 0.05}
        for number, values in enumerate(_hats(np.cumsum(np.minimum(gap, 60.0)), WANDERS, MOST_KNOTS)):
            kept[f"wander {number}"] = values
        if told:
            logs = np.log(np.clip(flow, reference / 1.5, 1.5 * high))
            for number, values in enumerate(_hats(logs, float(np.ptp(logs)) / BENDS, BENDS)):
                kept[f"bend {number}"] = values
        sample = Sample(
            1 + bank.needed[index],
            np.column_stack(list(kept.values())) if len(index) else np.zeros((0, len(kept))),
            tuple(kept),
            flow / reference,
            gap,
            coldness[index] > 0.2,
            bank.stop[index],
            _learned(bank),
        )
        one = Looked(sample, index, flow, reference if air is not None else 0.0, lag, told)
        misfit = _misfit(sample)
        if best is None or misfit < 0.99 * best[0]:
            best = misfit, one
    assert best is not None
    return best[1]


def _learned(bank: Bank) -> float:
    """The long-term trim that the log begins with, as a fraction; NaN where none was recorded."""
    known = bank.long[np.isfinite(bank.long)][:BEGINNING_MOMENTS]
    return float(np.median(known)) / 100 if len(known) else math.nan


def duty(grid: Grid) -> Array:
    """The purge valve's commanded opening in 0..1, NaN where not known."""
    return grid.of(PURGE) / 100.0


def _columns(
    grid: Grid,
    conditions: Conditions,
    air: Air | None,
    duty: Array,
    coldness: Array,
    reference: float,
    high: float,
    told: bool,
    closed: Flags,
    lag: float,
    over: float,
) -> dict[str, Array]:
    """What could move the trim, over the whole grid, each 1 where it does most: by share; by time, 1 at idle; by
    injection, 1 at idle; with load, 1 at high airflow; and so on."""
    flow = air.flow if air is not None else np.full(len(grid), reference)
    with np.errstate(invalid="ignore", divide="ignore"):
        x = np.where(flow > 0, reference / flow, np.nan)
    found = {"share": np.ones(len(grid))}
    late: dict[str, Array] = {}
    if told:
        late["time"] = x
        rpm = grid.of(SPEED)
        idle = rpm[(x > 0.8) & np.isfinite(rpm)]
        if len(idle) and np.isfinite(rpm[np.isfinite(x)]).all():
            late["injection"] = x * rpm / float(np.median(idle))
        if high >= 2 * reference:
            late["load"] = np.maximum(0.0, (flow - reference) / (high - reference))
            late["square"] = np.minimum(2.0, (flow / high) ** 2)  # as the pressure that a restriction takes away
            middle = math.sqrt(reference * high)
            late["surge"] = np.maximum(0.0, np.log(np.maximum(flow, 1e-3) / middle)) / math.log(high / middle)
        with np.errstate(invalid="ignore"):
            escapes = np.nan_to_num(np.sqrt(np.maximum(0.0, _boost(grid, over))) / flow) if _boosts(grid) else x * 0.0
        if (
            escapes > 0
        ).sum() >= BOOSTED:  # what leaks out is as the root of the pressure, its share falls with airflow
            late["boost"] = np.clip(escapes / float(np.percentile(escapes[escapes > 0], 80)), 0.0, 2.0)
    open_ = np.nan_to_num(duty)
    if (open_ > 0.01).sum() >= LEAST_PURGE:
        usual = float(np.percentile(open_[open_ > 0.01], 75))
        drawn = _drawn(grid, conditions, duty)
        late["purge"] = open_ / usual * x
        for name, e in zip(("brief", "fading", "ebbing"), EMPTIES, strict=True):
            late[name] = late["purge"] * np.exp(-drawn / e)
    if (coldness > 0.05).sum() >= 10:
        late["cold"], late["chill"] = coldness, coldness * x
    if np.isfinite(conditions.since_cold).sum() >= LEAST_COLD:
        for number, shape in enumerate(_oil(conditions.since_cold)):
            late[f"oil {number}"] = shape * x
    if lag:
        late = dict(zip(late, lagged(np.column_stack(list(late.values())), closed, lag / grid.step).T, strict=True))
    return found | {name: np.nan_to_num(values) for name, values in late.items()}


def _boost(grid: Grid, over: float) -> Array:
    """(c,) kPa of boost. over: of a manifold pressure above 100 kPa that are none, where the air's was not measured."""
    outside = grid.of(BAROMETER)
    return grid.of(MANIFOLD) - np.where(np.isfinite(outside), outside + OVER_KNOWN, 100.0 + over)


def _boosts(grid: Grid) -> bool:
    """Whether the manifold was surely above the air outside now and then."""
    with np.errstate(invalid="ignore"):
        return bool((_boost(grid, OVER_AIR[0]) > 0).sum() >= BOOSTED)


def lagged(values: Array, closed: Flags, cells: float) -> Array:
    """(c, k) each column followed by a first-order lag of so many cells, from anew wherever the loop closes."""
    taps = max(1, round(4 * cells))
    piece = np.cumsum(~closed)
    there = closed & np.isfinite(values).all(axis=1)
    known = np.where(there[:, None], values, 0.0)
    total, weight = np.zeros_like(values), np.zeros(len(values))
    for k in range(taps):
        share = np.exp(-k / cells)
        same = there.copy()
        if k:
            same[:k] = False
            same[k:] = there[:-k] & (piece[k:] == piece[:-k])
        total[k:] += share * known[: len(known) - k] * same[k:, None]
        weight += share * same
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(weight[:, None] > 0, total / weight[:, None], np.nan)


def _hats(values: Array, apart: float, most: int) -> list[Array]:
    """Piecewise straight bumps that add up to 1, their knots so far apart or further, not more than `most`."""
    if len(values) < 2 or np.ptp(values) <= apart:
        return []
    low, high = float(values.min()), float(values.max())
    knots = np.linspace(low, high, min(most, max(2, round((high - low) / apart) + 1)))
    width = knots[1] - knots[0]
    return [np.clip(1 - np.abs(values - knot) / width, 0.0, 1.0) for knot in knots]


def _misfit(sample: Sample) -> float:
    """Mean square of what is left by a quick fit, for comparing lags."""
    if len(sample) < 2:
        return 0.0
    x = sample.columns
    c = np.linalg.solve(x.T @ x + 0.1 * np.eye(x.shape[1]), x.T @ (sample.y - 1))
    left = np.abs(sample.y - 1 - x @ c)
    return float(np.minimum(left, 3 * np.median(left)).std())


def _oil(since_cold: Array) -> list[Array]:
    """Fuel that evaporates out of the oil after a cold start: comes with the oil's heat, goes as it is used up."""
    u = np.where(np.isfinite(since_cold), since_cold, 1e9)
    shapes = []
    for rise in RISES:
        for fall in FALLS:
            shape = np.where(u < 1e8, (1 - np.exp(-u / rise)) ** 2 * np.exp(-u / fall), 0.0)
            v = np.linspace(0, 3 * (rise + fall), 400)
            shapes.append(shape / float(((1 - np.exp(-v / rise)) ** 2 * np.exp(-v / fall)).max()))
    return shapes


def _drawn(grid: Grid, conditions: Conditions, duty: Array) -> Array:
    """Seconds of fully open purge so far in the run: how far the canister is emptied."""
    total = np.cumsum(np.nan_to_num(duty) * grid.step)
    for run in conditions.runs:
        part = slice(run.start, run.end)
        total[part] -= total[run.start]
    return np.asarray(np.maximum(total, 0.0))


def _coldness(grid: Grid, conditions: Conditions) -> Array:
    """0 at the regulated temperature, 1 for 55 K below; 0 where the coolant is not known."""
    coolant = grid.of(COOLANT)
    top = conditions.regulated if np.isfinite(conditions.regulated) else 85.0
    return np.clip(np.nan_to_num((max(70.0, top - 8.0) - coolant) / 55.0), 0.0, 1.5)
