"""A log's pictures as one SVG file: the drive over time with spells shaded, and trim against airflow, bank by bank.

Made by hand, no library. Told apart by shape and lightness as well as by colour; text stays text.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import TypeVar

from reasoner.scanlog.document import Cloud, LogDocument, Picture, Track
from reasoner.session.plain import clean

Value = TypeVar("Value", bool, str)

WIDE, HIGH, LEFT = 1000, 260, 60  # of a panel and its left margin, in px
HEAD, BELOW_DRIVE, BELOW_FLOW = 58, 88, 60  # above the first panel; below each, for its scale and what comes next
NAME = 100  # characters of a file's name that fit above
TOP, BOTTOM, LOWEST = 25.0, -40.0, -80.0  # % of trim; the bottom goes down to what there is, as far as the lowest
SURE = 0.5
SHOWS, RESTS, SHADED, INK = "#b03030", "#3a6ea5", "#f2c9c9", "#222"
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


@dataclass(frozen=True)
class Pane:
    """One picture's place. top: px; bottom: % of trim at its lower edge."""

    top: int
    bottom: float

    def y(self, trim: float) -> float:
        """px of a trim; what lies beyond is drawn on the edge."""
        return self.top + HIGH * (TOP - min(TOP, max(self.bottom, trim))) / (TOP - self.bottom)


def _bottom(picture: Picture) -> float:
    """The lower edge of all pictures: tens of per cent, far enough down for what was seen."""
    trims = [t for track in picture.tracks for t in track.trim if t is not None]
    least = min([*trims, *(p.trim for cloud in picture.clouds for p in cloud.points)], default=BOTTOM)
    return max(LOWEST, min(BOTTOM, 10.0 * math.floor(least / 10)))


def log_svg(document: LogDocument) -> str:
    """The whole file."""
    d = clean(document)
    parts: list[str] = []
    y, bottom = HEAD, _bottom(d.picture)
    for track in d.picture.tracks:
        parts += _drive(d.picture, track, Pane(y, bottom))
        y += HIGH + BELOW_DRIVE
    for cloud in d.picture.clouds:
        parts += _cloud(cloud, Pane(y, bottom))
        y += HIGH + BELOW_FLOW
    height = max(y - 24, 80)  # nothing comes after the last
    title = f"{d.name if len(d.name) <= NAME else d.name[: NAME - 3] + '...'}: fuel trims"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {LEFT + WIDE + 20} {height}" '
        f'font-family="sans-serif" font-size="12" fill="{INK}">\n<title>{escape(title)}</title>\n'
        f'<rect width="100%" height="100%" fill="white"/>\n'
        f'<text x="{LEFT}" y="20" font-size="15">{escape(title)}</text>\n' + "\n".join(parts) + "\n</svg>\n"
    )


def _drive(picture: Picture, track: Track, pane: Pane) -> list[str]:
    end = max(picture.time[-1], 1.0) if picture.time else 1.0

    top = pane.top

    def x(seconds: float) -> float:
        return LEFT + WIDE * seconds / end

    parts = [_text(LEFT, top - 6, f"Bank {track.bank}: trim over time; shaded: it shows")]
    parts += _shading(picture, track, top, x)
    parts += _frame(pane)
    for minute in _minutes(end):
        parts += [_text(x(60 * minute), top + HIGH + 28, f"{minute:g} min", "middle")]
    for segment in _segments(picture.time, track.trim):
        path = " ".join(f"{x(t):.1f},{pane.y(v):.1f}" for t, v in segment)
        parts.append(f'<polyline points="{path}" fill="none" stroke="{RESTS}" stroke-width="1.2"/>')
    return parts + _phases(picture, top, x)


def _shading(picture: Picture, track: Track, top: int, x: Callable[[float], float]) -> list[str]:
    shows = [p is not None and p > SURE for p in track.showing]
    return [
        _rect(x(a), top, max(1.0, x(b) - x(a)), HIGH, SHADED)
        for a, b, show in _stretches(picture.time, shows)
        if show is True
    ]


def _phases(picture: Picture, top: int, x: Callable[[float], float]) -> list[str]:
    """What the engine did, as a strip with its legend."""
    parts = [
        _rect(x(a), top + HIGH + 4, max(0.5, x(b) - x(a)), 9, PHASE_FILL[phase], f"<title>{escape(phase)}</title>")
        for a, b, phase in _stretches(picture.time, picture.phases)
        if phase in PHASE_FILL
    ]
    at = LEFT
    for phase in PHASE_FILL:
        if phase in picture.phases:
            parts += [
                _rect(at, top + HIGH + 38, 10, 9, PHASE_FILL[phase], edge=' stroke="#777" stroke-width="0.5"'),
                _text(at + 14, top + HIGH + 47, phase),
            ]
            at += 24 + 7 * len(phase)
    return parts


def _cloud(cloud: Cloud, pane: Pane) -> list[str]:
    top = pane.top
    points = [p for p in cloud.points if p.airflow > 0]
    if not points:
        return []
    low, high = min(p.airflow for p in points), max(p.airflow for p in points)
    high = max(high, 1.2 * low)

    def x(flow: float) -> float:
        return LEFT + WIDE * math.log(flow / low) / math.log(high / low)

    parts = [
        _text(
            LEFT,
            top - 6,
            f"Bank {cloud.bank}: trim against airflow; circles, full line: it shows; crosses, dashes: quiet",
        ),
        *_frame(pane),
    ]
    for flow in (1, 2, 3, 5, 10, 20, 30, 50, 100, 200):
        if low <= flow <= high:
            parts.append(_text(x(flow), top + HIGH + 16, f"{flow} g/s", "middle"))
    for p in points:
        a, b = x(p.airflow), pane.y(p.trim)
        if p.showing:
            parts.append(f'<circle cx="{a:.1f}" cy="{b:.1f}" r="2.6" fill="none" stroke="{SHOWS}"/>')
        else:
            cross = f"M{a - 2:.1f} {b - 2:.1f}l4 4m0 -4l-4 4"
            parts.append(f'<path d="{cross}" stroke="{RESTS}" fill="none"/>')
    for state, curve in cloud.lines:
        path = " ".join(f"{x(max(m, low)):.1f},{pane.y(trim):.1f}" for m, trim in curve)
        shows = state == "showing"
        dash = "" if shows else ' stroke-dasharray="7 4"'
        colour = SHOWS if shows else RESTS
        parts.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2.2"{dash}/>')
    return parts


def _frame(pane: Pane) -> list[str]:
    parts = [f'<rect x="{LEFT}" y="{pane.top}" width="{WIDE}" height="{HIGH}" fill="none" stroke="#888"/>']
    for trim in range(int(pane.bottom), int(TOP) + 1, 10):
        y = pane.y(trim)
        ink = "#777" if trim == 0 else "#ccc"
        parts.append(f'<line x1="{LEFT}" x2="{LEFT + WIDE}" y1="{y:.1f}" y2="{y:.1f}" stroke="{ink}"/>')
        parts.append(_text(LEFT - 6, y + 4, f"{trim:+d} %" if trim else "0 %", "end"))
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


def _stretches(time: Sequence[float], values: Sequence[Value]) -> Iterable[tuple[float, float, Value]]:
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


def _text(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'


def _rect(x: float, y: float, width: float, height: float, fill: str, inside: str = "", edge: str = "") -> str:
    size = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
    return f'<rect {size} fill="{fill}"{edge}>{inside}</rect>'
