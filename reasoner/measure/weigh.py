"""Figures of a computation -> how well each outcome of a check fits them: clear figures say much, vague ones little."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from math import prod

from reasoner.measure.asks import Setting, Trouble
from reasoner.measure.computations.table import COMPUTATIONS
from reasoner.measure.finding import Figure, Finding, Kinds
from reasoner.measure.soften import FLOOR
from reasoner.measure.uncertain import Estimate
from reasoner.rulebook.model import Check, Computed, Within

FAR = 1e9  # beyond every figure a rule speaks of
NOTHING = 1e-9  # an error too small to matter, so that no spread of a rule is put in its place


@dataclass(frozen=True)
class WorkedOut:
    """What a check's computation found, and by place how well each outcome fits it."""

    finding: Finding
    weights: Mapping[int, Mapping[str, float]]


def work_out(check: Check, texts: Mapping[str, str], setting: Setting) -> WorkedOut | tuple[Trouble, ...]:
    """The outcomes of a check from typed inputs, or everything that is wrong with these. Raises ValueError if the check
    has no computation."""
    if check.computed is None:
        raise ValueError(f"{check.name} is not worked out")
    found = COMPUTATIONS[check.computed.by].run(texts, setting)
    if not isinstance(found, Finding):
        return found
    names = [outcome.name for outcome in check.outcomes]
    return WorkedOut(found, {place: weigh(check.computed, names, figures) for place, figures in found.figures.items()})


def weigh(computed: Computed, outcomes: Sequence[str], figures: Sequence[Figure | Kinds]) -> Mapping[str, float]:
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
    return [Figure(name, "", Estimate(value, NOTHING)) for value in (edges[0] - FAR, *inside, edges[-1] + FAR)]


def _chance(said: Within, found: Mapping[str, Figure | Kinds], spread: float) -> float:
    figure = found[said.figure]
    if isinstance(figure, Kinds):
        return figure.chances.get(said.kind, 0.0)
    return figure.chance(said.low, said.high, spread)
