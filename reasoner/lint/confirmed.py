"""A fault that nothing confirms.

`confirmed by` names the checks that settle it. Each must have an outcome that is at least twice as likely while this
fault shows as under all the others together, on some vehicle that can have it: otherwise it confirms nothing.

Good:

    faults:
      meter-high: {confirmed by: [airflow]}

Bad:

    faults:
      leak: {confirmed by: []}
      meter-high: {confirmed by: [airflow, trim]}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.inference.apart import raises
from reasoner.lint.context import Context, Finding, at

ID = "not-confirmed"
TITLE = "a fault that nothing confirms"
MEND = "name checks under `confirmed by` that have an outcome which this fault makes much likelier than others do"
TIMES = 2.0  # how many times likelier an outcome must be to count as confirming: judgement


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    for fault in context.faults:
        spot = context.book.written.get(("faults", fault.name, "confirmed by"))
        place = spot.place if spot else fault.origin.place
        if not fault.confirmed_by:
            yield at("faults", fault.name, fault.origin.place, f'nothing confirms "{fault.name}"')
        for name in fault.confirmed_by:
            times = [
                raises(car.tables, table)[car.cause_of[fault.name]]
                for car in context.cars
                if fault.name in car.cause_of and (table := car.table(name))
            ]
            if not times and any(fault.name in car.cause_of for car in context.cars):
                message = f'"{name}" cannot confirm "{fault.name}": no vehicle can have both'
            elif times and max(times) < TIMES:
                message = (
                    f'"{name}" hardly confirms "{fault.name}": at most {max(times):.1f} times as likely as under others'
                )
            else:
                continue
            yield Finding("faults", fault.name, place, len(spot.text) if spot else len(fault.name), message)
