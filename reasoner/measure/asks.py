"""What a computation asks for, one thing at a time, and how the answer is read: text in, numbers or a Slip out."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from reasoner.measure.fuel import air_flow
from reasoner.measure.reading import LONGEST_READING, Reading, Slip, as_typed, place_values, read_number
from reasoner.measure.units import find_unit
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At
from reasoner.rulebook.problem import near

# ---- An operating point as a person types it -------------------------------------------------------------------------
# 3.1 g/s 750 rpm, or without an air meter 32 kPa 700 rpm 40 C.

USUAL_CHARGE_TEMPERATURE = 40.0  # degC of the charge where it is not said; judgement
METERED, COMPUTED = (
    0.03,
    0.10,
)  # share of an airflow that it may be off by (1 s.d.), as metered and from density; judgement
EXAMPLE_INPUT = "3.1 g/s 750 rpm"

_PART = re.compile(r"[-+−–]?\s?[0-9][0-9.,]*\s*[^0-9;]*")
# dimension -> (attribute, unit, least, most)
_BY_DIMENSION = {
    "mass/time": ("flow", "g/s", 0.2, 1000.0),
    "rotation": ("rpm", "rpm", 200.0, 12000.0),
    "pressure": ("pressure", "kPa", 8.0, 400.0),
    "temperature": ("celsius", "°C", -40.0, 150.0),
}


@dataclass(frozen=True)
class OperatingPoint:
    """flow in g/s, rpm, manifold pressure in kPa absolute, intake temperature in degC; None: not said.

    Without an airflow, speed and pressure are there.
    """

    flow: float | None = None
    rpm: float | None = None
    pressure: float | None = None
    celsius: float | None = None

    def air(self, litres: float | None, filling: float) -> tuple[float, float] | str:
        """g/s and the share of it that it may be off by, or what is lacking for it. filling: 0..1."""
        if self.flow is not None:
            return self.flow, METERED
        if self.rpm is None or self.pressure is None or litres is None:
            return "the displacement in litres, to work the airflow out from pressure and speed"
        celsius = USUAL_CHARGE_TEMPERATURE if self.celsius is None else self.celsius
        return air_flow(litres, self.rpm, self.pressure, filling, celsius), COMPUTED


def read_point(text: str) -> OperatingPoint | Slip:
    """Quantities told apart by their units; a number without one is the airflow, a second one the speed."""
    wanted = "airflow and engine speed, or manifold pressure, speed and intake temperature"
    if len(text) > LONGEST_READING:
        return Slip(as_typed(text), wanted, EXAMPLE_INPUT)
    parts = [part.strip(" ,;/@") for part in _PART.findall(text)]
    if not parts or _PART.sub("", text).strip(" ,;"):
        return Slip(as_typed(text), wanted, EXAMPLE_INPUT)
    found: dict[str, float] = {}
    for part in parts:
        typed = re.sub(r"^[-+−–]?\s?[0-9.,]+\s*", "", part)
        unit = find_unit(typed) if typed else None
        if typed and (unit is None or unit.dimension not in _BY_DIMENSION):
            return Slip(as_typed(part), f"{wanted}, each with its unit", EXAMPLE_INPUT)
        dimension = unit.dimension if unit else "rotation" if "flow" in found else "mass/time"
        name, counted, least, most = _BY_DIMENSION[dimension]
        if name in found:
            return Slip(as_typed(text), f"one number in {counted}")
        got = read_number(part, counted, least, most)
        if not isinstance(got, Reading):
            return got
        found[name] = got.value
    if "flow" not in found and not {"rpm", "pressure"} <= set(found):
        return Slip(as_typed(text), wanted, EXAMPLE_INPUT)
    return OperatingPoint(**found)


# ---- What a computation asks for, one thing at a time, and how the answer is read ------------------------------------
# Text in, numbers or a Mistake out.
#
# Inputs are kept as they were typed, so that whoever replays a case computes them again.

NOT_READ = frozenset({"", "?", "-", "n/a", "na", "none"})


@dataclass(frozen=True)
class Setting:
    """The engine it was read on. banks: the cylinders that each upstream sensor watches."""

    cylinders: int = 4
    banks: tuple[tuple[int, ...], ...] = ((1, 2, 3, 4),)

    def places(self, at: At) -> tuple[int, ...]:
        """Numbers of the places of a kind; 0 is the whole engine."""
        if at is At.ENGINE:
            return (0,)
        return tuple(range(1, 1 + (self.cylinders if at is At.CYLINDER else len(self.banks))))

    def share(self, bank: int) -> float:
        """The part of the engine's air that goes through a bank: by its number of cylinders."""
        return len(self.banks[bank - 1]) / self.cylinders


@dataclass(frozen=True)
class Inputs:
    """The inputs as numbers: by place, and operating points."""

    numbers: Mapping[str, Mapping[int, float]] = field(default_factory=dict)
    points: Mapping[str, OperatingPoint] = field(default_factory=dict)

    def get(self, name: str) -> float | None:
        return self.numbers.get(name, {}).get(0)

    def one(self, name: str, otherwise: float) -> float:
        """A number about the whole engine, or what is taken where it was not given."""
        return self.numbers.get(name, {}).get(0, otherwise)

    def by_place(self, name: str) -> dict[int, float]:
        return dict(self.numbers.get(name, {}))


def _always(given: Inputs) -> bool:
    return True


@dataclass(frozen=True)
class Ask:
    """One input. say: the question. at: a number for each place of this kind. needed: nothing can be done without.

    point: an operating point (see above) instead of a number. pairs: two numbers are added (short and long trim).
    car: a fact about the car, the same all through a case. live: names of the standard's quantities (`pids.py`) that
    together give it; a name with `{}` stands for the number of the bank. wanted: whether it is worth asking after what
    was given so far.
    """

    name: str
    say: str
    unit: str = ""
    least: float | None = None
    most: float | None = None
    at: At = At.ENGINE
    needed: bool = False
    point: bool = False
    pairs: bool = False
    car: bool = False
    live: tuple[str, ...] = ()
    wanted: Callable[[Inputs], bool] = field(default=_always, compare=False)

    @property
    def hint(self) -> str:
        """The unit, or the form where there is more to it."""
        return "g/s and rpm, or kPa, rpm and °C" if self.point else self.unit


def take_input(ask: Ask, text: str, setting: Setting) -> Mapping[int, float] | OperatingPoint | Mistake:
    """What was typed for one input. Never raises. Nothing typed: an empty mapping."""
    if text.strip().lower() in NOT_READ:
        return {}
    if ask.point:
        point = read_point(text)
        return _trouble(ask, point) if isinstance(point, Slip) else point
    if ask.at is At.ENGINE:
        got = read_number(text, ask.unit, ask.least, ask.most, pairs=ask.pairs)
        return {0: got.value} if isinstance(got, Reading) else _trouble(ask, got)
    placed = place_values(text, ask.unit, setting.places(ask.at), ask.least, ask.most, pairs=ask.pairs)
    if placed.slips:
        return _trouble(ask, placed.slips[0])
    return {place: reading.value for place, reading in placed.values.items()}


def take_inputs(asks: tuple[Ask, ...], texts: Mapping[str, str], setting: Setting) -> Inputs | tuple[Mistake, ...]:
    """All inputs, or everything that is wrong with them."""
    by_name = {ask.name: ask for ask in asks}
    troubles = [_unknown(name, by_name) for name in texts if name not in by_name]
    numbers: dict[str, Mapping[int, float]] = {}
    points: dict[str, OperatingPoint] = {}
    for ask in asks:
        got = take_input(ask, texts.get(ask.name, ""), setting)
        if isinstance(got, Mistake):
            troubles.append(got)
        elif isinstance(got, OperatingPoint):
            points[ask.name] = got
        elif got:
            numbers[ask.name] = got
        elif ask.needed:
            troubles.append(Mistake(ask.name, "this is needed", f"{ask.say}, in {ask.hint}" if ask.hint else ask.say))
    return tuple(troubles) or Inputs(numbers, points)


def _unknown(name: str, known: Mapping[str, Ask]) -> Mistake:
    meant = near(name, known)
    return Mistake(
        as_typed(name), "no such input", f'did you mean "{meant}"?' if meant else "one of: " + ", ".join(known)
    )


def _trouble(ask: Ask, slip: Slip) -> Mistake:
    return Mistake(ask.name, slip.said, f"perhaps: {slip.mend}" if slip.mend else "")
