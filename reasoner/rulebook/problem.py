"""Mistakes a person made in a file: values with the place marked and what would mend it, the near name among it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

from reasoner.mistake import Place, Refused, Spot

# ---- Did you mean? The nearest known word, and keys that are right but stand at the wrong level ----------------------


def plain_spelling(word: str) -> str:
    """A word as far as its spelling matters: no case, no difference between space, dash and underscore."""
    return " ".join(word.lower().replace("-", " ").replace("_", " ").split())


def near(word: str, known: Iterable[str]) -> str | None:
    """The known word that `word` most likely means, or None."""
    by_spelling = {plain_spelling(name): name for name in known}
    meant = plain_spelling(word)[:80]
    if meant in by_spelling:
        return by_spelling[meant]
    close = get_close_matches(meant, by_spelling, n=1, cutoff=0.7)
    if close:
        return by_spelling[close[0]]
    starts = [name for spelling, name in by_spelling.items() if meant and spelling.startswith(meant)]
    return starts[0] if len(starts) == 1 else None


def levels_of(key: str, levels: Mapping[str, Collection[str]]) -> tuple[str, ...]:
    """The levels (in words) at which this key is right."""
    return tuple(level for level, keys in levels.items() if key in keys)


def choices_of(words: Iterable[str], last: str = "or", most: int = 20) -> str:
    """`a, b or c`; a long list is cut."""
    words = list(words)
    if len(words) > most:
        return ", ".join(words[:most]) + ", ..."
    return f" {last} ".join(filter(None, (", ".join(words[:-1]), words[-1]))) if words else "none"


# ---- Mistakes a person made in a file --------------------------------------------------------------------------------
# Collected as values, shown with the place marked and what would mend it.

WIDEST_QUOTE = 110  # characters of a source line that are shown; longer ones are cut around the mark
KEPT_BEFORE_MARK = 60  # characters kept before the mark of such a line


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


class Unreadable(Refused):
    """A piece of text is not what it should be. Raised by the small parsers, caught where the place is known."""

    def __init__(self, message: str, mend: str = "", kind: str = "bad-value") -> None:
        super().__init__(message, mend)
        self.kind = kind


class RulesRefused(Exception):
    """The rules have mistakes; nothing of them is used. `problems` are all of them, sorted by place."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems))
        super().__init__("\n".join(problem_text(problem) for problem in self.problems))


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


def problem_text(problem: Problem) -> str:
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
    if len(line) <= WIDEST_QUOTE:
        return line, start
    first = max(0, start - KEPT_BEFORE_MARK)
    cut = line[first : first + WIDEST_QUOTE]
    if first:
        cut = "..." + cut[3:]
    if first + WIDEST_QUOTE < len(line):
        cut += "..."
    return cut, start - first
