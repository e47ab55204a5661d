"""A statement that is never heard.

The nearest statement wins: one about a family is never used where every fault of that family has a nearer one, or
where no fault acts as the family on a vehicle that the check applies to.

Good:

    checks:
      trim: {given: {leak: {rich: often}}}

Bad:

    checks:
      trim: {given: {leak: {rich: often}, meter-high: {rich: very often}}}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.context import Context, Finding

ID = "never-reached"
TITLE = "a statement that is never heard"
MEND = "take it out; or look at `acts as` of the faults it is meant for, and at what stands nearer to them"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    for name, entry in context.book.checks.items():
        cars = [car for car in context.cars if car.table(name)]
        heard = {who for car in cars for fault in car.cause_of for who in car.speakers(fault, entry)[:1]}
        for subject, statement in entry.given.items():
            if subject not in heard:
                message = f'what "{name}" says under {subject} is heard for no fault'
                yield Finding("checks", name, statement.origin.place, len(subject), message)
