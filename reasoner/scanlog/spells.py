"""From probabilities to spells: when a fault came and went; and spells as a case has them.

A fault that acts or does not is there within seconds. What creeps over minutes (fuel out of warm oil, a warm-up, a
canister that empties) is not taken for one, however well two states fit it. Nor is what is always so at idle and never
on the road: the same airflow must be seen both showing and quiet. For a case all stretches of a run in the same
condition and state are one spell: a drive has fifty idles, but what one of them shows tells nearly all about the next.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reasoner.inference.statistics import wilson
from reasoner.scanlog import rolling
from reasoner.scanlog.conditions import PHASES, SOAK_SECONDS, Conditions, Phase, Run
from reasoner.scanlog.findings import misfires_grown
from reasoner.scanlog.moments import Looked
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.resampling import Flags, Grid
from reasoner.scanlog.shapes import StatesFit, beyond

# ---- when a fault came and went --------------------------------------------------------------------------------------


# Of trim, mean while showing, below which a second state is no fault: trims wander so far; judgement.
LEAST_SECOND_STATE = 0.05
AFTER_SOAK_DIFFERS = 0.10  # of trim, by which a whole run after a soak must differ; judgement
TWO_STATES_FROM = 0.5  # probability that there are two states, below which there are none; judgement
# s in all in which a state makes half its mean difference or more, without which it is none; judgement.
LEAST_FELT = 10.0
SHORTEST_SPELL = 20.0  # s of a spell; judgement
QUIET_BRIDGED = 10.0  # s quiet within a spell that do not end it; judgement
# Airflow within a half more or less seen quiet too, for at least so many of the showing moments; judgement.
ALIKE, ALIKE_SHARE = 0.45, 0.3
SURELY = 0.6  # probability that its first and last moment have at least: beyond, it may have ended unseen; judgement
CLEAR, WIDEST = 0.2, 150.0  # probability of a clear moment, and s between two of them at an edge; judgement
NEAR = 10.0  # s either side of an edge in which the trim is on its way; judgement
SHARP = ((55.0, 0.5), (120.0, 0.75))  # s either side, and how much of the difference must lie within; judgement
MISSED, MORE = 20, 5.0  # misfires, and how many times as often, that tell which of two states shows; judgement
MOMENTS = 5  # that must lie on each side of an edge for it to be judged; judgement

SWITCHES, CREEPS, STARTS, STOPS, UNSEEN = "switches", "creeps", "engine start", "engine stop", "not seen"


@dataclass(frozen=True)
class LogSpell:
    """start, end: s of the log. first, last: cells (last past the end). began, ended: how its edges look.

    probability: mean, that it shows. seconds: looked at within it. effect: mean difference of the trim, a fraction.
    """

    start: float
    end: float
    first: int
    last: int
    began: str
    ended: str
    probability: float
    seconds: float
    effect: float


@dataclass(frozen=True)
class States:
    """fitted: with the showing state second. probability: (c,) that the fault shows, NaN while the engine stands.

    kind: "rich" or "lean", which way the showing state lies. spells: that count. creeping: stretches that differ but
    come and go too slowly. why: in words.
    """

    fitted: StatesFit
    kind: str
    probability: Array
    spells: tuple[LogSpell, ...]
    creeping: tuple[LogSpell, ...]
    why: str

    @property
    def switching(self) -> bool:
        """Two states were told apart."""
        return self.fitted.switching


def find_states(
    grid: Grid, conditions: Conditions, looked: Looked, two: StatesFit, one: StatesFit, chance: float
) -> States:
    """Whether a bank has two states, and the spells of the showing one. chance: that there are two (`fit_states`)."""
    kind = "rich" if felt(two.difference, two.showing) < 0 else "lean"
    effect = felt(two.difference, two.showing)
    running = conditions.run >= 0
    same = States(one, kind, np.where(running, 0.0, np.nan), (), (), "")
    if chance < TWO_STATES_FROM:
        return replace(same, why="its trims did not go from one level to another and back")
    if abs(effect) < LEAST_SECOND_STATE:
        return replace(same, why=f"two levels differ by {100 * abs(effect):.1f} % only: trims wander so far")
    lasted = float(((np.abs(two.difference) >= abs(effect) / 2) & (two.showing > 0.5)).sum()) * grid.step
    if lasted < LEAST_FELT:
        return replace(same, why=f"what differed was there for {lasted:.0f} s only: no longer than a passing swing")
    if _alike(looked, two) < ALIKE_SHARE:
        return replace(same, why="the trims differ by airflow only: no airflow was seen both ways")
    everywhere = _everywhere(grid, conditions, looked, two.showing * chance)
    found = _found(grid, conditions, looked, two, everywhere)
    seen = any(_counts(s, conditions) for s in found)  # then one whose edges were not seen is of the same kind
    spells = tuple(s for s in found if _counts(s, conditions) or (seen and CREEPS not in (s.began, s.ended)))
    creeping = tuple(s for s in found if s not in spells)
    if not spells:
        whole = bool(creeping) and all((s.began, s.ended) == (STARTS, STOPS) for s in creeping)
        why = "whole runs of the engine differ, none was seen to change" if whole else ""
        return replace(
            same, creeping=creeping, why=why or "the trims change too slowly for something that comes and goes"
        )
    for s in creeping:
        everywhere[s.first : s.last] = np.minimum(everywhere[s.first : s.last], 0.5)
    return States(two, kind, everywhere, spells, creeping, "the trims come and go between two states")


def missed_while_quiet(grid: Grid, looked: Looked, two: StatesFit) -> bool:
    """Whether the engine misfired in the leaner state, and hardly in the richer one: the oxygen of what did not burn
    reads lean, so that the leaner state is the one that shows, however long it lasted."""
    grown = list(misfires_grown(grid).values())
    if not grown or not felt(two.difference, two.showing) < 0:
        return False
    missed = np.nansum(grown, axis=0)
    shows = np.interp(grid.time, grid.time[looked.index], two.showing)
    each = [(float((missed * s).sum()), max(1.0, float(s.sum()))) for s in (1 - shows, shows)]
    (quiet, of_quiet), (showing, of_showing) = each
    return quiet >= MISSED and quiet / of_quiet > MORE * max(1.0, showing) / of_showing


def felt(difference: Array, showing: Array) -> float:
    """Mean difference of the trim where it makes one: moments that cannot show the fault count for little."""
    return _mean(difference, showing * np.abs(difference))


def _mean(values: Array, weights: Array) -> float:
    total = float(weights.sum())
    return float((values * weights).sum() / total) if total > 0 else 0.0


def _alike(looked: Looked, two: StatesFit) -> float:
    """Share of the showing moments (those count that can show it) whose airflow, within a half, was seen quiet too."""
    shows = two.showing > 0.5
    if not shows.any() or shows.all():
        return 0.0
    quiet = np.sort(np.log(looked.flow[~shows]))
    at = np.log(looked.flow[shows])
    near = np.searchsorted(quiet, at + ALIKE, side="right") - np.searchsorted(quiet, at - ALIKE)
    return _mean((near >= MOMENTS).astype(float), np.abs(two.difference[shows]))


def _everywhere(grid: Grid, conditions: Conditions, looked: Looked, showing: Array) -> Array:
    """Probability at every cell: between moments that count, on a straight line; within a run only."""
    everywhere = np.full(len(grid), np.nan)
    run = conditions.run[looked.index]
    for number, r in enumerate(conditions.runs):
        mine = run == number
        if not mine.any():
            everywhere[r.start : r.end] = float(showing.mean())
            continue
        cells = np.arange(r.start, r.end)
        everywhere[r.start : r.end] = np.interp(grid.time[cells], grid.time[looked.index[mine]], showing[mine])
    return everywhere


def _found(grid: Grid, conditions: Conditions, looked: Looked, two: StatesFit, everywhere: Array) -> list[LogSpell]:
    with np.errstate(invalid="ignore"):
        shows = everywhere > 0.5
    for a, b in list(rolling.runs(~shows)):
        within = a > 0 and b < len(grid) and conditions.run[a - 1] == conditions.run[b] >= 0
        if within and grid.time[b - 1] - grid.time[a] < QUIET_BRIDGED:
            shows[a:b] = True
    found = []
    for number, run in enumerate(conditions.runs):
        mine = shows & (conditions.run == number)
        for a, b in rolling.runs(mine):
            sure = np.flatnonzero(everywhere[a:b] >= SURELY)
            if not len(sure):
                continue
            a, b = a + int(sure[0]), a + int(sure[-1]) + 1
            inside = (looked.index >= a) & (looked.index < b)
            if grid.time[b - 1] - grid.time[a] < SHORTEST_SPELL or inside.sum() < MOMENTS:
                continue
            begin, end = _Edge(run, a, 1), _Edge(run, b, -1)
            began = STARTS if _first_seen(looked, run.start, a) else _edge(grid, looked, two, everywhere, begin)
            ended = STOPS if _first_seen(looked, b, run.end) else _edge(grid, looked, two, everywhere, end)
            probability = float(np.nanmean(everywhere[a:b]))
            effect = felt(two.difference[inside], two.showing[inside])
            start, stop = float(grid.time[a] - grid.step / 2), float(grid.time[b - 1] + grid.step / 2)
            found.append(
                LogSpell(start, stop, a, b, began, ended, probability, float(inside.sum()) * grid.step, effect)
            )
    return found


def _first_seen(looked: Looked, low: int, high: int) -> bool:
    """Whether nothing was looked at between two cells: the spell reaches to the end of what was seen of the run."""
    return bool(((looked.index >= low) & (looked.index < high)).sum() < MOMENTS)


@dataclass(frozen=True)
class _Edge:
    """One end of a spell: its run, the cell, and which way it lies inside (1: later, -1: earlier)."""

    run: Run
    cell: int
    inward: int


def _edge(grid: Grid, looked: Looked, two: StatesFit, everywhere: Array, edge: _Edge) -> str:
    """How the trim goes over an edge: how much of the whole difference comes within less than two minutes.

    What lies between clearly quiet and clearly showing is left out. Purge is taken off. What warming up and the oil
    make of it is not: over two minutes they hardly move.
    """
    outer, inner = _zone(grid, everywhere, edge)
    wide = abs(inner - outer)
    if wide > WIDEST:
        return UNSEEN
    time, sample = grid.time[looked.index], two.sample
    mine = (looked.index >= edge.run.start) & (looked.index < edge.run.end)
    known = sample.where("purge", "fading", "brief", "ebbing")
    purge = sample.columns[:, known] @ two.coefficients[known]
    there = two.shared + two.difference
    wanted = np.where(beyond(sample, sample.y - there), there, sample.y)  # at a stop as far as the showing state goes
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(two.difference != 0, (wanted - purge - two.level) / two.difference, 0.0)
    weight = two.difference**2  # moments in which the two states hardly differ say little
    for far, least in SHARP:
        least = least if wide <= SHARP[0][0] else SHARP[-1][1]
        outwards, inwards = (outer - time) * edge.inward, (time - inner) * edge.inward
        outside = mine & (outwards > NEAR / 2) & (outwards < far)
        inside = mine & (inwards > NEAR / 2) & (inwards < far)
        if outside.sum() < MOMENTS or inside.sum() < MOMENTS:
            continue
        came = _mean(share[inside], weight[inside]) - _mean(share[outside], weight[outside])
        if came > least:
            return SWITCHES
        doubt = two.spread * math.sqrt(two.thinned * (1 / weight[inside].sum() + 1 / weight[outside].sum()))
        if came + doubt < least:
            return CREEPS
    return UNSEEN


def _zone(grid: Grid, everywhere: Array, edge: _Edge) -> tuple[float, float]:
    """Times of the last clearly quiet and the first clearly showing moment (for the end of a spell: the reverse)."""
    run, cell = edge.run, edge.cell
    part = everywhere[run.start : run.end]
    with np.errstate(invalid="ignore"):
        firm, quiet = np.flatnonzero(part >= 1 - CLEAR) + run.start, np.flatnonzero(part <= CLEAR) + run.start
    if edge.inward > 0:
        inner = firm[firm >= cell][0] if (firm >= cell).any() else cell
        outer = quiet[quiet < inner][-1] if (quiet < inner).any() else cell
    else:
        inner = firm[firm < cell][-1] if (firm < cell).any() else cell - 1
        outer = quiet[quiet > inner][0] if (quiet > inner).any() else cell
    return float(grid.time[min(outer, len(grid) - 1)]), float(grid.time[inner])


def _counts(spell: LogSpell, conditions: Conditions) -> bool:
    """An edge that switches; or there from the start of a run after a soak, and over before its end, however slowly it
    went; or all through such a run, by much, where the tank was not filled meanwhile."""
    if SWITCHES in (spell.began, spell.ended):
        return True
    run = next((r for r in conditions.runs if r.start <= spell.first < r.end), None)
    if spell.began != STARTS or run is None or run.kind == "cold":
        return False
    soaked = run.off >= SOAK_SECONDS[0]
    if spell.ended == STOPS:
        return soaked and not run.filled and abs(spell.effect) >= AFTER_SOAK_DIFFERS
    return soaked or spell.ended not in (CREEPS, UNSEEN)


# ---- spells as a case has them ---------------------------------------------------------------------------------------


SHOWING, QUIET, OPEN = "showing", "quiet", "open"
STATE_WORDS = (QUIET, OPEN, SHOWING)
FIRM_MOMENT = 0.8  # probability either way from which a moment is of a state; between, it is open; judgement
STRETCH = 5.0  # s of a stretch that counts as one; judgement
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
        state = np.where(most >= FIRM_MOMENT, 2, np.where(most > 1 - FIRM_MOMENT, 1, 0)).astype(np.int64)
    code = (conditions.run * len(PHASES) + conditions.phase) * 3 + state
    found: list[CaseSpell] = []
    values, first = np.unique(code, return_index=True)
    for i in np.argsort(first):
        cells = code == values[i]
        stretches = [(a, b) for a, b in rolling.runs(cells) if (b - a) * grid.step >= STRETCH]
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
                len(found) + 1,
                run,
                phase,
                STATE_WORDS[state[at]],
                probability,
                start,
                end,
                seconds,
                len(stretches),
                cells,
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
        if looked.sum() * grid.step < STRETCH:
            continue
        stretches = shown = 0
        for a, b in rolling.runs(here):
            part = looked[a:b]
            if part.sum() * grid.step >= STRETCH:
                stretches += 1
                there = probability[a:b][part]
                shown += bool(there.mean() > 0.5 or there.sum() * grid.step >= STRETCH)
        if not stretches:
            continue
        low, high = wilson(shown, stretches)
        seconds, showing = float(looked.sum()) * grid.step, float(probability[looked].sum()) * grid.step
        found.append(Occurrence(bank, phase, seconds, showing, stretches, shown, low, high))
    return tuple(found)


def _most(grid: Grid, probabilities: Sequence[Array]) -> NDArray[np.float64]:
    """The greatest of the banks' probabilities at each moment."""
    if not probabilities:
        return np.zeros(len(grid))
    return np.asarray(np.fmax.reduce(list(probabilities)), dtype=float)
