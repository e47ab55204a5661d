"""What the work after a verdict has to know of a case; not how the case came to be known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

from reasoner.inference.belief import Belief
from reasoner.inference.evidence import Spell
from reasoner.network.tables import Tables
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Rulebook


class Answer(Protocol):
    """values: weights of outcomes by place."""

    @property
    def check(self) -> str: ...
    @property
    def values(self) -> Mapping[int, Mapping[str, float]]: ...


class RecordSoFar(Protocol):
    """What was told and answered. avoided: conditions. lacking: tools. empty_since_clearing: the
    list of codes was read empty after clearing, with no drive between. steps: so many were given a number."""

    @property
    def given(self) -> tuple[Answer, ...]: ...
    @property
    def codes(self) -> tuple[tuple[str, tuple[str, ...]], ...]: ...
    @property
    def codes_complete(self) -> bool: ...
    @property
    def empty_since_clearing(self) -> bool: ...
    @property
    def avoided(self) -> frozenset[str]: ...
    @property
    def lacking(self) -> frozenset[str]: ...
    @property
    def steps(self) -> int: ...


class Standing(Protocol):
    """A case now: its rules, vehicle and tables, what is known, and what is believed."""

    @property
    def book(self) -> Rulebook: ...
    @property
    def vehicle(self) -> Vehicle: ...
    @property
    def tables(self) -> Tables: ...
    @property
    def record(self) -> RecordSoFar: ...
    @property
    def spells(self) -> tuple[Spell, ...]: ...
    @property
    def belief(self) -> Belief: ...


def named_conditions(book: Rulebook, given: Iterable[Answer]) -> frozenset[str]:
    """Conditions in which it happens, by what was told and read (`happens in` of the rules)."""
    return frozenset(
        condition
        for answer in given
        if answer.check in book.checks
        for value in answer.values.values()
        for outcome, conditions in book.checks[answer.check].happens_in.items()
        if outcome in value and value[outcome] >= max(value.values())
        for condition in conditions
    )
