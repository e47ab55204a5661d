"""A check that stands for another one and tells less than it.

Once it is answered, what it stands for counts no more. Where the other says more of a fault (between the fault, while
it shows, and nothing to be seen, at even odds and at its own place), an answer that agrees with it takes something away
from the suspect that both point at. The numbers are to be mended.

Good:

    checks:
      trim-fitted:
        name: Trim fitted over all airflows
        kind: reading
        ask: Is the fitted trim rich?
        sees: now
        outcomes: {normal: normal, rich: rich}
        otherwise: {rich: 2 %}
        given: {leak: {rich: 95 %}, meter-high: {rich: 97 %}}
        minutes: 10
        stands for: [trim]
        source: practice
        waive: {not-in-a-case: Shown on its own page.}

Bad:

    checks:
      trim-fitted:
        name: Trim fitted over all airflows
        kind: reading
        ask: Is the fitted trim rich?
        sees: now
        outcomes: {normal: normal, rich: rich}
        otherwise: {rich: 20 %}
        given: {leak: {rich: 40 %}, meter-high: {rich: 97 %}}
        minutes: 10
        stands for: [trim]
        source: practice
        waive: {not-in-a-case: Shown on its own page.}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.inference.apart import even_odds
from reasoner.lint.context import BenchCar, Context, Finding, at

ID = "stands-for-less"
TITLE = "a check that stands for another one and tells less than it"
MEND = "say of these faults at least as much as the other check does, or take it out of `stands for`"
STRICT = True  # it is many numbers at a time, and none of them is a slip
LEAST = 0.02  # bits; by less nobody would notice


def check(context: Context) -> Iterator[Finding]:
    faults = {fault.name for fault in context.faults}  # not the one made of all the others
    for name, entry in context.book.checks.items():
        for other in entry.stands_for:
            less: dict[str, tuple[float, float]] = {}
            for car in context.cars:
                for fault, (ours, theirs) in _both(car, name, other).items():
                    most = less.get(fault, (0.0, LEAST))
                    if fault in faults and theirs - ours > most[1] - most[0]:
                        less[fault] = ours, theirs
            if less:
                worst = sorted(less, key=lambda fault: less[fault][0] - less[fault][1])
                said = ", ".join(f"{f} ({less[f][0]:.2f} bits, the other {less[f][1]:.2f})" for f in worst)
                message = f'"{name}" stands for "{other}" and tells less of {said}'
                yield at("checks", name, entry.origin.place, message)


def _both(car: BenchCar, name: str, other: str) -> dict[str, tuple[float, float]]:
    """Bits that either check tells of each fault of a vehicle that has both checks, apart from nothing to be seen."""
    ours, theirs = car.table(name), car.table(other)
    if ours is None or theirs is None:
        return {}
    found = {}
    for fault, cause in car.cause_of.items():
        bits = [float(even_odds(table.rows[table.index[cause]], table.rows[0]).max()) for table in (ours, theirs)]
        found[fault] = bits[0], bits[1]
    return found
