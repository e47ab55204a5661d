"""Vapour drawn from the tank: purge flow and how loaded it is -> trim.

Ideal gas at 25 degC and 101.325 kPa. Vapour of 65 g/mol (petrol vapour near 60 to 70; from memory).
"""

from __future__ import annotations

from reasoner.measure.fuel import AIR, PETROL

VAPOUR = 65.0  # g/mol
MOLAR_VOLUME = 8.314462618 * 298.15 / 101.325  # L/mol at 25 degC, 1 atm


def vapour_flow(litres: float, share: float) -> float:
    """Fuel in g/s of a purge flow (L/min) of which `share` (0..1 by volume) is vapour. Raises ValueError outside."""
    _check(litres, share)
    return litres * share / MOLAR_VOLUME * VAPOUR / 60.0


def purge_trim(litres: float, share: float, airflow: float, ratio: float = PETROL.air_ratio) -> float:
    """Trim in % of an engine with an air meter that measures `airflow` g/s, purge air coming in unmeasured.

    Below about 3 % vapour the purge air weighs more than the vapour: slightly lean. Never below -100: there the engine
    is flooded whatever the controller does.
    """
    _check(litres, share)
    if airflow <= 0:
        raise ValueError("the engine takes some air")
    air = litres * (1 - share) / MOLAR_VOLUME * AIR / 60.0
    return max(-100.0, 100.0 * (air - ratio * vapour_flow(litres, share)) / airflow)


def neutral_share(ratio: float = PETROL.air_ratio, vapour: float = VAPOUR) -> float:
    """Vapour share (0..1) of purge that is neither rich nor lean: its air just burns its vapour (g/mol)."""
    return AIR / (AIR + ratio * vapour)


def _check(litres: float, share: float) -> None:
    if litres < 0 or not 0.0 <= share <= 1.0:
        raise ValueError("a purge flow is not negative, a share lies in 0..1")
