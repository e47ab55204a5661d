"""Figures kept with an answer -> how well each outcome of a check fits them, so that other rules weigh them again.

Kept as plain values by place: `{"total fuel trim": [-26.1, 1.4, "%"]}` is a value, its standard error and its unit;
with a fourth part, `[0.2, 0.1, "min", "until"]`, value and error are both on that scale (`finding.Scale`);
`{"shape": {"by time": 0.9, "by share": 0.1}}` the chance of each kind.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from reasoner.measure.finding import Figure, Kinds, Scale
from reasoner.measure.soften import soften
from reasoner.measure.uncertain import Estimate
from reasoner.measure.weigh import weigh
from reasoner.rulebook.computed import SIGNATURES
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


def to_carry(figures: Sequence[Figure | Kinds]) -> Carried:
    """Figures as plain values that are kept with an answer."""
    return {one.name: _plain(one) for one in figures}


def _plain(one: Figure | Kinds) -> list[float | str] | dict[str, float]:
    if isinstance(one, Kinds):
        whole = sum(one.chances.values())
        return {kind: float(f"{chance / whole:.4g}") for kind, chance in one.chances.items()}
    kept: list[float | str] = [float(f"{one.estimate.value:.5g}"), float(f"{one.estimate.error:.3g}"), one.unit]
    return kept if one.scale is Scale.PLAIN else [*kept, str(one.scale)]


def _weights(check: Check, carried: Carried) -> Mapping[str, float] | None:
    known = [_figure(name, said) for name, said in carried.items()]
    measure = check.measure
    if measure is not None:
        for figure in known:
            if isinstance(figure, Figure) and figure.name == measure.quantity and figure.scale is Scale.PLAIN:
                return _softened(measure, figure.estimate) if figure.unit == measure.unit else None
    if check.computed is None or not _takes(check, known):
        return None
    return weigh(check.computed, [outcome.name for outcome in check.outcomes], known)


def _takes(check: Check, known: Sequence[Figure | Kinds]) -> bool:
    """Whether figures are of the check's computation, and its rule speaks of one of them at least.

    A figure the rule speaks of and that was not found helps to tell nothing apart (`weigh`); the kind of a thing is
    too much of it to be left open.
    """
    assert check.computed is not None
    wanted = {said.figure for within in check.computed.outcomes.values() for said in within}
    signature = SIGNATURES[check.computed.by]
    units = {figure.name: figure.unit for figure in known if isinstance(figure, Figure)}
    if any(signature.figures.get(name, unit) != unit for name, unit in units.items()):
        return False
    names = {figure.name for figure in known}
    return bool(wanted & names) and wanted & set(signature.kinds) <= names


def _softened(measure: Measure, reading: Estimate) -> Mapping[str, float] | None:
    """None beyond what the measure can be."""
    if not measure.allows(reading.value):
        return None
    return soften(replace(measure, spread=math.hypot(measure.spread, reading.error)), reading.value)


def _figure(name: str, said: Sequence[float | str] | Mapping[str, float]) -> Figure | Kinds:
    if isinstance(said, Mapping):
        return Kinds(name, {str(kind): float(chance) for kind, chance in said.items()})
    value, error, unit, *scale = said
    return Figure(name, str(unit), Estimate(float(value), float(error)), Scale(str(scale[0])) if scale else Scale.PLAIN)
