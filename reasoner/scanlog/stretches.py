"""A log cut into spells as a case knows them: one engine run, one condition, the fault showing or quiet.

All stretches of a run in the same condition and state are one spell. A drive has fifty idles, but what one of them
shows tells nearly all about the next: fifty would be the same piece of evidence fifty times.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog import rolling
from reasoner.scanlog.cells import Array
from reasoner.scanlog.conditions import PHASES, Conditions, Phase
from reasoner.scanlog.grid import Flags, Grid

SHOWING, QUIET, OPEN = "showing", "quiet", "open"
WORDS = (QUIET, OPEN, SHOWING)
FIRM = 0.8  # probability either way from which a moment is of a state; between, it is open
SHORTEST = 5.0  # s of a stretch that counts as one
Z = 1.96  # standard deviations of a 95 % range


@dataclass(frozen=True)
class CaseSpell:
    """number: from 1, in order of their first moment. run: from 1. state: of whichever bank is most likely showing;
    "open" where that is not told.

    probability: mean, that the fault shows in it. start, end: s of the log, of its first and last moment. seconds: in
    it. stretches: that it was cut into. cells: (c,) which cells are in it.
    """

    number: int
    run: int
    phase: Phase
    state: str
    probability: float
    start: float
    end: float
    seconds: float
    stretches: int
    cells: Flags


@dataclass(frozen=True)
class Occurrence:
    """How often a bank's fault showed in a condition. seconds, showing: s looked at, and of those showing.

    stretches: in which it could be seen; shown: of those, in which it showed. share: shown of stretches, with its 95 %
    range (E. B. Wilson, JASA 22:209-212, 1927; from memory).
    """

    bank: int
    phase: Phase
    seconds: float
    showing: float
    stretches: int
    shown: int
    low: float
    high: float


def case_spells(grid: Grid, conditions: Conditions, probabilities: Sequence[Array]) -> tuple[CaseSpell, ...]:
    """probabilities: for each bank (c,). Without a bank everything counts as quiet."""
    most = _most(grid, probabilities)
    with np.errstate(invalid="ignore"):
        state = np.where(most >= FIRM, 2, np.where(most > 1 - FIRM, 1, 0)).astype(np.int64)
    code = (conditions.run * len(PHASES) + conditions.phase) * 3 + state
    found: list[CaseSpell] = []
    values, first = np.unique(code, return_index=True)
    for i in np.argsort(first):
        cells = code == values[i]
        stretches = [(a, b) for a, b in rolling.runs(cells) if (b - a) * grid.step >= SHORTEST]
        if not stretches:
            continue
        at = int(first[i])
        known = most[cells]
        probability = float(known[np.isfinite(known)].mean()) if np.isfinite(known).any() else float("nan")
        start, end = float(grid.time[stretches[0][0]]), float(grid.time[stretches[-1][1] - 1])
        seconds = float(cells.sum()) * grid.step
        phase = PHASES[int(conditions.phase[at])]
        run = int(conditions.run[at]) + 1
        found.append(
            CaseSpell(
                len(found) + 1, run, phase, WORDS[state[at]], probability, start, end, seconds, len(stretches), cells
            )
        )
    return tuple(found)


def occurrences(
    grid: Grid, conditions: Conditions, bank: int, probability: Array, visible: Flags
) -> tuple[Occurrence, ...]:
    """visible: (c,) moments at which this bank's fault could be seen if it were there."""
    found = []
    for code, phase in enumerate(PHASES):
        here = conditions.phase == code
        looked = here & visible & np.isfinite(probability)
        if looked.sum() * grid.step < SHORTEST:
            continue
        stretches = shown = 0
        for a, b in rolling.runs(here):
            part = looked[a:b]
            if part.sum() * grid.step >= SHORTEST:
                stretches += 1
                there = probability[a:b][part]
                shown += bool(there.mean() > 0.5 or there.sum() * grid.step >= SHORTEST)
        if not stretches:
            continue
        low, high = wilson(shown, stretches)
        seconds, showing = float(looked.sum()) * grid.step, float(probability[looked].sum()) * grid.step
        found.append(Occurrence(bank, phase, seconds, showing, stretches, shown, low, high))
    return tuple(found)


def wilson(shown: int, looks: int) -> tuple[float, float]:
    """95 % range of a share. Raises ZeroDivisionError without a look."""
    share, z2 = shown / looks, Z * Z / looks
    middle = (share + z2 / 2) / (1 + z2)
    half = Z * ((share * (1 - share) + z2 / 4) / looks) ** 0.5 / (1 + z2)
    return max(0.0, middle - half), min(1.0, middle + half)


def _most(grid: Grid, probabilities: Sequence[Array]) -> NDArray[np.float64]:
    """The greatest of the banks' probabilities at each moment."""
    if not probabilities:
        return np.zeros(len(grid))
    return np.asarray(np.fmax.reduce(list(probabilities)), dtype=float)
