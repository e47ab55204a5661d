"""Fuel trims against airflow: what shape of error makes them, and how big it is.

Ways of being rich, by what the extra fuel goes with:

    by time       a g/s leak in all the while (a leaking injector, purge, fuel from the oil):   T = -a R/m
    by injection  d mg too much each time (slow closing, dead time):                            T = -d/mf
    by share      k times what was meant (air meter, pressure, wrong injector): flat,           T = 1/k - 1

with m the airflow in g/s, R the stoichiometric ratio, mf the mg needed for each injection; together
T = (1 - aR/m - d/mf)/k - 1. Derived from the mass balance; not found published. Raising the idle to 2500 rpm without
load takes four times the air but the same air in each stroke: `by time` falls to a quarter, the others stay; load at
the same speed then halves `by injection` and leaves `by share`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reasoner.measure.fuel import PETROL, fuel_flow, millilitres_a_minute, per_injection
from reasoner.measure.uncertain import Estimate

if TYPE_CHECKING:  # numpy is loaded where something is fitted: `--help` does without
    import numpy as np

    Array = np.ndarray[tuple[int, ...], np.dtype[np.float64]]

SPREAD = 3.0  # % of trim, standard deviation of one steady reading; judgement
WELL_SPREAD = 1e6  # condition number beyond which readings do not tell terms apart; judgement


@dataclass(frozen=True)
class TrimReading:
    """airflow in g/s. trim in %, short and long term together. injected: mg needed for each injection, if known."""

    airflow: float
    trim: float
    injected: float | None = None


@dataclass(frozen=True)
class TrimFit:
    """share: k. by_time: a in g/s; leak: the same in mL/min. by_injection: d in mg (None: not fitted).

    misfit: sum of squared residuals over the spread's square, to be compared with `left` (readings less terms): far
    above it, no such model fits, or the spread was set too small.
    """

    share: Estimate
    by_time: Estimate
    leak: Estimate
    by_injection: Estimate | None
    misfit: float
    left: int


@dataclass(frozen=True)
class Unfit:
    """Why nothing could be fitted, and what readings would mend it."""

    why: str
    mend: str


@dataclass(frozen=True)
class TrimShape:
    """One way of being rich by itself. size: its parameter (k, a in g/s, d in mg). weight: against the other shapes."""

    name: str
    size: Estimate
    misfit: float
    weight: float


def both(short: float, long: float) -> tuple[float, float]:
    """A short-term and a long-term trim (%) together, as sum and as product. The standard gives no rule: say which."""
    return short + long, 100.0 * ((1 + short / 100) * (1 + long / 100) - 1)


def trim(
    airflow: float,
    *,
    share: float = 1.0,
    by_time: float = 0.0,
    by_injection: float = 0.0,
    injected: float = math.inf,
    ratio: float = PETROL.air_ratio,
) -> float:
    """Trim in % that these errors make. Raises ValueError unless airflow, share, ratio and injected are above 0."""
    if min(airflow, share, ratio, injected) <= 0:
        raise ValueError("airflow, share, ratio and injected mass are above 0")
    return 100.0 * ((1 - by_time * ratio / airflow - by_injection / injected) / share - 1)


def fuel_needed(airflow: float, rpm: float, cylinders: int, ratio: float = PETROL.air_ratio) -> float:
    """mg of fuel needed for each injection: what `TrimReading.injected` wants."""
    return per_injection(fuel_flow(airflow, ratio), rpm, cylinders)


def leak_for(wanted: float, airflow: float, ratio: float = PETROL.air_ratio, density: float = PETROL.density) -> float:
    """mL/min of extra fuel that by itself makes a trim of `wanted` % at an airflow in g/s."""
    return millilitres_a_minute(-wanted / 100 * airflow / ratio, density)


def fit_trims(
    readings: Sequence[TrimReading],
    spread: float = SPREAD,
    ratio: float = PETROL.air_ratio,
    density: float = PETROL.density,
) -> TrimFit | Unfit:
    """Least squares of 1+T on 1/m, and on 1/mf too where every reading has it and three or more readings allow it.

    Standard errors from the spread of one reading (%), first order (JCGM 100:2008, 5.1.2, with covariance). Raises
    ValueError on an airflow, injected mass or spread that is not a number above 0.
    """
    import numpy as np

    flows, trims, masses = _columns(readings, spread)
    if len(flows) < 2 or flows.max() < 1.5 * flows.min():
        return Unfit("the readings lie at one airflow", "trims at idle and at 2500 rpm, or cruising")
    columns = [np.ones_like(flows), 1 / flows]
    three = masses is not None and len(flows) >= 3 and np.linalg.cond(_scaled([*columns, 1 / masses])) < WELL_SPREAD
    if three and masses is not None:
        columns.append(1 / masses)
    design = np.column_stack(columns)
    scale = np.linalg.norm(design, axis=0)
    inverse = np.linalg.pinv(design / scale)
    c = (inverse @ (1 + trims / 100)) / scale
    covariance = inverse @ inverse.T / np.outer(scale, scale) * (spread / 100) ** 2
    if c[0] <= 0:
        return Unfit(
            "the trims make no sense together", "steady readings in closed loop, the short and long term added"
        )
    k = 1 / c[0]
    share = _estimate(k, [-(k**2)], covariance[:1, :1])
    by_time = _estimate(-c[1] * k / ratio, [c[1] * k**2 / ratio, -k / ratio], covariance[:2, :2])
    by_injection = None
    if three:
        part = covariance[np.ix_([0, 2], [0, 2])]
        by_injection = _estimate(-c[2] * k, [c[2] * k**2, -k], part)
    per_minute = millilitres_a_minute(1.0, density)
    leak = Estimate(by_time.value * per_minute, by_time.error * per_minute)
    residual = 1 + trims / 100 - design @ c
    misfit = float(residual @ residual) / (spread / 100) ** 2
    return TrimFit(share, by_time, leak, by_injection, misfit, len(flows) - design.shape[1])


def shapes(
    readings: Sequence[TrimReading], spread: float = SPREAD, ratio: float = PETROL.air_ratio
) -> tuple[TrimShape, ...]:
    """Each way of being rich fitted by itself, best first: which one alone explains the trims?

    weight: Gaussian likelihood at its best size, all shapes having one parameter each, normalised to 1 over those that
    could be fitted. `by injection` needs the injected mass of every reading. Raises ValueError as `fit_trims` does.
    """
    import numpy as np

    flows, trims, masses = _columns(readings, spread)
    if not len(flows):
        return ()
    y, s = trims / 100, spread / 100
    columns = {"by time": -ratio / flows, "by share": np.ones_like(flows)}
    if masses is not None:
        columns["by injection"] = -1 / masses
    found = []
    for name, x in columns.items():
        size, error = float(x @ y / (x @ x)), s / math.sqrt(float(x @ x))
        residual = y - size * x
        misfit = float(residual @ residual) / s**2
        estimate = Estimate(size, error)
        if name == "by share":  # fitted as T = 1/k - 1
            estimate = Estimate(1 / (1 + size), error / (1 + size) ** 2) if size > -1 else Estimate(math.inf, math.inf)
        found.append((name, estimate, misfit))
    least = min(m for _, _, m in found)
    weights = [math.exp(-(m - least) / 2) for _, _, m in found]
    ranked = [TrimShape(n, e, m, w / sum(weights)) for (n, e, m), w in zip(found, weights, strict=True)]
    return tuple(sorted(ranked, key=lambda shape: shape.misfit))


def _columns(readings: Sequence[TrimReading], spread: float) -> tuple[Array, Array, Array | None]:
    import numpy as np

    flows = np.array([r.airflow for r in readings], dtype=float)
    trims = np.array([r.trim for r in readings], dtype=float)
    given = [r.injected for r in readings if r.injected is not None]
    masses = np.array(given, dtype=float) if given and len(given) == len(readings) else None
    for numbers in (flows, np.array([spread]), *([] if masses is None else [masses])):
        if not np.isfinite(numbers).all() or (numbers <= 0).any():
            raise ValueError("airflow, injected mass and spread are numbers above 0")
    if not np.isfinite(trims).all():
        raise ValueError("a trim is a number")
    return flows, trims, masses


def _scaled(columns: Sequence[Array]) -> Array:
    """Columns of length 1, so that their condition does not depend on units."""
    import numpy as np

    design = np.column_stack(columns)
    return np.asarray(design / np.linalg.norm(design, axis=0))


def _estimate(value: float, gradient: Sequence[float], covariance: Array) -> Estimate:
    import numpy as np

    g = np.array(gradient)
    return Estimate(float(value), float(math.sqrt(max(0.0, g @ covariance @ g))))
