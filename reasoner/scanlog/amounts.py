"""How much is wrong, for each family that may be: one figure for one amount, with an error that allows for all it hangs
on: what the trims show, what other explanations would leave of it, what a sound engine does anyway, and the airflow.

(1 + T) = (1 - a R / m)/k for each bank's own air m (an even share of the engine's): see `measure.trims`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reasoner.measure.fuel import PETROL, millilitres_a_minute
from reasoner.measure.uncertain import Estimate
from reasoner.scanlog.moments import RANGE, Looked
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.resampling import Flags
from reasoner.scanlog.shapes import (
    AIRFLOW_COLUMNS,
    COLD,
    INJECTION,
    LOAD,
    MISREAD,
    MIXED,
    NONE,
    OIL,
    PURGED,
    SENSED,
    SHARE,
    SOUND,
    TIME,
    Explanation,
    StatesFit,
)

IDLE_AIRFLOW = 1.3  # times the airflow at idle, up to which a moment is one of idle; judgement
HALF_TRIM_STEP = 0.4  # % of trim: half a step of its scaling (SAE J1979)
SOUND_TRIM = 6.0  # % of trim, at most, that an engine without a fault runs with; judgement
MUCH_BOOST = 70.0  # percentile of what escapes by the boost, from which it counts as much; judgement
HIGHEST = 95.0  # percentile of airflow from which it counts as high; judgement
TILTS = 3.0  # % of trim that a sound engine's may differ from idle to high airflow, standard deviation; judgement
NAMED_FROM = 0.5  # weight that a family must have against all others to be named; judgement
MISREADS = 0.4  # upstream sensors that read wrong for each mixture that is off by a share, beforehand; judgement
FOR_SURE = 1.96  # standard errors that a size must be above to be named
READABLE = (SHARE, TIME, INJECTION, MIXED, LOAD)  # that are read off at one airflow
LEAST_READ = (
    0.4  # of what a family makes, that the reading there must show: an engine's own zero hides no more; judgement
)
# Of a bank's airflow, how much more comes with the purge than the controller counts on, and its standard deviation:
# that asks for fuel, and hides so much of the vapour. Purge is a few per cent of the airflow; judgement.
UNCOUNTED = (0.01, 0.012)
FELT = 0.02  # of trim, from which vapour is felt; judgement
TRIMS_LACK = 0.03  # of a difference between two states that trims may still lack or overshoot; judgement


@dataclass(frozen=True)
class TrimLine:
    """A state's trims. seconds: looked at. flow: lowest and highest airflow (g/s; tenth, ninetieth percentile).

    at_idle: trim (%) as read at idle airflow, None where it was not idling; high: the same at the highest airflow.
    """

    seconds: float
    flow: tuple[float, float]
    at_idle: Estimate | None
    high: Estimate | None


@dataclass(frozen=True)
class SizedFamily:
    """One family. size: in `unit`, None where it cannot be said; at_most: trim (%) that it makes where it makes most.

    weight: against all others, 0..1. of_state: it comes and goes with the showing state. at: airflow (g/s) for which
    `at_most` is said of what goes with load, None elsewhere, and where airflow is known in proportion only.
    under_boost: it goes with boost, not with airflow alone.
    """

    name: str
    size: Estimate | None
    unit: str
    at_most: Estimate
    weight: float
    of_state: bool
    at: float | None = None
    under_boost: bool = False

    @property
    def changes(self) -> bool:
        """It is seen to come or go within the drive: it can be held against the same engine at another moment."""
        return self.of_state or self.name in (LOAD, OIL)


@dataclass(frozen=True)
class Fits:
    """quiet, showing: None without such a state. shapes: families, the likeliest first, `none` among them; empty where
    nothing that was recorded could tell one from another. spread: % of trim, a residual's. told_apart: by airflow.
    """

    quiet: TrimLine | None
    showing: TrimLine | None
    shapes: tuple[SizedFamily, ...]
    spread: float
    told_apart: bool

    @property
    def best(self) -> SizedFamily | None:
        """The likeliest family; None where that is no fault, is not likely, or lies within its own error."""
        first = self.shapes[0] if self.shapes else None
        if first is None or first.name == NONE or first.weight < NAMED_FROM:
            return None
        return first if abs(first.at_most.value) > FOR_SURE * first.at_most.error and self._shows(first) else None

    def _shows(self, shape: SizedFamily) -> bool:
        """Whether the readings themselves show what acts all the time: not where it is there only beside as much of the
        other sign that a sound engine is granted."""
        line = self.quiet or self.showing
        if line is None or shape.of_state or shape.name not in READABLE:
            return True
        if shape.under_boost:
            return True  # there no reading is of that alone
        there = line.high if shape.name == LOAD else line.at_idle
        away = [r.value for r in ((there, line.high) if shape.name == SHARE else (there,)) if r is not None]
        return not away or any(
            a * shape.at_most.value > 0 and abs(a) >= LEAST_READ * abs(shape.at_most.value) for a in away
        )

    @property
    def amount(self) -> Estimate | None:
        """Its size."""
        return self.best.size if self.best is not None else None

    @property
    def level(self) -> Estimate | None:
        """Trim (%) where the fault moves it most, in the state that shows; where the quiet state is above zero, how far
        below that it is.

        An engine whose own zero is +4 % and that goes to -9 % is rich by 13 %, though no trim is beyond -10 %. No
        engine's own zero is taken to be further up than `SOUND_TRIM`.
        """
        shows, rests = self._read(self.showing), self._read(self.quiet)
        if shows is None or rests is None or rests.value <= 0:
            return shows or rests
        return Estimate(shows.value - min(SOUND_TRIM, rests.value), math.hypot(shows.error, rests.error))

    @property
    def beside(self) -> Estimate | None:
        """% of fuel too much (below zero: too little) where airflow is highest, beside what fades with airflow; of what
        comes and goes, against the quiet state. None where high airflow was not seen."""
        shows, rests = self.showing or self.quiet, self.quiet if self.best is not None and self.best.of_state else None
        if self.best is None or shows is None or shows.high is None or (rests is not None and rests.high is None):
            return None
        off = rests.high if rests is not None and rests.high is not None else Estimate(0.0, 0.0)
        fades = self.best.at_most.value * shows.flow[0] / max(shows.flow[1], 1e-9)
        trim = (shows.high.value - off.value - fades) / 100
        error = math.hypot(shows.high.error, off.error, TILTS) / 100
        return Estimate(100 * (1 / (1 + trim) - 1), 100 * error / (1 + trim) ** 2) if trim > -0.9 else None

    def _read(self, side: TrimLine | None) -> Estimate | None:
        if side is None:
            return None
        loaded = self.best is not None and self.best.name == LOAD
        return (side.high if loaded else side.at_idle) or side.high or side.at_idle


def with_second_opinion(found: Fits, odds: float) -> Fits:
    """What is the same share everywhere parted into a mixture that is off and a sensor that reads wrong, by what the
    sensor behind the catalyst says. odds: of it being the sensor, against the mixture."""
    wrong = MISREADS * odds / (MISREADS * odds + 1)
    parted = []
    for shape in found.shapes:
        if shape.name != SHARE:
            parted.append(shape)
            continue
        at = shape.at_most  # of trim: a sensor that reads lean by s has the loop add 1/(1 - s) - 1
        base = 1 + at.value / 100
        reads = Estimate(at.value / 100 / base, at.error / 100 / base**2)
        parted.append(replace(shape, weight=shape.weight * (1 - wrong)))
        parted.append(replace(shape, name=SENSED, size=reads, unit="lambda", weight=shape.weight * wrong))
    return replace(found, shapes=tuple(sorted(parted, key=lambda s: -s.weight)))


@dataclass(frozen=True)
class AirScale:
    """banks: that share the air. air_error: of the airflow, relative; None where only its proportions are known.

    density: kg/L; ratio: stoichiometric. speed: (n,) rpm at each moment, or None. cylinders: of the engine, or None.
    """

    banks: int
    air_error: float | None = 0.0
    ratio: float = PETROL.air_ratio
    density: float = PETROL.density
    speed: Array | None = None
    cylinders: int | None = None

    def leak(self, size: Estimate) -> Estimate:
        """g/s as mL/min."""
        factor = millilitres_a_minute(1.0, self.density)
        return Estimate(size.value * factor, size.error * factor)


def size_families(
    fitted: StatesFit, families: Sequence[Explanation], seen: Looked, shows: Flags, step: float, scale: AirScale
) -> Fits:
    """families: the likeliest first. shows: (n,) moments in which the fault shows; all or none of a log with one
    state."""
    shapes: dict[str, SizedFamily] = {}
    if seen.told_apart or _one_needs_no_air(families):
        for family in families:
            if family.name in shapes:
                continue
            weight = sum(f.weight for f in families if f.name == family.name)
            shapes[family.name] = _shape(family, families, fitted, seen, scale, weight)
    ranked = tuple(sorted(shapes.values(), key=lambda s: -s.weight))
    if shows.any() and not shows.all():
        sides = _line(fitted, seen, ~shows, step), _line(fitted, seen, shows, step)
    else:
        line = _line(fitted, seen, np.ones(len(shows), dtype=bool), step)
        sides = (None, line) if shows.any() else (line, None)
    return Fits(*sides, ranked, 100 * fitted.spread, seen.told_apart)


def _one_needs_no_air(families: Sequence[Explanation]) -> bool:
    """Without airflow all that goes with it reads the same: only what does not can be told."""
    return families[0].name in (NONE, PURGED, COLD, MISREAD)


def _line(fitted: StatesFit, seen: Looked, here: Flags, step: float) -> TrimLine | None:
    """Readings, not coefficients: medians of the trim while idling and where airflow is highest."""
    if not here.any():
        return None
    flow = seen.flow[here]
    low, high = (float(v) for v in np.percentile(flow, [10, 90]))
    trims = 100 * (fitted.sample.y[here] - 1)
    held = fitted.sample.stop[here] == 0
    if not held.any():
        held = np.ones(len(held), dtype=bool)
    at_idle = held & (fitted.sample.flow[here] <= IDLE_AIRFLOW)
    at_high = held & (flow >= high)
    idles = _median(trims[at_idle], fitted.thinned)
    if idles is not None and high < RANGE * low:
        at_high = np.zeros(len(held), dtype=bool)  # all of it was idle
    return TrimLine(
        float(here.sum()) * step,
        (low, high),
        idles,
        _median(trims[at_high], fitted.thinned),
    )


def _median(trims: Array, thinned: float) -> Estimate | None:
    if len(trims) < 5:
        return None
    spread = float(np.percentile(trims, 84) - np.percentile(trims, 16)) / 2
    return Estimate(
        float(np.median(trims)), math.hypot(HALF_TRIM_STEP, 1.25 * spread / math.sqrt(max(1.0, len(trims) / thinned)))
    )


def _shape(
    family: Explanation,
    families: Sequence[Explanation],
    fitted: StatesFit,
    seen: Looked,
    scale: AirScale,
    weight: float,
) -> SizedFamily:
    """A family with its size, averaged over every explanation that has it."""
    if not family.columns:
        return SizedFamily(family.name, None, "", Estimate(0.0, 0.0), weight, False)
    sample, p = fitted.sample, len(fitted.sample.names)
    names = [sample.names[i] for i in range(p)] + [sample.names[i] for i in _twice(fitted)]
    own, alike = _own(family, families, names, p)
    total = sum(f.weight for f in alike) or 1.0
    shares = [f.weight / total if total > 1e-12 else float(f is family) for f in alike]
    columns = sample.columns[:, [i if i < p else _twice(fitted)[i - p] for i in own]]
    where = np.abs(columns).sum(axis=1)
    at = None
    if family.name == LOAD:
        high = sample.flow >= np.percentile(sample.flow, HIGHEST)
        boost = sample.columns[:, sample.where("boost")].sum(axis=1)
        if family.kinds == ("boost",):  # of what leaks out, most is missing where boost is high and airflow is not
            high = boost >= np.percentile(boost[boost > 0], MUCH_BOOST)
        top = columns[high].mean(axis=0) - columns[sample.flow <= max(IDLE_AIRFLOW, float(sample.flow.min()))].mean(
            axis=0
        )
        at = float(np.median(seen.flow[high])) if scale.air_error is not None else None
    elif family.name in (PURGED, COLD, MISREAD):
        made = np.abs(columns @ alike[0].mean[list(own)])  # its parts may undo each other: where it does most
        there = where > 0.05
        most = np.percentile(made[there], 75) if there.any() else math.inf
        top = columns[there & (made >= most)].mean(axis=0) if math.isfinite(most) else columns[0]
    else:
        top = np.ones(len(own))  # columns are 1 where they are most
    at_most = _averaged(alike, shares, own, top)
    if family.switching:  # what a state makes of a trim is in proportion to what it was without
        where_felt = np.abs(columns[:, 0])
        rests = float((fitted.level * where_felt).sum() / max(1e-9, where_felt.sum()))
        at_most = Estimate(at_most.value / rests, math.hypot(at_most.error, TRIMS_LACK * at_most.value) / rests)
    else:
        at_most = Estimate(at_most.value, math.hypot(at_most.error, SOUND[names[own[0]].split()[0]]))
    size, unit = _named(family, at_most, columns, alike, shares, own, seen, scale)
    boosted = family.kinds == ("boost",)
    return SizedFamily(family.name, size, unit, _times(at_most, 100), weight, family.switching, at, boosted)


def _own(
    family: Explanation, families: Sequence[Explanation], names: Sequence[str], p: int
) -> tuple[tuple[int, ...], list[Explanation]]:
    """The coefficients that are its size, and the explanations that have it: what goes with load is all that does, with
    the bends of a sound engine, whichever of its forms fits best."""
    if family.name == LOAD:
        kinds = ("load", "surge", "square", "boost") + (() if family.switching else ("bend",))
        here = range(p, len(names)) if family.switching else range(p)
        own = tuple(i for i in here if names[i].split()[0] in kinds)
        return own, [f for f in families if f.name == LOAD and f.switching == family.switching]
    own = family.columns[:1] if family.name == MIXED else family.columns
    return own, [f for f in families if set(own) <= set(f.columns)]


def _twice(fitted: StatesFit) -> list[int]:
    return fitted.sample.where(*AIRFLOW_COLUMNS) if fitted.switching else []


def _averaged(alike: Sequence[Explanation], shares: Sequence[float], own: Sequence[int], g: Array) -> Estimate:
    """g @ coefficients, over several explanations: their errors, and what lies between them."""
    at = list(own)
    means = [float(g @ f.mean[at]) for f in alike]
    variances = [float(g @ f.cov[np.ix_(at, at)] @ g) for f in alike]
    mean = sum(w * m for w, m in zip(shares, means, strict=True))
    variance = sum(w * (v + (m - mean) ** 2) for w, v, m in zip(shares, variances, means, strict=True))
    return Estimate(mean, math.sqrt(max(0.0, variance)))


def _named(
    family: Explanation,
    at_most: Estimate,
    columns: Array,
    alike: Sequence[Explanation],
    shares: Sequence[float],
    own: Sequence[int],
    seen: Looked,
    scale: AirScale,
) -> tuple[Estimate | None, str]:
    """A size (of trim) in what a person measures it in: a factor, g/s of fuel, mg, or % of trim."""
    if family.name == SHARE:
        base = 1 + at_most.value
        return (Estimate(1 / base, at_most.error / base**2), "") if base > 0.1 else (None, "")
    if family.name in (LOAD, COLD, MISREAD):
        return _times(at_most, 100), "%"
    if scale.air_error is None or not seen.reference:
        return None, "g/s"
    grams = seen.reference / scale.banks / scale.ratio
    if family.name == PURGED:
        there = columns[:, 0] > 0.05
        seen_there = there & (np.abs(columns @ alike[0].mean[list(own)]) >= FELT)
        there = seen_there if seen_there.any() else there  # a canister that is empty gives no more
        g = (
            (columns[there] * seen.flow[there, None]).mean(axis=0) / seen.reference
            if there.any()
            else np.ones(len(own))
        )
        at_most = _averaged(alike, shares, own, g)
    size = _times(at_most, -grams)
    size = Estimate(size.value, math.hypot(size.error, size.value * scale.air_error))
    if family.name == PURGED:
        size = Estimate(size.value + UNCOUNTED[0] * grams, math.hypot(size.error, UNCOUNTED[1] * grams))
    if family.name != INJECTION:
        return size, "g/s"
    if scale.cylinders is None or scale.speed is None or not np.isfinite(scale.speed).any():
        return None, "mg"
    idle = (
        float(np.nanmedian(scale.speed[seen.sample.flow <= IDLE_AIRFLOW]))
        if (seen.sample.flow <= IDLE_AIRFLOW).any()
        else 800.0
    )
    each = 1000 * 120 / idle / (scale.cylinders / scale.banks)
    return _times(size, each), "mg"


def _times(estimate: Estimate, factor: float) -> Estimate:
    return Estimate(estimate.value * factor, estimate.error * abs(factor))
