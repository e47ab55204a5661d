"""A log's document as a page a person reads: what it says, pictures, states, how often, answers, what was read."""

from __future__ import annotations

from collections.abc import Iterable

from reasoner.measure.finding import MEANS
from reasoner.report.lines import columns, head, items, page, para, section
from reasoner.report.log_charts import drive_chart, flow_chart
from reasoner.scanlog.amounts import Line
from reasoner.scanlog.document import BankFacts, FileFacts, LogDocument
from reasoner.scanlog.reading import NoLog
from reasoner.scanlog.shapes import NONE
from reasoner.scanlog.words import amount, family_words, minutes, plus_minus
from reasoner.session.plain import clean

NARROWEST, WIDEST = 60, 120
CHANGES = {"switches": "at once", "creeps": "slowly"}
APART = ("short-term trim", "long-term trim")  # listed only in sum, which is what checks ask for
KINDS, LEAST_CHANCE = 3, 0.05  # kinds of error listed for a bank, and their least chance
SHOWN = 8  # refused lines, unused columns that are listed


def log_text(document: LogDocument, width: int = 80, blocks: bool = True, everything: bool = False) -> str:
    """The page: findings, how sure, what is missing, what the trims read. blocks: the stream can show block characters.

    everything: with pictures, conditions, every answer that a case could take, and every column.
    """
    d, width = clean(document), min(WIDEST, max(NARROWEST, width))
    lines = [
        *para(
            f"{d.name}: {minutes(d.file.seconds)} in {d.file.rows} rows, {d.file.rate:.3g} a second. {MEANS}",
            0,
            width=width,
        ),
        *head("What it says"),
        *items(d.says, width=width),
        *_how_sure(d.banks, width),
        *section("What is wrong with the file: nothing is made of it", _defects(d.file), width=width),
        *section("What is missing", d.lacks, width=width),
        *_readings(d.banks),
        *_occurrences(d.banks),
    ]
    if not everything:
        return page(
            [*lines, "", *para("`--all` prints pictures, conditions, every answer, every column.", 0, width=width)]
        )
    for track in d.picture.tracks:
        lines += [*head(f"The drive, bank {track.bank}"), *drive_chart(d.picture, track, width, blocks)]
    for cloud in d.picture.clouds:
        lines += [*head(f"Trim against airflow, bank {cloud.bank}"), *flow_chart(cloud, width)]
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
                rows.append(
                    (f"bank {bank.number}", f"{100 * min(0.99, shape.weight):.0f} %", family_words(shape)[0], size)
                )
    lines = []
    for row in rows:
        lines += para("  ".join(part for part in (*row[:3], f"({row[3]})" if row[3] else "") if part), 2, width=width)
    return [*head("How sure: kinds of error against each other"), *lines] if rows else []


def _defects(file: FileFacts) -> list[str]:
    counted = [f"{why}: {n} time{'s' if n > 1 else ''}{_first(file, why)}" for why, n in file.refused.counts]
    return [*file.defects, *counted][:SHOWN]


def _first(file: FileFacts, why: str) -> str:
    line = next((one.line for one in file.refused.first if one.why == why and one.line), 0)
    return f", first in line {line}" if line else ""


def no_log_text(refused: NoLog, name: str, width: int = 80) -> str:
    """Why nothing could be read of a file."""
    r, width = clean(refused), min(WIDEST, max(NARROWEST, width))
    lines = para(f"{clean(name)} cannot be read: {r.why}.", 0, width=width)
    lines += para(f"What would mend it: {r.mend}.", width=width)
    lines += [f"  line {one.line}: {one.why}: {one.stood}" for one in r.refused.first[:SHOWN]]
    lines += [f"  column `{use.header}`: {use.note or use.key}" for use in r.uses[:SHOWN]]
    return "\n".join(lines)


def _readings(banks: Iterable[BankFacts]) -> list[str]:
    """What the trims read, unchanged from the log."""
    rows: list[tuple[str, ...]] = [("", "seen", "air, g/s", "trim at idle, %", "at high airflow, %")]
    for bank in banks:
        sides = (("showing", bank.fits.showing), ("otherwise", bank.fits.quiet)) if bank.fits is not None else ()
        both = all(line is not None for _, line in sides)
        for state, line in sides:
            if line is not None:
                rows.append(_line(f"bank {bank.number}{f', {state}' if both else ''}", line))
    return [*head("What the trims read"), *columns(rows)] if len(rows) > 1 else []


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
                CHANGES.get(s.began, s.began),
                CHANGES.get(s.ended, s.ended),
                "" if s in bank.spells else "too slow to count",
            )
            for s in sorted([*bank.spells, *bank.creeping], key=lambda s: s.start)
        ]
        lines = [*head(f"Spells, bank {bank.number}"), *columns(spells, frozenset({0, 1, 2, 3}))]
    said = f"Closed loop {100 * bank.closed:.0f} % of running time, from {bank.how}."
    if bank.multiplied is not None and bank.added is not None:
        said += f" Median of short and long together: {bank.multiplied:+.1f} % multiplied, {bank.added:+.1f} % added."
    return [*lines, *para(said, width=width)]


def _line(name: str, line: Line) -> tuple[str, ...]:
    flow = f"{line.flow[0]:.1f} to {line.flow[1]:.1f}"
    idle, high = (plus_minus(e, "") if e is not None else "?" for e in (line.at_idle, line.high))
    return name, minutes(line.seconds), flow, idle, high


def _occurrences(banks: Iterable[BankFacts]) -> list[str]:
    rows = [("", "looked at", "showing", "of the stretches", "95 % range")]
    for bank in banks:
        for o in bank.occurrences if bank.switching else ():
            rows.append(
                (
                    f"bank {bank.number}, {o.phase}",
                    minutes(o.seconds),
                    f"{100 * o.showing / o.seconds:.0f} %",
                    f"{o.shown} of {o.stretches}",
                    f"{100 * o.low:.0f} to {100 * o.high:.0f} %",
                )
            )
    return [*head("How often it showed"), *columns(rows, frozenset({1, 2, 3, 4}))] if len(rows) > 1 else []


def _conditions(d: LogDocument) -> list[str]:
    began = {"cold": "from cold", "hot": "hot", "between": "half warm", "running": "was running already"}
    rows = [
        (
            f"run {r.number}",
            _clock(r.start),
            _clock(r.end),
            began.get(r.began, r.began),
            f"stood {minutes(r.stood)}" if r.stood is not None else "",
            "tank filled before" if r.filled else "",
        )
        for r in d.runs
    ]
    times = [(t.phase, minutes(t.seconds), "once" if t.stretches == 1 else f"{t.stretches} times") for t in d.times]
    lines = [*head("Runs and conditions"), *columns(rows, frozenset({1, 2})), "", *columns(times, frozenset({1, 2}))]
    return lines


def _answers(d: LogDocument, width: int) -> list[str]:
    """Spells with a condition of the rules, and what was seen in each; all of it is in the JSON document."""
    lines = []
    for spell in (s for s in d.spells if s.condition):
        said = [a.says for a in d.answers if a.spell == spell.number and a.quantity not in APART]
        if said:
            run = f"run {spell.run}, " if spell.run else ""
            state = "" if spell.probability is None else f"{spell.state}, "
            lines += para(f"spell {spell.number}: {spell.condition}, {run}{state}{minutes(spell.seconds)}", width=width)
            lines += items(said, indent=6, width=width)
    if not lines:
        return []
    return [*head("Answers that a case could take"), *lines, *para(d.together, width=width)]


def _file(file: FileFacts, width: int) -> list[str]:
    lines = [*head("What was read"), *para(f"{file.separator} between cells, {file.encoding}.", width=width)]
    lines += items(file.notes, width=width)
    used = "; ".join(f"{u.header} as {u.key}{f' in {u.unit}' if u.unit else ''}" for u in file.used)
    lines += para(used, width=width)
    assumed = [u.header for u in file.used if u.unit_from == "assumed" and u.unit]
    if assumed:
        lines += para(f"No unit given, the standard's taken: {', '.join(assumed)}.", width=width)
    unused = [f"{u.header} ({u.note})" if u.note else u.header for u in file.unused]
    if unused:
        more = f" and {len(unused) - SHOWN} more" if len(unused) > SHOWN else ""
        lines += para(f"Not used: {'; '.join(unused[:SHOWN])}{more}.", width=width)
    if file.refused.counts:
        lines += head("Refused")
        lines += columns([(str(n), why) for why, n in file.refused.counts], frozenset({0}))
        for one in file.refused.first[:SHOWN]:
            where = f"line {one.line}" if one.line else "in the column"
            lines += para(f"{where}: {one.why}: {one.stood}", 4, width=width)
    return lines


def _clock(seconds: float) -> str:
    """Minutes and seconds of the log."""
    whole = max(0, round(seconds))
    return f"{whole // 60}:{whole % 60:02d}"
