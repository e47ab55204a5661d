"""Bytes of a log to a table of quantities over time, with everything that was refused or taken for granted said.

Never raises for what a file holds: any bytes give a table, or the reason why there is none."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from reasoner.casebook.rows import table_text
from reasoner.measure import units
from reasoner.measure.reading import as_typed
from reasoner.scanlog import clock, numerals
from reasoner.scanlog.columns import (
    BY_NAME,
    CODES,
    DATE,
    LAMP,
    LONG,
    LOOP,
    SHORT,
    SPEED,
    TIME,
    TOTAL,
    ColumnUse,
    PlacedQuantity,
    assign,
    once,
    recognise,
)
from reasoner.scanlog.numerals import Array, clock_or_number, day_number
from reasoner.scanlog.units import factors, fahrenheit, fractions, plausible_column, switched

# ---- bytes to lines of text ------------------------------------------------------------------------------------------


LARGEST_LOG = 400_000_000  # bytes; ten hours at 50 rows a second are some 200 MB
CHARACTERS_LOOKED_AT = 65536  # that decide whether it is text
STRANGE = 0.02  # share of control characters beyond which it is no text

_PACKED = (b"PK\x03\x04", b"\x1f\x8b", b"7z\xbc\xaf", b"BZh", b"\xfd7zXZ", b"\x28\xb5\x2f\xfd")
_CONTROL = re.compile("[\x00-\x08\x0b\x0e-\x19\x1b-\x1f\x7f]")


@dataclass(frozen=True)
class Lines:
    """lines: without their ends. whole: the last one had an end. encoding: in plain words."""

    lines: list[str]
    whole: bool
    encoding: str


def lines_of(content: bytes) -> Lines | str:
    """The lines of a file, or why it cannot be read."""
    if len(content) > LARGEST_LOG:
        return f"the file is larger than {LARGEST_LOG // 1_000_000} MB: cut it into drives"
    if content.startswith(_PACKED):
        return "a packed file: unpack it first"
    text, encoding = table_text(content)
    text = text.rstrip("\x00\x1a")  # a power cut leaves zeros where the last rows should be
    if not text.strip():
        return "there is nothing in the file"
    looked = text[:CHARACTERS_LOOKED_AT]
    if len(_CONTROL.findall(looked)) > STRANGE * len(looked):
        return "not a text file: export the log as text (CSV)"
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    whole = text.endswith("\n")
    lines = text.split("\n")
    if whole:
        lines.pop()
    return Lines(lines, whole, encoding)


# ---- what was not taken: values, never exceptions; few of them are kept in full --------------------------------------


REFUSALS_KEPT = 40  # refusals kept with their line; beyond that they are only counted


@dataclass(frozen=True)
class Refusal:
    """line: of the file, from 1; 0 = not one line. stood: what was there, made safe to print."""

    line: int
    why: str
    stood: str = ""


@dataclass(frozen=True)
class RefusedRows:
    """first: the first ones in full. counts: how many for each reason, the commonest first."""

    first: tuple[Refusal, ...] = ()
    counts: tuple[tuple[str, int], ...] = ()

    @property
    def total(self) -> int:
        return sum(n for _, n in self.counts)


class Ledger:
    """Where refusals are noted while reading goes on."""

    def __init__(self) -> None:
        self._first: list[Refusal] = []
        self._counts: dict[str, int] = {}

    def note(self, line: int, why: str, stood: str = "", times: int = 1) -> None:
        self._counts[why] = self._counts.get(why, 0) + times
        if len(self._first) < REFUSALS_KEPT:
            self._first.append(Refusal(line, why, as_typed(stood)))

    @property
    def refused(self) -> RefusedRows:
        counts = sorted(self._counts.items(), key=lambda item: -item[1])
        return RefusedRows(tuple(sorted(self._first, key=lambda r: r.line)), tuple(counts))


# ---- where the table begins, what separates its cells, which column is what ------------------------------------------


SEPARATORS = {";": "semicolon", "\t": "tab", ",": "comma", "|": "bar"}
HEADER_WITHIN = 100  # lines in which the header must stand
MOST_COLUMNS = 500  # columns
LONGEST_LINE = 100_000  # characters of a line

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

    def where(self, key: PlacedQuantity) -> int | None:
        return next((i for i, use in enumerate(self.uses) if use.key == key), None)


def cells_of(line: str, separator: str) -> list[str]:
    """The cells of one line; quotes may hold a separator. A quote that is never shut ends with its line. None of a line
    that is too long."""
    if len(line) > LONGEST_LINE:
        return []
    if '"' not in line:
        return line.split(separator)
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return []


def find_layout(lines: Sequence[str], mapping: Mapping[str, ColumnUse] | None = None, start: int = 0) -> Layout | None:
    """The layout of the table that begins at or after a line, or None where no header is known. The line with the most
    known columns wins, the first of equals; two are needed."""
    best: tuple[int, int, str] | None = None
    for number in range(start, min(len(lines), start + HEADER_WITHIN)):
        for separator in SEPARATORS:
            known = _known(lines[number], separator, mapping)
            if known >= 2 and (best is None or known > best[0]):
                best = (known, number, separator)
    return None if best is None else layout_at(lines, best[1], best[2], mapping)


def is_header(line: str, separator: str, mapping: Mapping[str, ColumnUse] | None = None) -> bool:
    """Whether a line between rows is a header."""
    return _known(line, separator, mapping) >= 2


def layout_at(
    lines: Sequence[str], number: int, separator: str, mapping: Mapping[str, ColumnUse] | None = None
) -> Layout:
    """The layout whose header is the line of this number."""
    header = tuple(cell.strip() for cell in cells_of(lines[number], separator))
    first = number + 1
    below: Sequence[str] = cells_of(lines[number - 1], separator) if number else ()
    below = below if len(below) == len(header) and _units_row(below) else ()
    if first < len(lines):
        cells = cells_of(lines[first], separator)
        if _units_row(cells):
            below, first = cells, first + 1
    uses = mapped(header, mapping) if mapping is not None else assign(header, below)
    return Layout(header, lines[number], number, first, separator, uses, _comma(lines, first, separator))


def mapped(header: Sequence[str], mapping: Mapping[str, ColumnUse]) -> tuple[ColumnUse, ...]:
    """The columns as a person's mapping has them; those it does not name are not used."""
    met: dict[PlacedQuantity, str] = {}
    uses = []
    for cell in header:
        use = mapping.get(plain_header(cell), ColumnUse(as_typed(cell), None, note="not in the mapping"))
        uses.append(once(use, met))
    return tuple(uses)


def plain_header(header: str) -> str:
    """A header as far as it matters when compared with a mapping's: no case, single blanks."""
    return " ".join(header.strip().strip('"').split()).lower()


def _known(line: str, separator: str, mapping: Mapping[str, ColumnUse] | None) -> int:
    if len(line) > LONGEST_LINE or line.count(separator) < 1 or line.count(separator) > MOST_COLUMNS:
        return 0
    cells = cells_of(line, separator)
    if mapping is not None:
        return len({plain_header(c) for c in cells} & mapping.keys())
    return len({use.key for c in cells if _LETTER.search(c) and (use := recognise(c)).key is not None})


def _units_row(cells: Sequence[str]) -> bool:
    filled = [c.strip().strip("[](){}<>") for c in cells if c.strip()]
    known = sum(units.find_unit(c) is not None for c in filled)
    rest = [c for c in filled if units.find_unit(c) is None]  # `1/min` would be a number too
    numbers = sum(clock_or_number(c) is not None or day_number(c) is not None for c in rest)
    return bool(filled) and not numbers and known * 2 >= len(filled)


def _comma(lines: Sequence[str], first: int, separator: str) -> bool:
    """Whether more cells are written with a decimal comma than with a point. Never where the comma separates."""
    if separator == ",":
        return False
    commas = points = 0
    for line in lines[first : first + 200]:
        for cell in cells_of(line, separator):
            commas += _COMMA.fullmatch(cell.strip()) is not None
            points += _POINT.fullmatch(cell.strip()) is not None
    return commas > points


# ---- rows to a table -------------------------------------------------------------------------------------------------


BLOCK = 8192  # lines read at once, so that memory beyond the result stays the same however long the log
MOST_COLUMN_CHANGES = 20  # times that the columns may change within a file
LINES_LOOKED_AT = 500  # lines between rows that are looked at as if they were another header
_TIME, _DATE = PlacedQuantity(TIME), PlacedQuantity(DATE)
_READERS: Mapping[str, Callable[[Sequence[str]], tuple[Array, list[int]]]] = {
    LOOP: numerals.statuses,
    CODES: numerals.count_codes,
    LAMP: numerals.flags,
}
_WORDS = re.compile(r"\s*[\"'\[(]?[A-Za-z]{2}")


@dataclass(frozen=True)
class LogTable:
    """seconds: (n,) from the first row, never falling. fresh: (n,) rows before which recording began anew.

    series: each (n,), in the unit of its quantity, NaN where blank; LOOP is 1 closed, 0 open. lines: (n,) of the file.
    codes: trouble codes that were named, with the line of the first time. notes: units taken for granted. faults:
    what is wrong with the file as a whole.
    """

    seconds: Array
    fresh: NDArray[np.bool_]
    series: Mapping[PlacedQuantity, Array]
    lines: NDArray[np.int64]
    uses: tuple[ColumnUse, ...]
    refused: RefusedRows
    notes: tuple[str, ...]
    encoding: str
    separator: str
    codes: tuple[tuple[str, int], ...] = ()
    faults: tuple[str, ...] = ()


@dataclass(frozen=True)
class NoLog:
    """Why nothing could be read, and what would mend it."""

    why: str
    mend: str
    refused: RefusedRows = field(default_factory=RefusedRows)
    uses: tuple[ColumnUse, ...] = ()


@dataclass(frozen=True)
class Columns:
    """A person's mapping. uses: by header (as `plain_header` spells it); None: by their words.

    every: seconds from row to row where there is no clock.
    """

    uses: Mapping[str, ColumnUse] | None
    every: float | None = None


def read_log(content: bytes, columns: Columns | None = None) -> LogTable | NoLog:
    """The table of a file's bytes."""
    text = lines_of(content)
    if isinstance(text, str):
        return NoLog(text, "a text file with one row a sample and a header above")
    columns = columns or Columns(None)
    plan = find_layout(text.lines, columns.uses)
    if plan is None:
        return NoLog(
            f"no header was found in the first {HEADER_WITHIN} lines",
            "a line of column names such as `time (s), engine speed (rpm), short-term trim bank 1 (%)`; "
            "or say what the columns are in a mapping: `reasoner measure columns` proposes one",
        )
    if plan.where(_TIME) is None and columns.every is None:
        mend = (
            "a column named `time`; or, in a mapping, the seconds from row to row (`every: 0.5`): `reasoner measure "
            "columns` proposes one"
        )
        return NoLog("there is no column of time", mend, uses=plan.uses)
    reader = _Reader(text, plan, columns)
    reader.rows()
    return _table(reader)


class _Reader:
    """Goes through the rows block by block. What it has got so far:

    raw: the clock's numbers. lines: of the file, from 1. series: by quantity, whatever blocks had it.
    """

    def __init__(self, text: Lines, plan: Layout, columns: Columns) -> None:
        self.text, self.plan, self.columns = text, plan, columns
        self.ledger = Ledger()
        self.raw: list[Array] = []
        self.lines: list[NDArray[np.int64]] = []
        self.series: dict[PlacedQuantity, list[Array]] = {}
        self.count = 0
        self.of_day = False
        self.uses: list[ColumnUse] = list(plan.uses)
        self.repeated: list[int] = []
        self.changed: list[int] = []
        self.codes: dict[str, int] = {}
        self.wider = 0  # rows with more cells than the header
        self.looks = LINES_LOOKED_AT

    def rows(self) -> None:
        lines, at = self.text.lines, self.plan.first
        while at < len(lines):
            end = min(at + BLOCK, len(lines))
            filled = [i for i in range(at, end) if lines[i] and not lines[i].isspace()]
            kept = [i for i in filled if lines[i] != self.plan.text]
            self.repeated += [i + 1 for i in filled if lines[i] == self.plan.text]
            header = self.block(kept)
            at = end if header is None else self.turn(header)

    def turn(self, number: int) -> int:
        """Another header: the columns from here on. Gives the line to go on with."""
        new = layout_at(self.text.lines, number, self.plan.separator, self.columns.uses)
        if new.where(_TIME) is None and self.columns.every is None:
            self.ledger.note(number + 1, "a header without a column of time", self.text.lines[number])
            return number + 1
        known = {use.key for use in self.uses}
        self.uses += [use for use in new.uses if use.key not in known or use.key is None]
        self.plan = new
        self.changed.append(number + 1)
        return new.first

    def block(self, numbers: Sequence[int]) -> int | None:
        """Takes the rows of these lines. Stops before another header and gives its line."""
        lines, plan = self.text.lines, self.plan
        if self.plain_block(numbers):
            return None
        split = [cells_of(lines[i].replace(",", ".") if plan.comma else lines[i], plan.separator) for i in numbers]
        widths = [len(cells) for cells in split]
        full, short = widths.count(plan.width), sum(width < plan.width for width in widths)
        pad = full > 0.02 * len(split) and short > 0.2 * len(split)  # a recorder that leaves out blanks at the end
        taken, rows = [], []
        for i, row in zip(numbers, split, strict=True):
            torn = i == len(lines) - 1 and not self.text.whole
            if len(row) == plan.width + 1 and not row[-1].strip():
                row = row[:-1]
            elif pad and 2 <= len(row) < plan.width and not torn:
                row = row + [""] * (plan.width - len(row))
            if len(row) == plan.width:
                if not self.is_header(lines[i], row):
                    taken.append(i)
                    rows.append(row)
                    continue
            elif not self.is_header(lines[i], row):
                self.refuse_width(i, row, torn)
                continue
            self.keep(taken, rows)
            return i
        self.keep(taken, rows)
        return None

    def plain_block(self, numbers: Sequence[int]) -> bool:
        """Takes rows that hold nothing but numbers, all at once; False where they hold anything else."""
        plan = self.plan
        if not numbers or plan.where(_DATE) is not None:
            return False
        text = [self.text.lines[i] for i in numbers]
        try:
            matrix = np.loadtxt(
                [line.replace(",", ".") for line in text] if plan.comma else text,
                delimiter=plan.separator,
                comments=None,
                ndmin=2,
            )
        except (ValueError, OverflowError):
            return False
        if matrix.shape != (len(numbers), plan.width):
            return False
        matrix[~np.isfinite(matrix)] = np.nan
        where = plan.where(_TIME)
        self.take(numbers, self.timed(numbers, None if where is None else matrix[:, where]))
        for i, use in enumerate(plan.uses):
            if use.key is not None and use.key != _TIME:
                read = _READERS.get(use.key.quantity)
                values = matrix[:, i] if read is None else _by_value(matrix[:, i], read)
                for b in np.flatnonzero(np.isfinite(matrix[:, i]) & np.isnan(values)).tolist():
                    self.ledger.note(numbers[b] + 1, f"cannot be read: {use.key}", f"{matrix[b, i]:g}")
                self.add(use, values)
        self.count += len(numbers)
        return True

    def is_header(self, line: str, row: Sequence[str]) -> bool:
        """Only lines whose first cells are words are looked at, and only so many of them."""
        if not self.looks or len(self.changed) >= MOST_COLUMN_CHANGES or not row or not _WORDS.match(line):
            return False
        self.looks -= 1
        return is_header(line, self.plan.separator, self.columns.uses)

    def refuse_width(self, i: int, row: Sequence[str], torn: bool) -> None:
        self.wider += len(row) > self.plan.width
        if torn:
            why = "the file breaks off in this line"
        elif self.plan.separator == "," and len(row) >= max(4, 2 * self.plan.width - 1):
            why = "commas both between and within the numbers: save it with semicolons"
        else:
            why = "another number of cells than the header has"
        self.ledger.note(i + 1, why, self.text.lines[i])

    def keep(self, taken: Sequence[int], rows: Sequence[Sequence[str]]) -> None:
        """Cells of good rows to numbers."""
        if not rows:
            return
        self.take(taken, self.clock(taken, rows))
        for i, use in enumerate(self.plan.uses):
            if use.key is None or use.key in (_TIME, _DATE):
                continue
            column = [row[i] for row in rows]
            values, wrong = _READERS.get(use.key.quantity, numerals.numbers)(column)
            if use.key.quantity == CODES:
                self.note_codes(taken, column)
            for b in wrong:
                self.ledger.note(taken[b] + 1, f"cannot be read: {use.key}", column[b])
            self.add(use, values)
        self.count += len(rows)

    def take(self, taken: Sequence[int], raw: Array) -> None:
        self.raw.append(raw)
        self.lines.append(np.array(taken, dtype=np.int64) + 1)

    def add(self, use: ColumnUse, values: Array) -> None:
        """Values of a column for the rows at hand, in its quantity's unit."""
        assert use.key is not None
        blocks = self.series.setdefault(use.key, [])
        blocks.append(np.full(self.count - sum(map(len, blocks)), np.nan))
        blocks.append(_converted(values, use))

    def note_codes(self, taken: Sequence[int], column: Sequence[str]) -> None:
        """Trouble codes, each with the line that named it first."""
        seen: set[str] = set()
        for i, cell in zip(taken, column, strict=True):
            if cell not in seen:
                seen.add(cell)
                for code in numerals.codes_in(cell):
                    self.codes.setdefault(code, i + 1)

    def clock(self, taken: Sequence[int], rows: Sequence[Sequence[str]]) -> Array:
        """The clock of these rows in seconds, NaN (and refused) where there is none."""
        where = self.plan.where(_TIME)
        if where is None:
            return self.timed(taken, None)
        raw, bad, of_day = numerals.cell_times([row[where] for row in rows])
        self.of_day = self.of_day or of_day
        raw = raw if of_day else self.timed(taken, raw, frozenset(bad))
        where_date = self.plan.where(_DATE)
        if where_date is not None:
            day, _ = numerals.dates([row[where_date] for row in rows])
            raw = raw + np.where(np.isfinite(day), day, 0.0)
        if of_day:
            self.note_times(taken, raw, frozenset(bad))
        return np.asarray(raw, dtype=float)

    def timed(self, taken: Sequence[int], raw: Array | None, bad: frozenset[int] = frozenset()) -> Array:
        """Plain numbers of the clock in seconds; None: rows are `every` apart."""
        if raw is None:
            return np.asarray((self.count + np.arange(len(taken))) * (self.columns.every or 1.0), dtype=float)
        where = self.plan.where(_TIME)
        use = self.plan.uses[where] if where is not None else None
        unit = units.find_unit(use.unit) if use is not None and use.unit_from != "assumed" else None
        self.note_times(taken, raw, bad)
        return raw if unit is None else raw * unit.factor

    def note_times(self, taken: Sequence[int], raw: Array, bad: frozenset[int]) -> None:
        for b in np.flatnonzero(~np.isfinite(raw)).tolist():
            why = "the time cannot be read" if b in bad else "there is no time"
            self.ledger.note(taken[b] + 1, why, self.text.lines[taken[b]])

    def column(self, key: PlacedQuantity) -> Array:
        """A quantity over all rows; its blocks are let go."""
        blocks = self.series.pop(key)
        blocks.append(np.full(self.count - sum(map(len, blocks)), np.nan))
        return np.concatenate(blocks)

    def notes(self) -> list[str]:
        said = []
        if self.repeated:
            said.append(f"the header is repeated between the rows, {_lines(self.repeated)}")
        if self.changed:
            said.append(f"the columns change within the file, {_lines(self.changed)}")
        return said


def _by_value(values: Array, read: Callable[[Sequence[str]], tuple[Array, list[int]]]) -> Array:
    """Numbers through a reader of words, each value once."""
    known, at = np.unique(values, return_inverse=True)
    return read(["" if np.isnan(v) else f"{v:g}" for v in known.tolist()])[0][at]


def _lines(numbers: Sequence[int]) -> str:
    """`line 12`, `line 12 and 3 more`."""
    return f"line {numbers[0]}" + (f" and {len(numbers) - 1} more" if len(numbers) > 1 else "")


def _follow(columns: dict[PlacedQuantity, Array], changed: Mapping[PlacedQuantity, int]) -> list[str]:
    """Long-term trims that hardly move change to factors where the short-term ones do."""
    notes = []
    for key in [key for key in columns if key.quantity == LONG and changed and key not in changed]:
        at = min(changed.values())
        after = columns[key][at:]
        there = after[np.isfinite(after)]
        if len(there) and there.min() > 0.5 and there.max() < 1.5:
            columns[key] = np.concatenate([columns[key][:at], 100.0 * (after - 1.0)])
            notes.append(f"{key}: taken as factors from there on, like the short-term trim")
    return notes


def _converted(values: Array, use: ColumnUse) -> Array:
    """Numbers in the unit that was said, as numbers in the quantity's own."""
    assert use.key is not None
    own = units.find_unit(BY_NAME[use.key.quantity].unit)
    given = units.find_unit(use.unit) if use.unit else None
    if own is None or given is None or given.name == own.name or use.unit_from == "assumed":
        return values
    if given.dimension != own.dimension:
        return values
    return np.asarray((values * given.factor + given.offset - own.offset) / own.factor)


def _table(reader: _Reader) -> LogTable | NoLog:
    """The blocks put together, the clock put right, impossible values taken out."""
    ledger, uses = reader.ledger, tuple(reader.uses)
    if not reader.count:
        mend = "rows below the header, with a time in each"
        if reader.plan.separator == "," and reader.wider and reader.wider == ledger.refused.total:
            mend = "semicolons or tabs between the cells, if numbers are written with commas; as many cells as names"
        return NoLog("no row could be read", mend, ledger.refused, uses)
    line = np.concatenate(reader.lines)
    said = reader.columns.every is not None or any(u.key == _TIME and u.unit_from != "assumed" for u in uses)
    ticks = clock.elapsed(np.concatenate(reader.raw), of_day=reader.of_day, unit_said=said)
    for row in ticks.behind.tolist():
        ledger.note(int(line[row]), "the time lies before that of the row above")
    for row in ticks.spikes.tolist():
        ledger.note(int(line[row]), "the time jumps ahead and back")
    if not len(ticks.seconds):
        return NoLog("no row has a time", "a time in each row", ledger.refused, uses)
    notes = [note for note in ticks.notes if note.startswith(clock.NO_UNIT)]
    faults = [*reader.notes(), *(note for note in ticks.notes if note not in notes)]
    series: dict[PlacedQuantity, Array] = {}
    final: dict[PlacedQuantity, ColumnUse] = {use.key: use for use in uses if use.key is not None}
    columns = {key: reader.column(key)[ticks.kept] for key in list(reader.series)}
    kept = line[ticks.kept]
    turns = columns.get(PlacedQuantity(SPEED))
    changed: dict[PlacedQuantity, int] = {}
    for key, values in columns.items():
        change = switched(key, values, final[key], turns)
        if change is not None:
            columns[key] = change.values
            changed[key] = change.at
            faults.append(f"{key}: from line {kept[change.at]} on in {change.unit}, which is taken into account")
    faults += _follow(columns, {key: at for key, at in changed.items() if key.quantity in (SHORT, TOTAL)})
    as_fractions = any(fractions(key, values) for key, values in columns.items())
    as_factors = any(factors(key, values) for key, values in columns.items())
    if any(fahrenheit(key, values, final[key]) for key, values in columns.items()):
        for key in columns:
            if final[key].unit_from == "assumed" and BY_NAME[key.quantity].unit == "°C":
                final[key] = replace(final[key], unit="°F", unit_from="values", note="taken as °F")
                columns[key] = (columns[key] - 32.0) / 1.8
                notes.append(f"{key}: taken as °F, as one temperature of this log must be")
    for key in list(columns):
        checked = plausible_column(key, columns.pop(key), final[key], as_fractions, as_factors)
        notes += [checked.note] if checked.note else []
        if checked.refused:
            ledger.note(int(kept[checked.at]), f"impossible values: {key}", checked.example, checked.refused)
        if checked.use.key is not None and np.isfinite(checked.values).any():
            series[key] = checked.values
            final[key] = checked.use
        else:
            final[key] = replace(checked.use, key=None, note=checked.use.note or "blank in every row")
    uses = tuple(final[use.key] if use.key is not None else use for use in uses)
    if not series:
        mend = "one quantity at least beside the time"
        return NoLog("no column holds a value", mend, ledger.refused, uses)
    refused = ledger.refused
    separator = SEPARATORS[reader.plan.separator]
    return LogTable(
        ticks.seconds,
        ticks.fresh,
        series,
        kept,
        uses,
        refused,
        tuple(notes),
        reader.text.encoding,
        separator,
        tuple(reader.codes.items()),
        tuple(faults),
    )
