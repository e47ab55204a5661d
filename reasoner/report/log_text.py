"""A log's document as a page a person reads, with its two pictures in characters."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

from reasoner.measure.finding import PLUS_MINUS_MEANS
from reasoner.report.lines import bullet_lines, heading, in_columns, page, paragraph, section, steps
from reasoner.scanlog.amounts import TrimLine
from reasoner.scanlog.columns import NOT_KNOWN
from reasoner.scanlog.document import BankFacts, Cloud, FileFacts, LogDocument, Picture, Track
from reasoner.scanlog.reading import NoLog
from reasoner.scanlog.shapes import NONE
from reasoner.scanlog.words import amount, duration_text, family_words, with_error
from reasoner.session.plain import clean

# ---- A log's two pictures in characters ------------------------------------------------------------------------------
# The drive over time with spells shaded, and trim against airflow.
#
# Block characters where the stream can show them, plain ASCII elsewhere; what a mark means is said beside it.

HIGHEST, LOWEST, ROW = 30.0, -45.0, 5.0  # % of trim that a picture shows at most, and in each of its rows
MARGIN = 6  # characters left of the picture
SHADE, PLAIN_SHADE = "░", ":"
DRAWN_AS_SHOWING = 0.5  # probability that is drawn as showing
FLOWS_MARKED = (2, 3, 5, 10, 20, 30, 50, 100, 200)  # g/s marked under the picture, where they lie in it
# One letter for each phase; those that begin alike are told apart by capitals.
PICTURE_LETTERS = {
    "engine off": " ",
    "stopped a moment": ",",
    "cold soaked": "_",
    "hot soak": "_",
    "cold start": "C",
    "warm up": "w",
    "hot restart": "H",
    "after refuelling": "F",
    "warm idle": "i",
    "long idle": "I",
    "raised speed": "r",
    "cruise": "c",
    "load": "L",
    "overrun": "o",
    "driving": ".",
}


def drive_chart(picture: Picture, track: Track, width: int = 80, blocks: bool = True) -> list[str]:
    """Trim over time, a column a stretch of time; spells shaded, what the engine did below."""
    wide = max(20, width - MARGIN)
    cuts = _cuts(len(picture.time), wide)
    trims = [_mean(track.trim[a:b]) for a, b in cuts]
    shows = [(_mean(track.showing[a:b]) or 0.0) > DRAWN_AS_SHOWING for a, b in cuts]
    shade = SHADE if blocks else PLAIN_SHADE
    rows = _rows(trims)
    lines = []
    for top in rows:
        cells = []
        for trim, show in zip(trims, shows, strict=True):
            here = trim is not None and _within(trim, rows) == top
            cells.append(("#" if show else "*") if here else shade if show else "-" if top == 0.0 else " ")
        lines.append(_axis(top) + "".join(cells).rstrip())
    letters = "".join(PICTURE_LETTERS.get(_common(picture.phases[a:b]), "?") for a, b in cuts)
    lines.append(" " * MARGIN + letters.rstrip())
    flows = [_mean(picture.airflow[a:b]) for a, b in cuts]
    known = [f for f in flows if f is not None]
    if known:
        most = max(known)
        lines.append("air ".rjust(MARGIN) + steps([(f or 0.0) / most for f in flows], len(flows), blocks).rstrip())
    lines.append(_times(picture, cuts))
    used = sorted({p for a, b in cuts for p in [_common(picture.phases[a:b])] if PICTURE_LETTERS.get(p, "").strip()})
    lines += _wrapped(["trim in %", f"# while it shows (shaded {shade})", "* else"], width)
    lines += _wrapped([f"{PICTURE_LETTERS[p]} {p}" for p in used], width)
    if known:
        lines.append(" " * MARGIN + f"air: up to {max(known):.0f} g/s")
    return lines


def flow_chart(cloud: Cloud, width: int = 80) -> list[str]:
    """Trim against airflow (logarithmic), moments and the fitted lines."""
    points = [p for p in cloud.points if p.airflow > 0]
    if not points:
        return []
    wide = max(20, min(width, 90) - MARGIN)
    flows = sorted(p.airflow for p in points)
    low, high = flows[len(flows) // 100], max(flows[-1 - len(flows) // 100], 1.2 * flows[0])
    scale = (wide - 1) / math.log(high / low)
    rows = _rows([p.trim for p in points])
    cells = {top: [" "] * wide for top in rows}
    cells[0.0] = ["-"] * wide
    for p in sorted(points, key=lambda p: p.showing):
        x = round(scale * math.log(p.airflow / low))
        if 0 <= x < wide:
            cells[_within(p.trim, rows)][x] = "#" if p.showing else "*"
    for state, curve in cloud.lines:
        for flow, trim in curve:
            x = round(scale * math.log(max(flow, low) / low))
            if 0 <= x < wide:
                cells[_within(trim, rows)][x] = "s" if state == "showing" else "q"
    lines = [_axis(top) + "".join(cells[top]).rstrip() for top in rows]
    marks = [" "] * (wide + 4)
    for m in FLOWS_MARKED:
        x = round(scale * math.log(m / low))
        if 0 <= x < wide - 2:
            marks[x : x + len(str(m))] = str(m)
    lines.append("g/s ".rjust(MARGIN) + "".join(marks)[:wide].rstrip())
    told = {"showing": "s line through those", "quiet": "q line through these"}
    return lines + _wrapped(["# while it shows", "* quiet", *(told[state] for state, _ in cloud.lines)], width)


def _rows(trims: Sequence[float | None]) -> list[float]:
    """Rows from the highest trim to the lowest, a row of room around them, zero always among them."""
    known = [t for t in trims if t is not None]
    high = min(HIGHEST, max([_row(t) for t in known] + [0.0]) + ROW)
    low = max(LOWEST, min([_row(t) for t in known] + [0.0]) - ROW)
    return [high - i * ROW for i in range(round((high - low) / ROW) + 1)]


def _row(trim: float) -> float:
    return ROW * math.floor(trim / ROW + 0.5) + 0.0


def _within(trim: float, rows: Sequence[float]) -> float:
    """The row that a trim falls into; what lies beyond falls into the outermost."""
    return min(rows[0], max(rows[-1], _row(trim)))


def _axis(trim: float) -> str:
    return (f"{trim:+.0f} |" if trim else "0 |").rjust(MARGIN)


def _cuts(length: int, wide: int) -> list[tuple[int, int]]:
    columns = min(length, wide)
    edges = [round(i * length / columns) for i in range(columns + 1)] if columns else []
    return list(pairwise(edges))


def _mean(values: Sequence[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return sum(known) / len(known) if known else None


def _common(words: Sequence[str]) -> str:
    return max(sorted(set(words)), key=words.count)


def _times(picture: Picture, cuts: Sequence[tuple[int, int]]) -> str:
    """Minutes of the log under every tenth column."""
    marks = [" "] * (len(cuts) + 8)
    for column in range(0, len(cuts), 12):
        text = f"{picture.time[cuts[column][0]] / 60:.0f}"
        marks[column : column + len(text)] = text
    return "min ".rjust(MARGIN) + "".join(marks).rstrip()


def _wrapped(parts: Sequence[str], width: int) -> list[str]:
    lines, line = [], ""
    for part in parts:
        if line and len(line) + 3 + len(part) > width - MARGIN:
            lines.append(line)
            line = ""
        line += ("   " if line else "") + part
    return [" " * MARGIN + one for one in [*lines, line] if one]


# ---- A log's document as a page a person reads -----------------------------------------------------------------------
# What it says, pictures, states, how often, answers, what was read.

NARROWEST, WIDEST = 60, 120
CHANGE_WORDS = {"switches": "at once", "creeps": "slowly"}
LISTED_IN_SUM = ("short-term trim", "long-term trim")  # listed only in sum, which is what checks ask for
KINDS, LEAST_CHANCE = 3, 0.05  # kinds of error listed for a bank, and their least chance
LISTED_AT_MOST = 8  # refused lines, unused columns that are listed


def log_text(document: LogDocument, width: int = 80, blocks: bool = True, everything: bool = False) -> str:
    """The page: findings, how sure, what is missing, what the trims read. blocks: the stream can show block characters.

    everything: with pictures, conditions, every answer that a case could take, and every column.
    """
    d, width = clean(document), min(WIDEST, max(NARROWEST, width))
    lines = [
        *paragraph(
            f"{d.name}: {duration_text(d.file.seconds)} in {d.file.rows} rows, {d.file.rate:.3g} a second. "
            f"{PLUS_MINUS_MEANS}",
            0,
            width=width,
        ),
        *heading("What it says"),
        *bullet_lines(d.says, width=width),
        *_how_sure(d.banks, width),
        *section("What is wrong with the file: nothing is made of it", _defects(d.file), width=width),
        *section("What is missing", [*d.lacks, *_unknown(d.file)], width=width),
        *_readings(d.banks, d.air),
        *_occurrences(d.banks),
    ]
    if not everything:
        return page(
            [*lines, "", *paragraph("`--all` prints pictures, conditions, every answer, every column.", 0, width=width)]
        )
    for track in d.picture.tracks:
        lines += [*heading(f"The drive, bank {track.bank}"), *drive_chart(d.picture, track, width, blocks)]
    for cloud in d.picture.clouds:
        lines += [*heading(f"Trim against airflow, bank {cloud.bank}"), *flow_chart(cloud, width)]
    for bank in d.banks:
        lines += _spells(bank, width)
    lines += _conditions(d)
    lines += _answers(d, width)
    lines += _file(d.file, width)
    return page(lines)


def _how_sure(banks: Iterable[BankFacts], width: int) -> list[str]:
    """The likeliest kinds of error of each bank, with how much each would be."""
    rows = []
    for bank in banks:
        ranked = bank.fits.shapes if bank.fits is not None else ()
        for shape in ranked[: 1 if ranked and ranked[0].name == NONE else KINDS]:
            if shape.weight >= LEAST_CHANCE:
                size = amount(shape)
                if shape is ranked[0] and shape.name != NONE and bank.fits is not None and bank.fits.best is None:
                    size = f"{size}; not firm, or no more than its error: not named"
                rows.append(
                    (f"bank {bank.number}", f"{100 * min(0.99, shape.weight):.0f} %", family_words(shape)[0], size)
                )
    lines = []
    for row in rows:
        lines += paragraph(
            "  ".join(part for part in (*row[:3], f"({row[3]})" if row[3] else "") if part), 2, width=width
        )
    return [*heading("How sure: kinds of error against each other"), *lines] if rows else []


def _defects(file: FileFacts) -> list[str]:
    counted = [f"{why}: {n} time{'s' if n > 1 else ''}{_first(file, why)}" for why, n in file.refused.counts]
    return [*file.defects, *counted][:LISTED_AT_MOST]


def _unknown(file: FileFacts) -> list[str]:
    """Columns whose names say nothing, which a person may know."""
    names = [u.header for u in file.unused if u.note == NOT_KNOWN]
    if not names:
        return []
    more = f" and {len(names) - LISTED_AT_MOST} more" if len(names) > LISTED_AT_MOST else ""
    known = "`reasoner measure columns` lets you say what they are"
    return [f"columns whose names say nothing: {', '.join(names[:LISTED_AT_MOST])}{more}. {known}"]


def _first(file: FileFacts, why: str) -> str:
    line = next((one.line for one in file.refused.first if one.why == why and one.line), 0)
    return f", first in line {line}" if line else ""


def no_log_text(refused: NoLog, name: str, width: int = 80) -> str:
    """Why nothing could be read of a file."""
    r, width = clean(refused), min(WIDEST, max(NARROWEST, width))
    lines = paragraph(f"{clean(name)} cannot be read: {r.why}.", 0, width=width)
    lines += paragraph(f"What would mend it: {r.mend}.", width=width)
    lines += [f"  line {one.line}: {one.why}: {one.stood}" for one in r.refused.first[:LISTED_AT_MOST]]
    lines += [f"  column `{use.header}`: {use.note or use.key}" for use in r.uses[:LISTED_AT_MOST]]
    return "\n".join(lines)


def _readings(banks: Iterable[BankFacts], air: str) -> list[str]:
    """What the trims read, unchanged from the log. air: where the airflow is from, "" = there is none."""
    rough = "air, roughly" if "in proportion only" in air else "air, g/s"
    rows: list[tuple[str, ...]] = [("", "seen", rough, "trim at idle, %", "at high airflow, %")]
    for bank in banks:
        sides = (("showing", bank.fits.showing), ("otherwise", bank.fits.quiet)) if bank.fits is not None else ()
        both = all(line is not None for _, line in sides)
        for state, line in sides:
            if line is not None:
                rows.append(_line(f"bank {bank.number}{f', {state}' if both else ''}", line, bool(air)))
    return [*heading("What the trims read"), *in_columns(rows)] if len(rows) > 1 else []


def _spells(bank: BankFacts, width: int) -> list[str]:
    lines: list[str] = []
    if bank.spells or bank.creeping:
        spells = [("from", "to", "chance", "trim", "begins", "ends", "")]
        spells += [
            (
                _clock(s.start),
                _clock(s.end),
                f"{100 * min(0.99, s.probability):.0f} %",
                f"{s.effect:+.0f} %",
                CHANGE_WORDS.get(s.began, s.began),
                CHANGE_WORDS.get(s.ended, s.ended),
                "" if s in bank.spells else "too slow to count",
            )
            for s in sorted([*bank.spells, *bank.creeping], key=lambda s: s.start)
        ]
        lines = [*heading(f"Spells, bank {bank.number}"), *in_columns(spells, frozenset({0, 1, 2, 3}))]
    said = f"Closed loop {100 * bank.closed:.0f} % of running time, from {bank.how}."
    if bank.multiplied is not None and bank.added is not None:
        said += f" Median of short and long together: {bank.multiplied:+.1f} % multiplied, {bank.added:+.1f} % added."
    return [*lines, *paragraph(said, width=width)]


def _line(name: str, line: TrimLine, known: bool) -> tuple[str, ...]:
    flow = f"{line.flow[0]:.1f} to {line.flow[1]:.1f}" if known else "?"
    idle, high = (with_error(e, "") if e is not None else "?" for e in (line.at_idle, line.high))
    return name, duration_text(line.seconds), flow, idle, high


def _occurrences(banks: Iterable[BankFacts]) -> list[str]:
    rows = [("", "looked at", "showing", "of the stretches", "95 % range")]
    for bank in banks:
        for o in bank.occurrences if bank.switching else ():
            rows.append(
                (
                    f"bank {bank.number}, {o.phase}",
                    duration_text(o.seconds),
                    f"{100 * o.showing / o.seconds:.0f} %",
                    f"{o.shown} of {o.stretches}",
                    f"{100 * o.low:.0f} to {100 * o.high:.0f} %",
                )
            )
    return [*heading("How often it showed"), *in_columns(rows, frozenset({1, 2, 3, 4}))] if len(rows) > 1 else []


def _conditions(d: LogDocument) -> list[str]:
    began = {"cold": "from cold", "hot": "hot", "between": "half warm", "running": "was running already"}
    rows = [
        (
            f"run {r.number}",
            _clock(r.start),
            _clock(r.end),
            began.get(r.began, r.began),
            f"stood {duration_text(r.stood)}" if r.stood is not None else "",
            "tank filled before" if r.filled else "",
        )
        for r in d.runs
    ]
    times = [
        (t.phase, duration_text(t.seconds), "once" if t.stretches == 1 else f"{t.stretches} times") for t in d.times
    ]
    lines = [
        *heading("Runs and conditions"),
        *in_columns(rows, frozenset({1, 2})),
        "",
        *in_columns(times, frozenset({1, 2})),
    ]
    return lines


def _answers(d: LogDocument, width: int) -> list[str]:
    """Spells with a condition of the rules, and what was seen in each; all of it is in the JSON document."""
    lines = []
    for spell in (s for s in d.spells if s.condition):
        said = [a.says for a in d.answers if a.spell == spell.number and a.quantity not in LISTED_IN_SUM]
        if said:
            run = f"run {spell.run}, " if spell.run else ""
            state = "" if spell.probability is None else f"{spell.state}, "
            lines += paragraph(
                f"spell {spell.number}: {spell.condition}, {run}{state}{duration_text(spell.seconds)}", width=width
            )
            lines += bullet_lines(said, indent=6, width=width)
    if not lines:
        return []
    return [*heading("Answers that a case could take"), *lines, *paragraph(d.together, width=width)]


def _file(file: FileFacts, width: int) -> list[str]:
    lines = [*heading("What was read"), *paragraph(f"{file.separator} between cells, {file.encoding}.", width=width)]
    lines += bullet_lines(file.notes, width=width)
    used = "; ".join(f"{u.header} as {u.key}{f' in {u.unit}' if u.unit else ''}" for u in file.used)
    lines += paragraph(used, width=width)
    assumed = [u.header for u in file.used if u.unit_from == "assumed" and u.unit]
    if assumed:
        lines += paragraph(f"No unit given, the standard's taken: {', '.join(assumed)}.", width=width)
    unused = [f"{u.header} ({u.note})" if u.note else u.header for u in file.unused]
    if unused:
        more = f" and {len(unused) - LISTED_AT_MOST} more" if len(unused) > LISTED_AT_MOST else ""
        lines += paragraph(f"Not used: {'; '.join(unused[:LISTED_AT_MOST])}{more}.", width=width)
    if file.refused.counts:
        lines += heading("Refused")
        lines += in_columns([(str(n), why) for why, n in file.refused.counts], frozenset({0}))
        for one in file.refused.first[:LISTED_AT_MOST]:
            where = f"line {one.line}" if one.line else "in the column"
            lines += paragraph(f"{where}: {one.why}: {one.stood}", 4, width=width)
    return lines


def _clock(seconds: float) -> str:
    """Minutes and seconds of the log."""
    whole = max(0, round(seconds))
    return f"{whole // 60}:{whole % 60:02d}"
