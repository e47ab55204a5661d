"""A few shapes of SVG (W3C, SVG 2), as text: enough for the pictures of a report, drawn without a library.

Drawing libraries were looked at: the small ones bring scripts or fonts from elsewhere or no text alternatives, the
large ones take longer to load than the rest of a command. Colours come from the page (`currentColor`, classes), so that
one picture serves dark, light and paper. Every text is escaped here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


def svg_picture(name: str, title: str, told: str, width: float, height: float, parts: Iterable[str]) -> str:
    """A whole picture with its title and a text alternative (WAI-ARIA: role img, named by both). name: unique."""
    return (
        f'<svg class="picture" viewBox="0 0 {width:g} {height:g}" role="img" aria-labelledby="{name}-t {name}-d">'
        f'<title id="{name}-t">{escape(title)}</title><desc id="{name}-d">{escape(told)}</desc>{"".join(parts)}</svg>'
    )


def svg_text(x: float, y: float, said: str, anchor: str = "start", kind: str = "") -> str:
    """Text at a point, in the units of the picture. anchor: start, middle or end. kind: its class in the style."""
    style = f' class="{kind}"' if kind else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{style}>{escape(said)}</text>'


def svg_line(x1: float, y1: float, x2: float, y2: float, kind: str = "grid") -> str:
    """A straight line between two points. kind: its class in the style."""
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{kind}"/>'


def path(points: Sequence[tuple[float, float]], kind: str) -> str:
    """A line through points (x, y) in order. kind: its class in the style."""
    return f'<polyline points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in points)}" class="{kind}"/>'


def dot(x: float, y: float, kind: str, size: float = 3.5) -> str:
    """A dot. size: its radius, in the units of the picture."""
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:g}" class="{kind}"/>'


def set_apart(wanted: Sequence[float], least: float, low: float, high: float) -> list[float]:
    """Heights for labels near the wanted ones, in the same order, at least `least` apart, within low..high if they
    fit. wanted: any order."""
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed = [0.0] * len(wanted)
    at = low - least
    for i in order:
        at = max(at + least, wanted[i])
        placed[i] = at
    over = at - high
    for i in reversed(order):
        if over <= 0:
            break
        placed[i] -= over
        below = [placed[j] for j in order[: order.index(i)]]
        over = max(below, default=low - least) + least - placed[i]
    return placed
