"""Figures to outcomes: how well each outcome of a check fits them, now and when other rules read them again."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product
from math import prod

from reasoner.measure.asks import Setting
from reasoner.measure.finding import ErrorScale, Figure, Finding, Kinds
from reasoner.measure.uncertain import FLOOR, Estimate, soften
from reasoner.mistake import Mistake
from reasoner.rulebook.computed import SIGNATURES
from reasoner.rulebook.model import Check, Computed, Measure, Within

# ---- Figures of a computation -> how well each outcome of a check fits them ------------------------------------------
# Clear figures say much, vague ones little.

BEYOND_EVERY_FIGURE = 1e9  # beyond every figure a rule speaks of
NO_ERROR = 1e-9  # an error too small to matter, so that no spread of a rule is put in its place


@dataclass(frozen=True)
class WorkedOut:
    """What a check's computation found, and by place how well each outcome fits it."""

    finding: Finding
    weights: Mapping[int, Mapping[str, float]]


def work_out(check: Check, texts: Mapping[str, str], setting: Setting) -> WorkedOut | tuple[Mistake, ...]:
    """The outcomes of a check from typed inputs, or everything that is wrong with these. Raises ValueError if the check
    has no computation."""
    if check.computed is None:
        raise ValueError(f"{check.name} is not worked out")
    from reasoner.measure.computations.table import COMPUTATIONS  # only where something is worked out

    found = COMPUTATIONS[check.computed.by].run(texts, setting)
    if not isinstance(found, Finding):
        return found
    names = [outcome.name for outcome in check.outcomes]
    return WorkedOut(
        found, {place: weigh_figures(check.computed, names, figures) for place, figures in found.figures.items()}
    )


def weigh_figures(
    computed: Computed, outcomes: Sequence[str], figures: Sequence[Figure | Kinds]
) -> Mapping[str, float]:
    """Outcome -> likelihood weight in FLOOR..1, the largest being 1 (virtual evidence, Pearl 1988, section 2.2.2).

    The weight is the chance that everything the rule says of the outcome's figures holds, their errors being taken as
    independent. What is left of the chance goes to the outcome that takes the rest; without one it is no evidence for
    any of them. A figure that was not worked out may be anything: each outcome gets the best weight it would have with
    any value of it; and one that hangs on such a figure leaves another one as likely as itself, for it may not hold.
    """
    found = {figure.name: figure for figure in figures}
    spoken = {within.figure: within for said in computed.outcomes.values() for within in said}
    missing = [_anything(computed, name, bool(within.kind)) for name, within in spoken.items() if name not in found]
    read = {name: [w for w in computed.outcomes.get(name, ()) if w.figure in found] for name in outcomes}
    fits = {name: prod(_chance(w, found, computed.spread) for w in said) for name, said in read.items()}
    cases = [_weights(computed, fits, {**found, **{f.name: f for f in case}}) for case in product(*missing)]
    best = {name: max(FLOOR, *(weights[name] for weights in cases)) for name in outcomes}
    first = max(best, key=lambda name: best[name])
    if any(within.figure not in found for within in computed.outcomes.get(first, ())):
        second = max((weight for name, weight in best.items() if name != first), default=1.0)
        best = {name: weight if name == first else weight / second for name, weight in best.items()}
    return best


def _weights(computed: Computed, fits: Mapping[str, float], found: Mapping[str, Figure | Kinds]) -> Mapping[str, float]:
    """The weights in 0..1 where every figure is there. fits: outcome -> the chance of what was read of it."""
    holds = {name: prod(_chance(w, found, computed.spread) for w in said) for name, said in computed.outcomes.items()}
    weights = {name: holds.get(name, 0.0) for name in fits}
    left = max(0.0, 1.0 - sum(holds.values()))
    if computed.rest:
        weights[computed.rest] = left
    else:
        none = 1.0 - max(fits.values())  # what was read speaks against all of them as far as against any
        weights = {name: weight + left * (fits[name] + none) for name, weight in weights.items()}
    most = max(weights.values())
    return {name: weight / most if most > 0.0 else 1.0 for name, weight in weights.items()}


def _anything(computed: Computed, name: str, kinds: bool) -> list[Figure | Kinds]:
    """A figure that was not worked out, once in each range that the rule tells apart, or once as each kind."""
    said = [w for within in computed.outcomes.values() for w in within if w.figure == name]
    if kinds:
        return [Kinds(name, {kind: 1.0}) for kind in sorted({within.kind for within in said})]
    edges = sorted({edge for within in said for edge in (within.low, within.high) if edge is not None})
    inside = [(low + high) / 2 for low, high in pairwise(edges)]
    return [
        Figure(name, "", Estimate(value, NO_ERROR))
        for value in (edges[0] - BEYOND_EVERY_FIGURE, *inside, edges[-1] + BEYOND_EVERY_FIGURE)
    ]


def _chance(said: Within, found: Mapping[str, Figure | Kinds], spread: float) -> float:
    figure = found[said.figure]
    if isinstance(figure, Kinds):
        return figure.chances.get(said.kind, 0.0)
    return figure.chance(said.low, said.high, spread)


# ---- Figures kept with an answer -> how well each outcome of a check fits them, so that other rules ------------------
# Weigh them again.
#
# Kept as plain values by place: `{"total fuel trim": [-26.1, 1.4, "%"]}` is a value, its standard error and its unit;
# with a fourth part, `[0.2, 0.1, "min", "until"]`, value and error are both on that scale (`finding.ErrorScale`);
# `{"shape": {"by time": 0.9, "by share": 0.1}}` the chance of each kind.

Carried = Mapping[str, Sequence[float | str] | Mapping[str, float]]


def weigh_carried(check: Check, figures: Mapping[str, Carried]) -> dict[int, dict[str, float]] | None:
    """Outcome weights (0..1, the largest 1) by place; None where the check takes no such figures.

    A reading's error is added to the spread of the check's measure: both are Gaussian and independent.
    """
    found: dict[int, dict[str, float]] = {}
    for place, carried in figures.items():
        weights = _kept_weights(check, carried)
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
    return kept if one.scale is ErrorScale.PLAIN else [*kept, str(one.scale)]


def _kept_weights(check: Check, carried: Carried) -> Mapping[str, float] | None:
    known = [_figure(name, said) for name, said in carried.items()]
    measure = check.measure
    if measure is not None:
        for figure in known:
            if isinstance(figure, Figure) and figure.name == measure.quantity and figure.scale is ErrorScale.PLAIN:
                return _softened(measure, figure.estimate) if figure.unit == measure.unit else None
    if check.computed is None or not _takes(check, known):
        return None
    return weigh_figures(check.computed, [outcome.name for outcome in check.outcomes], known)


def _takes(check: Check, known: Sequence[Figure | Kinds]) -> bool:
    """Whether figures are of the check's computation, and its rule speaks of one of them at least.

    A figure the rule speaks of, not found, helps to tell nothing apart (`weigh_figures`); the kind of a thing is
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
    return Figure(
        name, str(unit), Estimate(float(value), float(error)), ErrorScale(str(scale[0])) if scale else ErrorScale.PLAIN
    )
