"""Mistakes a person made in a file: collected as values, shown with the place marked and what would mend it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from reasoner.rulebook.model import Place

WIDEST = 110  # characters of a source line that are shown; longer ones are cut around the mark
BEFORE = 60  # characters kept before the mark of such a line


@dataclass(frozen=True, order=True)
class Problem:
    """One mistake. `text_line` is the line of the file ("" = not about one line), `length` how much of it is marked.

    kind: one or two words that stay the same over releases. severity: error or warning.
    """

    place: Place
    message: str
    mend: str
    text_line: str
    length: int
    kind: str
    severity: str = "error"


class Unreadable(ValueError):
    """A piece of text is not what it should be. Raised by the small parsers, caught where the place is known."""

    def __init__(self, message: str, mend: str = "", kind: str = "bad-value") -> None:
        super().__init__(message)
        self.message, self.mend, self.kind = message, mend, kind


class RulesRefused(Exception):
    """The rules have mistakes; nothing of them is used. `problems` are all of them, sorted by place."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems))
        super().__init__("\n".join(show(problem) for problem in self.problems))


class Spot(Protocol):
    """Anything with a place and a length in characters."""

    @property
    def place(self) -> Place: ...
    @property
    def length(self) -> int: ...


@dataclass(frozen=True)
class Mark:
    """A bare spot, for what is no part of a tree."""

    place: Place
    length: int = 1


class Notebook:
    """Where mistakes are noted while reading goes on. Knows the text of every file read."""

    def __init__(self) -> None:
        self.lines: dict[str, Sequence[str]] = {}
        self._problems: list[Problem] = []

    def __len__(self) -> int:
        return len(self._problems)

    def note(self, kind: str, spot: Spot, message: str, mend: str = "") -> None:
        lines = self.lines.get(spot.place.file, ())
        number = spot.place.line - 1
        line = lines[number] if number < len(lines) else ""
        self._problems.append(Problem(spot.place, message, mend, line, spot.length, kind))

    def add_mend(self, since: int, line: str, unless_in: Collection[str]) -> None:
        """Adds a line to what was noted since, except in these files: what the cause elsewhere may be."""
        for i, problem in enumerate(self._problems[since:], start=since):
            if problem.place.file not in unless_in:
                self._problems[i] = replace(problem, mend=f"{problem.mend}\n{line}".lstrip("\n"))

    @property
    def problems(self) -> tuple[Problem, ...]:
        """All of them, once each, sorted by place."""
        return tuple(sorted(set(self._problems)))


def shorten(text: str, most: int = 40) -> str:
    """Somebody's text, fit to be quoted in one line of a message."""
    text = " ".join(text.split())
    return text if len(text) <= most else text[: most - 3] + "..."


def show(problem: Problem) -> str:
    """The mistake as text: where, what, the line with the spot marked, what would mend it."""
    shown = [f"{problem.place}: {problem.severity}: {problem.message}   [{problem.kind}]"]
    if problem.text_line.strip():
        line, start = _window(problem.text_line, problem.place.column - 1)
        length = max(1, min(problem.length, len(line) - start))
        # Tabs stay tabs, so that the mark stands under the spot however wide they are drawn.
        lead = "".join("\t" if character == "\t" else " " for character in line[:start])
        shown += [f"{problem.place.line:5} | {line.rstrip()}", f"      | {lead}{'^' * length}"]
    shown += [f"   {line}".rstrip() for line in problem.mend.splitlines()]
    return "\n".join(shown)


def _window(line: str, start: int) -> tuple[str, int]:
    """A long line cut around `start`, and where that is in what is left."""
    if len(line) <= WIDEST:
        return line, start
    first = max(0, start - BEFORE)
    cut = line[first : first + WIDEST]
    if first:
        cut = "..." + cut[3:]
    if first + WIDEST < len(line):
        cut += "..."
    return cut, start - first
