"""Plain text in lines, for files, pipes and paper: paragraphs, columns, and small pictures of numbers in characters."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import TextIO

# ---- Plain text in lines ---------------------------------------------------------------------------------------------
# For files, pipes and paper. No styles, nothing but spaces for layout.

LINE_WIDTH = 80


def paragraph(text: str, indent: int = 2, sign: str = "", width: int = LINE_WIDTH) -> list[str]:
    """A paragraph, wrapped; `sign` stands in front of its first line, and the rest is set in under it."""
    first = " " * indent + (f"{sign} " if sign else "")
    rest = " " * len(first)
    return textwrap.wrap(" ".join(text.split()), width, initial_indent=first, subsequent_indent=rest) or [
        first.rstrip()
    ]


def heading(title: str, width: int = LINE_WIDTH) -> list[str]:
    """A heading, after an empty line."""
    return ["", *textwrap.wrap(title.upper(), width)]


def bullet_lines(texts: Iterable[str], sign: str = "-", indent: int = 2, width: int = LINE_WIDTH) -> list[str]:
    """Each text after a sign, wrapping under itself."""
    return [line for text in texts for line in paragraph(text, indent, sign, width)]


def section(title: str, texts: Sequence[str], sign: str = "-", width: int = LINE_WIDTH) -> list[str]:
    """A heading with its items; nothing where there are none."""
    return [*heading(title, width), *bullet_lines(texts, sign, width=width)] if texts else []


def in_columns(rows: Iterable[Sequence[str]], right: frozenset[int] = frozenset(), indent: int = 2) -> list[str]:
    """Rows as columns two spaces apart; `right`: the numbers of those set to the right."""
    table = [list(row) for row in rows]
    widths = [max(len(row[i]) for row in table) for i in range(len(table[0]))] if table else []
    found = []
    for row in table:
        cells = (c.rjust(w) if i in right else c.ljust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True)))
        found.append((" " * indent + "  ".join(cells)).rstrip())
    return found


def page(lines: Iterable[str]) -> str:
    """Lines as one text that ends with one line break."""
    return "\n".join(lines).strip("\n") + "\n"


# ---- Small pictures of numbers in text -------------------------------------------------------------------------------
# A bar, a row of steps. With block characters, or in plain ASCII.

EIGHTHS = " ▏▎▍▌▋▊▉█"
BAR_LEVELS = "▁▂▃▄▅▆▇█"
RISING = "_.-=+*#@"  # rising, for streams without the others


def stream_shows_blocks(out: TextIO) -> bool:
    """Whether a stream can show block characters."""
    try:
        (EIGHTHS + BAR_LEVELS).encode(out.encoding or "ascii")
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
    marks = BAR_LEVELS if blocks else RISING
    if len(shares) > width:
        shares = [shares[round(i * (len(shares) - 1) / (width - 1))] for i in range(width)]
    return "".join(marks[min(len(marks) - 1, int(min(1.0, max(0.0, s)) * len(marks)))] for s in shares)
