"""An operating point as a person types it: `3.1 g/s 750 rpm`, or without an air meter `32 kPa 700 rpm 40 C`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from reasoner.measure.air import air_flow
from reasoner.measure.reading import LONGEST, Reading, read
from reasoner.measure.slip import Slip, as_typed
from reasoner.measure.units import find

INTAKE = 40.0  # degC of the charge where it is not said; judgement
METERED, COMPUTED = (
    0.03,
    0.10,
)  # share of an airflow that it may be off by (1 s.d.), as metered and from density; judgement
EXAMPLE = "3.1 g/s 750 rpm"

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
        celsius = INTAKE if self.celsius is None else self.celsius
        return air_flow(litres, self.rpm, self.pressure, filling, celsius), COMPUTED


def read_point(text: str) -> OperatingPoint | Slip:
    """Quantities told apart by their units; a number without one is the airflow, a second one the speed."""
    wanted = "airflow and engine speed, or manifold pressure, speed and intake temperature"
    if len(text) > LONGEST:
        return Slip(as_typed(text), wanted, EXAMPLE)
    parts = [part.strip(" ,;/@") for part in _PART.findall(text)]
    if not parts or _PART.sub("", text).strip(" ,;"):
        return Slip(as_typed(text), wanted, EXAMPLE)
    found: dict[str, float] = {}
    for part in parts:
        typed = re.sub(r"^[-+−–]?\s?[0-9.,]+\s*", "", part)
        unit = find(typed) if typed else None
        if typed and (unit is None or unit.dimension not in _BY_DIMENSION):
            return Slip(as_typed(part), f"{wanted}, each with its unit", EXAMPLE)
        dimension = unit.dimension if unit else "rotation" if "flow" in found else "mass/time"
        name, counted, least, most = _BY_DIMENSION[dimension]
        if name in found:
            return Slip(as_typed(text), f"one number in {counted}")
        got = read(part, counted, least, most)
        if not isinstance(got, Reading):
            return got
        found[name] = got.value
    if "flow" not in found and not {"rpm", "pressure"} <= set(found):
        return Slip(as_typed(text), wanted, EXAMPLE)
    return OperatingPoint(**found)
