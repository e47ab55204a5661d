"""Figures of a computation -> how well each outcome of a check fits them: clear figures say much, vague ones little."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import prod

from reasoner.measure.asks import Setting, Trouble
from reasoner.measure.computations.table import COMPUTATIONS
from reasoner.measure.finding import Figure, Finding, Kinds
from reasoner.measure.soften import FLOOR
from reasoner.rulebook.model import Check, Computed, Within


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
    independent. A figure that was not worked out does not help to tell outcomes apart: what hangs on it counts as met.
    What is left of the chance goes to the outcome that takes the rest; without one it is no evidence for any of them.
    """
    found = {figure.name: figure for figure in figures}
    holds = {name: prod(_chance(w, found, computed.spread) for w in said) for name, said in computed.outcomes.items()}
    weights = {name: holds.get(name, 0.0) for name in outcomes}
    if computed.rest:
        known = [name for name, said in computed.outcomes.items() if all(w.figure in found for w in said)]
        weights[computed.rest] = max(0.0, 1.0 - sum(holds[name] for name in known))
    else:
        left = max(0.0, 1.0 - sum(holds.values()))
        weights = {name: weight + left for name, weight in weights.items()}
    most = max(weights.values())
    if most <= 0.0:
        return dict.fromkeys(outcomes, 1.0)
    return {name: max(FLOOR, weight / most) for name, weight in weights.items()}


def _chance(said: Within, found: Mapping[str, Figure | Kinds], spread: float) -> float:
    figure = found.get(said.figure)
    if figure is None:
        return 1.0
    if isinstance(figure, Kinds):
        return figure.chances.get(said.kind, 0.0)
    return figure.chance(said.low, said.high, spread)
