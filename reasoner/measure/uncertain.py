"""Numbers with standard errors, carried through any formula.

JCGM 100:2008 (GUM), 5.1.2 with the numerical form of 5.1.3 note 2: each input is moved by its own standard error, half
the difference of the two results is its share, and independent shares add as squares. First order: it holds where the
formula is nearly straight over an error's width.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

SHOWN = 2.0  # standard errors that stand after +- everywhere: 19 cases of 20 (95.4 % of a normal distribution)


@dataclass(frozen=True)
class Estimate:
    """A value and its standard error, in one unit."""

    value: float
    error: float = 0.0

    def __str__(self) -> str:
        return f"{self.value:.3g} +- {SHOWN * self.error:.1g}" if self.error else f"{self.value:.4g}"


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
