"""Flow through an injector: the square-root law, and what a wrong pressure does to the trim.

Bernoulli through a sharp orifice with turbulent flow (Heywood 1988, eq. 7.7, from memory): flow ~ sqrt(pressure drop).
"""

from __future__ import annotations

import math

from reasoner.measure.uncertain import Estimate, Number, through


def flow_at(flow: Number, rated: Number, now: Number) -> Estimate:
    """Flow (any unit) at the pressure drop `now`, of what flows `flow` at the drop `rated` (same unit, both > 0)."""
    return through(lambda q, p0, p: q * _root(p0, p), flow, rated, now)


def pressure_trim(assumed: Number, actual: Number) -> Estimate:
    """Trim in % when fuel is dosed for one pressure drop and the injector works at another (same unit, both > 0)."""
    return through(lambda p0, p: 100.0 * (1.0 / _root(p0, p) - 1.0), assumed, actual)


def pressure_for(trim: float) -> float:
    """Actual over assumed pressure drop that alone would make this trim in %. Raises ValueError at -100 or below."""
    if trim <= -100.0:
        raise ValueError("no pressure makes a trim of -100 %")
    return (1.0 + trim / 100.0) ** -2


def _root(rated: float, now: float) -> float:
    if rated <= 0 or now < 0:
        raise ValueError("a pressure drop is above 0")
    return math.sqrt(now / rated)
