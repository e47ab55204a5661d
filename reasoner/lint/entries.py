"""Lints about entries as such: repairs without proof, what nothing uses, what no case has tried."""

from __future__ import annotations

import re
from collections.abc import Iterator

from reasoner.inference.discrimination import even_odds
from reasoner.lint.context import BenchCar, Context, LintFinding, at, lint, statements
from reasoner.mistake import Place
from reasoner.repair.reckoning import lineage
from reasoner.rulebook.fields import ONE
from reasoner.rulebook.model import Rulebook

# ---- proof -----------------------------------------------------------------------------------------------------------


@lint(
    "no-proof",
    "a repair without proof",
    "name checks under `proof` that are normal only when the fault is gone",
)
def repair_without_proof(context: Context) -> Iterator[LintFinding]:
    """A repair without proof.

    After a repair its `proof` checks must be normal. At least one of them must show something else while the fault is
    still there (as much as `least gain` at even odds), for every fault that the repair mends: otherwise it proves
    nothing.

    Good:

        repairs:
          new-meter: {proof: [airflow]}

    Bad:

        repairs:
          new-injector: {proof: []}
          new-meter: {proof: [plugs]}
    """
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


# ---- unused ----------------------------------------------------------------------------------------------------------


@lint(
    "unused",
    "an entry that nothing uses",
    "use it, or delete it",
)
def unused(context: Context) -> Iterator[LintFinding]:
    """An entry that nothing uses.

    A source that nothing names, not even a `because`; a tool nothing needs, a caution shown before nothing, a family no
    fault acts as, a repair no fault gets, a condition in which no check is made.

    Good:

        tools:
          lamp: {name: inspection lamp}
        checks:
          plugs: {needs: [lamp]}

    Bad:

        tools:
          lamp: {name: inspection lamp}
        sources:
          another-study: {cite: "Nobody, Another study that was never made, 2001", seen: from memory}
    """
    used, places = _used(context.book), _places(context.book)
    for section, names in used.items():
        for name, place in places[section].items():
            if name not in names:
                yield at(section, name, place, f'nothing uses the {ONE[section]} "{name}"')


def _places(book: Rulebook) -> dict[str, dict[str, Place]]:
    return {
        "sources": {name: source.place for name, source in book.sources.items()},
        "tools": {name: tool.place for name, tool in book.tools.items()},
        "cautions": {name: caution.origin.place for name, caution in book.cautions.items()},
        "families": {name: family.origin.place for name, family in book.families.items()},
        "repairs": {name: repair.origin.place for name, repair in book.repairs.items()},
        "conditions": {name: condition.origin.place for name, condition in book.conditions.items()},
    }


def _used(book: Rulebook) -> dict[str, set[str]]:
    checks, conditions, faults = book.checks.values(), book.conditions.values(), book.faults.values()
    repairs, cautions, families = book.repairs.values(), book.cautions.values(), book.families.values()
    origins = [book.settings.origin, *(said.origin for check in checks for _, said in statements(check))]
    later = (book.parts.values(), book.risks.values(), book.sheets.values(), book.proofs.values())
    for entries in (checks, conditions, faults, repairs, cautions, families, *later):
        origins += [entry.origin for entry in entries]
    anywhere = any(not check.conditions for check in checks if check.sees == "now")
    reasons = " ".join(origin.because for origin in origins)
    return {
        "sources": {origin.source for origin in origins} | {n for n in book.sources if re.search(rf"\b{n}\b", reasons)},
        "tools": {name for needs in (*(c.needs for c in checks), *(c.needs for c in conditions)) for name in needs},
        "cautions": {
            name
            for told in (
                *(c.cautions for c in checks),
                *(c.cautions for c in conditions),
                *(r.cautions for r in repairs),
                *(step.cautions for sheet in book.sheets.values() for step in sheet.steps),
            )
            for name in told
        },
        "families": {name for fault in faults for name in lineage(book, fault.name)[1:]},
        "repairs": {fault.repair for fault in faults} | {repair.name for repair in repairs if repair.instead_of},
        "conditions": set(book.conditions) if anywhere else {name for check in checks for name in check.conditions},
    }


# ---- in a case -------------------------------------------------------------------------------------------------------


@lint(
    "not-in-a-case",
    "a fault or a check that no solved case has tried",
    "keep a solved case that goes through it",
    strict=True,
)
def in_a_case(context: Context) -> Iterator[LintFinding]:
    """A fault or a check that no solved case has tried (only with --strict).

    Until a real car has been through it, a rule is an opinion. It is exercised when some solved case answers the check,
    has one of its codes on the reader, or ends with the fault. The fault that stands for nothing being wrong is left
    out: no case ends with it.

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
