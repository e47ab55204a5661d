"""One cylinder against the others: does it stand out, by how much, and how often would chance do that?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

CUT = 1e-17  # a term of a sum that no longer changes a double


@dataclass(frozen=True)
class StandsOut:
    """place: the cylinder furthest from the others. by: how far from their mean, in the unit of the readings.

    chance: how often the furthest of so many alike cylinders would be this far out by accident (an upper bound).
    """

    place: int
    by: float
    chance: float


def stands_out(values: Mapping[int, float], spread: float | None = None) -> StandsOut | None:
    """The cylinder that is furthest from the mean of the others, either way.

    With a known spread of one reading: Gaussian tails, times the number of cylinders (Bonferroni). Without: Grubbs's
    two-sided test (F. E. Grubbs, Technometrics 11 (1969) 1-21), which needs three cylinders and tells little with
    four. None if there are too few readings. Raises ValueError on a reading that is no number, or a spread not > 0.
    """
    if not all(math.isfinite(v) for v in values.values()) or (spread is not None and not spread > 0):
        raise ValueError("readings are numbers, a spread is above 0")
    n = len(values)
    if n < (2 if spread is not None else 3):
        return None
    mean = math.fsum(values.values()) / n
    place = max(values, key=lambda p: abs(values[p] - mean))
    by = (values[place] - mean) * n / (n - 1)
    if spread is not None:
        chance = n * math.erfc(abs(by) / (spread * math.sqrt(n / (n - 1))) / math.sqrt(2))
    else:
        squares = math.fsum((v - mean) ** 2 for v in values.values())
        chance = _grubbs(abs(values[place] - mean) / math.sqrt(squares / (n - 1)), n) if squares > 0 else 1.0
    return StandsOut(place, by, min(1.0, chance))


def counts_stand_out(counts: Mapping[int, int]) -> StandsOut | None:
    """The cylinder with the most counts (misfires) and the chance of so many in one of the cylinders by accident.

    If all were alike, each count would fall on any cylinder alike: binomial tail, times the number of cylinders. None
    without two cylinders or without counts. Raises ValueError on a negative count.
    """
    if any(c < 0 for c in counts.values()):
        raise ValueError("a count is not negative")
    n, total = len(counts), sum(counts.values())
    if n < 2 or total == 0:
        return None
    place = max(counts, key=lambda p: counts[p])
    most = counts[place]
    chance = n * binomial_tail(most, total, 1 / n)
    return StandsOut(place, most - (total - most) / (n - 1), min(1.0, chance))


def leaker_and_others(trim: float, cylinders: int) -> tuple[float, float]:
    """Lambda of one leaking cylinder and of each of the others when the bank's trim is `trim` % (0 or below).

    The ECU takes from all what one has too much: the lean cylinder that misfires need not be the leaker.
    Raises ValueError where there are not two cylinders, or the trim is not in -100..0.
    """
    if cylinders < 2 or not -100 < trim <= 0:
        raise ValueError("a bank of two or more cylinders with a trim below 0 and above -100 %")
    others = 1 + trim / 100
    return 1 / (others - cylinders * trim / 100), 1 / others


def binomial_tail(least: int, of: int, p: float) -> float:
    """P(X >= least) for X binomial(of, p), 0 < p < 1, summed in logarithms."""
    if least <= 0:
        return 1.0
    total = 0.0
    for i in range(least, of + 1):
        log = math.lgamma(of + 1) - math.lgamma(i + 1) - math.lgamma(of - i + 1)
        term = math.exp(log + i * math.log(p) + (of - i) * math.log1p(-p))
        total += term
        if i > of * p and term < CUT * total:
            break
    return min(1.0, total)


def student_tails(t: float, freedom: int) -> float:
    """P(|T| > t) of Student's t with a whole number of degrees of freedom (Abramowitz & Stegun 26.7.3 and 26.7.4)."""
    if freedom < 1:
        raise ValueError("at least one degree of freedom")
    angle = math.atan2(abs(t), math.sqrt(freedom))
    cosine2 = math.cos(angle) ** 2
    even = freedom % 2 == 0
    term = 1.0 if even else math.cos(angle)
    total = term if even or freedom > 1 else 0.0
    for i in range(2 if even else 3, freedom - 1, 2):
        term *= cosine2 * (i - 1) / i
        total += term
    inside = math.sin(angle) * total
    return max(0.0, 1 - (inside if even else 2 / math.pi * (angle + inside)))


def _grubbs(g: float, n: int) -> float:
    """Two-sided: n times the tails of t on n-2 degrees of freedom, with t2 = n(n-2) g2 / ((n-1)2 - n g2)."""
    left = (n - 1) ** 2 - n * g * g
    if left <= 0:  # the others are all alike
        return 0.0
    return n * student_tails(math.sqrt(n * (n - 2) * g * g / left), n - 2)
