"""In which order to try repairs.

P over C: with one cause, each step conclusive, the least expected cost comes from falling p / C (Kalagnanam & Henrion,
"A comparison of decision analysis and expert rules for sequential diagnosis", UAI 1988, arXiv:1304.2362). It holds only
where the last one is tried too, not inferred from what is left, and each step works for sure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Try:
    """One thing to look at and mend. chance: that it is this one. look: cost of finding out."""

    name: str
    chance: float
    look: float


def by_chance_over_cost(tries: Iterable[Try]) -> list[Try]:
    """Falling p / C, where C is the cost of the look (what it costs to mend is paid in any order)."""
    return sorted(tries, key=lambda t: -t.chance / t.look if t.look > 0 else float("-inf"))
