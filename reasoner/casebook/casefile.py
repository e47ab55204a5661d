"""YAML that a person wrote as plain data; a case file: a head in block YAML, `events:`, one a line as `- {json}`."""

from __future__ import annotations

import math
import os
import re
import stat
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from json import JSONDecoder
from pathlib import Path
from typing import Any, NoReturn

from reasoner.casebook.trouble import CasebookError, as_casebook_error
from reasoner.casebook.writing import DEEPEST_DATA, RawEvent
from reasoner.mistake import Refused, Spot, visible
from reasoner.yaml_tree import FORBIDDEN_IN_YAML, List, Map, Node, Text, read_tree

# ---- YAML that a person wrote, as plain data -------------------------------------------------------------------------

# Only what JSON and YAML 1.1 both take for a number or a word of theirs; `yes`, `12:30`, `007` and dates are text.
NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(?P<float>\.[0-9]+(?:[eE][-+][0-9]+)?)?")
YAML_WORDS = {"true": True, "false": False, "null": None, "": None}
ENDED = re.compile(r"^\.\.\.(?=\s|$)", re.MULTILINE)  # in YAML it can mean nothing else


class PlainError(Refused):
    """What is wrong, what would mend it, and in which line."""

    def __init__(self, message: str, mend: str, line: int) -> None:
        super().__init__(message, mend)
        self.line = line


def read_plain(text: str, typed: bool = True, first: int = 1) -> object:
    """The data of one YAML text; None where there is none. typed: numbers, true, false and null are not text.

    first: the number of the text's first line in its file. Raises PlainError.
    """
    if ended := ENDED.search(text):
        line = first + text.count("\n", 0, ended.start())
        raise PlainError("`...` ends the document, and more is to follow", "delete it", line)
    tree = read_tree(text, "", _refuse, DEEPEST_DATA + 1, first)  # the list that an event stands in is one level more
    return None if tree is None else _plain(tree, typed)


def _refuse(kind: str, spot: Spot, message: str, mend: str) -> None:
    raise PlainError(message, mend, spot.place.line)


def _plain(node: Node, typed: bool) -> object:
    if isinstance(node, Map):
        return {key.value: _plain(value, typed) for key, value in node.pairs}
    if isinstance(node, List):
        return [_plain(item, typed) for item in node.items]
    return _word_or_number(node) if typed and not node.quoted else node.value


def _word_or_number(node: Text) -> object:
    if node.value in YAML_WORDS:
        return YAML_WORDS[node.value]
    found = NUMBER.fullmatch(node.value)
    if found is None:
        return node.value
    try:
        value = float(node.value) if found["float"] else int(node.value)
    except ValueError:  # thousands of digits
        value = math.inf
    if math.isinf(value):
        _refuse("bad-number", node, "a number too large to be meant", "if it is text, put it in quotes")
    return value


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

# Besides, a line end that an editor does not show as one: lines would be counted differently.
FORBIDDEN_IN_CASE = re.compile(FORBIDDEN_IN_YAML.pattern + r"|\r(?!\n|$)")
CONFLICT = re.compile(r"(?:<{7}|\|{7}|={7}|>{7})(?: |\r?$)")
EVENTS = re.compile(r"events:\s*(?:#.*)?")
ITEM = re.compile(r"( *)-(?:\s|$)")
LEAVE_OUT = "or put `# ` before the event to leave it out"
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
        raise CasebookError(error.message, error.mend, path, error.line) from None
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
            event = STRICT_JSON.decode(lines[0].lstrip(" ")[1:])
        except (ValueError, RecursionError):
            pass  # a person wrote it
        else:
            return _mapping(event, number, path)
    try:
        found = read_plain("\n".join(lines) + "\n", first=number)
    except PlainError as error:
        line = min(error.line, number + len(lines) - 1)  # what is left open ends below its last line
        raise CasebookError(error.message, f"{error.mend}; {LEAVE_OUT}", path, line) from None
    return _mapping(found[0] if isinstance(found, list) else found, number, path)


def _mapping(event: object, number: int, path: Path) -> RawEvent:
    if not isinstance(event, dict):
        raise CasebookError("an event has keys and values, and here are none", WRITE_EVENT, path, number)
    return event


# ---- JSON, strictly --------------------------------------------------------------------------------------------------
# No key twice in an object, and no number that is none or too large. Messages of another program are read so as well.


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a key stands twice in one object")
    return found


def _finite(text: str) -> float:
    value = float(text)
    if math.isinf(value):
        raise ValueError("too large a number")
    return value


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number that JSON can say")


STRICT_JSON = JSONDecoder(object_pairs_hook=_each_once, parse_float=_finite, parse_constant=_no_constant)
