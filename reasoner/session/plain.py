"""Text that is safe and easy to read, whatever typed it or wrote it into a rule. Imports nothing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

_T = TypeVar("_T")
SHOWN_FOR_UNPRINTABLE = "\ufffd"
GLUE = "\ue000"  # stands for a space at which no line is broken, while lines are laid out; nobody gets to see it
JOINER = "\u200d"  # joins emoji; the only format character that changes no order and hides nothing


def harmless(text: str) -> str:
    """The text with control characters, escape sequences' ESC, direction overrides and broken halves made visible.

    Line ends stay, tabs become spaces. A terminal obeys nothing that is left.
    """
    if text.isascii() and text.replace("\n", "").isprintable():
        return text
    return "".join(_harmless(c) for c in text.replace("\r\n", "\n").replace("\t", "    "))


def _harmless(character: str) -> str:
    if character in ("\n", JOINER) or unicodedata.category(character) not in ("Cc", "Cf", "Cs", "Zl", "Zp"):
        return character
    return SHOWN_FOR_UNPRINTABLE


def clean(document: _T) -> _T:
    """A document (dataclasses, tuples, mappings of plain values) with every text in it harmless."""
    return _clean(document)  # type: ignore[no-any-return]


def _clean(value: Any) -> Any:
    if isinstance(value, str):
        return harmless(value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: _clean(getattr(value, f.name)) for f in fields(value) if f.init})
    if isinstance(value, tuple | list):
        return type(value)(_clean(v) for v in value)
    if isinstance(value, Mapping):
        return {k: _clean(v) for k, v in value.items()}
    return value


def glued(text: str) -> str:
    """The text with every number kept on one line with its unit, until `unglued` after lines have been laid out."""
    return re.sub(r"(?<=\d) (?=(?:%|min|h)(?!\w))", GLUE, text)


def unglued(text: str) -> str:
    """The text with its glue as spaces again."""
    return text.replace(GLUE, " ")


def shortened(text: str, most: int = 40) -> str:
    """One line of at most `most` characters, for quoting what somebody typed."""
    text = " ".join(harmless(text).split())
    return text if len(text) <= most else text[: most - 3] + "..."


def thousands(value: float) -> str:
    """`1 250`: a sum or a distance, to whole ones."""
    return f"{value:,.0f}".replace(",", " ")


def time_text(minutes: float) -> str:
    """`35 min`, `1 h 20 min`, `8 h`."""
    whole = max(1, round(minutes))
    hours, rest = divmod(whole, 60)
    return " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest else "") if part)


def effort_text(minutes: float, waiting: float) -> str:
    """`20 min`, `20 min work and 8 h waiting`."""
    if waiting < 1:
        return time_text(minutes)
    return f"{time_text(minutes)} work and {time_text(waiting)} waiting"
