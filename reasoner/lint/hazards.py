"""A step that can hurt, without a caution.

Words in what is done, and in the tools it needs, are compared with words in its cautions, and in those of the
conditions it is done in. The list is short and errs on the side of silence: whether a step is safe is for people to
judge, and this says nothing about what it passes.

Good:

    checks:
      line-off:
        name: Return line off
        kind: test
        ask: Does it stay rich with the fuel line off?
        how: Take the fuel line off and catch what comes out.
        sees: ever
        outcomes: {no: it does not, yes: it does}
        otherwise: {yes: seldom}
        given: {leak: {yes: often}}
        minutes: 10
        cautions: [vapour]
        source: practice

Bad:

    checks:
      line-off:
        name: Return line off
        kind: test
        ask: Does it stay rich with the fuel line off?
        how: Take the fuel line off and catch what comes out.
        sees: ever
        outcomes: {no: it does not, yes: it does}
        otherwise: {yes: seldom}
        given: {leak: {yes: often}}
        minutes: 10
        source: practice
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from reasoner.lint.context import Context, Finding, at
from reasoner.rulebook.model import Place, Rulebook

ID = "no-caution"
TITLE = "a step that can hurt, without a caution"
MEND = "name a caution that speaks of it under `cautions`, or add one"

# What is about to be done (words of the step) -> what it can do -> words of which one must be in a caution.
HAZARDS: tuple[tuple[str, str, str], ...] = (
    (
        r"fuel (?:line|hose|pipe|filter)s?|fuel pressure (?:gauge|down)|return line|purge hose|injectors? taken out"
        r"|(?:weigh|empty|take off) the canister|filler cap|siphon|(?:sample|run) of (?:the )?(?:fuel|petrol)",
        "petrol or its vapour can get out",
        r"petrol|fuel|vapour",
    ),
    (
        r"(?:let|bring|relieve) the rail pressure|high-pressure (?:pipe|line|pump)s? off|open(?:ing)? the rail",
        "fuel stands under high pressure",
        r"pressure",
    ),
    (r"\bcoils?\b|ignition leads?|spark tester|sparks? (?:jump|over)", "ignition voltage is about", r"volt"),
    (r"unplug (?:the |each |an )?injector|injector's (?:plug|connector)", "injectors are driven with", r"volt|switch"),
    (
        r"under(?:neath)? the car|from below|car (?:up )?on (?:a lift|stands)|jack (?:it|the car)",
        "a car can fall",
        r"stand",
    ),
    (r"crank (?:it|the engine)|cranking", "a flooded cylinder or a turning engine", r"crank|belt|pulley|moving|volt"),
    (r"\bbelts?\b.*(?:run|idl)|(?:run|idl).*\bfan\b", "parts turn", r"belt|fan|finger"),
    (r"hot[- ]air|heat gun|hair dryer|warm (?:it|each|one) with", "heat comes near fuel", r"burn|vapour|spark|fire"),
    (r"propane", "a gas that burns is let in", r"burn|vapour|fire"),
    (r"radiator cap|coolant hose|cooling system", "coolant is hot and under pressure", r"hot|coolant"),
    (
        r"(?:battery|earth lead) off|disconnect the battery",
        "learned values go, and batteries give off gas",
        r"batter|earth",
    ),
    (r"test drive|on the road|full load|foot down", "somebody drives and reads", r"driv"),
)


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    book = context.book
    for section, name, place, step, cautions in _steps(book):
        told = " ".join(book.cautions[caution].say for caution in cautions).lower()
        for words, danger, wanted in HAZARDS:
            found = re.search(words, step.lower())
            if found and not re.search(wanted, told):
                what = " ".join(found[0].split())
                yield at(section, name, place, f'"{name}" has "{what}" ({danger}) and no caution about it')


def _steps(book: Rulebook) -> Iterator[tuple[str, str, Place, str, tuple[str, ...]]]:
    """(section, name, place, what is done and with what, cautions) of everything that is done to a car."""
    for check in book.checks.values():
        if check.kind in ("told", "code"):
            continue  # asked, not done
        tools = " ".join(book.tools[tool].title for tool in check.needs)
        common = [set(book.conditions[name].cautions) for name in check.conditions]
        cautions = (*check.cautions, *(set.intersection(*common) if common else ()))
        yield "checks", check.name, check.origin.place, f"{check.ask} {check.how} {tools}", cautions
    for condition in book.conditions.values():
        yield "conditions", condition.name, condition.origin.place, condition.bring_about, condition.cautions
    for repair in book.repairs.values():
        yield "repairs", repair.name, repair.origin.place, repair.do, repair.cautions
    for sheet in book.sheets.values():
        for step in sheet.steps:
            yield "sheets", sheet.name, step.place, step.do, step.cautions
