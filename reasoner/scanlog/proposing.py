"""What answers to a case are made from, and how one is put: a quantity, where, in which spell, with its error.

The condition is that of the rules for the spell's phase; "" where they have none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reasoner.measure.finding import Figure
from reasoner.measure.uncertain import Estimate
from reasoner.scanlog.conditions import Conditions, Phase
from reasoner.scanlog.document import Proposed
from reasoner.scanlog.grid import Grid
from reasoner.scanlog.stretches import CaseSpell
from reasoner.scanlog.usable import Air, Bank
from reasoner.scanlog.words import plus_minus

ENGINE, BANK, CYLINDER = "engine", "bank", "cylinder"

At = tuple[str, int]  # the kind of place, and its number


@dataclass(frozen=True)
class Seen:
    """What answers are made from."""

    grid: Grid
    conditions: Conditions
    banks: Sequence[Bank]
    thinned: Mapping[int, float]
    spells: Sequence[CaseSpell]
    names: Mapping[Phase, str]
    air: Air | None
    litres: float | None


def longest(seen: Seen, phases: Sequence[Phase]) -> CaseSpell | None:
    """The longest spell in one of these phases."""
    return max((s for s in seen.spells if s.phase in phases), key=lambda s: s.seconds, default=None)


def number(
    seen: Seen, quantity: str, unit: str, at: At, estimate: Estimate, spell: CaseSpell, seconds: float
) -> Proposed:
    """A reading. seconds: of the moments that it was read from."""
    where = "" if at[0] == ENGINE else f", {at[0]} {at[1]}"
    return Proposed(
        quantity=quantity,
        unit=unit,
        at=at[0],
        place=at[1],
        value=estimate.value,
        error=estimate.error,
        spell=spell.number,
        phase=spell.phase,
        condition=seen.names.get(spell.phase, ""),
        seconds=seconds,
        says=f"{quantity}{where}: {plus_minus(estimate, unit)}",
    )


def figured(
    seen: Seen, quantity: str, at: At, by: str, figures: Sequence[Figure], spell: CaseSpell, said: str
) -> Proposed:
    """What a computation of the rules finds; its first figure is the value."""
    first = figures[0]
    value = first.value if math.isfinite(first.value) else None
    low, high = first.bounds
    return Proposed(
        quantity=quantity,
        unit=first.unit,
        at=at[0],
        place=at[1],
        value=value,
        error=(high - low) / 2 if value is not None and math.isfinite(high - low) else None,
        spell=spell.number,
        phase=spell.phase,
        condition=seen.names.get(spell.phase, ""),
        seconds=spell.seconds,
        says=said,
        by=by,
        figures=tuple(figures),
    )


def weighed(
    seen: Seen, quantity: str, at: At, weights: Mapping[str, float], spell: CaseSpell, seconds: float, said: str
) -> Proposed:
    """Outcomes in words, with how well each fits."""
    most = max(weights.values())
    return Proposed(
        quantity=quantity,
        at=at[0],
        place=at[1],
        weights=tuple((n, max(1e-6, w / most)) for n, w in sorted(weights.items(), key=lambda item: -item[1])),
        spell=spell.number,
        phase=spell.phase,
        condition=seen.names.get(spell.phase, ""),
        seconds=seconds,
        says=said,
    )
