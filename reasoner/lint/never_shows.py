"""A fault that never shows.

In no condition does it act more often than where nothing is said (the setting `shows unless said`): nobody has
written when it is to be seen, or it was written so low that a check would have to be repeated for ever.

Good:

    faults:
      leak: {shows: {any: sometimes, stands: often}}

Bad:

    faults:
      seal-leaks:
        name: Pump seal leaks
        means: Fuel gets into the oil.
        at: engine
        share: 10
        shows: {any: rarely}
        acts as: [rich]
        repair: new-meter
        confirmed by: [thin-oil]
        driving on: The oil loses its strength.
        source: judgement
    checks:
      thin-oil:
        name: Oil thin
        kind: look
        ask: Is the oil thin?
        sees: ever
        outcomes: {no: it is not, yes: it is}
        otherwise: {yes: rarely}
        given: {seal-leaks: {yes: often}}
        minutes: 1
        source: practice
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.context import Context, Finding, at

ID = "never-shows"
TITLE = "a fault that shows in no condition"
MEND = "say under `shows`, of it or of one of its families, in which conditions it acts, and how often"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    unsaid = context.book.settings.shows_unless_said
    for fault in context.faults:
        often = [
            float(car.tables.shows[car.cause_of[fault.name]].max())
            for car in context.cars
            if fault.name in car.cause_of
        ]
        if often and max(often) <= unsaid.value + 1e-9:
            message = f'"{fault.name}" acts in no condition more often than {max(often) * 100:.0f} %'
            yield at("faults", fault.name, fault.origin.place, message)
