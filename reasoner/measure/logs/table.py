"""Bytes of a log to a table of quantities over time, with everything that was refused or taken for granted said.

Never raises for what a file holds: any bytes give a table, or the reason why there is none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reasoner.measure import units
from reasoner.measure.logs import cells, clock, layout
from reasoner.measure.logs.cells import Array
from reasoner.measure.logs.columns import ColumnUse
from reasoner.measure.logs.decoding import lines_of
from reasoner.measure.logs.layout import SEPARATORS, Layout
from reasoner.measure.logs.quantities import BY_NAME, DATE, LOOP, TIME, Key
from reasoner.measure.logs.refusals import Ledger, Refused
from reasoner.measure.logs.sane import sane

BLOCK = 8192  # lines read at once, so that memory beyond the result stays the same however long the log
CHANGES = 50  # changes of columns within one file
_TIME, _DATE = Key(TIME), Key(DATE)


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
    refused: Refused = Refused()
    uses: tuple[ColumnUse, ...] = ()


@dataclass(frozen=True)
class Columns:
    """A person's mapping. uses: by header (as `layout.plain` spells it). every: seconds between rows without a clock."""

    uses: Mapping[str, ColumnUse]
    every: float | None = None


@dataclass
class _Parts:
    """What has been read so far, in blocks."""

    raw: list[Array]  # the clock
    lines: list[NDArray[np.int64]]
    series: dict[Key, list[Array]]
    count: int = 0
    of_day: bool = False


def read(content: bytes, columns: Columns | None = None) -> LogTable | NoLog:
    """The table of a file's bytes."""
    text = lines_of(content)
    if isinstance(text, str):
        return NoLog(text, "a text file with one row a sample and a header above")
    mapping = columns.uses if columns else None
    plan = layout.find(text.lines, mapping)
    if plan is None:
        return NoLog(
            f"no header was found in the first {layout.SEARCHED} lines",
            "a line of column names such as `time (s), engine speed (rpm), short-term trim bank 1 (%)`; "
            "or say what the columns are in a mapping",
        )
    every = columns.every if columns else None
    if plan.where(_TIME) is None and every is None:
        mend = "a column named `time`; or, in a mapping, the seconds from row to row (`every: 0.5`)"
        return NoLog("there is no column of time", mend, uses=plan.uses)
    ledger, parts = Ledger(), _Parts([], [], {})
    uses, notes = _rows(text.lines, text.whole, plan, mapping, every, parts, ledger)
    return _table(parts, uses, notes, ledger, text.encoding, plan, every)


def _rows(
    lines: Sequence[str],
    whole: bool,
    plan: Layout,
    mapping: Mapping[str, ColumnUse] | None,
    every: float | None,
    parts: _Parts,
    ledger: Ledger,
) -> tuple[dict[str, ColumnUse], list[str]]:
    """All rows into `parts`; the columns used by header, and what is worth saying."""
    uses = {use.header + str(i): use for i, use in enumerate(plan.uses)}
    repeated = changed = 0
    at = plan.first
    while at < len(lines):
        end = min(at + BLOCK, len(lines))
        numbers = [i for i in range(at, end) if lines[i] and not lines[i].isspace()]
        kept = [i for i in numbers if lines[i] != plan.text]
        repeated += len(numbers) - len(kept)
        turn = _block(lines, kept, not whole, plan, mapping, every, parts, ledger, changed < CHANGES)
        if turn is None:
            at = end
        else:
            new = layout.at(lines, turn, plan.separator, mapping)
            if new.where(_TIME) is None and every is None:
                ledger.note(turn + 1, "a header without a column of time", lines[turn])
                at = turn + 1
                changed = CHANGES
            else:
                plan, at, changed = new, new.first, changed + 1
                uses.update({use.header + str(i): use for i, use in enumerate(plan.uses)})
    notes = []
    if repeated:
        notes.append(f"the header is repeated {repeated} time{'s' if repeated > 1 else ''} between the rows")
    if changed and changed < CHANGES:
        notes.append(f"the columns change {changed} time{'s' if changed > 1 else ''} within the file")
    return uses, notes


def _block(
    lines: Sequence[str],
    numbers: list[int],
    torn: bool,
    plan: Layout,
    mapping: Mapping[str, ColumnUse] | None,
    every: float | None,
    parts: _Parts,
    ledger: Ledger,
    may_change: bool,
) -> int | None:
    """Rows of one block into `parts`. Gives the line of another header, before which it stopped, or None."""
    rows: list[list[str]] = []
    taken: list[int] = []
    separator, width = plan.separator, plan.width
    short: list[tuple[int, list[str]]] = []
    for i in numbers:
        line = lines[i].replace(",", ".") if plan.comma else lines[i]
        row = line.split(separator) if '"' not in line else layout.split(line, separator)
        if len(row) == width or (len(row) == width + 1 and not row[-1].strip()):
            rows.append(row)
            taken.append(i)
        else:
            short.append((i, row))
    padded = len(short) > 0.2 * len(numbers)  # a recorder that leaves out what is blank at the end of a line
    for i, row in short:
        if may_change and layout.is_header(lines[i], separator, mapping):
            before = [n for n in numbers if n < i]
            _block(lines, before, False, plan, mapping, every, parts, ledger, False)
            return i
        if padded and 2 <= len(row) < width and not (torn and i == len(lines) - 1):
            continue
        _refuse_width(lines, i, row, torn, plan, ledger)
    if padded:
        fill = {i: row + [""] * (width - len(row)) for i, row in short if 2 <= len(row) < width}
        if torn:
            fill.pop(len(lines) - 1, None)
        both = sorted([*zip(taken, rows, strict=True), *fill.items()], key=lambda pair: pair[0])
        taken, rows = [i for i, _ in both], [row for _, row in both]
    if not rows:
        return None
    turn = _keep(lines, taken, rows, plan, mapping, every, parts, ledger, may_change)
    return turn


def _refuse_width(lines: Sequence[str], i: int, row: list[str], torn: bool, plan: Layout, ledger: Ledger) -> None:
    if torn and i == len(lines) - 1:
        why = "the file breaks off in this line"
    elif plan.separator == "," and len(row) >= 2 * plan.width - 2 and len(row) > plan.width:
        why = "commas both between and within the numbers: save it with semicolons"
    else:
        why = "another number of cells than the header has"
    ledger.note(i + 1, why, lines[i])


def _keep(
    lines: Sequence[str],
    taken: list[int],
    rows: list[list[str]],
    plan: Layout,
    mapping: Mapping[str, ColumnUse] | None,
    every: float | None,
    parts: _Parts,
    ledger: Ledger,
    may_change: bool,
) -> int | None:
    """Cells of good rows to numbers. A row that is really a header of the same width ends the block."""
    at_time = plan.where(_TIME)
    if at_time is None:
        raw = (parts.count + np.arange(len(rows))) * (every or 1.0)
        bad: list[int] = []
    else:
        raw, bad, clocks = cells.times([row[at_time] for row in rows])
        parts.of_day = parts.of_day or clocks
        unit = units.find(plan.uses[at_time].unit)
        if not clocks and plan.uses[at_time].unit_from != "assumed" and unit is not None and unit.name != "s":
            raw = raw * unit.factor
    at_date = plan.where(_DATE)
    if at_date is not None:
        day, _ = cells.dates([row[at_date] for row in rows])
        raw = raw + np.where(np.isfinite(day), day, 0.0)
    if may_change:
        for b in bad:
            if layout.is_header(lines[taken[b]], plan.separator, mapping):
                _keep(lines, taken[:b], rows[:b], plan, mapping, every, parts, ledger, False) if b else None
                return taken[b]
    for b in bad:
        ledger.note(taken[b] + 1, "the time cannot be read", rows[b][at_time or 0])
    blank = np.flatnonzero(~np.isfinite(raw))
    for b in sorted(set(blank.tolist()) - set(bad)):
        ledger.note(taken[b] + 1, "there is no time", lines[taken[b]])
    parts.raw.append(raw)
    parts.lines.append(np.array(taken, dtype=np.int64) + 1)
    for i, use in enumerate(plan.uses):
        if use.key is None or use.key in (_TIME, _DATE):
            continue
        column = [row[i] for row in rows]
        values, wrong = (cells.statuses if use.key.quantity == LOOP else cells.numbers)(column)
        for b in wrong:
            ledger.note(taken[b] + 1, f"cannot be read: {use.key}", column[b])
        values = _converted(values, use)
        blocks = parts.series.setdefault(use.key, [])
        missing = parts.count - sum(len(b) for b in blocks)
        if missing:
            blocks.append(np.full(missing, np.nan))
        blocks.append(values)
    parts.count += len(rows)
    return None


def _converted(values: Array, use: ColumnUse) -> Array:
    """Numbers in the unit that was said, as numbers in the quantity's own."""
    assert use.key is not None
    own = units.find(BY_NAME[use.key.quantity].unit)
    given = units.find(use.unit) if use.unit else None
    if own is None or given is None or given.name == own.name or use.unit_from == "assumed":
        return values
    if given.dimension != own.dimension:
        return values
    return (values * given.factor + given.offset - own.offset) / own.factor


def _table(
    parts: _Parts,
    uses: Mapping[str, ColumnUse],
    notes: list[str],
    ledger: Ledger,
    encoding: str,
    plan: Layout,
    every: float | None,
) -> LogTable | NoLog:
    """The blocks put together, the clock put right, impossible values taken out."""
    used = tuple(uses.values())
    nothing = NoLog("no row could be read", "rows below the header, with a time in each", ledger.refused, used)
    if not parts.count:
        return nothing
    raw = np.concatenate(parts.raw)
    line = np.concatenate(parts.lines)
    said = every is not None or any(u.key == _TIME and u.unit_from != "assumed" for u in used)
    ticks = clock.elapsed(raw, of_day=parts.of_day, unit_said=said)
    for row in ticks.behind.tolist():
        ledger.note(int(line[row]), "the time lies before that of the row above")
    for row in ticks.spikes.tolist():
        ledger.note(int(line[row]), "the time jumps ahead and back")
    if not len(ticks.seconds):
        return replace(nothing, refused=ledger.refused)
    notes += ticks.notes
    series: dict[Key, Array] = {}
    final: list[ColumnUse] = []
    by_key = {use.key: use for use in used if use.key is not None}
    for key in list(parts.series):
        blocks = parts.series.pop(key)
        missing = parts.count - sum(len(b) for b in blocks)
        values = np.concatenate([*blocks, np.full(missing, np.nan)])[ticks.kept]
        checked = sane(key, values, by_key[key])
        if checked.note:
            notes.append(checked.note)
        if checked.refused:
            ledger.note(0, f"impossible values: {key}", checked.example, checked.refused)
        by_key[key] = checked.use
        if checked.use.key is not None and np.isfinite(checked.values).any():
            series[key] = checked.values
        elif checked.use.key is not None:
            by_key[key] = replace(checked.use, key=None, note="blank in every row")
    for use in used:
        final.append(by_key.get(use.key, use) if use.key is not None else use)
    if not series:
        return NoLog("no column holds a value", "one quantity at least beside the time", ledger.refused, tuple(final))
    return LogTable(
        ticks.seconds,
        ticks.fresh,
        series,
        line[ticks.kept],
        tuple(final),
        ledger.refused,
        tuple(notes),
        encoding,
        SEPARATORS[plan.separator],
    )
