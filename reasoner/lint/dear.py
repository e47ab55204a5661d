"""A check that costs more than what it proves.

Its minutes (at the setting `hour costs`), its waiting as far as that counts, and its money come to more than the
dearest repair of any fault it can confirm: replacing the part on suspicion would be cheaper.

Good:

    checks:
      airflow: {minutes: 30}

Bad:

    checks:
      airflow: {minutes: 300}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.inference.apart import raises
from reasoner.lint.confirmed import TIMES
from reasoner.lint.context import Context, Finding, at

ID = "dear-check"
TITLE = "a check that costs more than what it proves"
MEND = "look at its minutes and money, and at those of the repairs"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    book, settings = context.book, context.book.settings

    def cost(minutes: float, wait: float, money: float) -> float:
        return (minutes + settings.waiting_counts * wait) / 60 * settings.hour_costs + money

    for name, entry in book.checks.items():
        shown: set[str] = set()
        for car in context.cars:
            table = car.table(name)
            if table is not None:
                times = raises(car.tables, table, first=1)
                shown |= {fault for fault, cause in car.cause_of.items() if times[cause] >= TIMES}
        repairs = {book.faults[fault].repair for fault in shown if not book.faults[fault].anything_else}
        if not repairs:
            continue
        own = cost(entry.minutes, entry.wait, entry.money)
        costs = {repair: cost(book.repairs[repair].minutes, 0, book.repairs[repair].money) for repair in repairs}
        dearest = max(costs, key=lambda repair: costs[repair])
        if own > costs[dearest]:
            message = f'"{name}" costs {own:.0f}, the dearest repair it points to {costs[dearest]:.0f} ({dearest})'
            yield at("checks", name, entry.origin.place, message)
