"""A check that tells nothing.

Whatever is wrong, its outcomes are as likely as with anything else wrong: even between the two causes that lie
furthest apart it brings less than the setting `least gain`, on every typical vehicle it applies to.

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

from reasoner.inference.apart import most_said
from reasoner.lint.bench import Bench, Finding, at

ID = "tells-nothing"
TITLE = "a check that tells nothing"
MEND = "say under `given` which faults or families it shows differently, or take the check out"


def check(bench: Bench) -> Iterator[Finding]:
    for name, entry in bench.book.checks.items():
        bits = [most_said(table) for car in bench.cars if (table := car.table(name))]
        if bits and max(bits) < bench.book.settings.least_gain:
            said = "nothing" if max(bits) < 0.0005 else f"at most {max(bits):.3f} bits"
            yield at("checks", name, entry.origin.place, f'"{name}" tells {said}, whatever is wrong')
