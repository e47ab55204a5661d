"""Numbers with errors: carried through any formula, and softened into outcomes, without a cliff at a band's edge."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from reasoner.rulebook.model import Measure

# ---- Numbers with standard errors, carried through any formula -------------------------------------------------------
# JCGM 100:2008 (GUM), 5.1.2 with the numerical form of 5.1.3 note 2: each input is moved by its own standard error,
# half the difference of the two results is its share, and independent shares add as squares. First order: it holds
# where the formula is nearly straight over an error's width.

ERRORS_SHOWN = 2.0  # standard errors that stand after +- everywhere: 19 cases of 20 (95.4 % of a normal distribution)


@dataclass(frozen=True)
class Estimate:
    """A value and its standard error, in one unit."""

    value: float
    error: float = 0.0

    def __str__(self) -> str:
        return f"{self.value:.3g} +- {ERRORS_SHOWN * self.error:.1g}" if self.error else f"{self.value:.4g}"


Number = float | Estimate


def of(number: Number) -> Estimate:
    """A plain number as one without error."""
    return number if isinstance(number, Estimate) else Estimate(float(number))


def through(formula: Callable[..., float], *inputs: Number) -> Estimate:
    """formula(*inputs) with the standard error that independent errors of the inputs give it."""
    estimates = [of(i) for i in inputs]
    values = [e.value for e in estimates]
    shares = []
    for number, estimate in enumerate(estimates):
        if estimate.error:
            up, down = list(values), list(values)
            up[number] += estimate.error
            down[number] -= estimate.error
            shares.append((formula(*up) - formula(*down)) / 2)
    return Estimate(formula(*values), math.hypot(*shares))


# ---- A reading with its spread -> how well each outcome fits it ------------------------------------------------------
# No cliff at the edge of a band.

FLOOR = 1e-6  # nobody's gauge excludes anything for certain: it may stand on the wrong scale


def soften(measure: Measure, number: float) -> Mapping[str, float]:
    """Outcome -> likelihood weight in FLOOR..1, the largest being 1 (virtual evidence, Pearl 1988, section 2.2.2).

    A weight is the probability that the true value lies in the outcome's bands, given the reading (in the measure's
    unit), a Gaussian error of standard deviation `measure.spread`, and no preference for any value beforehand. Bands
    narrower than the spread are therefore hard to be sure of, as they should be. Raises ValueError if not finite.
    """
    if not math.isfinite(number):
        raise ValueError(f"{number} is no reading")
    masses: dict[str, float] = {}
    for band in measure.bands:
        low = -math.inf if band.low is None else band.low
        high = math.inf if band.high is None else band.high
        masses[band.outcome] = masses.get(band.outcome, 0.0) + between(low, high, number, measure.spread)
    most = max(masses.values(), default=0.0)
    if most <= 0.0:  # in a gap, too far from every band for doubles: nothing is known
        return dict.fromkeys(masses, 1.0)
    return {outcome: max(FLOOR, mass / most) for outcome, mass in masses.items()}


def between(low: float, high: float, mean: float, spread: float) -> float:
    """P(low <= X < high) for a Gaussian X; with no spread 1 or 0. Tails keep their precision."""
    if spread <= 0.0:
        return 1.0 if low <= mean < high else 0.0
    a, b = (low - mean) / spread / math.sqrt(2), (high - mean) / spread / math.sqrt(2)
    if a > 0.0:  # both on the right: the difference of two small tails, not of two numbers near 1
        return 0.5 * (math.erfc(a) - math.erfc(b))
    if b < 0.0:
        return 0.5 * (math.erfc(-b) - math.erfc(-a))
    return 0.5 * (math.erf(b) - math.erf(a))
