"""`worked out by` of a check: a computation, and which of its figures mean which outcome.

They themselves are in `reasoner/measure/computations/`; what they are called and what they find is said here, so that a
rule that names one is checked without it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from reasoner.mistake import shorten
from reasoner.rulebook import quantity, shapes
from reasoner.rulebook.fields import ReaderContext, as_map
from reasoner.rulebook.model import At, Band, Computed, Measure, Within
from reasoner.rulebook.problem import Unreadable, choices_of, near
from reasoner.yaml_tree import Map, Node, Text

REST = "the rest"


@dataclass(frozen=True)
class Signature:
    """at: the places it finds something about. figures: name -> unit, the main one first. kinds: name -> its kinds."""

    at: At
    figures: Mapping[str, str]
    kinds: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def main(self) -> tuple[str, str]:
        return next(iter(self.figures.items()))


SIGNATURES: Mapping[str, Signature] = {
    "trims by airflow": Signature(
        At.BANK,
        {"widest": "%", "leak": "mL/min", "scale": "%", "each time": "mg", "reached": ""},
        {"shape": ("by time", "by injection", "by share", "with load")},
    ),
    "trim sum": Signature(At.BANK, {"total fuel trim": "%"}),
    "volumetric efficiency": Signature(At.ENGINE, {"volumetric efficiency": "%"}),
    "airflow by litre": Signature(At.ENGINE, {"airflow a litre": "g/s"}),
    "manifold pressure": Signature(At.ENGINE, {"manifold pressure": "kPa"}),
    "pressures at rest": Signature(At.ENGINE, {"manifold": "kPa", "barometer": "kPa"}),
    "cold soak": Signature(At.ENGINE, {"coolant": "°C", "intake": "°C", "outside": "°C"}),
    "frozen point": Signature(
        At.ENGINE,
        {"load": "%", "road speed": "km/h", "engine speed": "rpm", "coolant": "°C", "time since start": "s"},
    ),
    "frozen values": Signature(
        At.ENGINE,
        {
            "purge": "%",
            "fuel level": "%",
            "fuel system": "",
            "coolant": "°C",
            "time since start": "s",
            "intake over outside": "°C",
            "rail off target": "%",
            "idle air": "times",
        },
    ),
    "frozen at the banks": Signature(At.BANK, {"short": "%", "long": "%", "rear": "V"}),
    "frozen against now": Signature(At.ENGINE, {"against now": "times"}),
    "frozen amount": Signature(At.ENGINE, {"surplus as a share of an idle's fuel": ""}),
    "read at the banks": Signature(At.BANK, {"total fuel trim": "%", "short": "%", "long": "%", "purge": "%"}),
    "voltage behind the catalyst": Signature(At.BANK, {"voltage behind the catalyst": "V"}),
    "temperatures when warm": Signature(At.ENGINE, {"coolant": "°C", "intake": "°C", "intake over outside": "°C"}),
    "exhaust gas": Signature(At.ENGINE, {"lambda": "", "trim": "%", "unburnt": "%"}),
    "rail hold": Signature(At.ENGINE, {"time until the rail pressure has halved": "min", "leak": "mm3/min"}),
    "low side hold": Signature(At.ENGINE, {"open": "kPa", "supply shut": "kPa", "return shut": "kPa"}),
    "rail against target": Signature(At.ENGINE, {"off target": "%", "off at rest": "MPa"}),
    "rich after a start": Signature(At.BANK, {"seconds rich": "s", "at first": "s", "seconds lean": "s"}),
    "purge on and off": Signature(At.ENGINE, {"trim moves": "%"}),
    "trims as it warms": Signature(At.ENGINE, {"comes with warmth": "%"}),
    "against its own": Signature(
        At.ENGINE,
        {
            "trim moved": "%",
            "air over its own": "%",
            "temperature below its own": "°C",
            "pressure off its own": "%",
        },
    ),
    "lambda against target": Signature(At.BANK, {"lambda off target": "lambda"}),
    "banks against each other": Signature(At.ENGINE, {"time opposite": "%"}),
    "warming up": Signature(At.ENGINE, {"minutes to 70 °C": "min", "cannot be": "%"}),
    "misfire counts": Signature(At.CYLINDER, {"against the others": "times", "count": ""}),
    "cut-out balance": Signature(At.CYLINDER, {"drop": "%", "trim comes back": "%"}),
    "injector bench": Signature(At.CYLINDER, {"flow": "%", "leak": "mm3/min"}),
    "plug ranks": Signature(At.CYLINDER, {"rank": ""}),
    "leaker and others": Signature(At.ENGINE, {"leaker": "", "others": ""}),
    "fuel in oil": Signature(At.ENGINE, {"fuel in oil": "%"}),
    "purge": Signature(At.ENGINE, {"trim": "%", "fuel": "g/s"}),
    "fuel blend": Signature(At.ENGINE, {"trim": "%", "air-fuel ratio": "", "missing ethanol": "%"}),
    "injector flow": Signature(At.ENGINE, {"trim": "%", "flow": "mL/min"}),
}

_FIGURE = {"anyOf": [shapes.text_like(quantity.BAND), shapes.TEXT]}
_OUTCOMES = shapes.map_shape(
    shapes.TEXT, {"anyOf": [{"const": REST}, {"type": "object", "additionalProperties": _FIGURE}]}
)
SHAPE: shapes.JsonShape = {
    "anyOf": [
        {"enum": list(SIGNATURES)},
        {
            "type": "object",
            "properties": dict.fromkeys(SIGNATURES, _OUTCOMES),
            "additionalProperties": False,
            "minProperties": 1,
            "maxProperties": 1,
        },
    ]
}


def read_computed(
    context: ReaderContext, node: Node, outcomes: tuple[str, ...], at: At, measure: Measure | None
) -> Computed | None:
    """The key's value; None with everything wrong noted.

    A name alone takes the bands of the check's own `measure`, on the computation's main figure.
    """
    if isinstance(node, Map):
        if len(node.pairs) != 1:
            context.notes.note("bad-shape", node, "one computation is wanted here", "such as {rail hold: {...}}")
            return None
        name, bands = node.pairs[0]
    elif isinstance(node, Text):
        name, bands = node, None
    else:
        context.notes.note(
            "bad-shape", node, "wanted here: the name of a computation", f"one of: {choices_of(SIGNATURES)}"
        )
        return None
    signature = SIGNATURES.get(name.value)
    if signature is None:
        _unknown(context, name, SIGNATURES, "computation")
        return None
    if signature.at is not at:
        message = f'"{name.value}" is about the {signature.at}, and the check about the {at}'
        context.notes.note("wrong-level", name, message, f"give the check `at: {signature.at}`, or take another")
        return None
    if bands is None:
        return _by_measure(context, name, signature, measure)
    found, rest = _outcomes(context, bands, signature, outcomes)
    return Computed(name.value, found, rest, name.place)


def _by_measure(context: ReaderContext, name: Text, signature: Signature, measure: Measure | None) -> Computed | None:
    figure, unit = signature.main
    if measure is None:
        mend = f"say which figures mean which outcome, such as {{{name.value}: {{outcome: {{{figure}: below 1}}}}}}"
        context.notes.note("missing-key", name, "a name alone takes the bands of `measure`, and there is none", mend)
        return None
    if (figure, unit) != (measure.quantity, measure.unit):
        message = f'"{name.value}" finds "{figure}" in {unit or "no unit"}, `measure` has other bands'
        mend = f"give `measure` that quantity and unit (it has {measure.quantity}, {measure.unit}), or write bands here"
        context.notes.note("bad-bands", name, message, mend)
        return None
    found: dict[str, tuple[Within, ...]] = {}
    for band in measure.bands:
        found[band.outcome] = (Within(figure, band.low, band.high),)
    return Computed(name.value, found, "", name.place, measure.spread)


def _outcomes(
    context: ReaderContext, node: Node, signature: Signature, outcomes: tuple[str, ...]
) -> tuple[dict[str, tuple[Within, ...]], str]:
    mend = f"such as {{{outcomes[-1]}: {{{signature.main[0]}: above 1}}, {outcomes[0]}: {REST}}}"
    body = as_map(context, node, "outcomes, and the figures that mean them", mend)
    found: dict[str, tuple[Within, ...]] = {}
    rest, before = "", len(context.notes)
    for name, value in body.pairs if body else ():
        if name.value not in outcomes:
            _unknown(context, name, outcomes, "outcome")
        elif isinstance(value, Text) and value.value == REST:
            if rest:
                context.notes.note("same-twice", value, "two outcomes take the rest", "say which figures mean the one")
            rest = name.value
        else:
            found[name.value] = _figures(context, value, signature)
    if body and not found and len(context.notes) == before:
        context.notes.note("nothing-written", body, "no outcome has a figure here", mend)
    return found, rest


def _figures(context: ReaderContext, node: Node, signature: Signature) -> tuple[Within, ...]:
    body = as_map(context, node, "figures and their ranges", f"such as {{{signature.main[0]}: above 1}}, or {REST}")
    found: list[Within] = []
    for name, value in body.pairs if body else ():
        if name.value in signature.kinds:
            kind = _kind(context, value, signature.kinds[name.value])
            found += [Within(name.value, None, None, kind)] if kind else []
        elif name.value in signature.figures:
            band = _range(context, value)
            found += [Within(name.value, band.low, band.high)] if band else []
        else:
            _unknown(context, name, (*signature.figures, *signature.kinds), "figure of it")
    return tuple(found)


def _kind(context: ReaderContext, node: Node, kinds: tuple[str, ...]) -> str:
    if isinstance(node, Text) and node.value in kinds:
        return node.value
    if isinstance(node, Text):
        _unknown(context, node, kinds, "kind")
    else:
        context.notes.note("bad-shape", node, "one kind is wanted here", f"one of: {choices_of(kinds)}")
    return ""


def _range(context: ReaderContext, node: Node) -> Band | None:
    if not isinstance(node, Text):
        context.notes.note("bad-shape", node, "a range is wanted here", "such as `below -10`, `-10 to 10`, `above 10`")
        return None
    try:
        return Band("", *quantity.band(node.value))
    except Unreadable as wrong:
        context.notes.note(wrong.kind, node, wrong.message, wrong.mend)
        return None


def _unknown(context: ReaderContext, spot: Text, known: Any, what: str) -> None:
    meant = near(spot.value, known)
    mend = f'did you mean "{meant}"?' if meant else f"known: {choices_of(known, 'and')}"
    context.notes.note("unknown-name", spot, f'no {what} is called "{shorten(spot.value)}"', mend)
