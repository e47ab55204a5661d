"""The car as it has become known: facts told while the case went on, laid over what was stated at its beginning.

A fact that stands is true of the car throughout the case. A suspect or a check that needs what the car has not got is
not in its tables, so nothing that is worked out from them speaks of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from reasoner.casebook.correcting import standing
from reasoner.casebook.events import Event, FactsTold
from reasoner.network.vehicle import Vehicle, with_facts


def facts_told(events: Iterable[Event]) -> dict[str, str]:
    """Facts that stand, the latest of each; "" where it was asked and is not known."""
    found: dict[str, str] = {}
    for event in standing(events):
        if isinstance(event, FactsTold):
            found |= event.facts
    return found


def known_car(vehicle: Vehicle, events: Iterable[Event]) -> Vehicle:
    """The stated vehicle with what has become known of it."""
    return with_facts(vehicle, said(facts_told(events)))[0]


def said(facts: Mapping[str, str]) -> dict[str, str]:
    return {key: value for key, value in facts.items() if value}
