"""Plain text in lines: for files, pipes and paper. No styles, nothing but spaces for layout."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

WIDTH = 80


def para(text: str, indent: int = 2, sign: str = "", width: int = WIDTH) -> list[str]:
    """A paragraph, wrapped; `sign` stands in front of its first line, and the rest is set in under it."""
    first = " " * indent + (f"{sign} " if sign else "")
    rest = " " * len(first)
    return textwrap.wrap(" ".join(text.split()), width, initial_indent=first, subsequent_indent=rest) or [
        first.rstrip()
    ]


def head(title: str, width: int = WIDTH) -> list[str]:
    """A heading, after an empty line."""
    return ["", *textwrap.wrap(title.upper(), width)]


def items(texts: Iterable[str], sign: str = "-", indent: int = 2, width: int = WIDTH) -> list[str]:
    return [line for text in texts for line in para(text, indent, sign, width)]


def section(title: str, texts: Sequence[str], sign: str = "-", width: int = WIDTH) -> list[str]:
    """A heading with its items; nothing where there are none."""
    return [*head(title, width), *items(texts, sign, width=width)] if texts else []


def columns(rows: Iterable[Sequence[str]], right: frozenset[int] = frozenset(), indent: int = 2) -> list[str]:
    """Rows as columns two spaces apart; `right`: the numbers of those set to the right."""
    table = [list(row) for row in rows]
    widths = [max(len(row[i]) for row in table) for i in range(len(table[0]))] if table else []
    found = []
    for row in table:
        cells = (c.rjust(w) if i in right else c.ljust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True)))
        found.append((" " * indent + "  ".join(cells)).rstrip())
    return found


def page(lines: Iterable[str]) -> str:
    return "\n".join(lines).strip("\n") + "\n"
