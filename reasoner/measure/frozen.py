"""A freeze frame as it is copied off a reader, in one line: `load 24, coolant 92, rpm 780, run 85, st -6 lt -14`.

Values may come in any order and each may be left out. They get the names that the standard's services give them, so
that a typed frame and one that was pasted are the same from there on.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from reasoner.measure.pids import Value
from reasoner.rulebook.quantity import KM_PER_MILE

# What people write -> the value's name and unit. With `{}` it has one for each bank.
NAMES: dict[str, tuple[str, str]] = {
    "load": ("calculated load", "%"),
    "coolant": ("coolant temperature", "°C"),
    "ect": ("coolant temperature", "°C"),
    "rpm": ("engine speed", "rpm"),
    "speed": ("road speed", "km/h"),
    "road speed": ("road speed", "km/h"),
    "vss": ("road speed", "km/h"),
    "run": ("time since start", "s"),
    "run time": ("time since start", "s"),
    "since start": ("time since start", "s"),
    "st": ("short-term fuel trim, bank {}", "%"),
    "short": ("short-term fuel trim, bank {}", "%"),
    "lt": ("long-term fuel trim, bank {}", "%"),
    "long": ("long-term fuel trim, bank {}", "%"),
    "map": ("manifold pressure", "kPa"),
    "maf": ("airflow", "g/s"),
    "airflow": ("airflow", "g/s"),
    "intake": ("intake air temperature", "°C"),
    "iat": ("intake air temperature", "°C"),
    "ambient": ("ambient temperature", "°C"),
    "throttle": ("throttle", "%"),
    "fuel level": ("fuel level", "%"),
    "level": ("fuel level", "%"),
    "baro": ("barometric pressure", "kPa"),
    "rail": ("fuel rail pressure", "bar"),
    "target": ("fuel rail pressure wanted", "bar"),
    "purge": ("purge duty", "%"),
    "front": ("upstream sensor", "V"),
    "rear": ("downstream sensor", "V"),
    "voltage": ("control unit voltage", "V"),
}
PARTS = re.compile(
    rf"({'|'.join(sorted(NAMES, key=len, reverse=True))}) ?([12](?=[ =:]))? ?[=:]? ?"
    r"([+\-\u2212]?\d+(?:[.,]\d+)?) ?(%|km/h|kmh|mph|rpm|kpa|bar|mpa|°c|c|f|°f|g/s|min|s|v)?"
    r"(?! ?[=:]? ?[+\-]?\d)(?![\w.])"
)
CODE = re.compile(r"\b[pbcu][0-3][0-9a-f]{3}\b")


@dataclass(frozen=True)
class Frame:
    """values: named as those of the standard's services. code: whose frame it is. unread: what was not understood."""

    values: tuple[Value, ...]
    code: str
    unread: str


def read_frame(line: str) -> Frame:
    """The values of one frame. Never raises."""
    text = " ".join(line.lower().replace(";", ",").split())
    code = CODE.search(text)
    rest = text if code is None else text.replace(code[0], " ")
    values = [_value(*match.groups()) for match in PARTS.finditer(rest)]
    unread = re.sub(r"open loop|closed loop|[,\s]+", " ", PARTS.sub(" ", rest)).strip()
    return Frame(tuple(values), code[0].upper() if code else "", " ".join(unread.split()))


def _value(said: str, bank: str | None, number: str, unit: str | None) -> Value:
    name, usual = NAMES[said]
    value = float(number.replace(",", ".").replace("\u2212", "-"))
    if unit == "mph":
        value *= KM_PER_MILE
    elif unit in ("f", "°f"):
        value = (value - 32) / 1.8
    elif unit == "min" and usual == "s":
        value *= 60
    elif unit == "mpa" and usual == "bar":
        value *= 10
    return Value(name.format(bank or 1), value, usual)
