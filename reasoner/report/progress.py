"""A bar that fills while many things are worked through."""

from __future__ import annotations

from collections.abc import Iterator
from time import monotonic
from typing import TextIO, TypeVar

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

T = TypeVar("T")

EVERY = 0.1  # seconds between two pictures


def bar(found: Iterator[T], total: int, title: str, out: TextIO) -> Iterator[T]:
    """The same things one by one, with how many are done, and how long the rest may take; gone at the end.

    Drawn as things come, by no thread of its own: processes started meanwhile would take over what it had locked.
    """
    parts = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*parts, console=Console(file=out), transient=True, auto_refresh=False) as shown:
        task = shown.add_task(title, total=total)
        shown.refresh()
        drawn = monotonic()
        for one in found:
            yield one
            shown.advance(task)
            if monotonic() - drawn > EVERY:
                shown.refresh()
                drawn = monotonic()
