"""Numbers as a person types them, in the unit asked for, one or one for each place; what cannot be taken is a Slip."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

from reasoner.measure.units import AMBIGUOUS, Unit, alike, convert, find_unit, plain_unit, with_unit
from reasoner.mistake import visible
from reasoner.rulebook.model import Measure

# ---- What a person typed that could not be taken ---------------------------------------------------------------------
# A value, never an exception, so that the good rest is kept.

QUOTED_LENGTH = 40  # characters of what stood there that are worth showing


@dataclass(frozen=True)
class Slip:
    """stood: what was typed (made visible, cut). expected: what would be right. mend: the nearest right text, or ""."""

    stood: str
    expected: str
    mend: str = ""

    @property
    def said(self) -> str:
        """What is wrong, as a sentence."""
        return f'"{self.stood}" is not taken. Wanted: {self.expected}.'

    @property
    def line(self) -> str:
        """What is wrong, and what would mend it, on one line."""
        return self.said + (f" Perhaps: {self.mend}" if self.mend else "")


def as_typed(text: str) -> str:
    """Text that is safe to print: control and other invisible characters as escapes, white space as one blank, cut."""
    return visible(" ".join(text[: 4 * QUOTED_LENGTH].split()), QUOTED_LENGTH)


# ---- Numbers as a person types them, in the unit that was asked for --------------------------------------------------
# What cannot be taken comes back as a Slip.

LONGEST_READING = 80  # characters; no reading is longer

PLAIN_SIGNS = str.maketrans({"−": "-", "–": "-", "—": "-", "‒": "-", "－": "-", "＋": "+"})
_NUMBER = re.compile(
    r"(?P<sign>[+-]?) ?(?P<digits>[0-9]{1,15}(?:[.,][0-9]{0,15})?|[.,][0-9]{1,15})(?![0-9.,']) ?(?P<unit>.*)"
)
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_ANY_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,15}(?:[.,][0-9]{1,15})?|[.,][0-9]{1,15})")
_LETTER_FOR_DIGIT = (
    (re.compile(r"(?<=[0-9.,])[oO]+(?![a-zA-Z])|(?<![a-zA-Z])[oO](?=[0-9.,])"), "0"),
    (re.compile(r"(?<=[0-9])[lI](?=[0-9])"), "1"),
)
_QUALIFIED = re.compile(r"(?i)(.*?)\(?(?:abs|absolute|gauge|g|a)\)?")
_PLUS = re.compile(r"(?<=[0-9%])\s*\+\s*(?=[-+]?\s?[0-9.,])")
_TWO_NUMBERS = re.compile(r"([+-]?[0-9.,]+)\s*%?\s+([+-][0-9.,]+)\s*%?")
_SHORT, _LONG, _TERM = r"(?:short|stft|st)", r"(?:long|ltft|lt)", r"(?:[ -]*term)?(?:\s*trim)?\s*[:=]?\s*"
_LABELLED = re.compile(
    rf"(?i)(?P<one>{_SHORT}|{_LONG}){_TERM}(?P<first>[-+.,0-9%\s]+?)\s*[,;/&+]?\s*(?:and\s+)?"
    rf"(?P<two>{_SHORT}|{_LONG}){_TERM}(?P<second>[-+.,0-9%\s]+)"
)


@dataclass(frozen=True)
class Reading:
    """A number in the unit asked for. note: what was done to it ("" = taken as typed)."""

    value: float
    unit: str
    note: str = ""


def read_number(
    text: str, unit: str, least: float | None = None, most: float | None = None, *, pairs: bool = False
) -> Reading | Slip:
    """One typed number as a Reading in `unit`, or a Slip. Never raises.

    A number without a unit is in the unit asked for. least, most: the bounds it must keep, in that unit. pairs: a
    short-term and a long-term trim (`-12 + -6`, `short -12 long -6`) count as their sum.
    """
    wanted = find_unit(unit) or Unit(unit, "", 1.0)
    if len(text) > LONGEST_READING:
        return Slip(as_typed(text), _expected(unit))
    typed = " ".join(text.translate(PLAIN_SIGNS).split())
    if pairs:
        parts = _pair(typed)
        if parts:
            return _sum(typed, parts, unit, wanted, least, most)
        two = _TWO_NUMBERS.fullmatch(typed)
        if two:
            return Slip(as_typed(text), "one number, or two to be added with a plus between", f"{two[1]} + {two[2]}")
    return _one(typed, unit, wanted, least, most)


def read_measure(text: str, measure: Measure) -> Reading | Slip:
    """A typed number for a check's measure: its unit, its bounds; two trims are added where the quantity is a trim."""
    return read_number(text, measure.unit, measure.least, measure.most, pairs=sums(measure))


def sums(measure: Measure) -> bool:
    """Whether two numbers typed for this measure are a short-term and a long-term trim to be added."""
    return measure.unit == "%" and "trim" in measure.quantity.lower()


def _expected(unit: str, least: float | None = None, most: float | None = None) -> str:
    counted = f" in {unit}" if unit else ""
    if least is not None and most is not None:
        return f"a number{counted}, {least:g} to {most:g}"
    if least is not None or most is not None:
        return f"a number{counted}, at least {least:g}" if least is not None else f"a number{counted}, at most {most:g}"
    return f"a number{counted}"


def _within(value: float, least: float | None, most: float | None) -> bool:
    return math.isfinite(value) and (least is None or value >= least) and (most is None or value <= most)


def _one(typed: str, name: str, wanted: Unit, least: float | None, most: float | None) -> Reading | Slip:
    """One number with or without a unit; `typed` has plain signs and single blanks."""
    match = _NUMBER.fullmatch(re.sub(r"(?i)^minus ", "-", typed))
    if not match:
        return Slip(as_typed(typed), _expected(name, least, most), _mended(typed, name, wanted))
    digits = match["digits"]
    value = float(match["sign"] + digits.replace(",", "."))
    given = _given(match["unit"], name, wanted)
    if isinstance(given, Slip):
        number = match["sign"] + digits
        mend = " or ".join(f"{number} {unit}" for unit in given.mend.split(" or ")) if given.mend else ""
        return Slip(as_typed(typed), given.expected, mend or _mended(typed, name, wanted))
    if _THOUSANDS.fullmatch(digits):
        thousands = float(match["sign"] + digits.replace(",", ""))
        possible = [v for v in (thousands, value) if _within(convert(v, given, wanted), least, most)]
        if len(possible) > 1:
            return Slip(as_typed(typed), "a number without a comma before three digits", f"{thousands:g} or {value:g}")
        value = possible[0] if possible else value
    taken = convert(value, given, wanted)
    if not _within(taken, least, most):
        mend = "" if match["unit"].strip() else _other_unit(value, wanted, least, most)
        return Slip(as_typed(typed), _expected(name, least, most), mend)
    note = "" if given.name == wanted.name else f"{with_unit(value, given.name)} = {with_unit(taken, name)}"
    return Reading(taken + 0.0, name, note)


def _given(text: str, name: str, wanted: Unit) -> Unit | Slip:
    """The unit typed behind a number; a Slip (expected, and the unit to write as mend) if it is none or a wrong one."""
    text = text.strip()
    if not text or plain_unit(text).lower() in (plain_unit(name).lower(), plain_unit(name).lower() + "s"):
        return wanted
    given = find_unit(text)
    if given is not None and given.dimension == wanted.dimension:
        return given
    if given is not None and given.dimension == "angle" and wanted.dimension == "temperature":
        return wanted  # `90 deg` where degC was asked for
    if plain_unit(text).lower() in AMBIGUOUS:
        return Slip("", _expected(name), " or ".join(AMBIGUOUS[plain_unit(text).lower()]))
    bare = _QUALIFIED.fullmatch(plain_unit(text))
    pressure = find_unit(bare[1]) if bare else None
    if pressure is not None and pressure.dimension == wanted.dimension == "pressure":
        counted = "counted from where the question says (absolute, or above the air)"
        return Slip("", f"{_expected(name)}, {counted}", pressure.name)
    if given is not None:
        return Slip("", f"{_expected(name)}; {given.name} is a unit of {given.dimension}")
    return Slip("", _expected(name))


def _as_digits(digit: str, found: re.Match[str]) -> str:
    return digit * len(found[0])


def _mended(typed: str, name: str, wanted: Unit) -> str:
    """The nearest text that can be read, or "": a letter for a digit, blanks in a number, words around one."""
    mended = typed
    for pattern, digit in _LETTER_FOR_DIGIT:
        mended = pattern.sub(partial(_as_digits, digit), mended)
    mended = re.sub(r"(?<=[0-9])[ '](?=[0-9]{3}(?:[^0-9]|$))", "", mended)
    match = _NUMBER.fullmatch(mended)
    if match and mended != typed and isinstance(_given(match["unit"], name, wanted), Unit):
        return mended
    found = _ANY_NUMBER.findall(mended)
    rest = _ANY_NUMBER.sub("", mended)
    units = [unit for word in rest.split() if (unit := find_unit(word)) is not None]
    if len(found) != 1 or any(c.isnumeric() for c in rest) or any(u.dimension != wanted.dimension for u in units):
        return ""  # two numbers, a fraction, another quantity: what is meant cannot be known
    return f"{found[0]} {units[0].name if units else name}".strip()


def _other_unit(value: float, wanted: Unit, least: float | None, most: float | None) -> str:
    """A number out of bounds that would keep them in another unit was probably read off in that one."""
    for unit in alike(wanted) if wanted.dimension != "share" else ():  # nobody reads a trim in ppm
        taken = convert(value, unit, wanted)
        if _within(taken, least, most):
            return f"{value:g} {unit.name}, if that is what was read off (= {with_unit(taken, wanted.name)})"
    return ""


def _pair(typed: str) -> tuple[str, str] | None:
    """The two trims of a pair, or None."""
    label = _LABELLED.fullmatch(typed)
    if label:
        same = bool(re.fullmatch(f"(?i){_SHORT}", label["one"])) == bool(re.fullmatch(f"(?i){_SHORT}", label["two"]))
        return None if same else (label["first"], label["second"])
    parts = _PLUS.split(typed)
    return (parts[0], parts[1]) if len(parts) == 2 else None


def _sum(
    typed: str, parts: tuple[str, str], name: str, wanted: Unit, least: float | None, most: float | None
) -> Reading | Slip:
    """Both trims added. The standard (SAE J1979) gives no rule; the sum is what workshops use, and is said."""
    values = [_one(" ".join(p.split()), name, wanted, None, None) for p in parts]
    slip = next((v for v in values if isinstance(v, Slip)), None)
    if slip is not None:
        return Slip(as_typed(typed), _expected(name), slip.mend and f"{parts[0].strip()} + {parts[1].strip()}")
    first, second = (v.value for v in values if isinstance(v, Reading))
    if not _within(first + second, least, most):
        return Slip(as_typed(typed), f"two numbers whose sum is {_expected(name, least, most)}")
    return Reading(first + second, name, f"sum of {with_unit(first, name)} and {with_unit(second, name)}")


# ---- Several typed numbers, one for each bank or cylinder ------------------------------------------------------------
# -18 / -2, 1=-18 2=-2, bank 1 -12 + -6, bank 2 -3 + 1.

LONGEST_LIST = 1000  # characters
NOT_LOOKED = frozenset({"", "?", "-", "x", "n/a", "na", "none"})

_PLACE = re.compile(
    r"(?i)(?<![\w.,+-])(?:(?:bank|cylinder|cyl|b|c)\.?\s*[#№]?\s*([0-9]{1,2})(?![0-9.,])\s*[:=]?|[#№]?([0-9]{1,2})\s*[:=])"
)
_BETWEEN = re.compile(r"\s+/\s+|/(?=\s*[-+−–?.0-9])|[;|\n]|,(?=\s)|,(?=[-+−–])")
_BARE = re.compile(r"[-+−–]?[.,]?[0-9][0-9.,]*%?(?:\s+[-+−–]?[.,]?[0-9][0-9.,]*%?)+")


@dataclass(frozen=True)
class Placed:
    """values: by place number, only those that were looked at and could be read."""

    values: Mapping[int, Reading] = field(default_factory=dict)
    slips: tuple[Slip, ...] = ()


def place_values(
    text: str,
    unit: str,
    places: Sequence[int],
    least: float | None = None,
    most: float | None = None,
    *,
    pairs: bool = False,
) -> Placed:
    """Numbers for several places, named or in order. Never raises. See `read_number` for unit, bounds and pairs.

    A place marked `?` or `-` was not looked at. Unnamed numbers must be as many as there are places.
    """
    if len(text) > LONGEST_LIST:
        return Placed(slips=(Slip(as_typed(text), f"{len(places)} numbers"),))
    named = list(_PLACE.finditer(text))
    if named and not text[: named[0].start()].strip():
        ends = [m.start() for m in named[1:]] + [len(text)]
        typed = [(int(m[1] or m[2]), _trimmed(text[m.end() : end])) for m, end in zip(named, ends, strict=True)]
    else:
        parts = [_trimmed(p) for p in _split(text, len(places))]
        if len(parts) != len(places):
            wanted = f"{len(places)} number{'s' if len(places) != 1 else ''}, or say which is which"
            return Placed(slips=(Slip(as_typed(text), wanted, _example(places, parts)),))
        typed = list(zip(places, parts, strict=True))
    return _read_all(typed, unit, places, least, most, pairs)


def how_many(text: str) -> int:
    """For how many places a text has numbers: the highest place named, or as many as stand there unnamed."""
    named = [int(m[1] or m[2]) for m in _PLACE.finditer(text[:LONGEST_LIST])]
    return max(named) if named else len(_split(text[:LONGEST_LIST], 2))


def placed_measure(text: str, measure: Measure, places: Sequence[int]) -> Placed:
    """Numbers for a check's measure at its places."""
    return place_values(text, measure.unit, places, measure.least, measure.most, pairs=sums(measure))


def _read_all(
    typed: list[tuple[int, str]],
    unit: str,
    places: Sequence[int],
    least: float | None,
    most: float | None,
    pairs: bool,
) -> Placed:
    values: dict[int, Reading] = {}
    slips: list[Slip] = []
    met: set[int] = set()
    for place, part in typed:
        if place not in places:
            slips.append(Slip(f"{place}: {as_typed(part)}", "one of the places " + ", ".join(map(str, places))))
        elif place in met:
            slips.append(Slip(f"{place}: {as_typed(part)}", f"one number for {place}"))
            values.pop(place, None)  # which of the two is meant cannot be known
        elif part.lower() not in NOT_LOOKED:
            got = read_number(part, unit, least, most, pairs=pairs)
            if isinstance(got, Reading):
                values[place] = got
            else:
                slips.append(Slip(f"{place}: {got.stood}" if len(places) > 1 else got.stood, got.expected, got.mend))
        met.add(place)
    return Placed(values, tuple(slips))


def _trimmed(part: str) -> str:
    return re.sub(r"(?i)\s+and$", "", part.strip().strip(",;/|").strip())


def _split(text: str, count: int) -> list[str]:
    parts = _BETWEEN.split(text.strip())
    if len(parts) == 1 and count > 1 and _BARE.fullmatch(text.strip()):
        return text.split()
    return parts


def _example(places: Sequence[int], parts: Sequence[str]) -> str:
    if not places or not parts or not parts[0]:
        return ""
    return " ".join(f"{place}={as_typed(part)}" for place, part in zip(places, parts, strict=False))
