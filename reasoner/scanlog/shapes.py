"""Trims over time as shapes of error, some of them always there, some only in one of two states: quiet and showing.

1 + T = 1 + sum of columns times coefficients (`moments`): what could make a trim, each as it goes with airflow, purge,
temperature or time, besides what any engine's trims do by themselves (they wander over minutes and over airflow). Every
coefficient has a Gaussian prior: narrow, as in a sound engine, or wide, where it is the fault. A family of faults is
the hypothesis that its columns are wide; its evidence and the size with its error are exact (linear Gaussian model,
e.g. C. M. Bishop, Pattern Recognition and Machine Learning, 2006, 3.3 and 3.5; from memory). So explanations compete
by what the data can tell, and none takes what belongs to another.

When a fault shows is found first, by expectation maximisation over a two-state chain (`chain`), residuals Student-t
with 4 degrees of freedom so that single transients weigh little (Lange, Little & Taylor, JASA 84:881-896, 1989; in
secondary texts). Residuals a second apart are not independent: log-likelihoods are divided by how many are worth one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog.chain import Rates, smooth
from reasoner.scanlog.numerals import Array

FREEDOM = 4.0  # degrees of freedom of the residuals
TWO_STATES_BEAT_ONE = (
    4.0  # log-likelihood by which two states must beat one, beyond what their parameters cost; judgement
)
STAYS, EVENTS = 300.0, 1.0  # s of a state and number of changes that the rates are worth beforehand; judgement
LEAST_SPREAD = 0.010  # of a trim: a step of its scaling (SAE J1979), and what no column explains; judgement
SAME = 0.97  # of moments in which two first guesses agree, from which one does for both; judgement
ROUNDS, TRIED, KEPT = 30, 4, 2  # of expectation maximisation, for each of its starts, and how many go on
ENOUGH = 800  # moments that tell which start to go on from; judgement
WIDE = 0.03  # of trim, spread of the residuals that a start is tried with; judgement
LEAST_THINNED = 3.0  # s of trims that tell one thing at least: their own loop needs some seconds; judgement
FAULT_SPREAD = 0.2  # of trim, standard deviation of what a fault makes; judgement
NONE, SHARE, TIME, INJECTION, LOAD = "none", "by share", "by time", "by injection", "with load"
MIXED, PURGED, OIL, COLD = "by time and by share", "with purge", "out of the oil", "while cold"
SENSED = "by an upstream sensor that reads wrong"
MISREAD = "with a coolant reading that cannot be"
ALWAYS = (SENSED, SHARE, TIME, INJECTION, LOAD, MIXED)  # may act all the time, or come and go by themselves
# What each family is beforehand worth against the others; judgement. Two errors at once are rarer than one.
PRIORS = {
    NONE: 1.0,
    SHARE: 0.5,
    TIME: 0.5,
    INJECTION: 0.2,
    LOAD: 0.3,
    MIXED: 0.05,
    PURGED: 0.3,
    OIL: 0.2,
    COLD: 0.3,
    MISREAD: 0.5,
}
STATE_COLUMNS = ("share", "time", "injection", "load", "boost")  # columns in which two states may differ
# Standard deviation of each column's coefficient in a sound engine, of trim; judgement. What goes with airflow adds up
# to 3 % where airflow is high, and with the zero to 4 % at idle: a trim beyond 10 % is no sound engine's.
SOUND = {
    "share": 0.03, "time": 0.025, "injection": 0.02, "load": 0.025, "surge": 0.015, "square": 0.01, "boost": 0.015,
    "purge": 0.03,
    "fading": 0.03,
    "brief": 0.03, "ebbing": 0.03,
    "cold": 0.04, "chill": 0.04, "oil": 0.003, "misread": 0.02, "wander": 0.012, "bend": 0.015,
}  # fmt: skip
# The same while states are told apart: what else there is may take its part, but not a fault's.
FREED_COLUMNS = {
    "wander": 0.012,
    "bend": 0.015,
    "oil": 0.003,
    "purge": 0.08,
    "fading": 0.08,
    "brief": 0.08,
    "ebbing": 0.08,
    "cold": 0.06,
    "chill": 0.06,
}
STOP_ROUNDS = 3
SETTLING = 15.0  # s after a change of state whose trims are still on their way, and half before; judgement
OPEN = 0.1  # probability either way, up to which a moment belongs to neither state; judgement
SEEN_TOO = 0.010  # of trim, in which two states of a sound engine may differ; judgement
LEARNED_SPREAD = 0.03  # of trim, how far what was learned may be from what the engine mostly wants; judgement
NO_MORE = 1e-6  # of trim, in which they may differ where there is but one
CHANGE = 4.5  # log-likelihood that each change of state costs: one in some minutes, told to some seconds; judgement
AIRFLOW_COLUMNS = ("share", "time", "injection", "load", "surge", "square", "boost")  # columns that go with airflow
LEAN_TOO = math.log(4)  # purge brings fuel and a cold engine is given more: either seldom makes it lean; judgement
STILL_APART = 0.5  # of what lies between two states, that is left between them; judgement
ONE_WAY = 0.8  # of what purge or cold makes must go the same way: vapour adds fuel and takes none away; judgement


@dataclass(frozen=True)
class Sample:
    """Moments that count, in order. y: 1 + T. columns: (n, p), names of each (`SOUND`, a number behind where there are
    several). flow: (n,) airflow over that at idle. gap: s since the moment before. cold: (n,) far from warm.

    stop: (n,) -1 where the trim stands at its lower stop, so that the mixture may be any richer; 1 at the upper; else
    0. learned: the long-term trim that the log begins with, as a fraction; NaN = not known.
    """

    y: Array
    columns: Array
    names: tuple[str, ...]
    flow: Array
    gap: Array
    cold: NDArray[np.bool_]
    stop: NDArray[np.int8]
    learned: float = math.nan

    def __len__(self) -> int:
        return len(self.y)

    def where(self, *kinds: str) -> list[int]:
        """Indexes of the columns of these kinds."""
        return [i for i, name in enumerate(self.names) if name.split()[0] in kinds]


@dataclass(frozen=True)
class StatesFit:
    """coefficients: (p,) of the columns, then (d,) of what the showing state has more, in the columns `apart`.

    showing: (n,) probability. spread: of a residual. thinned: how many residuals are worth one. evidence:
    log-likelihood, thinned. weights: (n,) robust weight of each moment. states: 1 or 2.
    """

    sample: Sample
    coefficients: Array
    apart: tuple[int, ...]
    showing: Array
    spread: float
    thinned: float
    evidence: float
    states: int
    weights: Array
    rates: Rates

    @property
    def switching(self) -> bool:
        """Two states, not one."""
        return self.states == 2

    @property
    def shared(self) -> Array:
        """What is common to both states, at every moment."""
        return np.asarray(1 + self.sample.columns @ self.coefficients[: len(self.sample.names)])

    @property
    def difference(self) -> Array:
        """Trim while showing less trim while quiet, at every moment; negative is richer."""
        if not self.switching:
            return np.zeros(len(self.sample))
        more = self.coefficients[len(self.sample.names) :]
        return np.asarray(self.sample.columns[:, list(self.apart)] @ more)

    @property
    def level(self) -> Array:
        """The quiet state without purge, cold and what an engine's trims do by themselves: 1 + T at every moment."""
        at = self.sample.where(*AIRFLOW_COLUMNS)
        return np.asarray(1 + self.sample.columns[:, at] @ self.coefficients[at])

    @property
    def changes(self) -> int:
        """How often it goes from one state to the other."""
        shows = self.showing > 0.5
        return int((shows[1:] != shows[:-1]).sum()) if self.switching else 0


def fit_states(sample: Sample) -> tuple[StatesFit, StatesFit, float]:
    """The best with two states, the best with one, and the probability (0..1) that there are two."""
    plain = _one(sample)
    two = _two(plain)
    one = replace(plain, thinned=two.thinned)
    return two, one, sum(f.weight for f in families(two, both=True) if f.switching)


# ---- one state -------------------------------------------------------------------------------------------------------


def _one(sample: Sample) -> StatesFit:
    n = len(sample)
    start = StatesFit(
        sample, np.zeros(len(sample.names)), (), np.zeros(n), 0.03, 1.0, 0.0, 1, np.ones(n), Rates(1 / STAYS, 1 / STAYS)
    )
    for _ in range(8):
        start = _reweighed(replace(start, coefficients=_solve(start)))
    return replace(start, thinned=_thinning(start))


# ---- two states ------------------------------------------------------------------------------------------------------


def _two(one: StatesFit) -> StatesFit:
    """Each kind of difference from several first guesses; the best is gone on with.

    The weights and the spread of one state are forgotten: it takes the moments of the other for outliers.
    """
    tried = []
    p = len(one.sample.names)
    every = max(1, len(one.sample) // ENOUGH)
    few = _every(one, every)
    for kind in STATE_COLUMNS:
        if not (apart := tuple(one.sample.where(kind))):
            continue
        start = replace(few, states=2, apart=apart, coefficients=np.zeros(p + 1), weights=np.ones(len(few.sample)))
        start = replace(start, spread=WIDE, thinned=LEAST_THINNED)
        tried += [_rounds(replace(start, showing=guess[::every]), TRIED) for guess in _guesses(one)]
    best = [_rounds(_whole(f, one.sample, every), ROUNDS) for f in sorted(tried, key=lambda f: -f.evidence)[:KEPT]]
    most = max(best, key=lambda f: f.evidence - _unlearned(f))
    both = most, _rounds(_turned(most), ROUNDS)
    # One fit seen from either side: what each leaves over is worth as much, or by that alone one would win by far.
    thinned = max(f.thinned for f in both)
    return max(both, key=lambda f: _evidence(f, thinned) - _unlearned(f))


def _every(fitted: StatesFit, number: int) -> StatesFit:
    """A fit to one moment in so many: of hours, enough to try where to start from."""
    s = fitted.sample
    if number == 1:
        return fitted
    some = slice(None, None, number)
    gap = np.diff(np.cumsum(s.gap)[some], prepend=0.0)
    columns = np.ascontiguousarray(s.columns[some])
    few = Sample(s.y[some], columns, s.names, s.flow[some], gap, s.cold[some], s.stop[some], s.learned)
    return replace(fitted, sample=few, showing=fitted.showing[some], weights=fitted.weights[some])


def _whole(fitted: StatesFit, sample: Sample, number: int) -> StatesFit:
    """The same, of all moments: what lies between two that were tried is as the one before."""
    if number == 1:
        return fitted
    showing, weights = (np.repeat(v, number)[: len(sample)] for v in (fitted.showing, fitted.weights))
    return replace(fitted, sample=sample, showing=showing, weights=weights)


def _evidence(fitted: StatesFit, thinned: float) -> float:
    """Its evidence, with so many residuals worth one."""
    alike = replace(fitted, thinned=thinned)
    smoothed = smooth(_log_likelihood(alike) / thinned, alike.sample.gap, alike.rates)
    return float(smoothed.evidence + _prior(alike))


def turned(fitted: StatesFit) -> StatesFit:
    """Two states with the quiet one for the showing one, told apart once more."""
    return _rounds(_turned(fitted), ROUNDS)


def _turned(fitted: StatesFit) -> StatesFit:
    """With the quiet state for the showing one."""
    p = len(fitted.sample.names)
    c = fitted.coefficients.copy()
    c[list(fitted.apart)] += c[p:]
    c[p:] *= -1
    return replace(fitted, coefficients=c, showing=1 - fitted.showing, rates=Rates(fitted.rates.off, fitted.rates.on))


def _unlearned(fitted: StatesFit) -> float:
    """What speaks against the quiet state being the usual one: how far its level is from what was learned before."""
    learned = fitted.sample.learned
    if not math.isfinite(learned):
        return 0.0
    felt = fitted.difference**2
    level = float((felt * (fitted.level - 1)).sum() / max(1e-12, felt.sum()))
    return 0.5 * ((level - learned) / LEARNED_SPREAD) ** 2


def _guesses(one: StatesFit) -> list[Array]:
    """Moments richer than a dividing line, or leaner, over half a minute: of the trim, of what purge and cold leave of
    it, of the fuel it takes away, and of the trim where airflow is high."""
    sample = one.sample
    warm = ~sample.cold if sample.cold.mean() < 0.5 else np.ones(len(sample), dtype=bool)
    known = sample.where("purge", "fading", "brief", "ebbing", "cold", "chill")
    whole = sample.y - 1
    left = whole - sample.columns[:, known] @ one.coefficients[known]
    seconds = np.cumsum(np.minimum(sample.gap, 60.0))
    high = sample.flow > np.percentile(sample.flow, 70)
    guesses: list[Array] = []
    everywhere = np.ones(len(sample), dtype=bool)
    for measure, there in ((whole, everywhere), (left, warm), (left * sample.flow, warm), (left, high & warm)):
        if there.sum() < 20:
            continue
        smoothed = _over(np.where(there, measure, 0.0), there.astype(float), seconds, 15.0)
        low = (smoothed < _divide(smoothed[there & np.isfinite(smoothed)])) & (there | warm)
        known_before = any(((g > 0.5) == low).mean() > SAME for g in guesses)
        if 0 < low.sum() < len(low) and not known_before:
            guesses += [np.where(low, 0.9, 0.1), np.where(low, 0.1, 0.9)]
    return guesses or [np.full(len(sample), 0.5)]


def _over(values: Array, weights: Array, seconds: Array, reach: float) -> Array:
    """Weighted mean over `reach` seconds either side; the nearest one known where there is none."""
    total, count = (np.concatenate([[0.0], np.cumsum(v)]) for v in (values, weights))
    a = np.searchsorted(seconds, seconds - reach)
    b = np.searchsorted(seconds, seconds + reach, side="right")
    there = count[b] - count[a] > 0
    mean = (total[b] - total[a]) / np.maximum(count[b] - count[a], 1e-9)
    return np.asarray(np.interp(seconds, seconds[there], mean[there]))


def _divide(values: Array) -> float:
    """The value that divides them into two groups with the least spread within (N. Otsu, 1979; from memory)."""
    ordered = np.sort(values)
    n = len(ordered)
    if n < 3:
        return float(ordered[0])
    total = np.cumsum(ordered)
    below = np.arange(1, n)
    between = below * (n - below) * (total[:-1] / below - (total[-1] - total[:-1]) / (n - below)) ** 2
    return float(ordered[int(np.argmax(between)) + 1])


def _rounds(fitted: StatesFit, rounds: int) -> StatesFit:
    for number in range(rounds):
        fitted = _reweighed(replace(fitted, coefficients=_solve(fitted)))
        fitted = replace(fitted, thinned=_thinning(fitted))
        smoothed = smooth(_log_likelihood(fitted) / fitted.thinned, fitted.sample.gap, fitted.rates)
        moved = float(np.abs(smoothed.showing - fitted.showing).max()) if number else 1.0
        rates = Rates(
            (smoothed.came + EVENTS) / (smoothed.quiet_seconds + EVENTS * STAYS),
            (smoothed.went + EVENTS) / (smoothed.showing_seconds + EVENTS * STAYS),
        )
        evidence = smoothed.evidence + _prior(fitted)
        fitted = replace(fitted, showing=smoothed.showing, evidence=evidence, rates=rates)
        if moved < 0.01:
            break
    return fitted


def only(fitted: StatesFit, kinds: Sequence[str]) -> StatesFit:
    """The states told apart once more, by these columns alone: a moment that cannot show the fault has no say."""
    sample = fitted.sample
    apart = tuple(sample.where(*kinds))
    p = len(sample.names)
    more = fitted.coefficients[p:]
    kept = [more[fitted.apart.index(i)] if i in fitted.apart else 0.0 for i in apart]
    return _rounds(replace(fitted, apart=apart, coefficients=np.concatenate([fitted.coefficients[:p], kept])), ROUNDS)


# ---- least squares, robust -------------------------------------------------------------------------------------------


def _rows(fitted: StatesFit, showing: Array) -> Array:
    """(n, p + d) columns, then those in which the states differ times how likely it shows."""
    if not fitted.apart:
        return fitted.sample.columns
    return np.hstack([fitted.sample.columns, fitted.sample.columns[:, list(fitted.apart)] * showing[:, None]])


def _solve(fitted: StatesFit) -> Array:
    """The likeliest coefficients."""
    a, b, _ = _normal(fitted)
    return np.asarray(np.linalg.solve(a, b))


def _prior(fitted: StatesFit) -> float:
    """What the coefficients cost: their log prior where they came to lie, and how narrowly they had to be found
    (Laplace's approximation, Bishop 2006, 4.4)."""
    a, _, free = _normal(fitted)
    scale = fitted.spread**2 * fitted.thinned
    log_det = float(np.linalg.slogdet(a)[1]) - len(a) * math.log(scale)
    return float(-0.5 * np.sum((fitted.coefficients / free) ** 2) - np.log(free).sum() - 0.5 * log_det)


def _normal(fitted: StatesFit) -> tuple[Array, Array, Array]:
    """Normal equations (matrix and right side, times the residual's variance), and every coefficient's own spread.

    One state may have a fault in any column; of two states one is sound.
    """
    sample, p = fitted.sample, len(fitted.sample.names)
    x, w, s = sample.columns, fitted.weights, fitted.showing
    a, b = np.zeros((p + len(fitted.apart),) * 2), np.zeros(p + len(fitted.apart))
    wx = x * w[:, None]
    a[:p, :p], b[:p] = wx.T @ x, wx.T @ (sample.y - 1)
    if fitted.apart:
        d = x[:, list(fitted.apart)]
        wd = d * (w * s)[:, None]
        a[:p, p:] = x.T @ wd
        a[p:, :p] = a[:p, p:].T
        a[p:, p:], b[p:] = wd.T @ d, wd.T @ (sample.y - 1)
    kinds = [name.split()[0] for name in sample.names]
    free = np.array([FREED_COLUMNS.get(kind, SOUND[kind] if fitted.switching else FAULT_SPREAD) for kind in kinds])
    free = np.concatenate([free, np.full(len(fitted.apart), FAULT_SPREAD)])
    a[np.diag_indices(len(a))] += (fitted.spread / free) ** 2 * fitted.thinned
    return a, b, free


def beyond(sample: Sample, left: Array) -> NDArray[np.bool_]:
    """Where a residual says no more than that the trim stands at its stop. left: (n,) seen less predicted."""
    return np.asarray(left * sample.stop < 0)


def _left(fitted: StatesFit) -> Array:
    """(n, 2) residuals; none where a state lies beyond the stop that the trim stands at."""
    quiet = fitted.sample.y - fitted.shared
    r = np.column_stack([quiet, quiet - fitted.difference])
    return np.where(r * fitted.sample.stop[:, None] < 0, 0.0, r)


def _reweighed(fitted: StatesFit) -> StatesFit:
    """With robust weights and the residuals' spread."""
    r = _left(fitted)
    robust = (FREEDOM + 1) / (FREEDOM + (r / fitted.spread) ** 2)
    share = np.column_stack([1 - fitted.showing, fitted.showing])
    free = r != 0.0
    new = math.sqrt(float((share * robust * r**2).sum()) / max(1.0, float((share * free).sum())))
    weights = (share * np.where(free, robust, 0.0)).sum(axis=1)  # what a stop hides pulls at nothing
    return replace(fitted, weights=weights, spread=max(LEAST_SPREAD, new))


def _log_likelihood(fitted: StatesFit) -> Array:
    """(n, 2), Student's t; constants that are the same for both states and for any spread are left out."""
    r = _left(fitted) / fitted.spread
    return np.asarray(-0.5 * (FREEDOM + 1) * np.log1p(r**2 / FREEDOM) - math.log(fitted.spread))


def _thinning(fitted: StatesFit) -> float:
    """How many residuals are worth one (`thinning`): as far as their spread is made up (`LEAST_SPREAD`), the least."""
    both = _left(fitted)
    left = both[:, 0] * (1 - fitted.showing) + both[:, 1] * fitted.showing
    left = np.clip(left, -4 * fitted.spread, 4 * fitted.spread)
    real = min(1.0, float((left**2).mean()) / fitted.spread**2)
    return real * thinning(left, fitted.sample.gap) + (1 - real) * least_thinned(fitted.sample.gap)


def least_thinned(gap: Array) -> float:
    """Moments of trims that tell one thing at the least."""
    return LEAST_THINNED / max(1.0, float(np.min(gap[1:]))) if len(gap) > 1 else LEAST_THINNED


def thinning(left: Array, gap: Array) -> float:
    """How many residuals are worth one, of an AR(1) series seen at these moments: sum of r^|ti - tj| over their number.

    (1 + r)/(1 - r), r the correlation from one moment to the next, where none is missing; less where there are gaps.
    """
    usual = max(1.0, float(np.min(gap[1:]))) if len(left) > 1 else 1.0
    next_to = gap[1:] <= 1.5 * usual
    if next_to.sum() < 20:
        return 4.0
    together = float((left[1:] * left[:-1])[next_to].sum()) / float((left[1:][next_to] ** 2).sum() + 1e-12)
    r = min(0.92, max(0.0, together))
    starts = np.flatnonzero(np.concatenate([[True], ~next_to]))
    lengths = np.diff(np.append(starts, len(left)))
    before, total = -1.0, 0.0  # what all moments before tell of one, and the sum of that over the moments
    for pause, n in zip(gap[starts].tolist(), lengths.tolist(), strict=True):
        first = r ** (pause / usual) * (before + 1)
        ends = r ** (n - 1)
        total += first * (1 - r * ends) / (1 - r) + (n - (1 - r * ends) / (1 - r)) * r / (1 - r)
        before = first * ends + (1 - ends) * r / (1 - r)
    return max(least_thinned(gap), 1 + 2 * total / len(left))


# ---- which family ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Explanation:
    """One explanation. columns: indexes of the coefficients that it frees. mean, cov: of all coefficients under it.

    weight: against all others, 0..1. switching: it is what the showing state has more than the quiet one. kinds: what
    its columns are called.
    """

    name: str
    kinds: tuple[str, ...]
    columns: tuple[int, ...]
    switching: bool
    mean: Array
    cov: Array
    weight: float


def families(fitted: StatesFit, both: bool = False) -> tuple[Explanation, ...]:
    """Every explanation of a bank's trims by itself, the likeliest first. both: that there are two states at all is one
    of the questions, so that none of them may be of the showing state. Their coefficients are those of
    `sample.names`, then those of every column of a state once more, for what the showing state has more."""
    sample, p = fitted.sample, len(fitted.sample.names)
    twice = tuple(sample.where(*AIRFLOW_COLUMNS)) if fitted.switching else ()
    rows = _rows(replace(fitted, apart=twice), fitted.showing)
    every = _settled(fitted) / (fitted.spread**2 * fitted.thinned)
    worth = fitted.weights * every * (sample.stop == 0)
    a = rows.T @ (rows * worth[:, None])
    b = rows.T @ (worth * (sample.y - 1))
    at_stop = np.flatnonzero((sample.stop != 0) & (every > 0))
    kinds = [name.split()[0] for name in (*sample.names, *(sample.names[i] for i in twice))]
    sound = np.array([SOUND[kind] for kind in kinds])
    sound[p:] = SEEN_TOO
    purges = sample.where("purge", "fading", "brief", "ebbing")
    found: list[tuple[str, tuple[int, ...], bool, Array, Array, float]] = []
    for name, freed, switching, prior in _hypotheses(sample, twice):
        if fitted.switching and not switching and name == NONE and not both:
            continue  # two states were told apart: something comes and goes
        spread = sound.copy()
        if both and not switching:
            spread[p:] = NO_MORE
        if switching and not both:  # what comes and goes is asked for: what purge makes all day may be as it likes
            spread[purges] = FREED_COLUMNS["purge"]
        spread[list(freed)] = np.hypot(spread[list(freed)], FAULT_SPREAD)
        precision = a + np.diag(1 / spread**2)
        cov = np.linalg.inv(precision)
        mean, told, held = cov @ b, b, 0.0
        for _ in range(STOP_ROUNDS if len(at_stop) else 0):  # a moment at a stop holds only what does not lie beyond it
            short = at_stop[(sample.y[at_stop] - 1 - rows[at_stop] @ mean) * sample.stop[at_stop] > 0]
            r, w, y = rows[short], every[short], sample.y[short] - 1
            precision = a + np.diag(1 / spread**2) + r.T @ (r * w[:, None])
            cov, told, held = np.linalg.inv(precision), b + r.T @ (w * y), float((w * y * y).sum())
            mean = cov @ told
        if (
            fitted.switching
            and not both
            and not switching
            and _leaves_apart(fitted, sample.columns[:, twice] @ mean[p:])
        ):
            continue
        log_det = float(np.linalg.slogdet(precision)[1])
        evidence = 0.5 * (float(told @ mean) - held - log_det) - float(np.log(spread).sum()) + math.log(prior)
        if name == OIL and mean[freed[0]] > 0:
            continue  # oil gives fuel off, it takes none up
        if name == MIXED and mean[freed[0]] * (mean[freed[0]] + mean[freed[1]]) < 0:
            continue  # a steady leak that a wrong scale of the other sign outweighs even at idle could not be seen
        if name in (PURGED, COLD):
            made = rows[:, list(freed)] @ mean[list(freed)]
            if not _one_way(made):
                continue
            evidence -= LEAN_TOO if made.sum() > 0 else 0.0
        if switching and both:
            evidence -= TWO_STATES_BEAT_ONE + CHANGE * fitted.changes
        found.append((name, freed, switching, mean, cov, evidence))
    most = max(f[-1] for f in found)
    whole = sum(math.exp(f[-1] - most) for f in found)
    ranked = [
        Explanation(n, tuple(kinds[i] for i in c), c, s, m, v, math.exp(e - most) / whole) for n, c, s, m, v, e in found
    ]
    return tuple(sorted(ranked, key=lambda f: -f.weight))


def _leaves_apart(fitted: StatesFit, left: Array) -> bool:
    """Whether two states are still apart, of which an explanation says nothing: it is none of what comes and goes.
    left: (n,) what is between them beside it."""
    apart = fitted.difference * fitted.showing
    return abs(float((left * apart).sum())) > STILL_APART * float((fitted.difference * apart).sum())


def _one_way(made: Array) -> bool:
    """Whether what an explanation makes of the trims goes the same way at (nearly) all moments."""
    return bool(abs(made.sum()) >= ONE_WAY * np.abs(made).sum())


def _settled(fitted: StatesFit) -> Array:
    """1 where a moment lies well within a state, 0 where its state is open or the trims are still on their way."""
    shows = fitted.showing > 0.5
    weight = (np.abs(fitted.showing - 0.5) > 0.5 - OPEN).astype(float)
    seconds = np.cumsum(fitted.sample.gap)
    for i in (np.flatnonzero(shows[1:] != shows[:-1]) + 1).tolist():
        weight[
            np.searchsorted(seconds, seconds[i] - SETTLING / 2) : np.searchsorted(seconds, seconds[i] + SETTLING)
        ] = 0.0
    enough = weight[shows].sum() > 20 and weight[~shows].sum() > 20
    return weight if enough else np.ones(len(shows))


_GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (PURGED, ("purge", "fading", "brief", "ebbing")),
    (COLD, ("cold", "chill")),
    (MISREAD, ("misread",)),
)


def _hypotheses(sample: Sample, twice: Sequence[int]) -> list[tuple[str, tuple[int, ...], bool, float]]:
    """(family, coefficients it frees, whether of the showing state, prior)."""
    p = len(sample.names)
    at = {name: i for i, name in enumerate(sample.names)}
    more = {sample.names[i]: p + number for number, i in enumerate(twice)}
    simple = (
        (SHARE, ("share",)),
        (TIME, ("time",)),
        (INJECTION, ("injection",)),
        (LOAD, ("load",)),
        (LOAD, ("surge",)),
        (LOAD, ("square",)),
        (LOAD, ("boost",)),
        (MIXED, ("time", "share")),
    )
    found: list[tuple[str, tuple[int, ...], bool, float]] = [(NONE, (), False, PRIORS[NONE])]
    for where, switching in ((at, False), (more, True)):
        for name, kinds in simple:
            if all(kind in where for kind in kinds):
                found.append((name, tuple(where[kind] for kind in kinds), switching, PRIORS[name]))
    for name, group in _GROUPS:
        if freed := tuple(sample.where(*group)):
            found.append((name, freed, False, PRIORS[name]))
    oils = sample.where("oil")
    found += [(OIL, (i,), False, PRIORS[OIL] / len(oils)) for i in oils]
    return found


OF_ONE_BANK = 0.5  # that a fault which can be of one bank is of one, where there are two; judgement
BY_CHANCE = 0.02  # that two banks have a fault each that has nothing to do with the other's; judgement
OF_ALL = (PURGED, OIL, COLD, MISREAD)  # what reaches every bank of an engine alike


def weigh_both_banks(rankings: Sequence[tuple[Explanation, ...]]) -> list[tuple[Explanation, ...]]:
    """Explanations of two banks weighed anew as those of one engine: vapour, oil and a cold engine reach both banks, an
    injector one, a meter both. rankings: of each bank. With one bank, or more than two, as they were."""
    if len(rankings) != 2 or not all(rankings):
        return list(rankings)
    one, two = (_by_name(ranked) for ranked in rankings)
    return [_with(rankings[0], _joint(one, two)), _with(rankings[1], _joint(two, one))]


def _by_name(ranked: Sequence[Explanation]) -> dict[str, float]:
    """What a bank's trims say of each explanation, without what was thought of it before."""
    found = dict.fromkeys(PRIORS, 0.0)
    for family in ranked:
        found[family.name] += family.weight / PRIORS[family.name]
    return found


def _joint(mine: dict[str, float], other: dict[str, float]) -> dict[str, float]:
    """Weight of each explanation of one bank, summed over what may be of the other."""
    alone = sum(other[name] * PRIORS[name] for name in other) / sum(PRIORS.values())
    found = {}
    for name, prior in PRIORS.items():
        if name == NONE:
            beside = other[NONE]
            beside += sum(OF_ONE_BANK * PRIORS[n] * other[n] for n in other if n not in (NONE, *OF_ALL))
        elif name in OF_ALL:
            beside = other[name]
        else:
            beside = OF_ONE_BANK * other[NONE] + (1 - OF_ONE_BANK) * other[name]
        found[name] = prior * mine[name] * ((1 - BY_CHANCE) * beside + BY_CHANCE * alone)
    return found


def _with(ranked: Sequence[Explanation], weights: dict[str, float]) -> tuple[Explanation, ...]:
    """Each family's share of its name's weight."""
    total = sum(weights.values())
    before = dict.fromkeys(weights, 0.0)
    for family in ranked:
        before[family.name] += family.weight
    found = [
        replace(f, weight=f.weight / max(1e-300, before[f.name]) * weights[f.name] / max(1e-300, total)) for f in ranked
    ]
    return tuple(sorted(found, key=lambda f: -f.weight))
