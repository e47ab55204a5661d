"""What a state's trims say: fuel too much by time, by share, by injection; with errors that allow for how logs err.

(1 + T) = (1 - a R / m)/k for each bank's own air m (an even share of the engine's): see `measure.trims`. Standard
errors by the sandwich of clustered residuals, blocks of half a minute (Liang & Zeger, Biometrika 73:13-22, 1986; in
secondary texts), since neighbouring seconds are no independent readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from reasoner.measure.fuel import PETROL, millilitres_a_minute
from reasoner.measure.uncertain import Estimate
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.shapes import Fitted, prior_spread

BLOCK = 30.0  # s of neighbouring residuals that count as one
SETTLING = 15.0  # s after a change of state whose trims are still on their way, and before it, when it is less sure
OPEN = 0.1  # probability either way, up to which a moment belongs to neither state
MIXED = "by time and by share"
RANGE = 1.5  # highest over lowest airflow, below which by time and by share are one and the same
METER = 0.03  # of an air meter's reading that may be its own; from memory of makers' statements, 2 to 3 %
PART = 0.03  # of trim at idle that each of two errors at once must make; judgement
RARER = 4.0  # how much rarer two errors at once are than one; judgement
SMALL = 0.05  # of trim at idle below which its shape says nothing
FADES = 0.3  # of fuel out of the oil that may just as well be steady: how it fades is only roughly known; judgement
ZERO = 6.0  # % of trim, at most, that an engine without a fault runs with; judgement
STAYS = 0.007  # of trim, that learning and vapours leave in it at an airflow however long one looks; judgement
APART = 4.0  # airflows in which that is another; judgement
CURVE = 0.02  # of an air meter's reading, for each e-fold of airflow, that may be its own; judgement


@dataclass(frozen=True)
class Line:
    """A state's trims against airflow. seconds: looked at. flow: lowest and highest airflow (g/s; tenth, ninetieth
    percentile). share: k. by_time: a in g/s; leak: in mL/min; None without airflow. at_idle: trim (%) at the reference
    flow. told_apart: airflow varied enough to tell a from k; else each is what it would be if the other were none.
    """

    seconds: float
    flow: tuple[float, float]
    share: Estimate
    by_time: Estimate | None
    leak: Estimate | None
    at_idle: Estimate
    told_apart: bool


@dataclass(frozen=True)
class Shape:
    """One way in which the showing state may differ, by itself. unit: g/s, mg, or "" for a factor. weight: 0..1.

    Of `by time and by share` the size is the part by time.
    """

    name: str
    size: Estimate
    unit: str
    weight: float


@dataclass(frozen=True)
class Fits:
    """quiet, showing: None without such a state. extra: showing less quiet, fuel by time (g/s) and in mL/min.

    shapes: of the difference where there are two states, else of the whole; best first. spread: % of trim, a
    residual's. slow: g/s out of the oil at its greatest, None where nothing of the kind was seen.
    """

    quiet: Line | None
    showing: Line | None
    extra: Estimate | None
    extra_leak: Estimate | None
    shapes: tuple[Shape, ...]
    spread: float
    slow: Estimate | None

    @property
    def level(self) -> Estimate | None:
        """Trim at idle (%) of the state that shows; where the quiet state is above zero, how far below that it is.

        An engine whose own zero is +4 % and that goes to -9 % is rich by 13 %, though no trim is beyond -10 %. No
        engine's own zero is taken to be further up than `ZERO`.
        """
        line = self.showing or self.quiet
        if line is None or self.showing is None or self.quiet is None or self.quiet.at_idle.value <= 0:
            return line.at_idle if line is not None else None
        zero = Estimate(min(ZERO, self.quiet.at_idle.value), self.quiet.at_idle.error)
        return Estimate(line.at_idle.value - zero.value, math.hypot(line.at_idle.error, zero.error))


@dataclass(frozen=True)
class Scale:
    """reference: g/s of the engine's air that x counts from. banks: that share it. air_error: of the airflow, relative.

    density: kg/L; ratio: stoichiometric. speed: (n,) rpm at each moment, or None. cylinders: of the engine, or None.
    """

    reference: float
    banks: int
    air_error: float = 0.0
    ratio: float = PETROL.air_ratio
    density: float = PETROL.density
    speed: Array | None = None
    cylinders: int | None = None

    @property
    def grams(self) -> float:
        """g/s of fuel into one bank that takes the whole trim at the reference flow."""
        return self.reference / self.banks / self.ratio


def fits(fitted: Fitted, shows: bool, seconds: Array, step: float, scale: Scale) -> Fits:
    """seconds: (n,) of the log, for each moment. shows: which state a log with one state is in."""
    switching = fitted.switching
    weight = _settled(fitted, seconds) if switching else np.ones(len(seconds))
    c, cov = _solve(fitted, weight, seconds)
    slow = _slow(fitted, c, cov, scale)
    flow, held = scale.reference / fitted.sample.x, fitted.sample.stop == 0
    sides = []
    for state in (0, 1):
        share = (fitted.showing if state else 1 - fitted.showing) if switching else np.ones(len(seconds))
        here = share * weight > 0.5
        here &= held if (here & held).any() else True
        line = _line(c, cov, state if switching else 0, flow[here], step, scale) if here.any() else None
        sides.append(_doubted(line, slow, scale) if line is not None and slow is not None else line)
    quiet, showing = (sides[0], sides[1]) if switching else (None, sides[0]) if shows else (sides[0], None)
    extra = _extra(c, cov, scale) if switching and quiet and showing and scale.reference > 0 else None
    if extra is not None and showing is not None:
        apart = max(1e-6, scale.reference * (1 / showing.flow[0] - 1 / showing.flow[1]))
        extra = Estimate(extra.value, math.hypot(extra.error, math.sqrt(2) * STAYS / apart * scale.grams))
    leak = _scaled(extra, millilitres_a_minute(1.0, scale.density)) if extra else None
    shapes = _shapes(fitted, c, cov, weight, scale)
    return Fits(quiet, showing, extra, leak, shapes, 100 * fitted.spread, slow)


def _slow(fitted: Fitted, c: Array, cov: Array, scale: Scale) -> Estimate | None:
    """Fuel out of the oil at its greatest, in g/s for the bank."""
    if fitted.slow is None:
        return None
    rise, fall = fitted.slow
    u = np.linspace(0, 3 * (rise + fall), 400)
    top = float(((1 - np.exp(-u / rise)) ** 2 * np.exp(-u / fall)).max())
    return _scaled(Estimate(-float(c[-1]), math.sqrt(max(0.0, float(cov[-1, -1])))), top * scale.grams)


def _doubted(line: Line, slow: Estimate, scale: Scale) -> Line:
    """Fuel by time that may belong to what fades, and the other way round."""
    if line.by_time is None:
        return line
    by_time = Estimate(line.by_time.value, math.hypot(line.by_time.error, FADES * slow.value))
    return replace(line, by_time=by_time, leak=_scaled(by_time, millilitres_a_minute(1.0, scale.density)))


def _settled(fitted: Fitted, seconds: Array) -> Array:
    """1 where a moment lies well within a state, 0 where its state is open, or near a change of state."""
    shows = fitted.showing > 0.5
    at = np.flatnonzero(shows[1:] != shows[:-1]) + 1
    weight = (np.abs(fitted.showing - 0.5) > 0.5 - OPEN).astype(float)
    for i in at.tolist():
        a = np.searchsorted(seconds, seconds[i] - SETTLING / 2)
        b = np.searchsorted(seconds, seconds[i] + SETTLING)
        weight[a:b] = 0.0
    return weight if weight.sum() > 20 else np.ones(len(shows))


def _design(fitted: Fitted) -> tuple[Array, Array]:
    """(n, 4 + p) rows as if quiet, and as if showing."""
    s = fitted.sample
    base, none = np.column_stack([np.ones(len(s)), s.x]), np.zeros((len(s), 2))
    return np.hstack([base, none, s.covariates]), np.hstack([none, base, s.covariates])


def _solve(fitted: Fitted, weight: Array, seconds: Array) -> tuple[Array, Array]:
    """Coefficients and their covariance, the moments near a change of state left out.

    A moment at a stop holds a line only from one side: it has a say in where the line is, none in how sure that is.
    """
    sample, p = fitted.sample, fitted.sample.covariates.shape[1]
    rows = _design(fitted)
    whole = np.ones(len(sample)), np.zeros(len(sample))
    share = (1 - fitted.showing, fitted.showing) if fitted.switching else whole
    w = [share[s] * weight * fitted.weights[:, s] for s in (0, 1)]
    loose = fitted.spread**2 * fitted.thinned / prior_spread(p, fitted.slow is not None) ** 2
    a = rows[0].T @ (rows[0] * w[0][:, None]) + rows[1].T @ (rows[1] * w[1][:, None]) + np.diag(loose)
    b = rows[0].T @ (w[0] * sample.y) + rows[1].T @ (w[1] * sample.y)
    b[[0, 2]] += loose[[0, 2]]
    c = np.linalg.solve(a, b)
    if (sample.stop != 0).any():
        w = [w[s] * (sample.stop == 0) for s in (0, 1)]
        a = rows[0].T @ (rows[0] * w[0][:, None]) + rows[1].T @ (rows[1] * w[1][:, None]) + np.diag(loose)
    inverse = np.linalg.inv(a)
    block = np.floor(seconds / BLOCK).astype(np.int64)
    block = np.unique(block, return_inverse=True)[1]
    scores = np.zeros((int(block.max()) + 1, len(c)))
    for s in (0, 1):
        r = sample.y - rows[s] @ c
        np.add.at(scores, block, rows[s] * (w[s] * r)[:, None])
    used = max(1, int((np.abs(scores).sum(axis=1) > 0).sum()))
    sandwich = inverse @ (scores.T @ scores) @ inverse * used / max(1.0, used - 4.0)
    plain = inverse * fitted.spread**2 * fitted.thinned
    keep = np.sqrt(np.maximum(1.0, np.diag(plain) / np.maximum(np.diag(sandwich), 1e-18)))
    # Never surer than residuals that many seconds apart would make it.
    return np.asarray(c, dtype=float), sandwich * np.outer(keep, keep)


def _line(c: Array, cov: Array, state: int, flow: Array, step: float, scale: Scale) -> Line:
    at = 2 * state
    part, own = c[at : at + 2], cov[at : at + 2, at : at + 2]
    low, high = (float(v) for v in np.percentile(flow, [10, 90]))
    told = high >= RANGE * low and scale.reference > 0
    level = Estimate(100 * float(part.sum() - 1), 100 * math.sqrt(max(0.0, float(own.sum()))))
    by_time: Estimate | None = None
    if told:
        k = 1 / float(part[0])
        share = Estimate(k, k**2 * math.sqrt(float(own[0, 0])))
        sloped = _leak(part, own, scale)
        bent = CURVE * math.log(high / low) / (1 / low - 1 / high) / scale.ratio / scale.banks
        by_time = Estimate(sloped.value, math.hypot(sloped.error, bent))
    else:
        mean = float(scale.reference / flow.mean()) if scale.reference else 1.0
        g = np.array([1.0, mean])
        value, error = float(g @ part), math.sqrt(max(0.0, float(g @ own @ g)))
        share = Estimate(1 / value, error / value**2)
        if scale.reference > 0:
            by_time = _scaled(Estimate((1 - value) / mean, math.hypot(error, METER) / mean), scale.grams)
    leak = _scaled(by_time, millilitres_a_minute(1.0, scale.density)) if by_time else None
    return Line(len(flow) * step, (low, high), share, by_time, leak, level, told)


def _leak(part: Array, own: Array, scale: Scale) -> Estimate:
    """a = -c1 K / R; K is k if the fuel is out of scale, 1 if the measured air is: the middle, half as its error."""
    k = 1 / float(part[0])
    value = -float(part[1]) * (1 + k) / 2 * scale.grams
    gradient = np.array([float(part[1]) * k**2 / 2, -(1 + k) / 2]) * scale.grams
    error = math.sqrt(max(0.0, float(gradient @ own @ gradient)))
    return Estimate(value, math.hypot(error, value * (k - 1) / 2, value * scale.air_error))


def _extra(c: Array, cov: Array, scale: Scale) -> Estimate:
    """Fuel by time while showing less that while quiet. The air meter's own curve is in both and drops out."""
    quiet, showing = (1 + 1 / float(c[0])) / 2, (1 + 1 / float(c[2])) / 2
    value = (-float(c[3]) * showing + float(c[1]) * quiet) * scale.grams
    gradient = scale.grams * np.array(
        [-float(c[1]) / float(c[0]) ** 2 / 2, quiet, float(c[3]) / float(c[2]) ** 2 / 2, -showing]
    )
    error = math.sqrt(max(0.0, float(gradient @ cov[:4, :4] @ gradient)))
    return Estimate(value, math.hypot(error, value * (showing - 1), value * scale.air_error))


def _scaled(estimate: Estimate, factor: float) -> Estimate:
    return Estimate(estimate.value * factor, estimate.error * abs(factor))


def _shapes(fitted: Fitted, c: Array, cov: Array, weight: Array, scale: Scale) -> tuple[Shape, ...]:
    """Each way of being off fitted by itself to what is left after the quiet state (or after nothing) is taken off.

    Between two states the air meter's own error drops out; in one it does not.
    """
    s, switching = fitted.sample, fitted.switching
    if not switching and c[0] + c[1] - 1 > -SMALL:
        return ()  # not rich to speak of
    own = 0.0 if switching else METER
    share = weight * (fitted.showing if switching else 1.0) * fitted.weights[:, 1 if switching else 0]
    left = s.y - s.covariates @ c[4:] - (c[0] + c[1] * s.x if switching else 1.0)
    columns: dict[str, Array] = {"by share": np.ones(len(s))}
    if scale.reference > 0:
        columns["by time"] = s.x
        if scale.speed is not None and np.isfinite(scale.speed).all():
            columns["by injection"] = s.x * scale.speed / 1000
    worth = max(fitted.spread**2 * fitted.thinned, STAYS**2 * float(share.sum()) / APART)
    rows: dict[str, tuple[Estimate, float]] = {}
    for name, x in columns.items():
        total = float((share * x * x).sum())
        if total > 0:
            size = float((share * x * left).sum()) / total
            quiet = _quiet_error(cov, share, x, s.x) if switching else 0.0
            error = math.sqrt(worth / total + quiet + own**2)
            rows[name] = Estimate(size, error), float((share * (left - size * x) ** 2).sum()) / worth
    if not rows:
        return ()
    mixed = _mixed(s.x, left, share, worth, fitted.thinned) if "by time" in rows else None
    if mixed is not None:
        rows[MIXED] = mixed
    least = min(m for _, m in rows.values())
    whole = sum(math.exp(-(m - least) / 2) for _, m in rows.values())
    found = [_named(name, size, math.exp(-(m - least) / 2) / whole, scale) for name, (size, m) in rows.items()]
    return tuple(sorted(found, key=lambda shape: -shape.weight))


def _mixed(x: Array, left: Array, share: Array, worth: float, thinned: float) -> tuple[Estimate, float] | None:
    """By time and by share together: the part by time, and the misfit with what the second parameter costs.

    None where one of them is no more than what trims that follow airflow late make of the other, or takes away what the
    other adds: that is no two faults but one, seen badly.
    """
    rows = np.column_stack([x, np.ones(len(x))])
    a = rows.T @ (rows * share[:, None]) + 1e-9 * np.eye(2)
    inverse = np.linalg.inv(a)
    size = inverse @ (rows.T @ (share * left))
    misfit = float((share * (left - rows @ size) ** 2).sum()) / worth
    if np.abs(size).min() < PART or size[0] * size[1] < 0:
        return None
    cost = math.log(max(2.0, float(share.sum()) / thinned)) + 2 * math.log(RARER)  # Schwarz 1978
    return Estimate(float(size[0]), math.sqrt(worth * float(inverse[0, 0]))), misfit + cost


def _quiet_error(cov: Array, share: Array, x: Array, own: Array) -> float:
    """Variance that the quiet line's own error gives a size."""
    total = float((share * x * x).sum())
    g = np.array([float((share * x).sum()), float((share * x * own).sum())]) / total
    return float(g @ cov[:2, :2] @ g)


def _named(name: str, size: Estimate, weight: float, scale: Scale) -> Shape:
    """A size in the trim as a factor, g/s or mg."""
    if name == "by share":
        base = 1 + size.value
        return Shape(
            name, Estimate(1 / base, size.error / base**2) if base > 0.1 else Estimate(math.inf, math.inf), "", weight
        )
    if name in ("by time", MIXED):
        return Shape(name, _scaled(size, -scale.grams), "g/s", weight)
    # T = -d / mf, mf = 1000 m / R * 120 / (rpm * cylinders): x rpm / 1000 is 1/mf but for a constant factor
    if scale.cylinders is None:
        return Shape(name, _scaled(size, -1.0), "of the trim at idle flow and 1000 rpm", weight)
    milligrams = 1000 * scale.reference / scale.ratio * 120 / scale.cylinders / 1000
    return Shape(name, _scaled(size, -milligrams), "mg", weight)
