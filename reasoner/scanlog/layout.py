"""Where a log's table begins, what separates its cells, which column is what: found from the lines themselves."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reasoner.measure import units
from reasoner.measure.slip import visible
from reasoner.scanlog.cells import clock_or_number, day_number
from reasoner.scanlog.columns import ColumnUse, assign, once, recognise
from reasoner.scanlog.quantities import Key

SEPARATORS = {";": "semicolon", "\t": "tab", ",": "comma", "|": "bar"}
SEARCHED = 100  # lines in which the header must stand
WIDEST = 500  # columns
LONGEST = 100_000  # characters of a line

_COMMA = re.compile(r"[+-]?\d+,\d+")
_LETTER = re.compile("[A-Za-zλ]")
_POINT = re.compile(r"[+-]?\d+\.\d+")


@dataclass(frozen=True)
class Layout:
    """header: its cells. line: its number from 0. first: the first line of data. comma: numbers have decimal commas."""

    header: tuple[str, ...]
    text: str
    line: int
    first: int
    separator: str
    uses: tuple[ColumnUse, ...]
    comma: bool = False

    @property
    def width(self) -> int:
        return len(self.header)

    def where(self, key: Key) -> int | None:
        return next((i for i, use in enumerate(self.uses) if use.key == key), None)


def split(line: str, separator: str) -> list[str]:
    """The cells of one line; quotes may hold a separator. A quote that is never shut ends with its line. None of a line
    that is too long."""
    if len(line) > LONGEST:
        return []
    if '"' not in line:
        return line.split(separator)
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return []


def find(lines: Sequence[str], mapping: Mapping[str, ColumnUse] | None = None, start: int = 0) -> Layout | None:
    """The layout of the table that begins at or after a line, or None where no header is known. The line with the most
    known columns wins, the first of equals; two are needed."""
    best: tuple[int, int, str] | None = None
    for number in range(start, min(len(lines), start + SEARCHED)):
        for separator in SEPARATORS:
            known = _known(lines[number], separator, mapping)
            if known >= 2 and (best is None or known > best[0]):
                best = (known, number, separator)
    return None if best is None else at(lines, best[1], best[2], mapping)


def is_header(line: str, separator: str, mapping: Mapping[str, ColumnUse] | None = None) -> bool:
    """Whether a line between rows is a header."""
    return _known(line, separator, mapping) >= 2


def at(lines: Sequence[str], number: int, separator: str, mapping: Mapping[str, ColumnUse] | None = None) -> Layout:
    """The layout whose header is the line of this number."""
    header = tuple(cell.strip() for cell in split(lines[number], separator))
    first = number + 1
    below: Sequence[str] = ()
    if first < len(lines):
        cells = split(lines[first], separator)
        if _units_row(cells):
            below, first = cells, first + 1
    uses = mapped(header, mapping) if mapping is not None else assign(header, below)
    return Layout(header, lines[number], number, first, separator, uses, _comma(lines, first, separator))


def mapped(header: Sequence[str], mapping: Mapping[str, ColumnUse]) -> tuple[ColumnUse, ...]:
    """The columns as a person's mapping has them; those it does not name are not used."""
    met: dict[Key, str] = {}
    uses = []
    for cell in header:
        use = mapping.get(plain(cell), ColumnUse(visible(cell), None, note="not in the mapping"))
        uses.append(once(use, met))
    return tuple(uses)


def plain(header: str) -> str:
    """A header as far as it matters when compared with a mapping's: no case, single blanks."""
    return " ".join(header.strip().strip('"').split()).lower()


def _known(line: str, separator: str, mapping: Mapping[str, ColumnUse] | None) -> int:
    if len(line) > LONGEST or line.count(separator) < 1 or line.count(separator) > WIDEST:
        return 0
    cells = split(line, separator)
    if mapping is not None:
        return len({plain(c) for c in cells} & mapping.keys())
    return len({use.key for c in cells if _LETTER.search(c) and (use := recognise(c)).key is not None})


def _units_row(cells: Sequence[str]) -> bool:
    filled = [c.strip().strip("[](){}<>") for c in cells if c.strip()]
    known = sum(units.find(c) is not None for c in filled)
    numbers = sum(clock_or_number(c) is not None or day_number(c) is not None for c in filled)
    return bool(filled) and not numbers and known * 2 >= len(filled)


def _comma(lines: Sequence[str], first: int, separator: str) -> bool:
    """Whether more cells are written with a decimal comma than with a point. Never where the comma separates."""
    if separator == ",":
        return False
    commas = points = 0
    for line in lines[first : first + 200]:
        for cell in split(line, separator):
            commas += _COMMA.fullmatch(cell.strip()) is not None
            points += _POINT.fullmatch(cell.strip()) is not None
    return commas > points
