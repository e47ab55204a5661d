"""Events for tests, written as in a case file, and read the way a case file is read; and back again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from reasoner.casebook.casefile import CaseFile
from reasoner.casebook.events import Event, event_as_written
from reasoner.casebook.shape import Case, read_event


def read(*raw: Mapping[str, Any]) -> list[Event]:
    return [read_event(event) for event in raw]


def as_written(events: Iterable[Event]) -> list[dict[str, Any]]:
    return [event_as_written(event) for event in events]


def wrong_with(raw: Mapping[str, Any]) -> str:
    """What an event lacks, in words; empty for one that has its shape."""
    try:
        read_event(raw)
    except ValueError as error:
        return str(error)
    return ""


def file_of(case: Case) -> CaseFile:
    """The file that a case would be."""
    head = {"format": 1, "case": case.name, "opened": case.opened, "rules": case.rules, "vehicle": dict(case.vehicle)}
    return CaseFile(case.path, head, tuple(as_written(case.events)))
