"""What a column's numbers can be, and what that says about the unit they are in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reasoner.measure import units
from reasoner.measure.units import Unit
from reasoner.scanlog.columns import (
    AIRFLOW,
    BY_NAME,
    LAMBDA,
    LAMBDA_WANTED,
    LOAD,
    MANIFOLD,
    RAIL,
    RAIL_WANTED,
    ROAD,
    SHORT,
    SINCE_START,
    TIME,
    TOTAL,
    ColumnUse,
    PlacedQuantity,
    Quantity,
)
from reasoner.scanlog.numerals import Array

PETROL_RATIO = 14.64  # air to fuel by mass that SAE J1979 counts petrol with, from memory
TRIM_SAMPLES = 100  # samples of a trim other than zero from which its steps can be told; judgement
CHANGE_LASTS = 30  # values on either side of a change of unit; judgement
JUMPS = 0.2  # of the greatest value, by which a change of unit moves a reading at least; judgement
COMES_BACK = 0.6  # of its greatest jump, that another one must not reach; judgement
DISTINCT = 8  # values that a trim takes near 1, from which it is a factor; judgement
AIR_ALIKE = 0.35  # natural log of air for each turn, before against after; judgement
WILD = (AIRFLOW, MANIFOLD, ROAD, LOAD)  # quantities that jump by themselves
SOME_WRONG = 0.02  # share of them from which another unit, in which all are possible, is the likelier; judgement
WRONG = 0.5  # share of impossible values beyond which it is the unit, not single readings; judgement
USUAL_IN_LOGS = {"°F", "psi", "bar", "mph", "lb/min", "MPa", "inHg", "kg/h", "mV", "mbar", "Pa"}  # what logs come in


@dataclass(frozen=True)
class Checked:
    """values: impossible ones blank. refused: how many those were. example: one of them. note: what to say."""

    values: Array
    use: ColumnUse
    refused: int = 0
    example: str = ""
    note: str = ""
    at: int = 0


@dataclass(frozen=True)
class Change:
    """A column whose unit changes on the way. at: index of the first value in the other unit. values: all in one."""

    values: Array
    at: int
    unit: str


def switched(key: PlacedQuantity, values: Array, use: ColumnUse, turns: Array | None = None) -> Change | None:
    """Where a column goes on in another unit: what follows fits what came before only if it is taken as that.

    Trims as factors and lambda as air-fuel ratio by where their values lie; other units by the jump itself, which must
    be what the units make of one and the same reading, and must stay. turns: engine speed, which airflow is held
    against.
    """
    quantity = BY_NAME[key.quantity]
    there = np.flatnonzero(np.isfinite(values))
    v = values[there]
    if len(v) < 2 * CHANGE_LASTS:
        return None
    if quantity.at == "bank" and quantity.unit == "%":
        change = _moved(values, there, (v > 0.5) & (v < 1.5), "factors", lambda x: 100.0 * (x - 1.0))
        moves = change is not None and len(np.unique(values[change.at :][np.isfinite(values[change.at :])])) >= DISTINCT
        return change if moves else None  # a trim may well stand at one step of its scaling, 0.78 %
    if quantity.name in (LAMBDA, LAMBDA_WANTED):
        return _moved(values, there, v > 7, "air to fuel by mass", lambda x: x / PETROL_RATIO)
    own = units.find_unit(quantity.unit)
    given = units.find_unit(use.unit) if use.unit_from != "assumed" else own
    if (
        own is None
        or given is None
        or given.dimension != own.dimension
        or quantity.name in (TIME, SINCE_START, RAIL, RAIL_WANTED)  # a rail's target steps by as much as units differ
        or own.dimension in ("number", "share", "voltage")
    ):
        return None
    step = np.abs(np.diff(v))
    usual = float(np.percentile(step, 99))
    if quantity.name not in WILD and (step > COMES_BACK * step.max()).sum() > 1:
        return None  # a unit changes once; a sensor whose contact is loose goes there and back
    spots = np.flatnonzero(step > max(3 * usual, JUMPS * np.abs(v).max()))
    for unit in _candidates(own):
        if unit.name == given.name or (
            unit.name not in USUAL_IN_LOGS and unit.name not in ("g/s", "km/h", "kPa", "°C")
        ):
            continue
        for i in spots[:20].tolist():
            a, b = max(0, i + 1 - CHANGE_LASTS), i + 1 + CHANGE_LASTS
            raw = (v[i + 1 :] * own.factor + own.offset - given.offset) / given.factor
            taken = (raw * unit.factor + unit.offset - own.offset) / own.factor
            if len(v) < b or abs(taken[0] - v[i]) > max(2 * usual, 0.03 * abs(v[i])):
                continue
            before, after = float(np.median(v[a : i + 1])), float(np.median(taken[:CHANGE_LASTS]))
            stays = abs(after - before) < abs(float(np.median(v[i + 1 : b])) - before) / 3
            if quantity.name in WILD and v[i + 1] != 0:
                with np.errstate(invalid="ignore", divide="ignore"):
                    stays = turns is not None and _same_a_turn(v / turns[there], i + 1, float(taken[0] / v[i + 1]))
            if stays:
                new = values.copy()
                new[there[i + 1 :]] = taken
                return Change(new, int(there[i + 1]), unit.name)
    return None


def _same_a_turn(each: Array, at: int, factor: float) -> bool:
    """Whether air for each turn is what it was, low and high, only if all after `at` is taken times `factor`."""
    before, after = each[:at], each[at:]
    before, after = before[np.isfinite(before)], after[np.isfinite(after)]
    if min(len(before), len(after)) < 2 * CHANGE_LASTS:
        return False
    ratios = np.percentile(after, [5, 50, 95]) * factor / np.percentile(before, [5, 50, 95])
    return bool((np.abs(np.log(np.maximum(ratios, 1e-6))) < AIR_ALIKE).all())


def _moved(
    values: Array, there: NDArray[np.intp], inside: NDArray[np.bool_], unit: str, convert: Callable[[Array], Array]
) -> Change | None:
    """From the last value that lies outside: all after it are of the other kind, most before it are not."""
    outside = np.flatnonzero(~inside)
    last = int(outside[-1]) if len(outside) else -1
    if last < CHANGE_LASTS or len(inside) - last - 1 < CHANGE_LASTS or inside[:last].mean() > 0.5:
        return None
    new = values.copy()
    new[there[last + 1 :]] = convert(values[there[last + 1 :]])
    return Change(new, int(there[last + 1]), unit)


def fahrenheit(key: PlacedQuantity, values: Array, use: ColumnUse) -> bool:
    """Whether a temperature without a unit can only be in degrees Fahrenheit; then all of its log are."""
    quantity = BY_NAME[key.quantity]
    finite = values[np.isfinite(values)]
    if quantity.unit != "°C" or use.unit_from != "assumed" or not len(finite):
        return False
    if _holds(quantity, finite) and _impossible(quantity, finite).mean() <= SOME_WRONG:
        return False
    other = _other_unit(quantity, finite)
    return other is not None and other.name == "°F"


def factors(key: PlacedQuantity, values: Array) -> bool:
    """Whether a trim is a factor near 1."""
    finite = values[np.isfinite(values)]
    if key.quantity not in (SHORT, TOTAL) or len(finite) < 10:
        return False
    return bool(finite.min() > 0.5 and finite.max() < 1.5 and np.ptp(finite) > 0)


def fractions(key: PlacedQuantity, values: Array) -> bool:
    """Whether a trim said to be per cent must be fractions: its steps are finer than per cents' and it goes nowhere.

    A short-term trim moves in steps of 100/128 % (SAE J1979, from memory) and over a drive by several per cent.
    """
    moving = values[np.isfinite(values) & (values != 0)]
    if key.quantity not in (SHORT, TOTAL) or len(moving) < TRIM_SAMPLES:
        return False
    return bool(np.abs(moving).max() <= 0.6 and np.ptp(moving) > 0.02 and np.median(np.abs(moving)) < 0.39)


def plausible_column(
    key: PlacedQuantity, values: Array, use: ColumnUse, as_fractions: bool = False, as_factors: bool = False
) -> Checked:
    """A column (in its quantity's unit, or in whatever it is where none was said) as far as it can be.

    as_fractions: this log's trims are fractions (`fractions`), whatever their header says; as_factors: factors near 1.
    """
    quantity = BY_NAME[key.quantity]
    finite = values[np.isfinite(values)]
    if not len(finite):
        return Checked(values, use)
    if as_fractions and quantity.at == "bank" and quantity.unit == "%" and np.abs(finite).max() <= 1:
        note = f"{key}: {_range(finite)} is no trim in %: taken as fractions"
        return replace(_cleaned(key, quantity, 100.0 * values, use), note=note)
    rescaled = _ratio(quantity, values, finite, use, as_factors)
    if rescaled is not None:
        return rescaled
    open_unit = use.unit_from == "assumed" and _impossible(quantity, finite).mean() > SOME_WRONG
    if _holds(quantity, finite) and not (open_unit and _other_unit(quantity, finite)):
        return _cleaned(key, quantity, values, use)
    if use.unit_from == "assumed" and quantity.unit:
        found = _other_unit(quantity, finite)
        if found is not None:
            own = units.find_unit(quantity.unit)
            assert own is not None
            new = (values * found.factor + found.offset - own.offset) / own.factor
            what = f"{key}: no unit is given, and {_range(finite)} cannot be {quantity.unit}: taken as {found.name}"
            use = replace(use, unit=found.name, unit_from="values", note=f"taken as {found.name}")
            return replace(_cleaned(key, quantity, new, use), note=what)
    if _impossible(quantity, finite).mean() > WRONG:
        other = _other_unit(quantity, finite)
        hint = f"; they could be {other.name}" if other is not None else ""
        what = f"{key}: {_range(finite)} cannot be {use.unit or quantity.unit or 'that'}{hint}: not used"
        return Checked(np.full(len(values), np.nan), replace(use, key=None, note="impossible values"), note=what)
    checked = _cleaned(key, quantity, values, use)
    what = f"{key}: {_range(finite)} {quantity.unit} is unusual: is the unit right?"
    return replace(checked, note=what)


def _ratio(quantity: Quantity, values: Array, finite: Array, use: ColumnUse, as_factors: bool) -> Checked | None:
    """Air-fuel ratios as lambda; trims written as a factor or a fraction as per cent."""
    middle = float(np.median(finite))
    if quantity.name in (LAMBDA, LAMBDA_WANTED) and 7 < middle < 25:
        note = f"{quantity.name}: an air-fuel ratio, divided by {PETROL_RATIO}"
        return replace(_cleaned(PlacedQuantity(quantity.name), quantity, values / PETROL_RATIO, use), note=note)
    if not (quantity.at == "bank" and quantity.unit == "%"):
        return None
    unit = units.find_unit(use.unit)
    plain = use.unit_from != "assumed" and unit is not None and unit.dimension == "number"
    factor = finite.min() > 0.5 and finite.max() < 1.5 and (as_factors or np.ptp(finite) > 0)
    if factor and (plain or as_factors or use.unit_from == "assumed"):
        note = f"{quantity.name}: a factor near 1, taken as per cent above and below"
        return replace(_cleaned(PlacedQuantity(quantity.name), quantity, 100.0 * (values - 1.0), use), note=note)
    if plain and np.abs(finite).max() <= 1.0:
        return replace(_cleaned(PlacedQuantity(quantity.name), quantity, 100.0 * values, use), note="")
    return None


def _holds(quantity: Quantity, finite: Array) -> bool:
    if _impossible(quantity, finite).mean() > WRONG:
        return False
    if quantity.usual is None:
        return True
    busy = finite[finite > 0] if quantity.usual[0] > 0 else finite
    return len(busy) == 0 or quantity.usual[0] <= float(np.median(busy)) <= quantity.usual[1]


def _impossible(quantity: Quantity, values: Array) -> Array:
    return np.asarray((values < quantity.least) | (values > quantity.most), dtype=float)


def _cleaned(key: PlacedQuantity, quantity: Quantity, values: Array, use: ColumnUse) -> Checked:
    with np.errstate(invalid="ignore"):
        wrong = (values < quantity.least) | (values > quantity.most)
    if not wrong.any():
        return Checked(values, use)
    example = f"{values[wrong][0]:g} {quantity.unit}".strip()
    return Checked(np.where(wrong, np.nan, values), use, int(wrong.sum()), example, at=int(np.argmax(wrong)))


def _other_unit(quantity: Quantity, finite: Array) -> Unit | None:
    """The first likely unit in which nearly all values can be."""
    own = units.find_unit(quantity.unit)
    if own is None:
        return None
    for unit in _candidates(own):
        if unit.name not in USUAL_IN_LOGS:
            continue
        values = (finite * unit.factor + unit.offset - own.offset) / own.factor
        if _impossible(quantity, values).mean() < 0.02 and _holds(quantity, values):
            return unit
    return None


def _candidates(own: Unit) -> tuple[Unit, ...]:
    if own.name == "g/s":
        return tuple(u for u in (units.find_unit("lb/min"), units.find_unit("kg/h")) if u is not None)
    return units.alike(own)


def _range(finite: Array) -> str:
    low, high = np.percentile(finite, [5, 95])
    return f"{low:.3g} to {high:.3g}"
