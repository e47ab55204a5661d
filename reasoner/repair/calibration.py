"""Calibration values of injectors, typed in twice by cylinder, and what looks wrong with them.

The value printed on a part belongs to that part wherever it sits, so it is entered by cylinder, not by firing order.
The usual slips: a cylinder left out, one value for two cylinders, two characters exchanged, two cylinders exchanged.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

Values = Mapping[int, str]  # cylinder -> value as printed
LOOK_ALIKE_LETTERS = str.maketrans("OQDISBZG", "00015826")  # letters that are read for digits and the other way round


@dataclass(frozen=True)
class ValueSlip:
    """kind: missed, stranger, equal, transposed, alike, differs, exchanged, firing order, old order. cylinders: which.

    one, other: the two values.
    """

    kind: str
    cylinders: tuple[int, ...]
    one: str = ""
    other: str = ""


def plain_value(value: str) -> str:
    """A value as it counts: no spaces or dashes, capitals."""
    return "".join(c for c in value.upper() if c.isalnum())


def slips(
    first: Values,
    second: Values,
    cylinders: Sequence[int],
    needed: Collection[int] = (),
    old: Values | None = None,
    firing_order: Sequence[int] = (),
) -> tuple[ValueSlip, ...]:
    """What looks wrong with values typed in twice. cylinders: those there are. needed: those that must have one (none
    named: all). old: what was stored before."""
    once, twice, before = (_plain(values) for values in (first, second, old or {}))
    both = [c for c in cylinders if c in once and c in twice]
    wanted = {*(needed or cylinders), *once, *twice} & set(cylinders)
    found = [ValueSlip("missed", (c,)) for c in sorted(wanted - set(both))]
    found += [ValueSlip("stranger", (c,)) for c in sorted({*once, *twice} - set(cylinders))]
    moved = _moved(once, twice, both, firing_order)
    found += moved or [_difference(c, once[c], twice[c]) for c in both if once[c] != twice[c]]
    found += [ValueSlip("equal", (a, b), twice[a]) for a, b in combinations(both, 2) if twice[a] == twice[b]]
    return (*found, *_against_old(twice, before, both))


def _plain(values: Values) -> dict[int, str]:
    return {cylinder: plain_value(value) for cylinder, value in values.items() if plain_value(value)}


def _moved(one: Values, other: Values, both: Sequence[int], firing_order: Sequence[int]) -> list[ValueSlip]:
    """The same values at other cylinders: typed in firing order once, or two exchanged."""
    moved = [c for c in both if one[c] != other[c]]
    if not moved or sorted(one[c] for c in moved) != sorted(other[c] for c in moved):
        return []
    order = [c for c in firing_order if c in both]
    if len(order) == len(both):
        by_number = dict(zip(sorted(order), order, strict=True))
        for typed, right in ((one, other), (other, one)):
            if all(typed[place] == right[cylinder] for place, cylinder in by_number.items()):
                return [ValueSlip("firing order", tuple(moved))]
    return [ValueSlip("exchanged", tuple(moved))]


def _difference(cylinder: int, one: str, other: str) -> ValueSlip:
    """How two readings of the same value differ."""
    if transposed(one, other):
        kind = "transposed"
    elif one.translate(LOOK_ALIKE_LETTERS) == other.translate(LOOK_ALIKE_LETTERS):
        kind = "alike"
    else:
        kind = "differs"
    return ValueSlip(kind, (cylinder,), one, other)


def transposed(one: str, other: str) -> bool:
    """Whether two neighbouring characters changed places."""
    at = [i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b]
    return (
        len(one) == len(other)
        and len(at) == 2
        and at[1] == at[0] + 1
        and one[at[0]] == other[at[1]]
        and one[at[1]] == other[at[0]]
    )


def _against_old(new: Values, old: Values, both: Sequence[int]) -> list[ValueSlip]:
    """New values that look like slips of what was stored: the old set in another order, or two characters exchanged."""
    known = [c for c in both if c in old]
    moved = [c for c in known if new[c] != old[c]]
    if len(moved) > 1 and sorted(new[c] for c in moved) == sorted(old[c] for c in moved):
        return [ValueSlip("old order", tuple(moved))]
    return [ValueSlip("transposed", (c,), old[c], new[c]) for c in moved if transposed(old[c], new[c])]
