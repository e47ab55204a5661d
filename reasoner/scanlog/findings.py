"""What else a log says: purge, coolant, lambda, rail pressure, air, misfires, banks against each other.

Each finding carries its numbers with errors and is silent where its columns are not there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.measure.fuel import GAS_CONSTANT, KELVIN
from reasoner.measure.uncertain import Estimate
from reasoner.scanlog import rolling
from reasoner.scanlog.columns import (
    AIRFLOW,
    BAROMETER,
    BEHIND,
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
    ROAD,
    SPEED,
)
from reasoner.scanlog.conditions import PHASE_NUMBER, Conditions, Phase
from reasoner.scanlog.moments import Air, Bank
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.resampling import Flags, Grid

BEFORE, AFTER = (14.0, 2.0), (9.0, 24.0)  # s around a purge valve's move in which the trim is read; judgement
CROSSWISE = 0.3  # share of the time with two banks opposite, from which it is said; judgement
SAME_AIR = 0.3  # natural log of airflow, before against after; judgement
ONE_READING = 3.0  # % of trim, standard deviation of one such look; judgement
IDLING_PHASES = (Phase.WARM_IDLE, Phase.LONG_IDLE)
HALF_WARM = 70.0  # degC to which a warm-up is timed; judgement
FIRST_MINUTES = 10.0  # min after a stop in which a rail is looked at: later it is cooling that is seen; judgement
EMPTIES_AT_ONCE = (
    3.0  # s in which no leak that an engine runs with empties a rail: 4 mL/min takes 18 s from 5 MPa (hold.py)
)
OPPOSITE = 8.0  # % of trim, one bank below minus this and the other above plus this; judgement
MISTAKEN = math.log(100)  # natural log of the odds that a second sensor can give at most; judgement
SWITCHING = 1.4  # V that a switching sensor gives at most; common practice
AIR_ERROR = 0.05  # relative, of pressure, temperature and speed together at one moment; judgement


@dataclass(frozen=True)
class PurgeLink:
    """Trim (%) with the purge valve open less with it shut, airflow alike. moves: of the valve that were looked at.
    open_share: of running time that it was open. looks: the moment of each move (s) and the difference found there."""

    bank: int
    difference: Estimate
    moves: int
    open_share: float
    looks: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Warming:
    """start, end: coolant, degC. minutes: to 70 degC from a start below 45, None if not reached or not begun cold.

    soak_gap: coolant less intake air (K) at the first moment after a cold soak, None otherwise. at_start: what each
    temperature sensor that was recorded read then (degC, by name). moved: the share of the time until 70 degC (or the
    end of the run) that the car moved, None where its speed is not known. lasted: minutes of the run.
    """

    run: int
    start: float | None
    end: float | None
    minutes: float | None
    soak_gap: float | None
    at_start: tuple[tuple[str, float], ...] = ()
    moved: float | None = None
    lasted: float = 0.0


@dataclass(frozen=True)
class LambdaGap:
    """Measured less commanded lambda in closed loop; commanded taken as 1 where it was not recorded."""

    bank: int
    difference: Estimate
    seconds: float
    commanded_known: bool


@dataclass(frozen=True)
class RailFall:
    """Rail pressure (MPa) when a run ended, and `minutes` later: when it had halved, or as far as was looked."""

    run: int
    before: float
    after: float
    minutes: float
    halved: bool


@dataclass(frozen=True)
class RailGap:
    """Actual over commanded rail pressure less 1, in %: mean with the spread of ten-second means (of what comes and
    goes: while it is quiet), and the furthest off.

    showing: the mean while the fault shows, None where nothing comes and goes. idle: MPa at idle. fall: minutes until
    half the pressure was gone after the engine stopped, None if not seen. falls: after each stop.
    """

    mean: Estimate | None
    furthest: float | None
    idle: float | None
    fall: float | None
    falls: tuple[RailFall, ...] = ()
    showing: Estimate | None = None


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
    """Two banks one rich and the other lean at the same time. share: of moments. trims: median % of each then, None
    where it never was so. seconds: looked at."""

    banks: tuple[int, int]
    share: float
    trims: tuple[float, float] | None
    seconds: float = 0.0


@dataclass(frozen=True)
class Behind:
    """Voltage of the sensor behind the catalyst in steady closed loop: showing, and otherwise; None where not seen."""

    bank: int
    showing: Estimate | None
    otherwise: Estimate | None


@dataclass(frozen=True)
class Others:
    """All of these. at_rest: manifold less air pressure (kPa), engine standing."""

    purge: tuple[PurgeLink, ...]
    warming: tuple[Warming, ...]
    lambdas: tuple[LambdaGap, ...]
    rail: RailGap | None
    filling: tuple[Filling, ...]
    misfires: tuple[Misfires, ...]
    behind: tuple[Behind, ...]
    opposite: Opposite | None
    at_rest: Estimate | None


def others(
    grid: Grid,
    conditions: Conditions,
    banks: Sequence[Bank],
    air: Air | None,
    litres: float | None,
    probability: Array,
) -> Others:
    """litres: swept volume, None = not said. probability: (c,) that the fault of any bank shows."""
    return Others(
        purge=_purge_links(grid, conditions, banks, air),
        warming=_warmings(grid, conditions),
        lambdas=_lambda_gaps(grid, banks),
        rail=_rail_gap(grid, conditions, probability),
        filling=_fillings(grid, conditions, litres),
        misfires=_misfires(grid, probability),
        behind=_behind(grid, banks, probability),
        opposite=_opposite(grid, banks),
        at_rest=_pressure_at_rest(grid, conditions),
    )


def _purge_links(grid: Grid, conditions: Conditions, banks: Sequence[Bank], air: Air | None) -> tuple[PurgeLink, ...]:
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
                looks.append((float(grid.time[i]), look if is_open[i] else -look))
        if looks:
            difference = mean_of_looks([look for _, look in looks])
            found.append(PurgeLink(bank.number, difference, len(looks), open_share, tuple(looks)))
    return tuple(found)


def mean_of_looks(looks: Sequence[float]) -> Estimate:
    """Mean of differences of a trim (%), with its standard error. Raises ZeroDivisionError without a look."""
    spread = max(ONE_READING, float(np.std(looks, ddof=1)) if len(looks) > 2 else 0.0)
    return Estimate(float(np.mean(looks)), spread / math.sqrt(len(looks)))


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


def _warmings(grid: Grid, conditions: Conditions) -> tuple[Warming, ...]:
    """How the coolant rose in each run, and whether it agreed with the air after a cold soak."""
    coolant = grid.get(COOLANT)
    if coolant is None:
        return ()
    air = INTAKE if grid.get(INTAKE) is not None else OUTSIDE
    found = []
    for number, run in enumerate(conditions.runs, start=1):
        minutes = gap = moved = None
        first: dict[str, float] = {}
        if run.kind == "cold" and run.seen:
            there = np.flatnonzero(coolant[run.start : run.end] >= HALF_WARM)
            minutes = float(grid.time[run.start + there[0]] - grid.time[run.start]) / 60 if len(there) else None
            moved = _moved(grid, slice(run.start, run.start + there[0] if len(there) else run.end))
            if not run.off < 6 * 3600:  # unknown, or long enough
                first = _first_read(grid, run.start)
            if air in first:
                gap = float(run.coolant[0] - first[air])
        start, end = (float(c) if math.isfinite(c) else None for c in run.coolant)
        lasted = float(grid.time[run.end - 1] - grid.time[run.start]) / 60
        found.append(Warming(number, start, end, minutes, gap, tuple(first.items()), moved, lasted))
    return tuple(found)


def _first_read(grid: Grid, start: int) -> dict[str, float]:
    """What the temperature sensors read first, by quantity."""
    found = {}
    for quantity in (COOLANT, INTAKE, OUTSIDE):
        values = grid.of(quantity)[start : start + 10]
        values = values[np.isfinite(values)]
        if len(values):
            found[quantity] = float(values[0])
    return found


def _moved(grid: Grid, part: slice) -> float | None:
    road = grid.of(ROAD)[part]
    road = road[np.isfinite(road)]
    return float((road > 5).mean()) if len(road) else None


def _lambda_gaps(grid: Grid, banks: Sequence[Bank]) -> tuple[LambdaGap, ...]:
    """Each bank's measured lambda against what was asked for."""
    found = []
    for bank in banks:
        gap = lambda_off(grid, bank.number)
        if gap is None:
            continue
        gap = gap[bank.good]
        estimate = mean_of(gap, grid.step)
        if estimate is not None:
            known = grid.get(LAMBDA_WANTED) is not None
            found.append(LambdaGap(bank.number, estimate, float(np.isfinite(gap).sum()) * grid.step, known))
    return tuple(found)


def lambda_off(grid: Grid, bank: int) -> Array | None:
    """(c,) measured less commanded lambda of a bank; None where it was not measured. Not commanded: 1 is taken."""
    measured, wanted = grid.get(LAMBDA, bank), grid.get(LAMBDA_WANTED)
    return None if measured is None else measured - (1.0 if wanted is None else wanted)


def _rail_gap(grid: Grid, conditions: Conditions, probability: Array) -> RailGap | None:
    """Rail pressure against what was commanded, at idle, and after the engine stopped."""
    rail = grid.get(RAIL)
    if rail is None:
        return None
    mean = furthest = showing = None
    off = rail_off(grid, conditions)
    if off is not None:
        smooth = rolling.rolling_mean(off, max(1, round(5.0 / grid.step)))
        known = np.isfinite(smooth) & np.isfinite(off)
        with np.errstate(invalid="ignore"):
            shows = np.nan_to_num(probability) > 0.5
        if shows[known].any() and not shows[known].all():
            showing = _middle(smooth[known & shows])
        if known.any():
            mean = _middle(smooth[known & ~shows] if showing is not None else smooth[known])
            furthest = float(smooth[known][np.argmax(np.abs(smooth[known]))])
    idle = rail[_in(conditions, IDLING_PHASES)]
    idle = idle[np.isfinite(idle)]
    at_idle = float(np.median(idle)) / 1000 if len(idle) else None
    falls = _rail_falls(grid, conditions)
    return RailGap(mean, furthest, at_idle, next((f.minutes for f in falls if f.halved), None), falls, showing)


def _middle(values: Array) -> Estimate:
    """Median, and half of what two of three values lie within."""
    return Estimate(float(np.median(values)), float(np.percentile(values, 84) - np.percentile(values, 16)) / 2)


def rail_off(grid: Grid, conditions: Conditions) -> Array | None:
    """(c,) rail pressure over commanded, less 1, in % while the engine runs; None where one of them is not there."""
    rail, wanted = grid.get(RAIL), grid.get(RAIL_WANTED)
    if rail is None or wanted is None:
        return None
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where((conditions.run >= 0) & (wanted > 100), 100 * (rail / wanted - 1), np.nan)


def _rail_falls(grid: Grid, conditions: Conditions) -> tuple[RailFall, ...]:
    """The rail's pressure after each stop that was recorded for long enough to see it."""
    rail, found = grid.of(RAIL), []
    for number, before in enumerate(conditions.runs, start=1):
        after = conditions.runs[number] if number < len(conditions.runs) else None
        a, b = before.end, after.start if after is not None else len(grid)
        last = rail[max(before.start, a - 5) : a]
        last = last[np.isfinite(last)]
        known = np.flatnonzero(np.isfinite(rail[a:b]))
        if not len(known) or not len(last) or not last[-1] > 0:
            continue
        if rail[a:b][known][0] < 0.1 * last[-1] and grid.time[a + known[0]] - grid.time[a - 1] < EMPTIES_AT_ONCE:
            continue  # no rail empties so soon: the sensor or the controller went off
        half = np.flatnonzero(rail[a:b][known] <= last[-1] / 2)
        away = (grid.time[a:b][known] - grid.time[a - 1]) / 60
        seen = int(half[0]) if len(half) else int(np.searchsorted(away, FIRST_MINUTES, side="right")) - 1
        if seen >= 0 and (len(half) or away[seen] >= 1.0):
            pressures = float(last[-1]) / 1000, float(rail[a:b][known][seen]) / 1000
            found.append(RailFall(number, *pressures, float(away[seen]), bool(len(half))))
    return tuple(found)


def _fillings(grid: Grid, conditions: Conditions, litres: float | None) -> tuple[Filling, ...]:
    """Measured airflow against speed, manifold pressure and temperature (Heywood 1988, eq. 2.27, from memory)."""
    measured, pressure, rpm = grid.get(AIRFLOW), grid.get(MANIFOLD), grid.get(SPEED)
    if measured is None or pressure is None or rpm is None:
        return ()
    celsius = grid.of(INTAKE)
    kelvin = np.where(np.isfinite(celsius), celsius, 35.0) + KELVIN
    with np.errstate(invalid="ignore", divide="ignore"):
        swallowed = measured * 120 * GAS_CONSTANT * kelvin / (1000 * pressure * rpm)
    found = []
    for phases in (IDLING_PHASES, (Phase.CRUISE,), (Phase.LOADED,)):
        values = swallowed[_in(conditions, phases) & np.isfinite(swallowed)]
        if len(values) * grid.step < 10:
            continue
        middle = float(np.median(values))
        own = float(np.percentile(values, 84) - np.percentile(values, 16)) / 2 / math.sqrt(max(1.0, len(values) / 10))
        litre = Estimate(middle, math.hypot(own, AIR_ERROR * middle))
        ratio = Estimate(middle / litres, litre.error / litres) if litres else None
        found.append(Filling(phases[0], litre, ratio, float(len(values)) * grid.step))
    return tuple(found)


def _misfires(grid: Grid, probability: Array) -> tuple[Misfires, ...]:
    """Counts of each cylinder, as they grew."""
    found = []
    for cylinder, grown in misfires_grown(grid).items():
        with np.errstate(invalid="ignore"):
            shows = np.nan_to_num(probability) > 0.5
        found.append(Misfires(cylinder, float(np.nansum(grown)), float(np.nansum(grown[shows]))))
    return tuple(found)


def misfires_grown(grid: Grid) -> dict[int, Array]:
    """By cylinder: (c,) misfires that came in by each moment since the reading before, NaN where it was not read.

    A counter that falls back began anew.
    """
    found = {}
    for key in sorted(k for k in grid.series if k.quantity == MISFIRES):
        values = grid.series[key]
        there = np.flatnonzero(np.isfinite(values))
        grown = np.full(len(values), np.nan)
        steps = np.diff(values[there])
        grown[there[1:]] = np.where(steps < 0, 0.0, steps)
        found[key.place] = grown
    return found


def _behind(grid: Grid, banks: Sequence[Bank], probability: Array) -> tuple[Behind, ...]:
    """The second opinion: the sensor behind the catalyst, where it is one that switches (0 to 1.3 V)."""
    found = []
    with np.errstate(invalid="ignore"):
        shows = np.nan_to_num(probability) > 0.5
    for bank in banks:
        volts = behind(grid, bank)
        if volts is not None:
            sides = mean_of(volts[bank.good & shows], grid.step), mean_of(volts[bank.good & ~shows], grid.step)
            found += [Behind(bank.number, *sides)] if any(sides) else []
    return tuple(found)


def behind(grid: Grid, bank: Bank) -> Array | None:
    """(c,) volts behind the catalyst of a bank; None without such a sensor, or where these are no volts of one."""
    volts = grid.get(BEHIND, bank.number)
    if volts is None or not np.isfinite(volts).any() or np.nanmax(volts) > SWITCHING:
        return None
    return volts


STORES = 15.0  # s of one state before the oxygen that a catalyst holds is used up, or it is full; judgement
# Volts behind a catalyst: what a sound one reads in closed loop, rich and lean for good, how far each may be from that,
# and how far the same loop wanders from one half hour to the next; common practice, no source.
MIDDLE, RICH, LEAN, APART, WANDERS = 0.65, 0.82, 0.12, 0.10, 0.06


def sensor_odds(grid: Grid, bank: Bank, shows: Flags, leaner: bool) -> float | None:
    """Odds of the upstream sensor reading wrong against a wrong mixture, by the sensor behind the catalyst: what the
    loop puts right is right behind it; what it puts wrong is rich or lean there for good. None where it says nothing.

    shows: (c,) the error acts. leaner: the loop adds fuel, as for a mixture that is lean.
    """
    volts = behind(grid, bank)
    if volts is None:
        return None
    for_good = rolling.since(~shows, grid.time) >= STORES
    showing = mean_of(volts[bank.good & shows & for_good], grid.step)
    rests = mean_of(volts[bank.good & ~shows & (rolling.since(shows, grid.time) >= STORES)], grid.step)
    if showing is None:
        return None
    wrong = RICH if leaner else LEAN
    if rests is not None and LEAN < rests.value < RICH:
        move = showing.value - rests.value
        spread = math.hypot(WANDERS, math.hypot(showing.error, rests.error))
        to = wrong - rests.value
        return _odds(move, to, max(spread, 0.4 * abs(to)), 0.0, spread)
    return _odds(showing.value, wrong, math.hypot(APART, showing.error), MIDDLE, math.hypot(APART, showing.error))


def _odds(seen: float, at: float, spread: float, other: float, other_spread: float) -> float:
    """Of one normal distribution against another, neither believed beyond 1 in 100 (`MISTAKEN`)."""
    here, there = (seen - at) / spread, (seen - other) / other_spread
    logs = math.log(other_spread / spread) - 0.5 * here**2 + 0.5 * there**2
    return math.exp(max(-MISTAKEN, min(MISTAKEN, logs)))


def _opposite(grid: Grid, banks: Sequence[Bank]) -> Opposite | None:
    """How much of the time one of two banks is taken leaner while the other is made richer."""
    if len(banks) != 2:
        return None
    one, two = banks
    both = one.good & two.good
    if both.sum() * grid.step < 30:
        return None
    a, b = 100 * one.total[both], 100 * two.total[both]
    apart = ((a < -OPPOSITE) & (b > OPPOSITE)) | ((a > OPPOSITE) & (b < -OPPOSITE))
    trims = (float(np.median(a[apart])), float(np.median(b[apart]))) if apart.any() else None
    return Opposite((one.number, two.number), float(apart.mean()), trims, float(both.sum()) * grid.step)


def _pressure_at_rest(grid: Grid, conditions: Conditions) -> Estimate | None:
    """Manifold less air pressure (kPa) with the engine standing: two sensors that must agree."""
    manifold, air = grid.get(MANIFOLD), grid.get(BAROMETER)
    if manifold is None or air is None:
        return None
    stands = (conditions.run < 0) & (grid.of(SPEED) < 10)
    gap = (manifold - air)[stands]
    gap = gap[np.isfinite(gap)]
    return Estimate(float(np.median(gap)), max(1.0, float(np.std(gap)))) if len(gap) else None


def _in(conditions: Conditions, phases: Sequence[Phase]) -> Flags:
    return np.isin(conditions.phase, [PHASE_NUMBER[p] for p in phases])


def mean_of(values: Array, step: float) -> Estimate | None:
    """Mean with its standard error, neighbouring ten seconds counting as one."""
    values = values[np.isfinite(values)]
    if len(values) * step < 10:
        return None
    looks = max(1.0, len(values) * step / 10)
    return Estimate(float(np.mean(values)), float(np.std(values)) / math.sqrt(looks))
