"""Trims over time as two states of one engine: quiet, and showing. What each state's mixture error is, and when which.

In each state 1 + T = (1 - a R / m) / k, a straight line in 1/m (`measure.trims`). Common to both states, as covariates:
purge (its duty over airflow, and how that fades while the canister empties), a cold engine (flat and over airflow), and
fuel that evaporates out of the oil after a cold start (over airflow; comes with the oil's heat, goes as it is used
up). Expectation maximisation over a two-state chain (`hidden`), residuals Student-t with 4 degrees of freedom so that
single transients weigh little (Lange, Little & Taylor, JASA 84:881-896, 1989; in secondary texts). Residuals a second
apart are not independent: log-likelihoods are divided by how many are worth one, as for the mean of an AR(1) series
seen at the moments that count (`_thinning`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reasoner.scanlog.chain import Rates, smooth
from reasoner.scanlog.numerals import Array

FREEDOM = 4.0  # degrees of freedom of the residuals
TOLD = 4.0  # log-likelihood by which two states must beat one, beyond what their parameters cost; judgement
STATE_SPREAD = np.array([0.3, 0.5])  # of 1/k and of a R / (k m) at idle, before anything is seen; judgement
STEADY_SPREAD = 0.05  # of a R / (k m) at idle while quiet, where fuel out of the oil is in the model: one or the other
COVARIATE_SPREAD = 0.3  # of a covariate's effect on the trim; judgement
STAYS, EVENTS = 300.0, 1.0  # s of a state and number of changes that the rates are worth beforehand; judgement
DOUBT = 0.3  # share of what purge does to the trim that is not known; judgement
LEAST_SPREAD = 0.004  # of a trim: half a step of its scaling (SAE J1979)
ROUNDS, TRIED = 30, 6  # of expectation maximisation, and for each of its starts
LEAST_COLD = 60  # moments after a cold start without which nothing can be said of fuel out of the oil
LEAST_SLOW = 0.02  # of trim at idle that fuel out of the oil must take to be in the model
RISES, FALLS = (200.0, 400.0, 800.0), (600.0, 1200.0, 2400.0, 4800.0)  # s, of fuel out of the oil


@dataclass(frozen=True)
class Sample:
    """Moments that count, in order. y: 1 + T. x: reference flow over airflow. gap: s since the moment before.

    covariates: (n, p). purge: (p,) which of them are purge. since_cold: s of running since a cold start. cold: (n,)
    the engine is far from warm. stop: (n,) -1 where the trim stands at its lower stop, so that the mixture may be any
    richer; 1 at the upper; else 0.
    """

    y: Array
    x: Array
    gap: Array
    covariates: Array
    purge: NDArray[np.bool_]
    since_cold: Array
    cold: NDArray[np.bool_]
    stop: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.y)

    def with_slow(self, rise: float, fall: float) -> Sample:
        """With fuel out of the oil as one more covariate."""
        u = np.where(np.isfinite(self.since_cold), self.since_cold, 1e9)
        shape = np.where(u < 1e8, (1 - np.exp(-u / rise)) ** 2 * np.exp(-u / fall), 0.0) * self.x
        covariates = np.column_stack([self.covariates, shape])
        return replace(self, covariates=covariates, purge=np.append(self.purge, False))


@dataclass(frozen=True)
class Fitted:
    """coefficients: quiet (c0, c1), showing (c0, c1), covariates. showing: (n,) probability.

    spread: of a residual. thinned: how many residuals are worth one. evidence: log-likelihood, thinned. states: 1 or 2.
    weights: (n, 2) robust weights of each moment in each state. slow: (rise, fall) where fuel out of the oil is in it.
    """

    sample: Sample
    coefficients: Array
    showing: Array
    spread: float
    thinned: float
    evidence: float
    states: int
    weights: Array
    rates: Rates
    slow: tuple[float, float] | None = None

    def line(self, state: int) -> Array:
        """c0 + c1 x at every moment, without covariates."""
        c = self.coefficients[2 * state : 2 * state + 2]
        return np.asarray(c[0] + c[1] * self.sample.x)

    @property
    def switching(self) -> bool:
        """Two states, not one."""
        return self.states == 2

    @property
    def shared(self) -> Array:
        """What the covariates make of the trim at every moment."""
        return np.asarray(self.sample.covariates @ self.coefficients[4:])

    @property
    def difference(self) -> Array:
        """Trim while showing less trim while quiet, at every moment; negative is richer."""
        return self.line(1) - self.line(0)

    @property
    def wanted(self) -> Array:
        """1 + T at every moment; at a stop as far beyond it as the showing state goes."""
        there = self.line(1) + self.shared
        return np.where(beyond(self.sample, self.sample.y - there), there, self.sample.y)

    @property
    def cost(self) -> float:
        """Half the parameters' number times the log of how many moments there are (Schwarz 1978)."""
        parameters = 2 + self.sample.covariates.shape[1] + (4 if self.switching else 0)
        return float(0.5 * parameters * math.log(max(2.0, len(self.sample) / self.thinned)))


def fit(sample: Sample) -> tuple[Fitted, Fitted, float]:
    """The best with two states, the best with one, and the probability (0..1) that there are two."""
    plain = _one(sample, None)
    slow = _slow(sample, plain)
    two = _two(plain)
    if slow is not None:
        two = max(two, _two(slow), key=_score)
    rivals = [_thinned(one, two.thinned, two.spread) for one in (plain, slow) if one is not None]
    one = max(rivals, key=_score)
    odds = _score(two) - _score(one) - TOLD
    return two, one, 1 / (1 + math.exp(-min(50.0, max(-50.0, odds))))


def _slow(sample: Sample, plain: Fitted) -> Fitted | None:
    """One state with fuel out of the oil, where that tells clearly more than a steady engine."""
    cold = np.isfinite(sample.since_cold) & (sample.since_cold < 2 * FALLS[-1])
    if cold.sum() < LEAST_COLD:
        return None
    tried = [_one(sample.with_slow(rise, fall), (rise, fall)) for rise in RISES for fall in FALLS]
    adds = [one for one in tried if one.coefficients[-1] < -LEAST_SLOW]
    best = max(adds, key=_score, default=None)
    return best if best is not None and _score(best) > _score(plain) + TOLD else None


def _score(fitted: Fitted) -> float:
    return fitted.evidence - fitted.cost


# ---- one state -------------------------------------------------------------------------------------------------------


def _one(sample: Sample, slow: tuple[float, float] | None) -> Fitted:
    n = len(sample)
    showing = np.zeros(n)
    weights = np.ones((n, 2))
    coefficients, spread = np.zeros(0), 0.03
    for _ in range(8):
        coefficients = _solve(sample, showing, weights, spread, 1, slow is not None)
        weights, spread, _ = _residuals(sample, coefficients, showing, spread)
    fitted = Fitted(sample, coefficients, showing, spread, 1.0, 0.0, 1, weights, Rates(1 / STAYS, 1 / STAYS), slow)
    return _thinned(fitted, _thinning(sample, coefficients, showing, spread), spread)


def _thinned(fitted: Fitted, thinned: float, spread: float) -> Fitted:
    """A one-state fit with its evidence counted as another fit's is: same thinning, and a spread no smaller."""
    likelihood = _log_likelihood(fitted.sample, fitted.coefficients, max(spread, fitted.spread))[:, 0]
    return replace(fitted, thinned=thinned, evidence=float(likelihood.sum()) / thinned)


# ---- two states ------------------------------------------------------------------------------------------------------


def _two(one: Fitted) -> Fitted:
    """From several first guesses; the best is gone on with."""
    sample = one.sample
    starts = [_rounds(sample, guess, one, TRIED) for guess in _guesses(one)]
    best = max(starts, key=lambda f: f.evidence)
    return _rounds(sample, best.showing, best, ROUNDS)


def _guesses(one: Fitted) -> list[Array]:
    """Moments richer than a dividing line, over half a minute: of the trim, and of the fuel it takes away."""
    sample = one.sample
    shared = sample.covariates @ one.coefficients[4:]
    guesses: list[Array] = []
    if sample.cold.all():
        return [np.full(len(sample), 0.5)]
    for measure in (sample.y - shared, (sample.y - shared - 1) / np.maximum(sample.x, 1e-3)):
        seconds = np.cumsum(np.minimum(sample.gap, 60.0))
        smoothed = _over(measure, seconds, 15.0)
        low = smoothed < _divide(smoothed[~sample.cold])
        low &= ~sample.cold  # a cold engine has its own reasons, until something else is shown
        if 0 < low.sum() < len(low):
            guesses.append(np.where(low, 0.9, 0.1))
    return guesses or [np.full(len(sample), 0.5)]


def _over(values: Array, seconds: Array, reach: float) -> Array:
    """Mean over `reach` seconds either side."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    a = np.searchsorted(seconds, seconds - reach)
    b = np.searchsorted(seconds, seconds + reach, side="right")
    return np.asarray((total[b] - total[a]) / (b - a))


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


def _rounds(sample: Sample, showing: Array, start: Fitted, rounds: int) -> Fitted:
    n = len(sample)
    weights, spread, rates = np.ones((n, 2)), start.spread, Rates(1 / STAYS, 1 / STAYS)
    thinned, evidence, coefficients = start.thinned, -math.inf, start.coefficients
    if start.switching:
        weights, rates = start.weights, start.rates
    for number in range(rounds):
        coefficients = _solve(sample, showing, weights, spread, 2, start.slow is not None)
        weights, spread, _ = _residuals(sample, coefficients, showing, spread)
        thinned = _thinning(sample, coefficients, showing, spread)
        smoothed = smooth(_log_likelihood(sample, coefficients, spread) / thinned, sample.gap, rates)
        moved = float(np.abs(smoothed.showing - showing).max()) if number else 1.0
        showing, evidence = smoothed.showing, smoothed.evidence
        rates = Rates(
            (smoothed.came + EVENTS) / (smoothed.quiet_seconds + EVENTS * STAYS),
            (smoothed.went + EVENTS) / (smoothed.showing_seconds + EVENTS * STAYS),
        )
        if moved < 0.01:
            break
    return Fitted(sample, coefficients, showing, spread, thinned, evidence, 2, weights, rates, start.slow)


# ---- least squares with two states -----------------------------------------------------------------------------------


def _doubt(sample: Sample, coefficients: Array, spread: float) -> Array:
    """(n,) how much wider a residual is where purge moves the trim by what is only roughly known."""
    if not sample.purge.any() or not len(coefficients):
        return np.ones(len(sample))
    effect = sample.covariates[:, sample.purge] @ coefficients[4:][sample.purge]
    return np.asarray(np.sqrt(1 + (DOUBT * effect / spread) ** 2))


def _solve(sample: Sample, showing: Array, weights: Array, spread: float, states: int, slow: bool) -> Array:
    """Weighted least squares of both lines and the covariates, held together by wide priors."""
    s = np.column_stack([np.ones(len(sample)), sample.x])
    x, p = sample.covariates, sample.covariates.shape[1]
    quiet, shows = (1 - showing) * weights[:, 0], showing * weights[:, 1]
    a, b = np.zeros((4 + p, 4 + p)), np.zeros(4 + p)
    for at, w in ((0, quiet), (2, shows)):
        ws = s * w[:, None]
        a[at : at + 2, at : at + 2] = ws.T @ s
        a[at : at + 2, 4:] = ws.T @ x
        b[at : at + 2] = ws.T @ sample.y
    a[4:, :4] = a[:4, 4:].T
    wx = x * (quiet + shows)[:, None]
    a[4:, 4:] = wx.T @ x
    b[4:] = wx.T @ sample.y
    loose = spread**2 / prior_spread(p, slow) ** 2
    a[np.diag_indices(4 + p)] += loose
    b[[0, 2]] += loose[[0, 2]]  # 1/k is 1 beforehand
    c = np.linalg.solve(a, b)
    if states == 1:
        c[2:4] = c[:2]
    return np.asarray(c)


def prior_spread(covariates: int, slow: bool) -> Array:
    """(4 + p,) standard deviation of each coefficient before anything is seen."""
    spread = np.concatenate([STATE_SPREAD, STATE_SPREAD, np.full(covariates, COVARIATE_SPREAD)])
    if slow:
        spread[1] = STEADY_SPREAD
    return np.asarray(spread)


def _predicted(sample: Sample, c: Array) -> Array:
    """(n, 2)."""
    shared = sample.covariates @ c[4:]
    return np.column_stack([c[0] + c[1] * sample.x + shared, c[2] + c[3] * sample.x + shared])


def beyond(sample: Sample, left: Array) -> NDArray[np.bool_]:
    """Where a residual says no more than that the trim stands at its stop. left: (n,) seen less predicted."""
    return np.asarray(left * sample.stop < 0)


def _left(sample: Sample, c: Array) -> Array:
    """(n, 2) residuals; none where a state lies beyond the stop that the trim stands at."""
    r = sample.y[:, None] - _predicted(sample, c)
    return np.where(r * sample.stop[:, None] < 0, 0.0, r)


def _residuals(sample: Sample, c: Array, showing: Array, spread: float) -> tuple[Array, float, Array]:
    """Robust weights (n, 2), the residuals' spread, and the residuals (n, 2) over their doubt."""
    wide = _doubt(sample, c, spread)
    r = _left(sample, c) / wide[:, None]
    robust = (FREEDOM + 1) / (FREEDOM + (r / spread) ** 2)
    share = np.column_stack([1 - showing, showing])
    free = r != 0.0
    new = math.sqrt(float((share * robust * r**2).sum()) / max(1.0, float((share * free).sum())))
    robust = np.where(free, robust, 0.0)  # what a stop hides pulls at no line
    return robust / wide[:, None] ** 2, max(LEAST_SPREAD, new), r


def _log_likelihood(sample: Sample, c: Array, spread: float) -> Array:
    """(n, 2), Student's t; constants left out that are the same for both states and for any spread are kept out."""
    wide = _doubt(sample, c, spread) * spread
    r = _left(sample, c) / wide[:, None]
    return np.asarray(-0.5 * (FREEDOM + 1) * np.log1p(r**2 / FREEDOM) - np.log(wide)[:, None])


def _thinning(sample: Sample, c: Array, showing: Array, spread: float) -> float:
    """How many residuals are worth one, of an AR(1) series seen at these moments: sum of r^|ti - tj| over their number.

    (1 + r)/(1 - r), r the correlation from one moment to the next, where none is missing; less where there are gaps.
    """
    both = _left(sample, c)
    left = both[:, 0] * (1 - showing) + both[:, 1] * showing
    left = np.clip(left, -4 * spread, 4 * spread)
    usual = max(1.0, float(np.min(sample.gap[1:]))) if len(left) > 1 else 1.0
    next_to = sample.gap[1:] <= 1.5 * usual
    if next_to.sum() < 20:
        return 4.0
    together = float((left[1:] * left[:-1])[next_to].sum()) / float((left[1:][next_to] ** 2).sum() + 1e-12)
    r = min(0.92, max(0.0, together))
    starts = np.flatnonzero(np.concatenate([[True], ~next_to]))
    lengths = np.diff(np.append(starts, len(sample)))
    before, total = -1.0, 0.0  # what all moments before tell of one, and the sum of that over the moments
    for gap, n in zip(sample.gap[starts].tolist(), lengths.tolist(), strict=True):
        first = r ** (gap / usual) * (before + 1)
        ends = r ** (n - 1)
        total += first * (1 - r * ends) / (1 - r) + (n - (1 - r * ends) / (1 - r)) * r / (1 - r)
        before = first * ends + (1 - ends) * r / (1 - r)
    return 1 + 2 * total / len(sample)
