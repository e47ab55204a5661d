"""The few shapes every screen is made of. Styles only repeat what the words and signs already say."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from reasoner.session.plain import glued, harmless

HEAD, QUIET, CARE, KEY, LEAD = "bold", "dim", "bold red", "bold", "bold"  # readable on dark and on light


def head(title: str, rest: str = "", style: str = HEAD) -> Text:
    """A heading in capitals, so that it stands out without colour; `rest` goes on in plain."""
    text = Text(harmless(title).upper(), style=style)
    return text.append("  " + glued(harmless(rest)), style="not bold default") if rest else text


def para(text: str, indent: int = 2, style: str = "") -> Padding:
    """One paragraph, harmless to a terminal, wrapped to its width."""
    return Padding(Text(glued(reflowed(harmless(text))), style=style), (0, 0, 0, indent))


def rows(pairs: Iterable[tuple[str, str]], indent: int = 2, style: str = KEY) -> Padding:
    """A key and its text, the text wrapping under itself."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True, justify="right")
    grid.add_column()
    for key, text in pairs:
        grid.add_row(Text(harmless(key), style=style), Text(glued(reflowed(harmless(text)))))
    return Padding(grid, (0, 0, 0, indent))


def table(
    lines: Sequence[Sequence[str]], styles: Sequence[str] = (), right: Sequence[int] = (), indent: int = 2
) -> Padding:
    """Columns of short texts. styles: one a line. right: columns set flush right."""
    grid = Table.grid(padding=(0, 2, 0, 0))
    for column in range(max((len(line) for line in lines), default=0)):
        grid.add_column(justify="right" if column in right else "left")
    for number, line in enumerate(lines):
        style = styles[number] if number < len(styles) else ""
        grid.add_row(*(Text(glued(harmless(cell)), style=style) for cell in line))
    return Padding(grid, (0, 0, 0, indent))


def numbered(texts: Iterable[str]) -> list[tuple[str, str]]:
    """Each text with the number it is chosen by."""
    return [(str(number), text) for number, text in enumerate(texts, start=1)]


def choices_block(pairs: Sequence[tuple[str, str]], width: int) -> Padding:
    """Choices with their keys: on one line where they fit, else one a line."""
    inline = "   ".join(f"{key} {text}" for key, text in pairs)
    if len(inline) + 2 > width:
        return rows(pairs)
    text = Text()
    for number, (key, label) in enumerate(pairs):
        text.append("   " if number else "").append(harmless(key), style=KEY).append(" " + glued(harmless(label)))
    return Padding(text, (0, 0, 0, 2))


def reflowed(text: str) -> str:
    """Lines broken by whoever wrote the rule are joined again; list items and empty lines keep their own line."""
    found: list[str] = []
    for line in text.strip().split("\n"):
        line = line.strip()
        if found and found[-1] and line and not re.match(r"(?:[-*\u2022]|\d+[.)])\s", line):
            found[-1] += " " + line
        else:
            found.append(line)
    return "\n".join(line for line in found if line)


def first_sentence(text: str) -> str:
    """What a text says first, without its full stop."""
    return re.split(r"(?<=[.!?])\s", reflowed(text), maxsplit=1)[0].removesuffix(".")


def first_clause(text: str) -> str:
    """What a caution is about, without what to do: `Belts and fans take fingers, hair and sleeves`."""
    return re.split(r"[:;]\s|(?<=[.!?])\s", reflowed(text), maxsplit=1)[0]
