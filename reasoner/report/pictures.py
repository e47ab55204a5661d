"""Small pictures of numbers in text: a bar, a row of steps. With block characters, or in plain ASCII."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TextIO

EIGHTHS = " ▏▎▍▌▋▊▉█"
LEVELS = "▁▂▃▄▅▆▇█"
PLAIN = "_.-=+*#@"  # rising, for streams without the others


def fine(out: TextIO) -> bool:
    """Whether a stream can show block characters."""
    try:
        (EIGHTHS + LEVELS).encode(out.encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        return False
    return True


def bar(share: float, width: int = 10, blocks: bool = True) -> str:
    """A share in 0..1 as a bar of `width` characters."""
    share = min(1.0, max(0.0, share))
    if not blocks:
        full = round(share * width)
        return "#" * full + "." * (width - full)
    eighths = round(share * width * 8)
    whole, rest = divmod(eighths, 8)
    return ("█" * whole + (EIGHTHS[rest] if rest else "")).ljust(width)


def steps(shares: Sequence[float], width: int = 60, blocks: bool = True) -> str:
    """Shares in 0..1 one after another, a character each; of more than `width`, evenly chosen ones and the last."""
    marks = LEVELS if blocks else PLAIN
    if len(shares) > width:
        shares = [shares[round(i * (len(shares) - 1) / (width - 1))] for i in range(width)]
    return "".join(marks[min(len(marks) - 1, int(min(1.0, max(0.0, s)) * len(marks)))] for s in shares)
