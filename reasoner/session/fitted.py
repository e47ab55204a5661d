"""Which facts of the car the leading suspects and the next check hang on, and what goes when the car has none.

A fact is asked once, in one line, when it first matters: an answer, or that nobody knows, keeps it from being asked
again. What a check has asked in other words is not asked here.
"""

from __future__ import annotations

from collections.abc import Iterable

from reasoner.inference.belief import by_fault, ordered
from reasoner.inference.plan import Option
from reasoner.rulebook.model import Equipment, Filter, Rulebook
from reasoner.rulebook.parts import PROPERTIES
from reasoner.session.document import FactDoc
from reasoner.session.workup import Workup

SUSPECT_FROM = 0.1  # a suspect at least this likely is worth a line about what it needs; judgement
SUSPECTS_LOOKED_AT = 3  # the likeliest suspects


def open_facts(workup: Workup, option: Option | None = None) -> tuple[FactDoc, ...]:
    """What is not known of the car and matters now, the check's own first."""
    book, tables = workup.book, workup.tables
    needed = [] if option is None else _named(workup.book, book.checks[tables.checks[option.check].name].only)
    chances = by_fault(tables, workup.belief.probability)
    for number in ordered(chances, SUSPECTS_LOOKED_AT):
        if chances[number] >= SUSPECT_FROM:
            needed += _named(workup.book, book.faults[tables.faults[number]].only)
    answered = {given.check for given in workup.record.given}
    asked = [e for e in dict.fromkeys(e.name for e in needed) if not _said(workup, book.equipment[e], answered)]
    return tuple(fact_document(book.equipment[name]) for name in asked)


def needed_by(workup: Workup, check: str) -> tuple[FactDoc, ...]:
    """What a check needs the car to have."""
    return tuple(fact_document(entry) for entry in _named(workup.book, workup.book.checks[check].only))


def gone(before: Workup, after: Workup) -> str:
    """What left with a fact, in words: `no suspect any more: Regulator leaks into its
    vacuum hose; 2 checks fewer`."""
    faults = [before.book.faults[f].title for f in before.tables.faults if f not in after.tables.faults]
    checks = len(before.tables.check_number.keys() - after.tables.check_number.keys())
    parts = [f"no suspect any more: {', '.join(faults)}"] if faults else []
    parts += [f"{checks} check{'s' * (checks != 1)} fewer"] if checks else []
    return "; ".join(parts)


def fact_document(entry: Equipment) -> FactDoc:
    """A fact about the car as it is asked for."""
    return FactDoc(entry.key, entry.title, entry.ask, entry.how, PROPERTIES[entry.key])


def _named(book: Rulebook, only: Filter) -> list[Equipment]:
    return [entry for entry in book.equipment.values() if entry.key in only.values]


def _said(workup: Workup, entry: Equipment, answered: Iterable[str]) -> bool:
    known = entry.key in workup.vehicle.properties or entry.key in workup.record.facts
    return known or not set(entry.told_by).isdisjoint(answered)
