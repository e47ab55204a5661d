"""A log's two pictures in characters: the drive over time with spells shaded, and trim against airflow.

Block characters where the stream can show them, plain ASCII elsewhere; what a mark means is said beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from reasoner.report.pictures import steps
from reasoner.scanlog.document import Cloud, Picture, Track

HIGHEST, LOWEST, ROW = 30.0, -45.0, 5.0  # % of trim that a picture shows at most, and in each of its rows
MARGIN = 6  # characters left of the picture
SHADE, PLAIN_SHADE = "░", ":"
SURE = 0.5  # probability that is drawn as showing
TURNS = (2, 3, 5, 10, 20, 30, 50, 100, 200)  # g/s marked under the picture, where they lie in it
# One letter for each phase; those that begin alike are told apart by capitals.
LETTERS = {
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
    shows = [(_mean(track.showing[a:b]) or 0.0) > SURE for a, b in cuts]
    shade = SHADE if blocks else PLAIN_SHADE
    rows = _rows(trims)
    lines = []
    for top in rows:
        cells = []
        for trim, show in zip(trims, shows, strict=True):
            here = trim is not None and _within(trim, rows) == top
            cells.append(("#" if show else "*") if here else shade if show else "-" if top == 0.0 else " ")
        lines.append(_axis(top) + "".join(cells).rstrip())
    letters = "".join(LETTERS.get(_common(picture.phases[a:b]), "?") for a, b in cuts)
    lines.append(" " * MARGIN + letters.rstrip())
    flows = [_mean(picture.airflow[a:b]) for a, b in cuts]
    known = [f for f in flows if f is not None]
    if known:
        most = max(known)
        lines.append("air ".rjust(MARGIN) + steps([(f or 0.0) / most for f in flows], len(flows), blocks).rstrip())
    lines.append(_times(picture, cuts))
    used = sorted({p for a, b in cuts for p in [_common(picture.phases[a:b])] if LETTERS.get(p, "").strip()})
    lines += _wrapped(["trim in %", f"# while it shows (shaded {shade})", "* else"], width)
    lines += _wrapped([f"{LETTERS[p]} {p}" for p in used], width)
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
    for m in TURNS:
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
