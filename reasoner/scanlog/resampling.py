"""A log on an even grid of seconds, so that fast and slow buses are looked at alike.

Samples that fall into one cell are averaged. A quantity that comes seldom holds until its next sample, but no longer
than a few of its own intervals. Where nothing was recorded there are no cells.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog.columns import LOOP, MISFIRES, SINCE_START, PlacedQuantity
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.reading import LogTable
from reasoner.scanlog.rolling import Flags as Flags

CELL = 1.0  # s; a trim needs several to settle, a spell lasts many; judgement
MOST_CELLS = 120_000  # cells; beyond that they are made longer (33 h of recording)
PAUSE = (5.0, 60.0)  # s without any row that count as a pause: five usual steps, within these bounds; judgement
HOLD = (3.0, 30.0)  # s that a value holds: three of its usual intervals, within these bounds; judgement
SLOWEST = 20.0  # s between rows beyond which a log shows no drive; judgement


@dataclass(frozen=True)
class Grid:
    """time: (c,) s of each cell's middle from the log's first row. step: s. fresh: (c,) cells after a pause.

    pause: (c,) s since the cell before where fresh, else 0; NaN where the recording began anew (unknown).
    series: each (c,), NaN where not known. new: each (c,), how many samples fell into the cell.
    every: usual s between samples of each quantity; rate: rows a second.
    """

    time: Array
    step: float
    fresh: Flags
    pause: Array
    series: Mapping[PlacedQuantity, Array]
    new: Mapping[PlacedQuantity, Array]
    every: Mapping[PlacedQuantity, float]
    rate: float

    def __len__(self) -> int:
        return len(self.time)

    def get(self, quantity: str, place: int = 0) -> Array | None:
        return self.series.get(PlacedQuantity(quantity, place))

    def of(self, quantity: str, place: int = 0) -> Array:
        """The quantity, or NaN throughout where it was not recorded."""
        found = self.get(quantity, place)
        return np.full(len(self), np.nan) if found is None else found


def grid(table: LogTable) -> Grid | str:
    """The table on its grid, or why it can be put on none."""
    t = table.seconds
    if len(t) < 10:
        return "too few rows to say anything"
    steps = np.diff(t)
    moving = steps[steps > 0]
    if not len(moving):
        return "the time stands still"
    usual = float(np.median(moving))
    if usual > SLOWEST:
        return f"a row every {usual:.0f} s is too seldom to follow a drive: one a second would do"
    limit = float(np.clip(5 * usual, *PAUSE))
    cut = (steps > limit) | table.fresh[1:]
    piece = np.concatenate([[0], np.cumsum(cut)])
    starts = np.concatenate([[0], np.flatnonzero(cut) + 1])
    ends = np.concatenate([starts[1:], [len(t)]])
    lengths = t[ends - 1] - t[starts]
    step = max(CELL, float(lengths.sum()) / MOST_CELLS)
    counts = np.floor(lengths / step).astype(np.int64) + 1
    offsets = np.concatenate([[0], np.cumsum(counts)[:-1]])
    cell = offsets[piece] + np.floor((t - t[starts][piece]) / step).astype(np.int64)
    total = int(counts.sum())
    owner = np.repeat(np.arange(len(starts)), counts)
    time = t[starts][owner] + (np.arange(total) - offsets[owner] + 0.5) * step
    fresh = np.zeros(total, dtype=bool)
    fresh[offsets] = True
    pause = np.zeros(total)
    between = t[starts[1:]] - t[ends[:-1] - 1]
    pause[offsets[1:]] = np.where(table.fresh[starts[1:]], np.nan, between)
    pause[0] = np.nan
    series, new, every = {}, {}, {}
    for key, values in table.series.items():
        there = np.isfinite(values)
        at, v = cell[there], values[there]
        gaps = np.diff(t[there])
        gaps = gaps[gaps > 0]
        every[key] = float(np.median(gaps)) if len(gaps) else usual
        count = np.bincount(at, minlength=total).astype(float)
        series[key] = _held(_cells(key, at, v, count, total), owner, offsets, np.clip(3 * every[key], *HOLD) / step)
        new[key] = count
    return Grid(time, step, fresh, pause, series, new, every, len(t) / max(float(lengths.sum()), step))


def _cells(key: PlacedQuantity, at: NDArray[np.int64], v: Array, count: Array, total: int) -> Array:
    """One value for each cell: the mean; the last sample where a mean means nothing."""
    if key.quantity in (LOOP, MISFIRES, SINCE_START):
        values = np.full(total, np.nan)
        values[at] = v
        return values
    with np.errstate(invalid="ignore"):
        return np.asarray(np.bincount(at, weights=v, minlength=total) / count)


def _held(values: Array, owner: NDArray[np.int64], offsets: NDArray[np.int64], longest: float) -> Array:
    """Empty cells filled with the last value, up to `longest` cells on, never over a pause."""
    index = np.arange(len(values))
    last = np.maximum.accumulate(np.where(np.isfinite(values), index, -1))
    good = (last >= offsets[owner]) & (index - last <= longest)
    return np.where(good, values[np.maximum(last, 0)], np.nan)
