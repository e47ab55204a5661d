"""A table somebody has: CSV from a spreadsheet, or a YAML list of rows. Read as text, refused line by line.

CSV as in RFC 4180, with whatever sign parts the columns (comma, semicolon, tab, bar) and whatever a spreadsheet does to
it: a byte-order mark, UTF-16, or the Western code page of Windows. A log of a drive is decoded by the same function.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from reasoner.casebook import casefile
from reasoner.casebook.casefile import CONFLICT, FORBIDDEN_IN_CASE
from reasoner.casebook.trouble import CasebookError
from reasoner.mistake import visible

DELIMITERS = ",;\t|"
LARGEST_TABLE = 50_000_000  # bytes
LONGEST_CELL = 20_000  # characters of one cell
BYTES_LOOKED_AT = 65536  # bytes that decide what a file is
CODE_PAGE = "Windows-1252"
_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True)
class TableLine:
    """A row by its headings; empty cells are left out. number: of its (first) line in the file, or in a YAML list."""

    number: int
    cells: Mapping[str, str]


@dataclass(frozen=True)
class RefusedLine:
    """What is wrong with one line, and what would mend it."""

    number: int
    message: str
    mend: str = ""


@dataclass(frozen=True)
class Rows:
    """headings: in order. notes: what a person should be told about the file."""

    headings: tuple[str, ...]
    lines: tuple[TableLine, ...]
    refused: tuple[RefusedLine, ...]
    notes: tuple[str, ...] = ()


def read_rows(data: bytes, path: Path) -> Rows:
    """The rows of a table. Raises CasebookError for what is no table at all."""
    if len(data) > LARGEST_TABLE:
        raise CasebookError(f"larger than {LARGEST_TABLE // 1_000_000} MB", "part it", path)
    text, notes = _text(data, path)
    for number, line in enumerate(text.split("\n"), start=1):
        if CONFLICT.match(line):
            raise CasebookError("two versions of this file were merged and not settled", "settle them", path, number)
    if path.suffix.lower() in (".yaml", ".yml"):
        return _yaml(text, path)
    return _csv(text, path, notes)


def table_text(content: bytes) -> tuple[str, str]:
    """The text of a table that some other program wrote, and the name of its encoding: what its mark says, UTF-16 or
    UTF-8 without one, else the Western code page of Windows."""
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return content[len(mark) :].decode(encoding, "replace"), encoding.upper()
    wide = _without_mark(content[:BYTES_LOOKED_AT])
    if wide:
        return content.decode(wide, "replace"), wide.upper()
    try:
        return content.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError as error:
        if error.reason == "unexpected end of data":  # only the last character is cut
            return content[: error.start].decode("utf-8"), "UTF-8"
        return content.decode("cp1252", "replace"), CODE_PAGE


def _without_mark(head: bytes) -> str:
    """UTF-16 without a byte order mark: every second byte of mostly Latin text is zero."""
    half = len(head) // 2
    if half < 8:
        return ""
    even, odd = head[0 : 2 * half : 2].count(0), head[1 : 2 * half : 2].count(0)
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.7 * half and odd < 0.1 * half:
        return "utf-16-be"
    return ""


def _text(data: bytes, path: Path) -> tuple[str, tuple[str, ...]]:
    text, encoding = table_text(data)
    guessed = encoding == CODE_PAGE
    notes = ("this is not UTF-8; it was read as the Western code page of Windows",) if guessed else ()
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if bad := FORBIDDEN_IN_CASE.search(text):
        line = text.count("\n", 0, bad.start()) + 1
        message = f"a control character (U+{ord(bad[0]):04X}) that does not belong in a table"
        raise CasebookError(message, "is it another kind of file? save the table as CSV", path, line)
    if not text.strip():
        raise CasebookError("there is nothing in this file", "save the table with its headings", path, 1)
    return text, notes


def _csv(text: str, path: Path, notes: tuple[str, ...]) -> Rows:
    before = csv.field_size_limit(LONGEST_CELL)  # of the whole process: what else reads tables there keeps its own
    try:
        return _csv_rows(text, path, notes)
    finally:
        csv.field_size_limit(before)


def _csv_rows(text: str, path: Path, notes: tuple[str, ...]) -> Rows:
    sign = _sign(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=sign, strict=True)
    headings: list[str] = []
    lines: list[TableLine] = []
    refused: list[RefusedLine] = []
    number = 0
    while True:
        number = reader.line_num + 1
        try:
            cells = next(reader, None)
        except csv.Error as error:
            mend = "a quotation mark may be open above; double those that belong to the text"
            refused.append(RefusedLine(number, f"this line cannot be read: {error}", mend))
            continue
        if cells is None:
            break
        cells = [cell.strip() for cell in cells]
        if not any(cells):
            continue
        if not headings:
            headings = _headings(cells, path, number)
        elif cells == headings:
            continue  # printed again at the top of a page
        elif len(cells) > len(headings) and any(cells[len(headings) :]):
            message = f"{len(cells)} cells, and {len(headings)} headings"
            refused.append(RefusedLine(number, message, f"put a cell with {sign!r} in it in quotation marks"))
        else:
            pairs = zip(headings, cells, strict=False)
            lines.append(TableLine(number, {heading: cell for heading, cell in pairs if heading and cell}))
    if not headings:
        raise CasebookError("there are no headings", "the first line names the columns", path, 1)
    return Rows(tuple(headings), tuple(lines), tuple(refused), notes)


def _sign(text: str) -> str:
    """What parts the columns: the sign that stands most often in the first line that has something in it."""
    first = next(line for line in text.split("\n") if line.strip())
    return max(DELIMITERS, key=lambda sign: (first.count(sign), -DELIMITERS.index(sign)))


def _headings(cells: list[str], path: Path, number: int) -> list[str]:
    named = [cell for cell in cells if cell]
    twice = next((cell for cell in named if named.count(cell) > 1), None)
    if twice is not None:
        raise CasebookError(f'two columns are called "{visible(twice, 40)}"', "rename one of them", path, number)
    return cells


def _yaml(text: str, path: Path) -> Rows:
    try:
        found = casefile.read_plain(text, typed=False)
    except casefile.PlainError as error:
        raise CasebookError(error.message, error.mend, path, error.line) from None
    if not isinstance(found, list) or not found:
        raise CasebookError("this is no list of rows", "write `- {heading: value, ...}`, one for each row", path, 1)
    lines, refused = [], []
    headings: dict[str, None] = {}
    for number, row in enumerate(found, start=1):
        if not isinstance(row, dict) or not all(isinstance(value, str) for value in row.values()):
            refused.append(RefusedLine(number, "this entry is no row of texts", "write `- {heading: value, ...}`"))
            continue
        headings |= dict.fromkeys(row)
        lines.append(TableLine(number, {key: value.strip() for key, value in row.items() if value.strip()}))
    return Rows(tuple(headings), tuple(lines), tuple(refused))
