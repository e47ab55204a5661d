"""Units a workshop uses, and exact conversion between those of one kind.

Factors: NIST Special Publication 811 (2008), appendix B, built up from definitions that are exact: international inch,
mile and pound, 0 degC = 273.15 K, standard gravity, conventional mercury 13 595.1 kg/m3 and water 1000 kg/m3.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

INCH = 0.0254  # m
MILE = 1609.344  # m
POUND = 0.45359237  # kg
GRAVITY = 9.80665  # m/s2, standard
PSI = POUND * GRAVITY / INCH**2  # Pa
MERCURY = 13.5951 * GRAVITY  # Pa in a millimetre of conventional mercury
ABSOLUTE = {"c": 273.15, "f": 459.67 * 5 / 9}  # what a temperature needs added, in K
SHOWN_WITHOUT = ("", "lambda")  # units that are not written behind a number


@dataclass(frozen=True)
class Unit:
    """name as written to a person. factor: how many base units of its dimension it is; offset: in base units."""

    name: str
    dimension: str
    factor: float
    offset: float = 0.0


# dimension: (spellings, the first being the name; factor to the base unit of the dimension), the commonest first.
# Spellings have no blanks and no dots; capitals matter only where two units differ by them (mA and MA, k and K).
_TABLE: dict[str, tuple[tuple[str, float], ...]] = {
    "number": (("lambda λ", 1.0),),
    "share": (("% percent pct per-cent vol% %vol", 1e-2), ("ppm", 1e-6), ("‰", 1e-3)),
    "temperature": (("°C C degC celsius", 1.0), ("°F F degF fahrenheit", 5 / 9), ("K kelvin", 1.0)),
    "pressure": (
        ("kPa", 1e3),
        ("psi lbf/in2 lb/in2", PSI),
        ("bar bars", 1e5),
        ("MPa", 1e6),
        ("mbar millibar hPa", 1e2),
        ('inHg "hg inchhg incheshg inmercury', MERCURY * 25.4),
        ("mmHg", MERCURY),
        ("Pa", 1.0),
        ("kgf/cm2 kg/cm2 at", GRAVITY * 1e4),
        ("inH2O inwater", GRAVITY * 25.4),
        ("cmH2O", GRAVITY * 10),
        ("mmH2O", GRAVITY),
        ("atm", 101325.0),
        ("torr", 101325.0 / 760),
    ),
    "mass": (
        ("g gram grams gm", 1e-3),
        ("mg", 1e-6),
        ("kg", 1.0),
        ("lb lbs lbm pound pounds", POUND),
        ("oz", POUND / 16),
    ),
    "time": (
        ("min mins minute minutes", 60.0),
        ("s sec secs second seconds", 1.0),
        ("h hr hrs hour hours", 3600.0),
        ("ms msec millisecond milliseconds", 1e-3),
        ("μs us", 1e-6),
        ("d day days", 86400.0),
    ),
    "length": (
        ("mm", 1e-3),
        ("in inch inches", INCH),
        ("km kms", 1e3),
        ("mi mile miles", MILE),
        ("m metre metres meter meters", 1.0),
        ("cm", 1e-2),
        ("μm um micron microns", 1e-6),
    ),
    "volume": (
        ("mL ml cc ccm cm3", 1e-6),
        ("L l litre litres liter liters dm3", 1e-3),
        ("mm3 cmm μL ul", 1e-9),
        ("US-gal usgal", 231 * INCH**3),
        ("imp-gal impgal", 4.54609e-3),
        ("in3 cuin cid cubicinch cubicinches", INCH**3),
    ),
    "length/time": (("km/h kmh kph kmph", 1 / 3.6), ("mph", MILE / 3600), ("m/s mps", 1.0)),
    "rotation": (("rpm 1/min r/min rev/min min-1 revs", 1.0),),
    "frequency": (("Hz hertz", 1.0), ("kHz", 1e3)),
    "voltage": (("V volt volts v", 1.0), ("mV millivolt millivolts", 1e-3), ("kV", 1e3)),
    "current": (("A amp amps ampere amperes", 1.0), ("mA milliamp milliamps", 1e-3), ("μA uA", 1e-6)),
    "resistance": (
        ("ohm ohms Ω R", 1.0),
        ("kohm kohms kΩ k", 1e3),
        ("Mohm Mohms MΩ M megohm megohms", 1e6),
        ("milliohm milliohms mΩ", 1e-3),
    ),
    "angle": (("deg ° degree degrees", 1.0),),
    "viscosity": (("mm2/s cSt centistokes centistoke", 1e-6),),
}
# Spellings whose small letters alone leave two units open: they are refused, not guessed.
AMBIGUOUS = {"mohm": ("milliohm", "megohm"), "mohms": ("milliohm", "megohm"), "gal": ("US-gal", "imp-gal")}


def _rows() -> Iterator[tuple[str, Unit]]:
    for dimension, rows in _TABLE.items():
        for spellings, factor in rows:
            names = spellings.split()
            offset = ABSOLUTE.get(names[0].lower().lstrip("°"), 0.0) if dimension == "temperature" else 0.0
            unit = Unit(names[0], dimension, factor, offset)
            for name in names:
                yield name, unit


_EXACT = dict(_rows())
_SMALL: dict[str, Unit] = {}
for _name, _unit in _EXACT.items():
    _SMALL.setdefault(_name.lower(), _unit)


def plain_unit(text: str) -> str:
    """A unit's spelling without what does not matter: blanks, dots, kinds of degree sign and of micro."""
    text = text.replace("º", "°").replace("˚", "°").replace("℃", "°C").replace("℉", "°F")
    text = unicodedata.normalize("NFKC", text).replace("³", "3").replace("²", "2")
    return re.sub(r"\bper\b", "/", text).replace(" ", "").replace("\t", "").replace(".", "")


@lru_cache(256)
def find_unit(text: str) -> Unit | None:
    """The unit of this spelling (`kPa`, `in hg`, `g/s`, `lb per min`, `kPa/min`), or None."""
    name = plain_unit(text[:40])
    if name in _EXACT:
        return _EXACT[name]
    small = name.lower()
    if small in AMBIGUOUS:
        return None
    if small in _SMALL:
        return _SMALL[small]
    above, slash, below = name.partition("/")
    if not slash or not above or "/" in below:
        return None
    top, bottom = find_unit(above), find_unit(below)
    if top is None or bottom is None or top.offset or bottom.offset:
        return None
    return Unit(f"{top.name}/{bottom.name}", f"{top.dimension}/{bottom.dimension}", top.factor / bottom.factor)


def alike(unit: Unit) -> tuple[Unit, ...]:
    """The other units of the same dimension, the commonest first."""
    return tuple(dict.fromkeys(u for u in _EXACT.values() if u.dimension == unit.dimension and u.name != unit.name))


def convert(value: float, given: Unit, wanted: Unit) -> float:
    """A value in another unit of the same dimension. Raises ValueError between dimensions.

    Into kelvin a temperature is taken as a difference (9 F are 5 K): that is what workshops use kelvin for.
    """
    if given.dimension != wanted.dimension:
        raise ValueError(f"{given.name} is {given.dimension}, {wanted.name} is {wanted.dimension}")
    if given.name == wanted.name:
        return value
    if wanted.name == "K":
        return value * given.factor
    return (value * given.factor + given.offset - wanted.offset) / wanted.factor


def with_unit(value: float, unit: str) -> str:
    """`241.3 kPa`, `14 %`; four figures, which is more than a gauge shows."""
    number = f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"
    return number if unit in SHOWN_WITHOUT else f"{number} {unit}"
