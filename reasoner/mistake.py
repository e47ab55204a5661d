"""A mistake that a person made, as a value and as an exception: what is wrong, where, and what would mend it.

Every room may use it. A mistake in a file has its line besides: `rulebook.problem.Problem`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True)
class Mistake:
    """where: the field or input that is wrong ("" = all of them together)."""

    where: str
    message: str
    mend: str = ""

    def __str__(self) -> str:
        said = self.message + (f" ({self.mend})" if self.mend else "")
        return f"{self.where}: {said}" if self.where else said


class Refused(ValueError):
    """An act that makes no sense: what is wrong, and what would mend it. Nothing was kept."""

    def __init__(self, message: str, mend: str = "") -> None:
        super().__init__(message)
        self.message, self.mend = message, mend


@dataclass(frozen=True, order=True)
class Place:
    """Where something stands: file as shown to the person, line and column from 1."""

    file: str
    line: int
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


class Spot(Protocol):
    """Anything with a place and a length in characters."""

    @property
    def place(self) -> Place: ...
    @property
    def length(self) -> int: ...


@dataclass(frozen=True)
class BareSpot:
    """A bare spot, for what is no part of a tree."""

    place: Place
    length: int = 1


def visible(text: str, most: int = 200) -> str:
    """Somebody's text, fit for one line of a message: nothing in it can move the cursor or hide the rest."""
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    return text if len(text) <= most else text[: most - 3] + "..."


def shorten(text: str, most: int = 40) -> str:
    """Somebody's text, fit to be quoted in one line of a message."""
    return visible(" ".join(text.split()), most)
