"""Which vehicles a rule is about."""

from __future__ import annotations

from collections.abc import Mapping

from reasoner.rulebook.model import Filter

# What a filter may name, and the values each can have.
PROPERTIES: dict[str, tuple[str, ...]] = {
    "layout": ("inline 3", "inline 4", "inline 5", "inline 6", "V 6", "V 8", "flat 4", "flat 6"),
    "injection": ("port", "direct", "dual"),
    "charging": ("natural", "charged"),
    "metering": ("airflow", "pressure", "both"),
    "sensors": ("one", "two"),
    "return line": ("yes", "no"),
    "flex fuel": ("yes", "no"),
    "gas recirculation": ("yes", "no"),
}


def passes(only: Filter, properties: Mapping[str, str], distance_km: float | None, unknown: bool) -> bool:
    """Whether a vehicle passes. `unknown` is what a property that the vehicle does not state counts as.

    A rule's `only` lets the unknown through (unknown=True); its `more likely` does not.
    """
    for name, allowed in only.values.items():
        stated = properties.get(name)
        if not (unknown if stated is None else stated in allowed):
            return False
    if only.distance_over is None and only.distance_under is None:
        return True
    if distance_km is None:
        return unknown
    over = only.distance_over is None or distance_km > only.distance_over
    under = only.distance_under is None or distance_km < only.distance_under
    return over and under
