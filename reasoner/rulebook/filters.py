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
    "rail vacuum hose": ("yes", "no"),
    "pulsation damper": ("yes", "no"),
    "fuel pump": ("demand", "fixed"),
    "secondary air": ("yes", "no"),
    "air filter": ("oiled", "paper"),
    "gas conversion": ("yes", "no"),
    "tuned": ("yes", "no"),
    "aftermarket sensors": ("yes", "no"),
    "stop-start": ("yes", "no"),
}
# What a car has or has not got, as built or as altered: a fact that can be looked up or seen, and may be unknown.
EQUIPMENT = tuple(PROPERTIES)[tuple(PROPERTIES).index("return line") :]
YEAR = "model year"


def passes(only: Filter, properties: Mapping[str, str], distance_km: float | None, unknown: bool) -> bool:
    """Whether a vehicle passes. `unknown` is what a property that the vehicle does not state counts as.

    A rule's `only` lets the unknown through (unknown=True); its `more likely` does not.
    """
    for name, allowed in only.values.items():
        stated = properties.get(name)
        if not (unknown if stated is None else stated in allowed):
            return False
    year = float(properties[YEAR]) if YEAR in properties else None
    far = _within(distance_km, only.distance_over, only.distance_under, unknown)
    return far and _within(year, only.year_over, only.year_under, unknown)


def _within(value: float | None, over: float | None, under: float | None, unknown: bool) -> bool:
    if over is None and under is None:
        return True
    if value is None:
        return unknown
    return (over is None or value > over) and (under is None or value < under)
