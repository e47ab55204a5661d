"""Cells of a log to numbers: plain numbers fast, everything else one by one; what cannot be read is told apart from
what was left blank."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import date

import numpy as np

from reasoner.measure.reading import PLAIN_SIGNS
from reasoner.network.activity import Array as Array

LONGEST_NUMBER = 60  # characters; no cell that means a number is longer
BLANK_CELLS = frozenset(
    {"", "-", "--", "---", "n/a", "na", "nan", "null", "none", "nil", "?", "no data", "nodata", "not available", "inf",
     "-inf", "+inf", "infinity", "-infinity", "#n/a", "."}
)  # fmt: skip
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)\s*(?P<digits>\d[\d.,' \u00a0]*|[.,]\d+)(?P<power>[eE][+-]?\d{1,3})?\s*"
    r"(?P<unit>[%°A-Za-zλ/µμ\"³²0-9]{0,10})"
)
_TIME = re.compile(
    r"(?:(?P<date>\d{1,4}[-./]\d{1,2}[-./]\d{1,4})[T ,;]*)?"
    r"(?P<h>\d{1,3}):(?P<m>\d{1,2})(?::(?P<s>\d{1,2}(?:[.,:]\d{1,9})?))?\s*(?P<half>[AaPp]\.?[Mm]\.?)?"
    r"\s*(?:Z|UTC|GMT|[+-]\d{2}:?\d{2})?"
)
_DATE = re.compile(r"(\d{1,4})([-./])(\d{1,2})\2(\d{1,4})")

_CODE = re.compile(r"(?<![A-Z0-9])[PCBU][0-3][0-9A-F]{3}(?![0-9A-Z])")
_NONE = frozenset({"-", "no codes", "no code", "none", "keine", "aucun", "ninguno", "nessuno", "brak", "geen"})

CLOSED, OPEN = 1.0, 0.0
_CLOSED = frozenset(
    {"closed", "cl", "yes", "on", "true", "geschlossen", "fermée", "fermé", "cerrado", "chiuso", "fechado", "gesloten"}
)
_OPEN = frozenset(
    {"open", "ol", "no", "off", "false", "unused", "offen", "ouverte", "ouvert", "abierto", "aperto", "aberto"}
)
# One bit of the status byte each: 2 and 16 are closed loop (SAE J1979, PID 03; from memory).
_STATUS_BITS = {0: OPEN, 1: OPEN, 2: CLOSED, 4: OPEN, 8: OPEN, 16: CLOSED}


def numbers(cells: Sequence[str]) -> tuple[Array, list[int]]:
    """Each cell as a number (NaN where blank or not readable), and the indexes of those not readable."""
    try:
        return _finite(np.array(list(map(float, cells)), dtype=float)), []
    except ValueError:
        pass
    try:
        return _finite(np.array([float(c) if c else math.nan for c in cells], dtype=float)), []
    except ValueError:
        return _slowly(cells, cell_number)


def cell_times(cells: Sequence[str]) -> tuple[Array, list[int], bool]:
    """`numbers` of cells that may hold clock times (`12:30:01.5`, a date or none) in seconds; and whether any did."""
    try:
        return _finite(np.array(list(map(float, cells)), dtype=float)), [], False
    except ValueError:
        pass
    values, bad = _slowly(cells, clock_or_number)
    return values, bad, any(":" in c for c in cells)


def statuses(cells: Sequence[str]) -> tuple[Array, list[int]]:
    """Fuel system status: 1 closed loop, 0 open, NaN blank."""
    return _slowly(cells, status)


def flags(cells: Sequence[str]) -> tuple[Array, list[int]]:
    """A lamp or a switch: 1 on, 0 off, NaN blank."""
    return _slowly(cells, flag)


def count_codes(cells: Sequence[str]) -> tuple[Array, list[int]]:
    """How many trouble codes a cell names; a number is taken as that many."""
    return _slowly(
        cells, lambda c: float(len(named)) if (named := codes_in(c)) else 0.0 if c in _NONE else cell_number(c)
    )


def codes_in(cell: str) -> list[str]:
    """Trouble codes named in a cell, each once, in order (form: SAE J2012 / ISO 15031-6, from memory)."""
    return list(dict.fromkeys(_CODE.findall(cell.upper())))


def dates(cells: Sequence[str]) -> tuple[Array, list[int]]:
    """Dates as seconds since an arbitrary day."""
    return _slowly(cells, lambda c: None if (day := day_number(c)) is None else 86400.0 * day)


def _finite(values: Array) -> Array:
    values[~np.isfinite(values)] = np.nan
    return values


def _slowly(cells: Sequence[str], read: object) -> tuple[Array, list[int]]:
    """One by one, each different text once. read: text -> number, or None where it is not readable."""
    known: dict[str, float | None] = {}
    values = np.empty(len(cells))
    bad: list[int] = []
    for i, cell in enumerate(cells):
        if cell in known:
            value = known[cell]
        else:
            text = cell.strip().strip("\"'").strip()
            value = math.nan if text.lower() in BLANK_CELLS else read(text) if len(text) <= LONGEST_NUMBER else None  # type: ignore[operator]
            if len(known) < 20000:
                known[cell] = value
        if value is None:
            bad.append(i)
            value = math.nan
        values[i] = value
    return values, bad


def cell_number(text: str) -> float | None:
    """`12.5`, `12,5`, `1.234,5`, `-7.8 %`, `1e3`; None if it is no number. Its unit, if any, is not looked at."""
    match = _NUMBER.fullmatch(text.translate(PLAIN_SIGNS))
    if match is None:
        return None
    digits = re.sub(r"[' \u00a0]", "", match["digits"])
    comma, point = digits.rfind(","), digits.rfind(".")
    if comma >= 0 and point >= 0:  # the later one is the decimal mark, the other groups thousands
        digits = digits.replace("." if comma > point else ",", "")
    if digits.count(",") > 1 or digits.count(".") > 1:
        return None
    try:
        value = float(match["sign"] + digits.replace(",", ".") + (match["power"] or ""))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def clock_or_number(text: str) -> float | None:
    """A clock time as seconds (since the year 1 where it has a date), or a plain number; None if it is neither."""
    match = _TIME.fullmatch(text)
    if match is None:
        return cell_number(text)
    day = 0
    if match["date"]:
        found = day_number(match["date"])
        if found is None:
            return None
        day = found
    seconds = (match["s"] or "0").replace(",", ".").replace(":", ".")
    hour, minute, second = int(match["h"]), int(match["m"]), float(seconds)
    if minute > 59 or second >= 61:
        return None
    if match["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match["half"][0] in "Pp" else 0)
    return 86400.0 * day + 3600.0 * hour + 60.0 * minute + second


def day_number(text: str) -> int | None:
    """Days since year 1. `2026-05-31`, `31.5.2026`, `31/5/2026`; `5/31/2026` where it cannot be the other way."""
    match = _DATE.fullmatch(text.strip())
    if match is None:
        return None
    a, b, c = int(match[1]), int(match[3]), int(match[4])
    year, month, day = (a, b, c) if len(match[1]) == 4 else (c if c > 99 else 2000 + c, b, a)
    if month > 12 >= day and len(match[1]) != 4:
        month, day = day, month
    try:
        return date(year, month, day).toordinal()
    except ValueError:
        return None


def flag(text: str) -> float | None:
    """One cell of a lamp or a switch."""
    small = text.lower()
    if small in ("on", "true", "yes", "lit", "1", "1.0", "an", "ein", "ja", "oui", "si", "allumé", "flashing"):
        return 1.0
    return 0.0 if small in ("off", "false", "no", "0", "0.0", "aus", "nein", "non", "éteint") else None


def status(text: str) -> float | None:
    """One cell of a fuel system status, as a number (its bits) or in words."""
    value = cell_number(text) if text[:1].isdigit() else None
    if value is not None:
        return _STATUS_BITS.get(int(value)) if value == int(value) else None
    small = text.lower()
    words = set(re.findall(r"[a-zéę]+", small))
    if words & _CLOSED:
        return CLOSED
    if words & _OPEN or "not in use" in small:
        return OPEN
    return None
