"""How likely a part of a known age gives out soon, when half of its kind do between two distances.

Weibull's law with the quartiles at these two distances (W. Weibull, J. Appl. Mech. 18:293-297, 1951; from memory): the
share still good after d km is exp(-(d / scale) ** shape), both numbers following exactly from the quartiles.
"""

from __future__ import annotations

from math import expm1, log

LOWER, UPPER = 0.25, 0.75


def law(lasts: tuple[float, float]) -> tuple[float, float]:
    """(shape, scale in km) of the law with these quartiles in km."""
    lower, upper = -log(1 - LOWER), -log(1 - UPPER)
    shape = log(upper / lower) / log(lasts[1] / lasts[0])
    return shape, float(lasts[0] / lower ** (1 / shape))


def goes_within(lasts: tuple[float, float], driven: float, within: float) -> float:
    """Chance that a part still good after `driven` km wears out in the next `within` km."""
    shape, scale = law(lasts)
    return -expm1((driven / scale) ** shape - ((driven + within) / scale) ** shape)


def any_of(count: int, chance: float) -> float:
    """Chance that at least one of several does, each by itself."""
    return float(1 - (1 - chance) ** count)
