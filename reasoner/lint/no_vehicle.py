"""A fault that no vehicle can have, or a check that applies to none.

A share of 0 for every injection that its `only` allows, or a filter that excludes itself.

Good:

    faults:
      leak: {only: {injection: [direct, dual]}, share: {port: 0, direct: 20, dual: 10}}

Bad:

    faults:
      pump-high:
        name: Pump gives too much pressure
        means: It runs above its target.
        at: engine
        only: {injection: port}
        share: {port: 0, direct: 20, dual: 10}
        acts as: [rich]
        repair: new-meter
        confirmed by: [trim]
        driving on: It drinks.
        source: judgement
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.context import Context, Finding, at, possible, together

ID = "no-vehicle"
TITLE = "a fault or a check for no vehicle at all"
MEND = "look at its `only`, and at its `share` if it has one"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    for fault in context.faults:
        if not possible(fault).values["injection"]:
            yield at("faults", fault.name, fault.origin.place, f'no vehicle can have "{fault.name}"')
    faults = [possible(fault) for fault in context.faults]
    for name, entry in context.book.checks.items():
        if not any(together(entry.only, only) for only in faults):
            yield at("checks", name, entry.origin.place, f'"{name}" applies to no vehicle')
