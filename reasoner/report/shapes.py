"""The few shapes that what is shown of cases is made of, and a bar that fills while many are worked through."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from time import monotonic
from typing import TextIO, TypeVar

from rich.console import Console
from rich.padding import Padding
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

# ---- The few shapes that what is shown of cases is made of -----------------------------------------------------------
# Styles only repeat what the words already say.

HEAD, QUIET, CARE = "bold", "dim", "bold red"  # readable on dark and light


def title_line(title: str, rest: str = "") -> Text:
    """A heading in capitals, so that it stands out without colour."""
    text = Text(title.upper(), style=HEAD)
    return text.append("  " + rest, style="not bold default") if rest else text


def padded_text(text: str, style: str = "", indent: int = 2) -> Padding:
    """One paragraph, wrapped to the width it is shown in."""
    return Padding(Text(" ".join(text.split()), style=style), (0, 0, 0, indent))


def item(text: str, sign: str = "-", indent: int = 2) -> Padding:
    """A text after a sign, wrapping under itself."""
    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    grid.add_row(Text(sign, style=HEAD), Text(" ".join(text.split())))
    return Padding(grid, (0, 0, 0, indent))


def columns(
    lines: Iterable[Sequence[str]],
    right: Sequence[int] = (),
    wrap: Sequence[int] = (),
    heading: Sequence[str] = (),
    indent: int = 2,
) -> Padding:
    """Short texts in columns. right: columns set flush right. wrap: columns that may take several lines."""
    lines = list(lines)
    grid = Table.grid(padding=(0, 2, 0, 0))
    for number in range(max((len(line) for line in [*lines, heading]), default=0)):
        grid.add_column(justify="right" if number in right else "left", no_wrap=number not in wrap, overflow="fold")
    if heading:
        grid.add_row(*(Text(cell, style=QUIET) for cell in heading))
    for line in lines:
        grid.add_row(*(Text(cell) for cell in line))
    return Padding(grid, (0, 0, 0, indent))


def count(number: float, what: str) -> str:
    """`1 answer`, `3 answers`, `2.5 cases`."""
    return f"{number:g} {what}" + ("" if number == 1 else "s")


# ---- A bar that fills while many things are worked through -----------------------------------------------------------

_T = TypeVar("_T")

PICTURE_EVERY = 0.1  # seconds between two pictures


def progress(found: Iterator[_T], total: int, title: str, out: TextIO) -> Iterator[_T]:
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
            if monotonic() - drawn > PICTURE_EVERY:
                shown.refresh()
                drawn = monotonic()
