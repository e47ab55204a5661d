"""Figures kept with an answer -> how well each outcome of a check fits them, so that other rules weigh them again.

Kept as plain values by place: `{"total fuel trim": [-26.1, 1.4, "%"]}` is a value, its standard error and its unit,
`{"shape": {"by time": 0.9, "by share": 0.1}}` the chance of each kind.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from reasoner.measure.finding import Figure, Kinds
from reasoner.measure.soften import soften
from reasoner.measure.uncertain import Estimate
from reasoner.measure.weigh import weigh
from reasoner.rulebook.model import Check, Measure

Carried = Mapping[str, Sequence[float | str] | Mapping[str, float]]


def weigh_carried(check: Check, figures: Mapping[str, Carried]) -> dict[int, dict[str, float]] | None:
    """Outcome weights (0..1, the largest 1) by place; None where the check takes no such figures.

    A reading's error is added to the spread of the check's measure: both are Gaussian and independent.
    """
    found: dict[int, dict[str, float]] = {}
    for place, carried in figures.items():
        weights = _weights(check, carried)
        if weights is None:
            return None
        found[int(place)] = dict(weights)
    return found or None


def _weights(check: Check, carried: Carried) -> Mapping[str, float] | None:
    known = [_figure(name, said) for name, said in carried.items()]
    measure = check.measure
    if measure is not None:
        for figure in known:
            if isinstance(figure, Figure) and figure.name == measure.quantity:
                return _softened(measure, figure.estimate) if figure.unit == measure.unit else None
    wanted = (
        {said.figure for within in check.computed.outcomes.values() for said in within} if check.computed else set()
    )
    if check.computed is None or not wanted <= {figure.name for figure in known}:
        return None
    return weigh(check.computed, [outcome.name for outcome in check.outcomes], known)


def _softened(measure: Measure, reading: Estimate) -> Mapping[str, float] | None:
    """None beyond what the measure can be."""
    if (measure.least is not None and reading.value < measure.least) or (
        measure.most is not None and reading.value > measure.most
    ):
        return None
    return soften(replace(measure, spread=math.hypot(measure.spread, reading.error)), reading.value)


def _figure(name: str, said: Sequence[float | str] | Mapping[str, float]) -> Figure | Kinds:
    if isinstance(said, Mapping):
        return Kinds(name, {str(kind): float(chance) for kind, chance in said.items()})
    value, error, unit = said
    return Figure(name, str(unit), Estimate(float(value), float(error)))
