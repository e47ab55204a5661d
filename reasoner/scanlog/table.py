"""Bytes of a log to a table of quantities over time, with everything that was refused or taken for granted said.

Never raises for what a file holds: any bytes give a table, or the reason why there is none.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from reasoner.measure import units
from reasoner.scanlog import cells, clock, layout
from reasoner.scanlog.cells import Array
from reasoner.scanlog.columns import ColumnUse
from reasoner.scanlog.decoding import Lines, lines_of
from reasoner.scanlog.layout import SEPARATORS, Layout
from reasoner.scanlog.quantities import BY_NAME, DATE, LOOP, TIME, Key
from reasoner.scanlog.refusals import Ledger, Refused
from reasoner.scanlog.sane import fractions, sane

BLOCK = 8192  # lines read at once, so that memory beyond the result stays the same however long the log
CHANGES = 20  # times that the columns may change within a file
LOOKS = 500  # lines between rows that are looked at as if they were another header
_TIME, _DATE = Key(TIME), Key(DATE)
_WORDS = re.compile(r"\s*[\"'\[(]?[A-Za-z]{2}")


@dataclass(frozen=True)
class LogTable:
    """seconds: (n,) from the first row, never falling. fresh: (n,) rows before which recording began anew.

    series: each (n,), in the unit of its quantity, NaN where blank; LOOP is 1 closed, 0 open. lines: (n,) of the file.
    """

    seconds: Array
    fresh: NDArray[np.bool_]
    series: Mapping[Key, Array]
    lines: NDArray[np.int64]
    uses: tuple[ColumnUse, ...]
    refused: Refused
    notes: tuple[str, ...]
    encoding: str
    separator: str


@dataclass(frozen=True)
class NoLog:
    """Why nothing could be read, and what would mend it."""

    why: str
    mend: str
    refused: Refused = field(default_factory=Refused)
    uses: tuple[ColumnUse, ...] = ()


@dataclass(frozen=True)
class Columns:
    """A person's mapping. uses: by header (as `layout.plain` spells it); None: by their words.

    every: seconds from row to row where there is no clock.
    """

    uses: Mapping[str, ColumnUse] | None
    every: float | None = None


def read(content: bytes, columns: Columns | None = None) -> LogTable | NoLog:
    """The table of a file's bytes."""
    text = lines_of(content)
    if isinstance(text, str):
        return NoLog(text, "a text file with one row a sample and a header above")
    columns = columns or Columns(None)
    plan = layout.find(text.lines, columns.uses)
    if plan is None:
        return NoLog(
            f"no header was found in the first {layout.SEARCHED} lines",
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
        self.series: dict[Key, list[Array]] = {}
        self.count = 0
        self.of_day = False
        self.uses: list[ColumnUse] = list(plan.uses)
        self.repeated = self.changed = 0
        self.wider = 0  # rows with more cells than the header
        self.looks = LOOKS

    def rows(self) -> None:
        lines, at = self.text.lines, self.plan.first
        while at < len(lines):
            end = min(at + BLOCK, len(lines))
            filled = [i for i in range(at, end) if lines[i] and not lines[i].isspace()]
            kept = [i for i in filled if lines[i] != self.plan.text]
            self.repeated += len(filled) - len(kept)
            header = self.block(kept)
            at = end if header is None else self.turn(header)

    def turn(self, number: int) -> int:
        """Another header: the columns from here on. Gives the line to go on with."""
        new = layout.at(self.text.lines, number, self.plan.separator, self.columns.uses)
        if new.where(_TIME) is None and self.columns.every is None:
            self.ledger.note(number + 1, "a header without a column of time", self.text.lines[number])
            return number + 1
        known = {use.key for use in self.uses}
        self.uses += [use for use in new.uses if use.key not in known or use.key is None]
        self.plan, self.changed = new, self.changed + 1
        return new.first

    def block(self, numbers: Sequence[int]) -> int | None:
        """Takes the rows of these lines. Stops before another header and gives its line."""
        lines, plan = self.text.lines, self.plan
        split = [layout.split(lines[i].replace(",", ".") if plan.comma else lines[i], plan.separator) for i in numbers]
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

    def is_header(self, line: str, row: Sequence[str]) -> bool:
        """Only lines whose first cells are words are looked at, and only so many of them."""
        if not self.looks or self.changed >= CHANGES or not row or not _WORDS.match(line):
            return False
        self.looks -= 1
        return layout.is_header(line, self.plan.separator, self.columns.uses)

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
        self.raw.append(self.clock(taken, rows))
        self.lines.append(np.array(taken, dtype=np.int64) + 1)
        for i, use in enumerate(self.plan.uses):
            if use.key is None or use.key in (_TIME, _DATE):
                continue
            column = [row[i] for row in rows]
            values, wrong = (cells.statuses if use.key.quantity == LOOP else cells.numbers)(column)
            for b in wrong:
                self.ledger.note(taken[b] + 1, f"cannot be read: {use.key}", column[b])
            blocks = self.series.setdefault(use.key, [])
            blocks.append(np.full(self.count - sum(map(len, blocks)), np.nan))
            blocks.append(_converted(values, use))
        self.count += len(rows)

    def clock(self, taken: Sequence[int], rows: Sequence[Sequence[str]]) -> Array:
        """The clock of these rows in seconds, NaN (and refused) where there is none."""
        where = self.plan.where(_TIME)
        if where is None:
            return np.asarray((self.count + np.arange(len(rows))) * (self.columns.every or 1.0), dtype=float)
        raw, bad, of_day = cells.times([row[where] for row in rows])
        self.of_day = self.of_day or of_day
        use = self.plan.uses[where]
        unit = units.find(use.unit)
        if not of_day and use.unit_from != "assumed" and unit is not None:
            raw = raw * unit.factor
        where_date = self.plan.where(_DATE)
        if where_date is not None:
            day, _ = cells.dates([row[where_date] for row in rows])
            raw = raw + np.where(np.isfinite(day), day, 0.0)
        unreadable = set(bad)
        for b in np.flatnonzero(~np.isfinite(raw)).tolist():
            why = "the time cannot be read" if b in unreadable else "there is no time"
            self.ledger.note(taken[b] + 1, why, self.text.lines[taken[b]])
        return np.asarray(raw, dtype=float)

    def column(self, key: Key) -> Array:
        """A quantity over all rows; its blocks are let go."""
        blocks = self.series.pop(key)
        blocks.append(np.full(self.count - sum(map(len, blocks)), np.nan))
        return np.concatenate(blocks)

    def notes(self) -> list[str]:
        said = []
        if self.repeated:
            said.append(f"the header is repeated {_times(self.repeated)} between the rows")
        if self.changed:
            said.append(f"the columns change {_times(self.changed)} within the file")
        return said


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _converted(values: Array, use: ColumnUse) -> Array:
    """Numbers in the unit that was said, as numbers in the quantity's own."""
    assert use.key is not None
    own = units.find(BY_NAME[use.key.quantity].unit)
    given = units.find(use.unit) if use.unit else None
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
    notes = [*reader.notes(), *ticks.notes]
    series: dict[Key, Array] = {}
    final: dict[Key, ColumnUse] = {use.key: use for use in uses if use.key is not None}
    columns = {key: reader.column(key)[ticks.kept] for key in list(reader.series)}
    as_fractions = any(fractions(key, values) for key, values in columns.items())
    for key in list(columns):
        checked = sane(key, columns.pop(key), final[key], as_fractions)
        notes += [checked.note] if checked.note else []
        if checked.refused:
            ledger.note(0, f"impossible values: {key}", checked.example, checked.refused)
        if checked.use.key is not None and np.isfinite(checked.values).any():
            series[key] = checked.values
            final[key] = checked.use
        else:
            final[key] = replace(checked.use, key=None, note=checked.use.note or "blank in every row")
    uses = tuple(final[use.key] if use.key is not None else use for use in uses)
    if not series:
        mend = "one quantity at least beside the time"
        return NoLog("no column holds a value", mend, ledger.refused, uses)
    kept, refused = line[ticks.kept], ledger.refused
    separator = SEPARATORS[reader.plan.separator]
    return LogTable(
        ticks.seconds, ticks.fresh, series, kept, uses, refused, tuple(notes), reader.text.encoding, separator
    )
