"""A statement that only repeats `otherwise`.

It says of a fault or family what holds with nothing to see. That has a meaning only where it keeps a wider family,
which says something else, from being heard.

Good:

    checks:
      airflow: {given: {leak: {too-much: 20 %}}}
      trim: {given: {meter-high: {rich: seldom}}}

Bad:

    checks:
      airflow: {given: {leak: {too-much: rarely}}}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.context import Context, Finding
from reasoner.network.tables import distribution

ID = "repeats-otherwise"
TITLE = "a statement that only repeats `otherwise`"
MEND = "take it out, or say what is different"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    floor = context.book.settings.unlikeliest
    for name, entry in context.book.checks.items():
        base = distribution(entry, entry.otherwise.here, [floor] * len(entry.outcomes), floor)
        for subject, statement in entry.given.items():
            said = [named for named in (statement.here, statement.elsewhere) if named is not None]
            rows = [distribution(entry, named, base, floor) for named in said]
            if any(abs(a - b) > 1e-9 for row in rows for a, b in zip(row, base, strict=True)):
                continue
            if not _silences(context, name, subject):
                message = f'what "{name}" says under {subject} is what it says under `otherwise`'
                yield Finding("checks", name, statement.origin.place, len(subject), message)


def _silences(context: Context, name: str, subject: str) -> bool:
    """Whether somebody wider would be heard for some fault, if this one said nothing."""
    entry = context.book.checks[name]
    for car in context.cars:
        for fault in car.cause_of if car.table(name) else ():
            speakers = car.speakers(fault, entry)
            if speakers[:1] == [subject] and len(speakers) > 1:
                return True
    return False
