"""Moments that count, with what may explain their trims: the model's input from a bank's grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog.cells import Array
from reasoner.scanlog.conditions import Conditions
from reasoner.scanlog.grid import Grid
from reasoner.scanlog.model import Sample
from reasoner.scanlog.quantities import COOLANT, PURGE
from reasoner.scanlog.usable import Air, Bank

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
