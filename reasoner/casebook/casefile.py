"""YAML that a person wrote as plain data; a case file: a head in block YAML, `events:`, one a line as `- {json}`."""

from __future__ import annotations

import math
import os
import re
import stat
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from json import JSONDecoder
from pathlib import Path
from typing import Any

import yaml

from reasoner.casebook.trouble import CasebookError, Refused, as_casebook_error, visible
from reasoner.casebook.writing import DEEPEST_DATA, RawEvent

# ---- YAML that a person wrote, as plain data -------------------------------------------------------------------------
# Nothing is expanded, no words are turned into anything else.
#
# Built from the parser's events: an anchor, an alias, a tag or too deep a nesting is refused as soon as it comes by.

Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

# Only what JSON and YAML 1.1 both take for a number or a word of theirs; `yes`, `12:30`, `007` and dates are text.
NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(?P<float>\.[0-9]+(?:[eE][-+][0-9]+)?)?")
YAML_WORDS = {"true": True, "false": False, "null": None, "": None}


class PlainError(Refused):
    """What is wrong, what would mend it, and in which line of the text (from 0)."""

    def __init__(self, message: str, mend: str, line: int) -> None:
        super().__init__(message, mend)
        self.line = line


def read_plain(text: str, typed: bool = True) -> object:
    """The data of one YAML text; None where there is none. typed: numbers, true, false and null are not text.

    Raises PlainError.
    """
    return _Walk(text, typed).document()


class _Walk:
    def __init__(self, text: str, typed: bool) -> None:
        self.events: Iterator[Any] = yaml.parse(text, Loader=Loader)
        self.typed = typed

    def document(self) -> object:
        found: list[object] = []
        try:
            for event in self.events:
                if isinstance(event, yaml.DocumentStartEvent):
                    if found:
                        raise _refused(event, "a second document begins here", "delete the line `---`")
                    found.append(self.node(next(self.events), 0))
                elif isinstance(event, yaml.DocumentEndEvent) and event.explicit:
                    raise _refused(event, "`...` ends the document, and more is to follow", "delete it")
        except yaml.MarkedYAMLError as error:
            said = visible(str(error.problem or error.context))
            left_open = "end of stream" in said and error.context_mark
            mark = left_open or error.problem_mark or error.context_mark
            raise PlainError(
                f"this is not YAML: {said}", "look here and just above", mark.line if mark else 0
            ) from None
        except yaml.YAMLError as error:
            raise PlainError(f"this is not YAML: {visible(str(error))}", "write it anew", 0) from None
        return found[0] if found else None

    def node(self, event: Any, depth: int) -> object:
        if event.anchor is not None:  # an alias has one too
            raise _refused(
                event, "`&` and `*` (something repeated) are not used in a case", "write it out, or quote it"
            )
        if event.tag is not None:
            raise _refused(event, "`!` has a meaning of its own in YAML", "if it is text, put it in quotes")
        if isinstance(event, yaml.ScalarEvent):
            return self.scalar(event)
        if depth > DEEPEST_DATA:
            raise _refused(event, f"nested more than {DEEPEST_DATA} deep", "a bracket may be left open above")
        if isinstance(event, yaml.SequenceStartEvent):
            items = []
            while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
                items.append(self.node(event, depth + 1))
            return items
        pairs: dict[str, object] = {}
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            key = self.key(event)
            if key in pairs:
                raise _refused(event, f'"{visible(key, 40)}" is written twice', "keep one of the two")
            pairs[key] = self.node(next(self.events), depth + 1)
        return pairs

    def key(self, event: Any) -> str:
        """Keys are text as written."""
        if not isinstance(event, yaml.ScalarEvent):
            raise _refused(event, "a key is a plain word, not a list or a map", "write `key: value`")
        self.node(event, 0)  # refuses anchors and tags
        if event.value == "<<" and event.implicit[0]:
            raise _refused(event, "`<<` (keys copied from elsewhere) is not used in a case", "write them out")
        return str(event.value)

    def scalar(self, event: Any) -> object:
        text = str(event.value)
        if not self.typed or not event.implicit[0]:  # quoted, or in a block
            return text
        if text in YAML_WORDS:
            return YAML_WORDS[text]
        found = NUMBER.fullmatch(text)
        if found is None:
            return text
        try:
            value = float(text) if found["float"] else int(text)
        except ValueError:  # thousands of digits
            value = math.inf
        if math.isinf(value):
            raise _refused(event, "a number too large to be meant", "if it is text, put it in quotes")
        return value


def _refused(event: Any, message: str, mend: str) -> PlainError:
    return PlainError(message, mend, event.start_mark.line)


# ---- A case file as it is read ---------------------------------------------------------------------------------------
# A head in block YAML, then events:, then one event a line as - {json}.
#
# The program writes events as JSON on one line and reads them so. An event that a person wrote in YAML, over one line
# or several, is read too, and so are blank lines and comments between events. A file that is damaged is refused as a
# whole, with the line; only a last line that was cut off while being written is passed over, with a note.

CASE_FORMAT = 1  # the newest form of case files this program knows
WINDOW = 65_536  # bytes at each end of a large file that a list looks at
LARGEST_CASE = 8_000_000  # bytes of one file; a hundred events take about 30,000
REQUIRED = {"case": str, "opened": str, "rules": str, "vehicle": dict}

# What YAML refuses, or takes for a line break where an editor does not: lines would be counted differently.
FORBIDDEN_IN_CASE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]|\r(?!\n|$)")
CONFLICT = re.compile(r"(?:<{7}|\|{7}|={7}|>{7})(?: |\r?$)")
EVENTS = re.compile(r"events:\s*(?:#.*)?")
ITEM = re.compile(r"( *)-(?:\s|$)")
WRITE_EVENT = 'an event is `- {"event": ...}` on one line; mend it, or put `# ` before it to leave it out'


@dataclass(frozen=True)
class CaseFile:
    """head: format (a number), case, opened, rules, vehicle and whatever else was written, all text. events: in order.

    notes: what a person should be told about the file, such as a last line that was cut off.
    """

    path: Path
    head: Mapping[str, Any]
    events: tuple[RawEvent, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class FileRead:
    """A case with what is needed to go on writing it.

    indent: spaces before each event. size: bytes read. whole: bytes up to the last line end. torn: what stands after
    it and is no event (empty: nothing, or a whole event without its line end). line: the number of the last line.
    """

    case: CaseFile
    indent: str
    size: int
    whole: int
    torn: bytes
    line: int


def load_case(path: Path) -> CaseFile:
    """Read a case without changing anything. Raises CasebookError."""
    fd = open_regular(path, os.O_RDONLY)
    try:
        reading = read_open_case(fd, path)
    finally:
        os.close(fd)
    case = reading.case
    if not reading.torn:
        return case
    note = f"line {reading.line} was cut off while it was written, and does not count"
    return CaseFile(case.path, case.head, case.events, (note,))


def load_ends(path: Path) -> CaseFile:
    """As `load_case`, but of a large file only the head and the last events: for a list of cases. Raises CasebookError.

    Damage in the part that is not read goes unseen.
    """
    fd = open_regular(path, os.O_RDONLY)
    try:
        with as_casebook_error(path, "the case cannot be read"):
            size = os.fstat(fd).st_size
            if 2 * WINDOW < size <= LARGEST_CASE:
                first = os.read(fd, WINDOW)
                os.lseek(fd, size - WINDOW, os.SEEK_SET)
                last = os.read(fd, WINDOW)
                if joined := _join(first, last):
                    with suppress(CasebookError):  # then read all of it, to say in which line
                        return parse_case(joined, path)[0]
    finally:
        os.close(fd)
    return load_case(path)


def _join(first: bytes, last: bytes) -> bytes:
    """The head from the first bytes of a file, and the whole events of its last bytes; empty where there are none."""
    head = re.search(rb"^events:[^\n]*\n", first, re.MULTILINE)
    tail = re.search(rb"\n(?=- \{)", last)
    return first[: head.end()] + last[tail.end() : last.rfind(b"\n") + 1] if head and tail else b""


def open_regular(path: Path, flags: int) -> int:
    """Open a file, but never a folder, a pipe or a device. Raises CasebookError."""
    with as_casebook_error(path, "the case cannot be opened"):
        _regular(os.stat(path), path)  # opening some devices already does something
        flags |= getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
        fd = os.open(path, flags)
        try:
            _regular(os.fstat(fd), path)
        except BaseException:
            os.close(fd)
            raise
        return fd


def _regular(found: os.stat_result, path: Path) -> None:
    if not stat.S_ISREG(found.st_mode):
        kind = "a folder" if stat.S_ISDIR(found.st_mode) else "a pipe or a device"
        raise CasebookError(f"this is {kind}, not a file", "name a case file", path)


def read_open_case(fd: int, path: Path) -> FileRead:
    """All of an open case file. Raises CasebookError."""
    data = read_bytes(fd, path)
    whole = data.rfind(b"\n") + 1
    try:
        case, indent = parse_case(data, path)
        return FileRead(case, indent, len(data), whole, b"", data.count(b"\n") + 1)
    except CasebookError:
        if whole in (0, len(data)):
            raise
    case, indent = parse_case(data[:whole], path)  # raises where the damage is not in the last line alone
    return FileRead(case, indent, len(data), whole, data[whole:], data.count(b"\n") + 1)


def read_bytes(fd: int, path: Path) -> bytes:
    """All bytes of an open file. Raises CasebookError where it cannot be read, or is larger than any case."""
    pieces, size = [], 0
    with as_casebook_error(path, "the case cannot be read"):
        os.lseek(fd, 0, os.SEEK_SET)
        while piece := os.read(fd, 1 << 20):
            pieces.append(piece)
            size += len(piece)
            if size > LARGEST_CASE:
                message = f"larger than {LARGEST_CASE // 1_000_000} MB, which no case is"
                raise CasebookError(message, "is it another file?", path)
    return b"".join(pieces)


def parse_case(data: bytes, path: Path) -> tuple[CaseFile, str]:
    """The case in these bytes, and the indent of its events. Raises CasebookError."""
    lines = _text(data, path).removesuffix("\n").split("\n")
    for number, line in enumerate(lines, start=1):
        if line[:1] in "<|=>" and CONFLICT.match(line):
            mend = "keep the lines you want of the two versions, delete the others and the marks"
            raise CasebookError("two versions of this file were merged and not settled", mend, path, number)
    start = next((i for i, line in enumerate(lines) if line.startswith("events:")), None)
    if start is None:
        raise _no_events("\n".join(lines), len(lines), path)
    head = _head("\n".join(lines[:start]), path)
    if not EVENTS.fullmatch(lines[start]):
        mend = "write `events:` alone on its line, and below it one event a line: `- {...}`"
        raise CasebookError("there is something after `events:`", mend, path, start + 1)
    events, indent = _events(lines[start + 1 :], start + 2, path)
    return CaseFile(path, head, events), indent


def _text(data: bytes, path: Path) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        mend = "save it as UTF-8 (the editor's Save as, Encoding)"
        line = data.count(b"\n", 0, error.start) + 1
        raise CasebookError("not UTF-8 text from here on", mend, path, line) from None
    if bad := FORBIDDEN_IN_CASE.search(text):
        line = text.count("\n", 0, bad.start()) + 1
        if bad[0] == "\0":
            raise CasebookError("this is no text file", "is it another file, or was the disk damaged?", path, line)
        message = f"a control character (U+{ord(bad[0]):04X}) that does not belong in a text"
        raise CasebookError(message, "delete it, or write it as an escape in quotes", path, line)
    return text


def _no_events(text: str, line: int, path: Path) -> CasebookError:
    """Why there is no line `events:`."""
    if not text.strip():
        return CasebookError("there is nothing in this file", "delete it; no answer was in it yet", path, 1)
    found = re.search(r"^format: *([0-9]{1,9})\s*$", text, re.MULTILINE)
    if found is None:
        return _foreign("there is no line `events:`", path)
    if int(found[1]) != CASE_FORMAT:
        return _other_format(found[1], path)
    mend = "add the line `events:` at its end, or delete the file if it held no answers yet"
    return CasebookError("the head stops before the line `events:`", mend, path, line)


def _foreign(why: str, path: Path) -> CasebookError:
    mend = (
        f"a case begins with `format: {CASE_FORMAT}`, `case:`, `opened:`, `rules:`, `vehicle:` and then has `events:`"
    )
    return CasebookError(f"this is not a case: {why}", mend, path, 1)


def _other_format(found: str, path: Path) -> CasebookError:
    if re.fullmatch("[0-9]+", found) and found > "0":
        message = f"written by a newer program (format {visible(found, 20)}; this one knows {CASE_FORMAT})"
        return CasebookError(message, "use the newer program", path, 1)
    return CasebookError(f'"{visible(found, 20)}" is no format of cases', f"write `format: {CASE_FORMAT}`", path, 1)


def _head(text: str, path: Path) -> Mapping[str, Any]:
    try:
        head = read_plain(text, typed=False)
    except PlainError as error:
        line = min(error.line, text.count("\n")) + 1
        raise CasebookError(error.message, error.mend, path, line) from None
    if not isinstance(head, dict) or "format" not in head:
        raise _foreign("it has no `format:`", path)
    if head["format"] != str(CASE_FORMAT):
        raise _other_format(str(head["format"]), path)
    for key, kind in REQUIRED.items():
        if not isinstance(head.get(key), kind):
            kinds = "text" if kind is str else "keys and values below it"
            problem = f"`{key}:` has no {kinds}" if key in head else f"`{key}:` is missing in the head"
            raise CasebookError(problem, f"write `{key}:` with {kinds} above `events:`", path, 1)
    return {**head, "format": CASE_FORMAT}


def _events(lines: list[str], first: int, path: Path) -> tuple[tuple[RawEvent, ...], str]:
    """Events from their lines, and the spaces before each. first: the number of the first line in the file."""
    indent: str | None = None
    pieces: list[tuple[int, list[str]]] = []  # the lines of an event, and the number of its first
    for number, line in enumerate(lines, start=first):
        item = ITEM.match(line)
        if indent is None and item:
            indent = item[1]
        if item and item[1] == indent:
            pieces.append((number, [line]))
        elif pieces:
            pieces[-1][1].append(line)
        elif not _is_remark(line):
            raise CasebookError("an event begins with `- `", WRITE_EVENT, path, number)
    return tuple(_event(piece, number, path) for number, piece in pieces), indent or ""


def _is_remark(line: str) -> bool:
    line = line.strip()
    return not line or line.startswith("#")


def _event(lines: list[str], number: int, path: Path) -> RawEvent:
    if all(_is_remark(line) for line in lines[1:]):
        try:
            event = DECODER.decode(lines[0].lstrip(" ")[1:])
        except (ValueError, RecursionError):
            pass  # a person wrote it
        else:
            return _mapping(event, number, path)
    try:
        found = read_plain("\n".join(lines) + "\n")
    except PlainError as error:
        line = number + min(error.line, len(lines) - 1)  # what is left open ends below its last line
        raise CasebookError(error.message, WRITE_EVENT, path, line) from None
    return _mapping(found[0] if isinstance(found, list) else found, number, path)


def _mapping(event: object, number: int, path: Path) -> RawEvent:
    if not isinstance(event, dict):
        raise CasebookError("an event has keys and values, and here are none", WRITE_EVENT, path, number)
    return event


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key is written twice")
    return found


def _finite(text: str) -> float:
    value = float(text)
    if math.isinf(value):
        raise ValueError("too large a number")
    return value


def _no_constant(text: str) -> None:
    raise ValueError(f"{text} is no number")


DECODER = JSONDecoder(object_pairs_hook=_once, parse_float=_finite, parse_constant=_no_constant)
