"""How far a share that was seen n times may be off: the score interval for a binomial proportion.

E. B. Wilson, "Probable inference, the law of succession, and statistical inference", Journal of the American
Statistical Association 22:209-212, 1927. It stays within 0..1 and behaves with few cases, also where all or none came
true, which the usual p +- 1.96 s does not (R. G. Newcombe, Statistics in Medicine 17:857-872, 1998).
"""

from __future__ import annotations

from math import sqrt

Z95 = 1.959963984540054  # 97.5 % quantile of the standard normal distribution


def wilson(came: float, cases: float, z: float = Z95) -> tuple[float, float]:
    """Low and high end (0..1) for `came` of `cases`. Raises ValueError without a case."""
    if cases <= 0:
        raise ValueError("no case, no share")
    p, square = came / cases, z * z
    middle = 2 * cases * p + square
    half = z * sqrt(square + 4 * cases * p * (1 - p))
    below, above = (middle - half) / (2 * (cases + square)), (middle + half) / (2 * (cases + square))
    return max(0.0, below), min(1.0, above)
