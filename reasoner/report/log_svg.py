"""A log's pictures as one SVG file: trims of all banks over one clock with the spells, what the engine did below on the
same clock, and trim against airflow, bank by bank.

Made by hand, no library. Told apart by shape and lightness as well as by colour; text stays text.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import TypeVar

from reasoner.report.drawing import svg_text
from reasoner.scanlog.document import BankFacts, Cloud, Lane, LogDocument, Picture, Track
from reasoner.scanlog.words import amount, family_words
from reasoner.session.plain import clean

_Value = TypeVar("_Value", bool, str)

WIDE, HIGH, LEFT = 1000, 240, 70  # of a panel and its left margin, in px
LANE, BETWEEN = 56, 22  # height of a lane, and what lies between two
HEAD, BELOW_DRIVE, BELOW_FLOW = 70, 96, 78  # above the first panel; below each, for its scale and what comes next
MARKED = 30  # px of the row of marks
FILE_NAME_WIDTH = 90  # characters of a file's name that fit above
LOWEST, HIGHEST = -80.0, 60.0  # % of trim that are drawn at most
SURE = 0.5
LETTER = 7.0  # px that a letter takes
SHOWS, RESTS, INK = "#b03030", "#3a6ea5", "#222"
LINES = {1: ("#1f5f99", ""), 2: ("#b8650a", ' stroke-dasharray="6 2"')}  # of a bank: its colour and its dashes
SHADED = {1: "#cfe0f2", 2: "#f7dcb8"}
PHASE_FILL = {
    "cold start": "#9ecae1",
    "warm up": "#c6dbef",
    "hot restart": "#fdae6b",
    "after refuelling": "#dadaeb",
    "warm idle": "#74c476",
    "long idle": "#31a354",
    "raised speed": "#c7e9c0",
    "cruise": "#d9d9d9",
    "load": "#737373",
    "overrun": "#fed976",
    "driving": "#f0f0f0",
}

Across = Callable[[float], float]


@dataclass(frozen=True)
class Pane:
    """One picture's place and scale. top: px, high: px; low, most: values at its lower and upper edge."""

    top: float
    low: float
    most: float
    high: float = HIGH

    def y(self, value: float) -> float:
        """px of a value; what lies beyond is drawn on the edge."""
        return self.top + self.high * (self.most - min(self.most, max(self.low, value))) / (self.most - self.low)


def _scale(trims: Iterable[float]) -> tuple[float, float]:
    """Lower and upper edge, tens of per cent: as far as there is something, zero always among it."""
    known = [0.0, *trims]
    low, most = 10.0 * math.floor(min(known) / 10), 10.0 * math.ceil(max(known) / 10)
    return max(LOWEST, low if low < 0 else -10.0), min(HIGHEST, most if most > 0 else 10.0)


def log_svg(document: LogDocument) -> str:
    """The whole file."""
    d = clean(document)
    parts: list[str] = []
    y = float(HEAD)
    if d.picture.tracks:
        drawn, y = _drive(d.picture, y)
        parts += drawn
    banks = {bank.number: bank for bank in d.banks}
    for cloud in d.picture.clouds:
        if any(p.airflow > 0 for p in cloud.points):
            low, most = _scale([p.trim for p in cloud.points] + [t for _, curve in cloud.lines for _, t in curve])
            parts += _cloud(cloud, banks.get(cloud.bank), Pane(y, low, most))
            y += HIGH + BELOW_FLOW
    height = max(y - 30, 80)  # nothing comes after the last
    title = f"{d.name if len(d.name) <= FILE_NAME_WIDTH else d.name[: FILE_NAME_WIDTH - 3] + '...'}: fuel trims"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {LEFT + WIDE + 30} {height:.0f}" '
        f'font-family="sans-serif" font-size="12" fill="{INK}" role="img" aria-labelledby="log-t log-d">\n'
        f'<title id="log-t">{escape(title)}</title>\n<desc id="log-d">{escape(" ".join(d.says))}</desc>\n'
        f'<rect width="100%" height="100%" fill="white"/>\n'
        f'<text x="{LEFT}" y="22" font-size="15">{escape(title)}</text>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def _drive(picture: Picture, top: float) -> tuple[list[str], float]:
    """Trims of all banks on one clock, marks, and a lane for each quantity. Gives where the next picture begins."""
    end = max(picture.time[-1], 1.0) if picture.time else 1.0

    def x(seconds: float) -> float:
        return LEFT + WIDE * min(1.0, max(0.0, seconds / end))

    pane = Pane(top, *_scale(t for track in picture.tracks for t in track.trim if t is not None))
    parts = _legend(picture.tracks, top - 22)
    for track in picture.tracks:
        parts += _shading(picture, track, pane, x, len(picture.tracks))
    parts += _frame(pane)
    for track in picture.tracks:
        colour, dashes = LINES.get(track.bank, LINES[1])
        parts += _curves(picture.time, track.trim, pane, x, colour, dashes)
    parts += _gaps(picture, top, HIGH, x)
    y = top + HIGH
    if picture.marks:
        parts += _marks(picture, y + 6, x)
        y += MARKED
    parts += _phases(picture, y, x)
    y += 16
    for lane in picture.lanes:
        parts += _lane(picture, lane, y + BETWEEN, x)
        y += BETWEEN + LANE
    for minute in _minutes(end):
        parts.append(svg_text(x(60 * minute), y + 20, f"{minute:g} min", "middle"))
    parts += _phase_legend(picture, y + 32)
    return parts, y + BELOW_DRIVE


def _legend(tracks: Sequence[Track], y: float) -> list[str]:
    """Which line is which bank."""
    parts, at = [], float(LEFT)
    for track in tracks:
        colour, dashes = LINES.get(track.bank, LINES[1])
        said = f"Bank {track.bank}: trim, both together; shaded: it shows"
        parts += [
            f'<path d="M{at:.0f} {y - 4:.0f}h26" stroke="{colour}" stroke-width="2" fill="none"{dashes}/>',
            _rect(at + 30, y - 10, 12, 12, SHADED.get(track.bank, SHADED[1])),
            svg_text(at + 48, y, said),
        ]
        at += 70 + LETTER * len(said) + 20
    return parts


def _shading(picture: Picture, track: Track, pane: Pane, x: Across, banks: int) -> list[str]:
    """Where a bank's fault shows: over the whole height, or each bank its own half."""
    shows = [p is not None and p > SURE for p in track.showing]
    high = pane.high / banks
    top = pane.top + high * (track.bank - 1 if banks > 1 else 0)
    fill = SHADED.get(track.bank, SHADED[1])
    return [
        _rect(x(a), top, max(1.0, x(b) - x(a)), high, fill) for a, b, show in _stretches(picture.time, shows) if show
    ]


def _gaps(picture: Picture, top: float, high: float, x: Across) -> list[str]:
    """Where nothing was recorded; how long, where there is room to say it."""
    parts = []
    for a, b in picture.gaps:
        wide = x(b) - x(a)
        parts.append(_rect(x(a), top, max(1.0, wide), high, "#eee", edge=' stroke="#bbb" stroke-dasharray="2 3"'))
        said = f"not recorded: {(b - a) / 60:.0f} min" if b - a >= 90 else f"not recorded: {b - a:.0f} s"
        short = said.split(": ")[1]
        for words in (said, short):
            if LETTER * len(words) + 8 < wide:
                parts.append(svg_text(x(a) + wide / 2, top + high - 8, words, "middle"))
                break
    return parts


def _marks(picture: Picture, y: float, x: Across) -> list[str]:
    """Misfires and trouble codes, as marks; named as long as there is room, the rarer first."""
    labels = [mark.label for mark in picture.marks]
    parts: list[str] = []
    taken: list[tuple[float, float]] = []
    for mark in sorted(picture.marks, key=lambda mark: (labels.count(mark.label), mark.time)):
        at = x(mark.time)
        parts.append(f'<path d="M{at:.1f} {y:.1f}l4 7h-8z" fill="{SHOWS}"/>')
        a, b = at + 5, at + LETTER * len(mark.label) + 19
        if b < LEFT + WIDE and all(b <= c or d <= a for c, d in taken):
            parts.append(svg_text(a, y + 18, mark.label))
            taken.append((a, b))
    return parts


def _lane(picture: Picture, lane: Lane, top: float, x: Across) -> list[str]:
    """One quantity; its least and greatest value at its edges."""
    known = [v for v in lane.values if v is not None]
    parts = [f'<rect x="{LEFT}" y="{top:.1f}" width="{WIDE}" height="{LANE}" fill="none" stroke="#bbb"/>']
    low, most = (min(known), max(known)) if known else (0.0, 1.0)
    pane = Pane(top, low, most if most > low else low + 1.0, LANE)
    parts += [
        svg_text(LEFT, top - 5, f"{lane.name} ({lane.unit})"),
        svg_text(LEFT - 6, top + 10, f"{most:.4g}", "end"),
        svg_text(LEFT - 6, top + LANE - 4, f"{low:.4g}", "end"),
    ]
    return parts + _curves(picture.time, lane.values, pane, x, "#444", "") + _gaps_plain(picture, top, x)


def _gaps_plain(picture: Picture, top: float, x: Across) -> list[str]:
    return [_rect(x(a), top, max(1.0, x(b) - x(a)), LANE, "#eee") for a, b in picture.gaps]


def _curves(
    time: Sequence[float], values: Sequence[float | None], pane: Pane, x: Across, colour: str, dashes: str
) -> list[str]:
    parts = []
    for segment in _segments(time, values):
        path = " ".join(f"{x(t):.1f},{pane.y(v):.1f}" for t, v in segment)
        parts.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="1.2"{dashes}/>')
    return parts


def _phases(picture: Picture, y: float, x: Across) -> list[str]:
    """What the engine did, as a strip."""
    return [
        _rect(x(a), y + 4, max(0.5, x(b) - x(a)), 9, PHASE_FILL[phase], f"<title>{escape(phase)}</title>")
        for a, b, phase in _stretches(picture.time, picture.phases)
        if phase in PHASE_FILL
    ]


def _phase_legend(picture: Picture, y: float) -> list[str]:
    parts, at = [], float(LEFT)
    for phase in PHASE_FILL:
        if phase in picture.phases:
            edge = ' stroke="#777" stroke-width="0.5"'
            parts += [_rect(at, y, 10, 9, PHASE_FILL[phase], edge=edge), svg_text(at + 14, y + 9, phase)]
            at += 26 + LETTER * 1.1 * len(phase)
    return parts


def _cloud(cloud: Cloud, bank: BankFacts | None, pane: Pane) -> list[str]:
    top = pane.top
    points = [p for p in cloud.points if p.airflow > 0]
    low, high = min(p.airflow for p in points), max(p.airflow for p in points)
    high = max(high, 1.2 * low)

    def x(flow: float) -> float:
        return LEFT + WIDE * min(1.0, max(0.0, math.log(max(flow, low) / low) / math.log(high / low)))

    said = f"Bank {cloud.bank}: readings against airflow; circles: it shows; crosses: otherwise; lines: fitted"
    parts = [svg_text(LEFT, top - 8, said)]
    best = bank.fits.best if bank is not None and bank.fits is not None else None
    if best is not None:
        parts.append(svg_text(LEFT, top - 27, f"{family_words(best)[0]}: {amount(best)}"))
    parts += _frame(pane)
    for flow in (1, 2, 3, 5, 10, 20, 30, 50, 100, 200):
        if low <= flow <= high:
            parts.append(svg_text(x(flow), top + HIGH + 16, f"{flow} g/s", "middle"))
    for p in points:
        a, b = x(p.airflow), pane.y(p.trim)
        if p.showing:
            parts.append(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="2.6" fill="none" stroke="{SHOWS}"/>')
        else:
            cross = f"M{a - 2:.1f} {b - 2:.1f}l4 4m0 -4l-4 4"
            parts.append(f'<path d="{cross}" stroke="{RESTS}" fill="none"/>')
    for state, curve in cloud.lines:
        path = " ".join(f"{x(m):.1f},{pane.y(trim):.1f}" for m, trim in curve)
        colour, dash = (SHOWS, "") if state == "showing" else (RESTS, ' stroke-dasharray="7 4"')
        parts.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2.2"{dash}/>')
    return parts


def _frame(pane: Pane) -> list[str]:
    parts = [f'<rect x="{LEFT}" y="{pane.top:.1f}" width="{WIDE}" height="{pane.high}" fill="none" stroke="#888"/>']
    for trim in range(int(pane.low), int(pane.most) + 1, 10):
        y = pane.y(trim)
        ink = "#777" if trim == 0 else "#ddd"
        parts.append(f'<line x1="{LEFT}" x2="{LEFT + WIDE}" y1="{y:.1f}" y2="{y:.1f}" stroke="{ink}"/>')
        parts.append(svg_text(LEFT - 6, y + 4, f"{trim:+d} %" if trim else "0 %", "end"))
    return parts


def _segments(time: Sequence[float], values: Sequence[float | None]) -> Iterable[list[tuple[float, float]]]:
    """Stretches of known values, to be drawn as lines that are not joined over what is not known."""
    pause = _pause(time)
    segment: list[tuple[float, float]] = []
    for t, v in zip(time, values, strict=True):
        if segment and (v is None or t - segment[-1][0] > pause):
            if len(segment) > 1:
                yield segment
            segment = []
        if v is not None:
            segment.append((t, v))
    if len(segment) > 1:
        yield segment


def _stretches(time: Sequence[float], values: Sequence[_Value]) -> Iterable[tuple[float, float, _Value]]:
    """(from, to, value) of each stretch of equal values; none goes on over a pause in the recording."""
    pause, start = _pause(time), 0
    for i in range(1, len(time) + 1):
        paused = i < len(time) and time[i] - time[i - 1] > pause
        if i == len(time) or values[i] != values[start] or paused:
            yield time[start], time[i - 1] if i == len(time) or paused else time[i], values[start]
            start = i


def _pause(time: Sequence[float]) -> float:
    """Seconds between two moments beyond which nothing was recorded between them."""
    steps = sorted(b - a for a, b in pairwise(time))
    return 5 * steps[len(steps) // 2] if steps else math.inf


def _minutes(end: float) -> list[float]:
    step = next((s for s in (1, 2, 5, 10, 20, 30, 60, 120) if end / 60 / s <= 12), 240)
    return [i * step for i in range(int(end / 60 / step) + 1)]


def _rect(x: float, y: float, width: float, height: float, fill: str, inside: str = "", edge: str = "") -> str:
    size = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
    return f'<rect {size} fill="{fill}"{edge}>{inside}</rect>'
