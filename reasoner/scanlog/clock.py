"""The time column to seconds that never run back, and the log on an even grid of them.

Units, midnight, jumps, restarts, gaps: what was done is said. Samples that fall into one cell are averaged. A quantity
that comes seldom holds until its next sample, but no longer than a few of its own intervals. Where nothing was recorded
there are no cells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog.columns import LOOP, MISFIRES, SINCE_START, Key
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.reading import LogTable

# ---- the time column to seconds --------------------------------------------------------------------------------------


HICCUP = 5.0  # s that a clock may step back and still be the same recording, a few rows out of order
DAY = 86400.0
LONGEST_PAUSE = 14 * DAY  # s; a longer jump ahead is a clock that was set, not a pause


@dataclass(frozen=True)
class Clock:
    """seconds: from the first row, never falling, for the rows kept. kept: which rows. fresh: rows before which the
    recording was begun anew, so that the time between is unknown."""

    seconds: Array
    kept: NDArray[np.bool_]
    fresh: NDArray[np.bool_]
    notes: tuple[str, ...]
    behind: NDArray[np.int64]  # rows refused: out of order
    spikes: NDArray[np.int64]  # rows refused: ahead of both neighbours


def elapsed(raw: Array, *, of_day: bool, unit_said: bool) -> Clock:
    """raw: the time column in seconds (or in the unit assumed), NaN where there is none; these rows are not kept."""
    notes: list[str] = []
    n = len(raw)
    kept = np.isfinite(raw)
    fresh = np.zeros(n, dtype=bool)
    rows = np.flatnonzero(kept)
    t = raw[rows].astype(float)
    spikes = _spikes(t)
    if len(spikes):
        kept[rows[spikes]] = False
        spike_rows = rows[spikes]
        rows, t = np.delete(rows, spikes), np.delete(t, spikes)
    else:
        spike_rows = np.zeros(0, dtype=np.int64)
    if not len(t):
        return Clock(t, kept, fresh[kept], (), np.zeros(0, dtype=np.int64), spike_rows)
    scale, note = (1.0, "") if unit_said or of_day else _unit(t)
    if note:
        notes.append(note)
    t = (t - t[0]) * scale
    if of_day:
        t = t + DAY * np.concatenate([[0], np.cumsum(np.diff(t) < -DAY / 2)])
    step = np.diff(t)
    restarts = np.flatnonzero((step < -HICCUP) | (step > LONGEST_PAUSE)) + 1
    if len(restarts):
        usual = float(np.median(step[step > 0])) if (step > 0).any() else 1.0
        shift = np.zeros(len(t))
        starts = np.concatenate([[0], restarts, [len(t)]])
        end = float(np.max(t[: starts[1]]))
        for a, b in pairwise(starts[1:]):
            shift[a:b] = end + usual - t[a]
            end = end + usual + float(np.max(t[a:b]) - t[a])
        t = t + shift
        fresh[rows[restarts]] = True
        notes.append(
            f"the clock starts anew {len(restarts)} time{'s' if len(restarts) > 1 else ''}: taken as recordings one "
            "after the other, the time between unknown"
        )
    ahead = np.maximum.accumulate(t)
    late = t < ahead
    behind = rows[late]
    if late.any():
        kept[behind] = False
        rows, t = rows[~late], t[~late]
    return Clock(t, kept, fresh[kept], tuple(notes), behind, spike_rows)


def _spikes(t: Array) -> NDArray[np.int64]:
    """Rows that jump ahead of rows before and after which fit together."""
    if len(t) < 3:
        return np.zeros(0, dtype=np.int64)
    before, at, after = t[:-2], t[1:-1], t[2:]
    return np.flatnonzero((at - before > 10 * HICCUP) & (after < at) & (after >= before)) + 1


def _unit(t: Array) -> tuple[float, str]:
    """Seconds or milliseconds, where nothing is said: by how far apart rows are."""
    step = np.diff(t)
    step = step[step > 0]
    usual = float(np.median(step)) if len(step) else 1.0
    if usual >= 1e4:
        return 1e-6, "no unit with the time: taken as microseconds, since rows are that far apart"
    if usual >= 15.0:
        return 1e-3, "no unit with the time: taken as milliseconds, since rows are that far apart"
    return 1.0, "no unit with the time: taken as seconds"


# ---- the even grid ---------------------------------------------------------------------------------------------------


CELL = 1.0  # s; a trim needs several to settle, a spell lasts many
MOST = 120_000  # cells; beyond that they are made longer (33 h of recording)
PAUSE = (5.0, 60.0)  # s without any row that count as a pause: five usual steps, within these bounds
HOLD = (3.0, 30.0)  # s that a value holds: three of its usual intervals, within these bounds
SLOWEST = 20.0  # s between rows beyond which a log shows no drive

Flags = NDArray[np.bool_]


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
    series: Mapping[Key, Array]
    new: Mapping[Key, Array]
    every: Mapping[Key, float]
    rate: float

    def __len__(self) -> int:
        return len(self.time)

    def get(self, quantity: str, place: int = 0) -> Array | None:
        return self.series.get(Key(quantity, place))

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
    step = max(CELL, float(lengths.sum()) / MOST)
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


def _cells(key: Key, at: NDArray[np.int64], v: Array, count: Array, total: int) -> Array:
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
