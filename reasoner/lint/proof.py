"""A repair without proof.

After a repair its `proof` checks must be normal. At least one of them must show something else while the fault is
still there (as much as `least gain` at even odds), for every fault that the repair mends: otherwise it proves nothing.

Good:

    repairs:
      new-meter: {proof: [airflow]}

Bad:

    repairs:
      new-injector: {proof: []}
      new-meter: {proof: [plugs]}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.inference.apart import even_odds
from reasoner.lint.context import BenchCar, Context, Finding, at

ID = "no-proof"
TITLE = "a repair without proof"
MEND = "name checks under `proof` that are normal only when the fault is gone"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    least = context.book.settings.least_gain
    for fault in context.faults:
        repair = context.book.repairs[fault.repair]
        cars = [car for car in context.cars if fault.name in car.cause_of]
        bits = [max((_shows(car, fault.name, name) for name in repair.proof), default=0.0) for car in cars]
        if not repair.proof:
            yield at("repairs", repair.name, repair.origin.place, f'nothing proves "{repair.name}"')
        elif bits and min(bits) < least:
            car = cars[bits.index(min(bits))]
            message = f'no proof of "{repair.name}" shows whether "{fault.name}" is gone ({car.vehicle.title})'
            yield at("repairs", repair.name, repair.origin.place, message)


def _shows(car: BenchCar, fault: str, check: str) -> float:
    """Bits at even odds between this fault showing and nothing to be seen."""
    table = car.table(check)
    if table is None:
        return 0.0
    return float(even_odds(table.rows[table.index[car.cause_of[fault]]], table.rows[0]).max())
