"""Whether each column can be believed: jumps no such thing makes, values that stand still, one column against another.

What is not believed is left out of everything else (a temperature that jumps and comes back is taken as what lies
between), and said with its place. Limits are physics where they say so, else
judgement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from reasoner.scanlog import rolling
from reasoner.scanlog.columns import (
    AIRFLOW,
    COOLANT,
    INTAKE,
    LOAD,
    LONG,
    MANIFOLD,
    OIL,
    OUTSIDE,
    ROAD,
    SHORT,
    SPEED,
    PlacedQuantity,
)
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.resampling import Flags, Grid

# K a second that a sensor's reading can move at most: its own time constant is seconds, what it sits in is kilograms.
FASTEST = {COOLANT: 2.5, OIL: 2.0, OUTSIDE: 3.0, INTAKE: 8.0}
SEEDS, WARMTH = 12, 0.003  # stretches that the others are strung to in turn; worth of a kelvin; judgement
WARMS, COOLS, HOT = 0.2, 0.02, 70.0  # K a second over minutes at most, the first only up to so many degC; judgement
LEAST_JUMP = 8.0  # K; less is rounding and noise; judgement
BUSY = (AIRFLOW, MANIFOLD, LOAD, SPEED, SHORT)  # quantities that never stand still while a car is driven
STANDS_STILL = 30.0  # s that one of these stands exactly still while the engine does not, at least; judgement
STILL_CHANGES = 25.0  # changes that its own usual pace would have made meanwhile; judgement
OWN_PACE = 60.0  # s of the rest of the log, at least, that a column's own pace is taken from; judgement
STIRRED = 400.0  # rpm that the engine speed moves meanwhile, or km/h / 10 of the road speed; judgement
EDGE = 5  # cells at either end of such a stretch in which nothing else need stand still
LONG_STILL = 600.0  # s that a long-term trim which moved before stands still on the road
LEARNS_FROM = 2.5  # % of short-term trim that stays, from which a long-term one takes it over; judgement
WARMING = 480.0  # s of running in which coolant must rise from cold; judgement
STILL_COLD = 60.0  # degC, below which an engine is not after that long; judgement
ROSE = 3.0  # K that it must have risen by then


@dataclass(frozen=True)
class Doubt:
    """One thing about one column that cannot be. start, end: s of the log. said: in words, without the place."""

    key: PlacedQuantity
    said: str
    start: float
    end: float
    seconds: float


@dataclass(frozen=True)
class Believed:
    """grid: with what is not believed left out. doubts: why. misread: (c,) the coolant's reading lies that far (K) from
    what it can be, 0 elsewhere: a sensor that does so is no defect of the file alone, if the mixture follows it."""

    grid: Grid
    doubts: tuple[Doubt, ...]
    misread: Array


def believed(grid: Grid) -> Believed:
    """Every column against what it can do."""
    series = dict(grid.series)
    doubts: list[Doubt] = []
    misread = np.zeros(len(grid))
    for key, values in grid.series.items():
        if key.quantity in FASTEST:
            off = _jumped(grid, values, key, grid.every[key])
            if off.any():
                level = _carried(grid, values, off)
                if key.quantity == COOLANT:
                    misread = np.where(off, values - level, 0.0)
                far = float(np.nanmax(np.abs(values - level)[off]))
                times = sum(1 for _ in rolling.runs(off))
                doubts.append(_doubt(grid, key, off, f"jumps by up to {far:.0f} K, {_times(times)}: nothing does that"))
                series[key] = np.where(off, level, values)
    for key in list(series):
        still = _stands_still(grid, key, series[key])
        if still is not None and still.any():
            doubts.append(_doubt(grid, key, still, "stands exactly still while the engine does not"))
            series[key] = np.where(still, np.nan, series[key])
    cold = _never_warms(grid, series) or _stops_warming(grid, series)
    if cold is not None:
        doubts.append(cold)
        series[PlacedQuantity(COOLANT)] = np.where(grid.time >= cold.start, np.nan, series[PlacedQuantity(COOLANT)])
    return Believed(replace(grid, series=series), tuple(doubts), np.nan_to_num(misread))


def _doubt(grid: Grid, key: PlacedQuantity, where: Flags, said: str) -> Doubt:
    at = np.flatnonzero(where)
    half = grid.step / 2
    return Doubt(key, said, float(grid.time[at[0]] - half), float(grid.time[at[-1]] + half), where.sum() * grid.step)


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _jumped(grid: Grid, values: Array, key: PlacedQuantity, every: float) -> Flags:
    """Stretches between two jumps that do not belong to the rest: the parts are strung together from the longest.

    A coolant that is still cold after minutes of running speaks for no string of parts, however long it is so: what
    warmed up beside it is the engine.
    """
    off = np.zeros(len(values), dtype=bool)
    there = np.flatnonzero(np.isfinite(values))
    if len(there) < 10:
        return off
    v, t = values[there], grid.time[there]
    limit = np.maximum(LEAST_JUMP, FASTEST[key.quantity] * np.maximum(np.diff(t), every))
    cuts = np.flatnonzero((np.abs(np.diff(v)) > limit) & (np.diff(t) < 60.0)) + 1
    if not len(cuts):
        return off
    parts = list(zip(np.concatenate([[0], cuts]).tolist(), np.concatenate([cuts, [len(v)]]).tolist(), strict=True))
    longest = sorted(range(len(parts)), key=lambda i: t[parts[i][0]] - t[parts[i][1] - 1])[:SEEDS]
    lasts = np.minimum(np.diff(t, append=t[-1:]), 60.0)
    if key.quantity == COOLANT and (v > HOT).any():
        lasts = np.where((t - t[0] > WARMING) & (v < STILL_COLD), 0.0, lasts)
    seconds = [float(lasts[a:b].sum()) for a, b in parts]
    warmth = [1 + WARMTH * float(np.mean(v[a:b])) for a, b in parts]  # what fails open reads cold
    chains = [_chain(parts, i, v, t) for i in longest]
    kept = set(max(chains, key=lambda chain: sum(seconds[i] * warmth[i] for i in chain)))
    for i, (a, b) in enumerate(parts):
        if i not in kept:
            off[there[a] : there[b - 1] + 1] = True
    return off


def _chain(parts: Sequence[tuple[int, int]], seed: int, v: Array, t: Array) -> list[int]:
    """Parts that can follow one another, strung together from one of them, forward and back."""
    chain = [seed]
    for order, ahead in ((range(seed + 1, len(parts)), True), (range(seed - 1, -1, -1), False)):
        last = seed
        for i in order:
            a, b = (parts[last][1] - 1, parts[i][0]) if ahead else (parts[i][1] - 1, parts[last][0])
            pace = WARMS if v[a] < v[b] and v[a] < HOT else COOLS
            if abs(v[b] - v[a]) <= LEAST_JUMP + pace * (t[b] - t[a]):
                chain.append(i)
                last = i
    return chain


def _carried(grid: Grid, values: Array, off: Flags) -> Array:
    """What it would have read: on a straight line between what is believed."""
    good = np.isfinite(values) & ~off
    return np.interp(grid.time, grid.time[good], values[good]) if good.any() else np.full(len(values), np.nan)


def _stands_still(grid: Grid, key: PlacedQuantity, values: Array) -> Flags | None:
    """Where a column of a kind that never rests reads one and the same, for longer than its own pace allows, while
    engine or road speed move."""
    if key.quantity not in (*BUSY, LONG):
        return None
    there = np.isfinite(values)
    rpm, road = grid.of(SPEED), grid.of(ROAD)
    changed = np.concatenate([[True], (values[1:] != values[:-1]) & there[1:]])
    running = there & ((rpm > 400) | ~np.isfinite(rpm))
    found = np.zeros(len(values), dtype=bool)
    seconds = running.sum() * grid.step
    for a, b in rolling.runs(there & ~changed):
        lasted = grid.time[b - 1] - grid.time[a]
        own = changed[running].sum() - changed[a:b].sum()
        pace = own / max(OWN_PACE, seconds - lasted) / (2.0 if key.quantity == LONG else 1.0)
        if lasted < (LONG_STILL if key.quantity == LONG else STANDS_STILL) or pace * lasted < STILL_CHANGES:
            continue
        within = slice(a + EDGE, max(a + EDGE + 1, b - EDGE))
        stirred = _moved(rpm[within]) > STIRRED if key.quantity != SPEED else _moved(road[within]) > STIRRED / 10
        whole = key.quantity != LONG or (b >= len(values) - EDGE and not _nothing_to_learn(grid, key.place, a, b))
        if stirred and whole and not _is_nothing(key, float(values[a])):
            found[a:b] = True
    return found


def _nothing_to_learn(grid: Grid, bank: int, a: int, b: int) -> bool:
    """Whether the short-term trim lay about zero meanwhile: then a long-term one that has learned rests, and is not cut
    off."""
    short = grid.of(SHORT, bank)[a:b]
    short = short[np.isfinite(short)]
    return not len(short) or abs(float(np.median(short))) < LEARNS_FROM


def _is_nothing(key: PlacedQuantity, value: float) -> bool:
    """A trim at zero is an open loop, a car at a standstill stands."""
    return key.quantity in (SHORT, ROAD, SPEED) and abs(value) < 0.4


def _moved(values: Array) -> float:
    there = values[np.isfinite(values)]
    return float(np.ptp(there)) if len(there) else 0.0


def _stops_warming(grid: Grid, series: Mapping[PlacedQuantity, Array]) -> Doubt | None:
    """A coolant that rose and then reads one and the same to the end, to the last digit, for longer than a regulated
    engine keeps it on the road."""
    coolant, rpm = series.get(PlacedQuantity(COOLANT)), grid.of(SPEED)
    if coolant is None:
        return None
    there = np.flatnonzero(np.isfinite(coolant) & (rpm > 400))
    if len(there) < 60:
        return None
    moved = np.flatnonzero(coolant[there] != coolant[there[-1]])
    first = there[moved[-1] + 1] if len(moved) and moved[-1] + 1 < len(there) else there[-1]
    lasted = float(grid.time[there[-1]] - grid.time[first])
    if lasted < WARMING or _moved(rpm[first : there[-1]]) < STIRRED or _moved(coolant[there]) < 2 * ROSE:
        return None
    said = f"stands at {coolant[first]:.0f} °C to the last digit from there to the end"
    return Doubt(PlacedQuantity(COOLANT), said, float(grid.time[first]), float(grid.time[there[-1]]), lasted)


def _never_warms(grid: Grid, series: Mapping[PlacedQuantity, Array]) -> Doubt | None:
    """A coolant that begins cold and has not moved after minutes of running."""
    coolant, rpm = series.get(PlacedQuantity(COOLANT)), grid.of(SPEED)
    if coolant is None:
        return None
    there = np.flatnonzero(np.isfinite(coolant) & (rpm > 400))
    if not len(there) or grid.time[there[-1]] - grid.time[there[0]] < WARMING or coolant[there[0]] > 60:
        return None
    early = there[grid.time[there] - grid.time[there[0]] <= WARMING]
    if np.ptp(coolant[early]) >= ROSE:
        return None
    span = early[0], early[-1]
    said = f"stands at {coolant[early[0]]:.0f} °C while the engine warms up"
    return Doubt(PlacedQuantity(COOLANT), said, float(grid.time[span[0]]), float(grid.time[span[1]]), WARMING)
