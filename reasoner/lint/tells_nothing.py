"""A check that tells nothing.

Whatever is wrong or not, its outcomes are as likely as ever: even between the two faults that it tells apart best, or
one of them and nothing to be seen, in whichever of its conditions, one look brings less than the setting `least gain`
at even odds, on every typical vehicle it applies to. Where the faults that it shows do not act in the conditions it is
made in, nobody can see what it says.

Good:

    checks:
      sooty-pipe:
        name: Soot in the tailpipe
        kind: look
        ask: Is the tailpipe sooty?
        sees: ever
        outcomes: {no: it is not, yes: it is}
        otherwise: {yes: seldom}
        given: {leak: {yes: often}}
        minutes: 1
        source: practice

Bad:

    checks:
      sooty-pipe:
        name: Soot in the tailpipe
        kind: look
        ask: Is the tailpipe sooty?
        sees: ever
        outcomes: {no: it is not, yes: it is}
        otherwise: {yes: 28 %}
        given: {leak: {yes: 30 %}}
        minutes: 1
        source: practice
        waive: {unlikely-outcome: Shown on its own page.}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.context import Context, Finding, at

ID = "tells-nothing"
TITLE = "a check that tells nothing"
MEND = "say under `given` what it shows differently, look at the conditions it is made `in`, or take it out"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    for name, entry in context.book.checks.items():
        numbers = [(car, car.tables.check_number[name]) for car in context.cars if name in car.tables.check_number]
        bits = [float(car.telling.says[number]) for car, number in numbers]
        if bits and max(bits) < context.book.settings.least_gain:
            said = "nothing" if max(bits) < 0.0005 else f"at most {max(bits):.4f} bits"
            yield at("checks", name, entry.origin.place, f'"{name}" tells {said}, whatever is wrong')
