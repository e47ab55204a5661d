"""YAML as a tree of text, lists and maps, in which everything knows its place; what is wrong is said in plain words.

Every room may use it: it reads all YAML there is. No words are turned into anything else.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import yaml

from reasoner.mistake import BareSpot, Place, Spot, shorten

# ---- What the YAML parser says, in plain words -----------------------------------------------------------------------
# Where the slip really is, and what would mend it.
#
# The parser tells where it could not go on, which is often a line after the slip. Each explainer below looks at its
# words and at the lines around, and gives a finding or None; the first that gives one is believed. Both of PyYAML's
# parsers are understood (the C one, and the one in Python where there is no C).

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


# ---- YAML as a tree of text, lists and maps, in which everything knows its place -------------------------------------
# Built from the parser's events, not from composed nodes: an anchor, an alias or too deep a nesting is refused as
# soon as it comes by, so nothing is ever expanded and no recursion is deeper than is allowed.

Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

# What YAML itself refuses, and what it takes for a line break but an editor does not: marks would point elsewhere.
FORBIDDEN_IN_YAML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufeff\ufffe\uffff]")
BREAK = re.compile(r"\r\n|\r|\n")


@dataclass(frozen=True, slots=True)
class Text:
    """A scalar, always text. `quoted`: it was written in quotes or as a block."""

    value: str
    place: Place
    length: int
    quoted: bool = False


@dataclass(frozen=True, slots=True)
class List:
    """A list, with its place."""

    items: tuple[Node, ...]
    place: Place
    length: int


@dataclass(frozen=True, slots=True)
class Map:
    """Pairs in the order written; of two with the same key only the first is kept (and the second noted)."""

    pairs: tuple[tuple[Text, Node], ...]
    place: Place
    length: int

    def get(self, key: str) -> Node | None:
        return next((value for name, value in self.pairs if name.value == key), None)

    def key(self, key: str) -> Text | None:
        return next((name for name, _ in self.pairs if name.value == key), None)


Node = Text | List | Map


Note = Callable[[str, Spot, str, str], None]


def read_tree(text: str, file: str, note: Note, deepest: int, first: int = 1) -> Node | None:
    """The tree of one YAML text. None where nothing is written, or it could not be read to the end.

    note: called with kind, spot, what is wrong and what would mend it; may raise, which ends the reading. deepest:
    levels of nesting allowed. first: the number of the text's first line in its file.
    """
    lines = BREAK.split(text)
    bad = FORBIDDEN_IN_YAML.search(text)
    if bad:
        message = f"a control character (U+{ord(bad[0]):04X}) that does not belong in a text"
        note(
            "control-character",
            end_of(text[: bad.start()], file, first),
            message,
            "delete it and type the place again",
        )
        return None
    walk = _Walk(file, note, lines, deepest, first)
    try:
        return walk.document(yaml.parse(text, Loader=Loader))
    except _Refused:
        return None
    except yaml.MarkedYAMLError as error:
        kind, row, column, length, message, mend = in_plain_words(error, lines, walk.last)
        note(kind, BareSpot(Place(file, row + first, column + 1), length), message, mend)
        return None


def end_of(text: str, file: str, first: int = 1) -> BareSpot:
    """The spot right after a text that begins with line `first` of a file."""
    lines = BREAK.split(text)
    return BareSpot(Place(file, len(lines) - 1 + first, len(lines[-1]) + 1))


class _Refused(Exception):
    """Reading stops here; why has been noted."""


class _Walk:
    """Events to a tree. `last` is the event before the one that failed, which often is the real culprit."""

    def __init__(self, file: str, note: Note, lines: Sequence[str], deepest: int, first: int) -> None:
        self.file, self.note, self.lines, self.deepest, self.first = file, note, lines, deepest, first
        self.last: Any = None

    def document(self, events: Iterator[Any]) -> Node | None:
        tree: Node | None = None
        for event in events:
            if isinstance(event, yaml.DocumentStartEvent):
                if tree is not None:
                    self.refuse("two-documents", event, "a second document begins here", "delete the line `---`")
                tree = self.node(self.next(events), events, 1)
        return tree

    def next(self, events: Iterator[Any]) -> Any:
        self.last = next(events)
        return self.last

    def node(self, event: Any, events: Iterator[Any], depth: int) -> Node:
        if event.anchor is not None or event.tag is not None:  # an alias has an anchor too
            self.special(event)
        if isinstance(event, yaml.ScalarEvent):
            return Text(event.value, self.place(event), self.length(event, event), bool(event.style))
        if depth > self.deepest:
            self.refuse("too-deep", event, f"nested more than {self.deepest} deep", "a bracket may be left open above")
        end: Any
        if isinstance(event, yaml.SequenceStartEvent):
            items = []
            while not isinstance(end := self.next(events), yaml.SequenceEndEvent):
                items.append(self.node(end, events, depth + 1))
            return List(tuple(items), self.place(event), self.length(event, end))
        pairs: dict[str, tuple[Text, Node]] = {}
        while not isinstance(end := self.next(events), yaml.MappingEndEvent):
            key = self.node(end, events, depth + 1)
            value = self.node(self.next(events), events, depth + 1)
            self.keep(pairs, key, value)
        return Map(tuple(pairs.values()), self.place(event), self.length(event, end))

    def special(self, event: Any) -> None:
        """What YAML could do and these files do not: repeat, label, give a type."""
        mend = "write it out where it is needed; if it is text, put it in quotes"
        if isinstance(event, yaml.AliasEvent):
            self.refuse("alias", event, "`*` repeats something written elsewhere, which is not done here", mend)
        if event.anchor is not None:
            self.refuse("alias", event, "`&` labels something to be repeated, which is not done here", mend)
        self.refuse("tag", event, "`!` has a meaning of its own in YAML", "if it is text, put it in quotes")

    def keep(self, pairs: dict[str, tuple[Text, Node]], key: Node, value: Node) -> None:
        if not isinstance(key, Text):
            self.note("bad-key", key, "a key is a plain word, not a list or a map", "write `key: value`")
        elif key.value == "<<" and not key.quoted:
            self.note("alias", key, "`<<` would copy keys from elsewhere, which is not done here", "write them out")
        elif key.value in pairs:
            first = pairs[key.value][0].place
            message = f'"{shorten(key.value)}" is written twice; first on line {first.line}'
            self.note("same-twice", key, message, "keep one of the two")
        elif (spaced := unglue(key.value)) and not key.quoted and value == Text("", value.place, value.length):
            # YAML takes `{darker:often}` for one long key. It is read as it was meant, so that nothing seems missing.
            self.note("no-space", key, "no space after the colon", f"write `{shorten(spaced)}`")
            name, _, rest = spaced.partition(": ")
            pairs.setdefault(name, (Text(name, key.place, len(name)), Text(rest, key.place, key.length)))
        else:
            pairs[key.value] = (key, value)

    def place(self, event: Any) -> Place:
        mark = event.start_mark
        return Place(self.file, mark.line + self.first, mark.column + 1)

    def length(self, first: Any, last: Any) -> int:
        """Characters to mark: to the end of the thing, or of the line where it goes on over several."""
        start, end = first.start_mark, last.end_mark
        last_column = end.column if end.line == start.line else len(self.lines[start.line].rstrip())
        return max(1, int(last_column - start.column))

    def refuse(self, kind: str, event: Any, message: str, mend: str) -> None:
        self.note(kind, BareSpot(self.place(event), self.length(event, event)), message, mend)
        raise _Refused
