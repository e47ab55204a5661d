"""What a computation found: figures with their uncertainty, the formula in words, what it means and how sure it is."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from reasoner.measure.uncertain import ERRORS_SHOWN, Estimate, between
from reasoner.measure.units import SHOWN_WITHOUT

PLUS_MINUS_MEANS = "4 +- 1 means between 3 and 5, in 19 cases of 20."  # said once on a page that has such figures


class ErrorScale(StrEnum):
    """The scale on which a figure has a Gaussian error."""

    PLAIN = "plain"
    TIMES = "times"  # of its logarithm: what is so many times as much as another
    UNTIL = "until"  # of its inverse: a time until something has happened, which may never be


@dataclass(frozen=True)
class Figure:
    """A number with its standard error, both on `scale`: the logarithm (natural) or the inverse of the value, or it."""

    name: str
    unit: str
    estimate: Estimate
    scale: ErrorScale = ErrorScale.PLAIN

    @property
    def value(self) -> float:
        """The value in `unit`; infinite where a time has no end."""
        return self._back(self.estimate.value)

    @property
    def bounds(self) -> tuple[float, float]:
        """Where the true value lies in 19 cases of 20, in `unit`: two standard errors to either side."""
        at, error = self.estimate.value, ERRORS_SHOWN * self.estimate.error
        low, high = sorted((self._back(at - error), self._back(at + error)))
        return low, high

    def chance(self, low: float | None, high: float | None, spread: float = 0.0) -> float:
        """P(low <= true value < high), no value being preferred beforehand; None is open.

        spread: standard deviation on the scale, where the figure brings no error of its own.
        """
        a = -math.inf if low is None else self._there(low)
        b = math.inf if high is None else self._there(high)
        if self.scale is ErrorScale.UNTIL:
            a, b = (-math.inf if high is None else b), (math.inf if low is None else a)
        return between(a, b, self.estimate.value, self.estimate.error or spread)

    def __str__(self) -> str:
        unit = "" if self.unit in SHOWN_WITHOUT else f" {self.unit}"
        if not self.estimate.error:
            return f"{self.value:.3g}{unit}" if math.isfinite(self.value) else "never"
        if self.scale is ErrorScale.PLAIN:
            return f"{plus_minus(self.estimate)}{unit}"
        low, high = self.bounds
        if not math.isfinite(high):
            return f"more than {low:.2g}{unit}" if math.isfinite(low) else "no end to be seen"
        return f"{self.value:.2g} ({low:.2g} to {high:.2g}){unit}"

    def document(self) -> dict[str, Any]:
        low, high = self.bounds if self.estimate.error else (self.value, self.value)
        numbers = {"value": self.value, "low": low, "high": high}
        return {"name": self.name, "unit": self.unit} | {
            key: number if math.isfinite(number) else None for key, number in numbers.items()
        }

    def _there(self, value: float) -> float:
        if self.scale is ErrorScale.PLAIN:
            return value
        if self.scale is ErrorScale.TIMES:
            return math.log(value) if value > 0 else -math.inf
        return 1 / value if value > 0 else math.inf

    def _back(self, at: float) -> float:
        if self.scale is ErrorScale.PLAIN:
            return at
        if self.scale is ErrorScale.TIMES:
            return math.exp(min(at, 700.0))
        return 1 / at if at > 0 else math.inf


@dataclass(frozen=True)
class Kinds:
    """Which kind of thing it is: the chance of each, no kind being preferred beforehand."""

    name: str
    chances: Mapping[str, float]

    @property
    def likeliest(self) -> str:
        return max(self.chances, key=lambda kind: self.chances[kind])

    def __str__(self) -> str:
        ranked = sorted(self.chances.items(), key=lambda pair: -pair[1])
        return ", ".join(f"{kind} {percent(chance)}" for kind, chance in ranked if chance >= 0.01)

    def document(self) -> dict[str, Any]:
        return {"name": self.name, "chances": dict(self.chances)}


@dataclass(frozen=True)
class Finding:
    """figures: by place (0 = the whole engine), the main one first. formula, means, sure: sentences.

    warns: what was typed and looks wrong, though it can be computed with.
    """

    figures: Mapping[int, tuple[Figure | Kinds, ...]]
    formula: tuple[str, ...]
    means: tuple[str, ...]
    sure: tuple[str, ...]
    warns: tuple[str, ...] = field(default=())

    def short(self, place: int, of: Collection[str] | None = None) -> str:
        """The first two figures of a place in one line. of: of these only."""
        found = [figure for figure in self.figures[place] if of is None or figure.name in of]
        return ", ".join(f"{figure.name} {figure}" for figure in found[:2])

    def document(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return {
            "figures": {str(place): [f.document() for f in found] for place, found in self.figures.items()},
            "formula": list(self.formula),
            "means": list(self.means),
            "sure": list(self.sure),
            "warns": list(self.warns),
        }


def ratio_figure(name: str, ratio: float, error: float) -> Figure:
    """A ratio above 0; error: standard error of its natural logarithm."""
    return Figure(name, "times", Estimate(math.log(ratio), error), ErrorScale.TIMES)


def percent(chance: float) -> str:
    """A chance as a person reads it; never 0 or 100 %."""
    if chance < 0.01:
        return "under 1 %"
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def listed(names: Sequence[str], last: str = "and") -> str:
    """Places of one kind: `cylinder 3`, `cylinders 2, 3 and 4`."""
    if len(names) == 1:
        return names[0]
    kind, numbers = names[0].split()[0], [name.split()[-1] for name in names]
    return f"{kind}s {', '.join(numbers[:-1])} {last} {numbers[-1]}"


def plus_minus(estimate: Estimate) -> str:
    """`23.9 +- 0.6`: the value, and how far the true one may be off in 19 cases of 20: two standard errors.

    To one digit (two where the first is 1 or 2), the value to the same place.
    """
    value, error = estimate.value, ERRORS_SHOWN * estimate.error
    if not 0 < error < math.inf:
        return f"{value:.3g}"
    place = math.floor(math.log10(error))
    place -= error < 3 * 10.0**place
    value, error = (round(number, -place) + 0.0 for number in (value, error))
    digits = min(6, max(0, -place))
    return f"{value:.{digits}f} +- {error:.{digits}f}"
