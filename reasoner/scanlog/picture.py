"""What a picture of a log is drawn from: trims, spells and what the engine did, on one clock; trims over airflow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog.columns import COOLANT, PURGE, RAIL, SPEED
from reasoner.scanlog.conditions import PHASES, Conditions
from reasoner.scanlog.document import Cloud, Lane, LogMark, Picture, Point, Track
from reasoner.scanlog.findings import misfires_grown
from reasoner.scanlog.moments import Air, Bank, Looked
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.resampling import Grid
from reasoner.scanlog.spells import States

DRAWN, DOTS, CURVE = 900, 500, 40  # moments over time and over airflow, points of a curve; presentation
MARKS = 24  # misfires that are marked at most
ONE_MARK_WITHIN = 20.0  # s within which misfires of a cylinder are one mark
LANES = ((SPEED, "rpm"), (COOLANT, "°C"), (PURGE, "%"), (RAIL, "kPa"))


@dataclass(frozen=True)
class Shown:
    """One bank, as far as it was looked at. probability: (c,) that its fault shows."""

    bank: Bank
    looked: Looked
    states: States | None
    probability: Array


def log_picture(
    even: Grid, when: Conditions, air: Air | None, banks: Sequence[Shown], codes: Sequence[tuple[str, float]] = ()
) -> Picture:
    """codes: trouble codes and when (s) they first appeared."""
    width = max(1, -(-len(even) // DRAWN))
    first = np.arange(0, len(even), width)
    tracks = tuple(
        Track(
            shown.bank.number,
            _drawn(np.where(shown.bank.closed, 100 * shown.bank.total, np.nan), first, 1),
            _drawn(shown.probability, first, 2),
        )
        for shown in banks
    )
    flow = _drawn(air.flow if air is not None else np.full(len(even), np.nan), first, 2)
    lanes = [Lane(name, unit, _drawn(even.of(name), first, 1)) for name, unit in LANES if even.get(name) is not None]
    if air is not None:
        lanes.insert(1, Lane("airflow" if air.absolute else "airflow, in proportion", "g/s", flow))
    time = tuple(round(t, 1) for t in even.time[first].tolist())
    phases = tuple(PHASES[code].value for code in when.phase[first].tolist())
    marks = sorted([*_misfires(even), *(LogMark(at, code) for code, at in codes)], key=lambda mark: mark.time)
    gaps = tuple(
        (float(even.time[i - 1]), float(even.time[i]))
        for i in np.flatnonzero(even.fresh).tolist()
        if i and not even.pause[i] < 2 * even.step
    )
    clouds = tuple(_cloud(shown) for shown in banks if shown.states is not None and air is not None)
    return Picture(time, phases, flow, tracks, clouds, tuple(lanes), tuple(marks), gaps)


def _misfires(even: Grid) -> list[LogMark]:
    """Where misfires came in, those of a cylinder close together as one."""
    found = []
    for cylinder, grown in misfires_grown(even).items():
        last = -ONE_MARK_WITHIN
        for at in even.time[np.nan_to_num(grown) > 0].tolist():
            if at - last >= ONE_MARK_WITHIN:
                found.append(LogMark(at, f"misfire {cylinder}"))
            last = at
    return found[:MARKS]


def _drawn(values: Array, first: NDArray[np.intp], digits: int) -> tuple[float | None, ...]:
    """Means of the stretches that begin at `first`, None where there is none."""
    there = np.isfinite(values)
    sums = np.add.reduceat(np.where(there, values, 0.0), first)
    counts = np.add.reduceat(there.astype(float), first)
    return tuple(round(s / c, digits) if c else None for s, c in zip(sums.tolist(), counts.tolist(), strict=True))


def _cloud(shown: Shown) -> Cloud:
    """Readings as they are, and the fitted curve of each state."""
    sample, flow = shown.looked.sample, shown.looked.flow
    picked = np.unique(np.linspace(0, len(sample) - 1, min(DOTS, len(sample))).astype(int))
    shows = shown.probability[shown.looked.index] > 0.5
    points = tuple(
        Point(round(m, 2), round(100 * (y - 1), 1), s)
        for m, y, s in zip(flow[picked].tolist(), sample.y[picked].tolist(), shows[picked].tolist(), strict=True)
    )
    states = (("showing", True), ("quiet", False))
    lines = tuple((name, _curve(shown, state)) for name, state in states if (shows == state).any())
    return Cloud(shown.bank.number, points, lines)


def _curve(shown: Shown, shows: bool) -> tuple[tuple[float, float], ...]:
    """(airflow g/s, trim %) of a state's fitted shape, purge and cold left out."""
    assert shown.states is not None
    fitted, flow = shown.states.fitted, shown.looked.flow
    trim = fitted.level + (fitted.difference if shows else 0.0)
    groups = [g for g in np.array_split(np.argsort(flow), CURVE) if len(g)]
    return tuple((round(float(np.median(flow[g])), 2), round(100 * float(np.median(trim[g]) - 1), 1)) for g in groups)
