"""The time column to seconds that never run back: units, midnight, jumps, restarts, gaps. What was done is said."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog.numerals import Array

NO_UNIT = "no unit with the time"
HICCUP = 5.0  # s that a clock may step back and still be the same recording, a few rows out of order; judgement
DAY = 86400.0
LONGEST_PAUSE = 14 * DAY  # s; a longer jump ahead is a clock that was set, not a pause; judgement


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
        return 1e-6, f"{NO_UNIT}: taken as microseconds, since rows are that far apart"
    if usual >= 15.0:
        return 1e-3, f"{NO_UNIT}: taken as milliseconds, since rows are that far apart"
    return 1.0, f"{NO_UNIT}: taken as seconds"
