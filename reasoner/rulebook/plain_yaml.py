"""What the YAML parser says, in plain words: where the slip really is, and what would mend it.

The parser tells where it could not go on, which is often a line after the slip. Each explainer below looks at its
words and at the lines around, and gives a finding or None; the first that gives one is believed. Both of PyYAML's
parsers are understood (the C one, and the one in Python where there is no C).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import yaml

from reasoner.rulebook.problem import shorten

_GLUED = re.compile(r"\s*(?:- )?([A-Za-z][\w -]*):([^\s:/].*)")  # `name:Plug colour`
_CLOSING = {"{": "}", "[": "]"}


class YamlSlip(NamedTuple):
    """Row and column from 0, as the parser counts."""

    kind: str
    row: int
    column: int
    length: int
    message: str
    mend: str


def unglue(line: str) -> str:
    """`name:Plug colour` with the space it lacks; "" when it lacks none."""
    match = _GLUED.fullmatch(line.rstrip())
    return f"{match[1]}: {match[2]}" if match else ""


def in_plain_words(error: yaml.MarkedYAMLError, lines: Sequence[str], last: Any) -> YamlSlip:
    """The parser's error as a finding. `last` is the last event that it could read."""
    at = error.problem_mark or error.context_mark
    opened = error.context_mark or at
    assert at is not None and opened is not None  # a marked error has a mark: PyYAML's own promise
    end = (len(lines) - 1, len(lines[-1]))  # the parser may stop in a line after the last
    row, column = min((at.line, at.column), end)
    failure = _Failure(lines, f"{error.context}; {error.problem}", row, column, opened.line, opened.column, last)
    return next(found for explain in EXPLAINERS if (found := explain(failure)))


@dataclass(frozen=True)
class _Failure:
    """said: the parser's words. row, column: where it stopped; opened_*: where what it was reading began."""

    lines: Sequence[str]
    said: str
    row: int
    column: int
    opened_row: int
    opened_column: int
    last: Any

    def line(self, row: int) -> str:
        return self.lines[row] if 0 <= row < len(self.lines) else ""

    @property
    def rest(self) -> str:
        return self.line(self.row)[self.column :].rstrip()

    @property
    def opened_rest(self) -> str:
        return self.line(self.opened_row)[self.opened_column :].rstrip()

    @property
    def above(self) -> int:
        """The last row before that says anything."""
        rows = range(self.row - 1, -1, -1)
        return next((r for r in rows if self.line(r).strip() and not self.line(r).lstrip().startswith("#")), self.row)

    def here(self, kind: str, message: str, mend: str, length: int = 1) -> YamlSlip:
        return YamlSlip(kind, self.row, self.column, length, message, mend)

    def at_opening(self, kind: str, message: str, mend: str, length: int = 1) -> YamlSlip:
        return YamlSlip(kind, self.opened_row, self.opened_column, length, message, mend)

    def whole(self, kind: str, row: int, message: str, mend: str) -> YamlSlip:
        line = self.line(row)
        return YamlSlip(kind, row, len(line) - len(line.lstrip()), max(1, len(line.strip())), message, mend)


def _tab(failure: _Failure) -> YamlSlip | None:
    line = failure.line(failure.row)
    if not re.match(r" *\t", line) and failure.rest[:1] != "\t":
        return None
    mend = "use spaces, two for each level"
    return YamlSlip("tab", failure.row, line.index("\t"), 1, "a tab where spaces should be", mend)


def _depth(failure: _Failure) -> YamlSlip | None:
    if "maximum" not in failure.said:
        return None
    return failure.here("too-deep", "nested far too deep", "a bracket may be left open above")


def _open_quote(failure: _Failure) -> YamlSlip | None:
    if "quoted scalar" not in failure.said or "end of stream" not in failure.said:
        return None
    return failure.at_opening("unclosed", "this quote is never closed", f"close it with {failure.opened_rest[:1]}")


def _escape(failure: _Failure) -> YamlSlip | None:
    if "quoted scalar" not in failure.said:
        return None
    mend = "use single quotes: in them a backslash is a backslash"
    return failure.here("bad-escape", "a backslash means something else in double quotes", mend)


def _bracket(failure: _Failure) -> YamlSlip | None:
    if "flow" not in failure.said:
        return None
    opening = failure.opened_rest[:1]
    if opening not in _CLOSING:  # it wanted a value, which says nothing of where the bracket is
        if failure.rest:
            return failure.here("no-value", f"something is missing before this `{failure.rest[:1]}`", "write it")
        row = next(r for r in range(len(failure.lines) - 1, -1, -1) if re.search(r"[\[{]", failure.lines[r]))
        column = max(failure.lines[row].rfind(bracket) for bracket in _CLOSING)
        closing = _CLOSING[failure.lines[row][column]]
        return YamlSlip("unclosed", row, column, 1, "this bracket is never closed", f"close it with `{closing}`")
    closing = _CLOSING[opening]
    if failure.row == failure.opened_row and closing in failure.rest:
        return failure.here("no-comma", "a comma is missing before this", "put a comma between two entries")
    return failure.at_opening("unclosed", f"this `{opening}` is never closed", f"close it with `{closing}`")


def _colon(failure: _Failure) -> YamlSlip | None:
    """A colon too many, or one without its space: the slip may be in this line or in one before."""
    nowhere = "expected ':'" in failure.said
    if not nowhere and "mapping values" not in failure.said:
        return None
    for row in dict.fromkeys((failure.opened_row, failure.row, failure.above)):
        if spaced := unglue(failure.line(row)):
            return failure.whole("no-space", row, "no space after the colon", f"write `{shorten(spaced)}`")
    if nowhere:
        return failure.whole("no-colon", failure.opened_row, "a key without a colon", "write `key: value`")
    line = failure.line(failure.row)
    key, colon, value = line.strip().partition(": ")
    if colon and ": " in f"{value} " and failure.column > line.index(": "):
        return failure.here("colon-in-text", "a colon inside a text", f"put it in quotes: {key}: {_quoted(value)}")
    if ":" not in failure.line(failure.above):
        return failure.whole("no-colon", failure.above, "a key without a colon", "write `key: value`")
    return _margin(failure)


def _start(failure: _Failure) -> YamlSlip | None:
    if "cannot start" in failure.said:
        text, note = failure.rest, failure.here
    elif re.search("alias|anchor|directive|tag", failure.said):
        text, note = failure.opened_rest, failure.at_opening
    else:
        return None
    mend = f"put it in quotes: {_quoted(text)}"
    return note("bad-start", f"a text cannot begin with `{text[:1]}`", mend, max(1, len(text)))


def _version(failure: _Failure) -> YamlSlip | None:
    if "incompatible" not in failure.said and "document start" not in failure.said:
        return None
    return failure.whole("bad-start", failure.row, "this asks for something special of YAML", "delete this line")


def _block(failure: _Failure) -> YamlSlip | None:
    if "block scalar" not in failure.said:
        return None
    mend = "begin it on the next line, further in"
    return failure.here("bad-block", "text on the same line as `|` or `>`", mend, max(1, len(failure.rest)))


def _dash(failure: _Failure) -> YamlSlip | None:
    if "sequence entries" not in failure.said:
        return None
    return failure.here("bad-list", "a list cannot begin in the middle of a line", "write it as [one, two]")


def _closing(failure: _Failure) -> YamlSlip | None:
    character = failure.rest[:1]
    if character not in ("}", "]"):
        return None
    return failure.here("unopened", f"this `{character}` closes nothing", "delete it, or open it before")


def _after_quote(failure: _Failure) -> YamlSlip | None:
    """A quote closed too early or too late: the parser stops at what follows it."""
    last = failure.last
    if not isinstance(last, yaml.ScalarEvent) or last.style not in ("'", '"'):
        return None
    start, end = last.start_mark, last.end_mark
    if start is None or end is None or end.line != failure.row:
        return None
    if start.line != failure.row:
        message, mend = f"this quote is closed only on line {failure.row + 1}", f"close it with {last.style}"
        return YamlSlip("unclosed", start.line, start.column, 1, message, mend)
    mend = "put the whole text in quotes, or none of it"
    return failure.here("after-quote", "more text after the closing quote", mend, max(1, len(failure.rest)))


def _margin(failure: _Failure) -> YamlSlip:
    """Begun in a column in which nothing above it begins, or further in below something that is complete."""
    here, above = (len(failure.line(row)) - len(failure.line(row).lstrip()) for row in (failure.row, failure.above))
    mend = f"it begins in column {here + 1}, the line above it in column {above + 1}"
    return failure.whole("bad-margin", failure.row, "this line does not line up with those above it", mend)


EXPLAINERS: tuple[Callable[[_Failure], YamlSlip | None], ...] = (
    _tab,
    _depth,
    _open_quote,
    _escape,
    _bracket,
    _colon,
    _start,
    _version,
    _block,
    _dash,
    _closing,
    _after_quote,
    _margin,
)


def _quoted(text: str) -> str:
    return '"' + shorten(text, 60).replace("\\", "\\\\").replace('"', '\\"') + '"'
