"""One round of work as it stands: what is done, what was checked off, filled in and typed in, what was seen since."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from reasoner.repair.jobs import Job

VALUES = ("first", "second", "old")
STATES = ("proven", "cured but unproven", "not cured", "given up")


@dataclass(frozen=True)
class Work:
    """One round of work. finished: the step at which it was done, or None. provoked: (condition, clean), in order."""

    kind: str
    jobs: tuple[Job, ...]
    ticked: frozenset[str] = frozenset()
    figures: Mapping[tuple[int, str], str] = field(default_factory=dict)
    first: Mapping[int, str] = field(default_factory=dict)
    second: Mapping[int, str] = field(default_factory=dict)
    old: Mapping[int, str] = field(default_factory=dict)
    finished: int | None = None
    provoked: tuple[tuple[str, bool], ...] = ()
    drives: tuple[Mapping[str, float], ...] = ()
    cleared: bool | None = None
