"""A fault or a check that no solved case has tried (only with --strict).

Until a real car has been through it, a rule is an opinion. It is exercised when some solved case answers the check, has
one of its codes on the reader, or ends with the fault. The fault that stands for nothing being wrong is left out: no
case ends with it.

Good:

    checks:
      sooty-pipe:  # answered in a case
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
      thirst:
        name: Drinks more than it used to
        kind: told
        ask: Does it use more fuel than it used to?
        sees: ever
        outcomes: {no: it does not, yes: it does}
        otherwise: {yes: seldom}
        given: {meter-high: {yes: often}}
        source: practice
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.context import Context, Finding, at

ID = "not-in-a-case"
TITLE = "a fault or a check that no solved case has tried"
MEND = "keep a solved case that goes through it"
STRICT = True


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    if context.cases is None:
        return
    named = frozenset().union(*context.cases.values())
    for fault in context.faults:
        if fault.name not in named and not fault.nothing_wrong:
            yield at("faults", fault.name, fault.origin.place, f'no solved case ends with "{fault.name}"')
    for name, entry in context.book.checks.items():
        if name not in named:
            missing = "has a code of" if entry.codes else "answers"
            yield at("checks", name, entry.origin.place, f'no solved case {missing} "{name}"')
