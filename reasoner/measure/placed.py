"""Several typed numbers, one for each bank or cylinder: `-18 / -2`, `1=-18 2=-2`, `bank 1 -12 + -6, bank 2 -3 + 1`."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from reasoner.measure.reading import Reading, read, sums
from reasoner.measure.slip import Slip, as_typed
from reasoner.rulebook.model import Measure

LONGEST = 1000  # characters
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
    """Numbers for several places, named or in order. Never raises. See `reading.read` for unit, bounds and pairs.

    A place marked `?` or `-` was not looked at. Unnamed numbers must be as many as there are places.
    """
    if len(text) > LONGEST:
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
    named = [int(m[1] or m[2]) for m in _PLACE.finditer(text[:LONGEST])]
    return max(named) if named else len(_split(text[:LONGEST], 2))


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
            got = read(part, unit, least, most, pairs=pairs)
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
