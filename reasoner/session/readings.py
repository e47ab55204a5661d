"""Checks whose outcome is worked out from typed readings: what is asked, what is found, what is kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from reasoner.casebook.events import Answered, LogTaken
from reasoner.measure.asks import Ask, Setting
from reasoner.measure.computations.base import LITRES, Computation
from reasoner.measure.computations.table import COMPUTATIONS
from reasoner.measure.finding import Finding
from reasoner.measure.pids import LOOP_NUMBERS, Value
from reasoner.measure.weigh import work_out
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import At, Check
from reasoner.session.acts import Refused, find_check
from reasoner.session.document import InputDoc, WorksOut
from reasoner.session.record import setting_of, standing
from reasoner.session.workup import Workup

LIKE = 0.5  # outcomes whose weights are within this of each other are not told apart


@dataclass(frozen=True)
class Worked:
    """weights: outcome likelihoods by place. reading: the main figures in a line. inputs: as typed, to be kept."""

    finding: Finding
    weights: Mapping[int, Mapping[str, float]]
    reading: str
    inputs: Mapping[str, str]

    @property
    def speaks(self) -> bool:
        """Whether it tells any outcomes apart."""
        return any(map(tells_apart, self.weights.values()))


def tells_apart(weights: Mapping[str, float]) -> bool:
    """Whether weights by outcome tell any of them apart."""
    return bool(weights) and min(weights.values()) < LIKE * max(weights.values())


def working_of(check: Check) -> Computation | None:
    """The computation of a check, if it has one."""
    return None if check.computed is None else COMPUTATIONS[check.computed.by]


def work(workup: Workup, name: str, inputs: Mapping[str, Any]) -> Worked:
    """The outcome of a check from its inputs (texts, numbers, or either by place). Raises Refused with all mistakes."""
    check = find_check(workup, name)
    if check.computed is None:
        able = [c.name for c in workup.book.checks.values() if c.computed and c.name in workup.tables.check_number]
        raise Refused(f"{name} is not worked out from inputs", "these are: " + ", ".join(able))
    texts = {str(key): text for key, value in inputs.items() if (text := _text(value))}
    found = work_out(check, texts, setting_of(workup.vehicle))
    if isinstance(found, tuple):
        raise Refused("; ".join(map(str, found)))
    usual = check.outcomes[0].name
    odd = [p for p, w in found.weights.items() if len(found.weights) <= 2 or max(w, key=lambda n: w[n]) != usual]
    used = _used(check)
    places = [
        f"{p}: {found.finding.short(p, used)}" if len(found.weights) > 1 else found.finding.short(p, used) for p in odd
    ]
    weights = {p: {n: float(f"{w:.4g}") for n, w in by_name.items()} for p, by_name in found.weights.items()}
    return Worked(found.finding, weights, "; ".join(places), texts)


def told(workup: Workup, name: str, inputs: Mapping[str, Any]) -> Worked:
    """The same, to be kept as an answer. Raises Refused also where it tells no outcomes apart."""
    found = work(workup, name, inputs)
    if not found.speaks:
        raise Refused("these figures fit none of its outcomes better than the others", "answer by a word, or leave it")
    return found


def _used(check: Check) -> frozenset[str] | None:
    """Figures of a freeze frame that a check's outcomes go by, as it has many; None of anything else: the main ones."""
    working = working_of(check)
    if working is None or not working.frame or check.computed is None:
        return None
    return frozenset(within.figure for said in check.computed.outcomes.values() for within in said)


def _text(value: Any) -> str:
    """An input as it would be typed."""
    if isinstance(value, Mapping):
        return " ".join(f"{place}={_text(one)}" for place, one in value.items())
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise Refused(f"{value!r:.40} is no input", "a text such as 3.1 g/s, a number, or these by place")
    return value if isinstance(value, str) else f"{value:.10g}"


def remembered(workup: Workup, ask: Ask) -> str:
    """A fact about the car as it was typed last in this case, or as its vehicle states it, or ""."""
    if not ask.car:
        return ""
    typed = [
        event.inputs[ask.name]
        for event in standing(workup.events)
        if isinstance(event, Answered | LogTaken) and ask.name in event.inputs
    ]
    litres = workup.vehicle.litres
    stated = f"{litres:.4g} {LITRES.unit}" if ask.name == LITRES.name and litres is not None else ""
    return typed[-1] if typed else stated


def works_out(workup: Workup, check: Check) -> WorksOut | None:
    """What a check's computation asks for, as part of the question."""
    working = working_of(check)
    if working is None:
        return None
    inputs = tuple(
        InputDoc(a.name, a.say, a.hint, "" if a.at is At.ENGINE else str(a.at), a.needed, remembered(workup, a))
        for a in working.asks
    )
    return WorksOut(working.name, working.says, inputs)


def from_values(working: Computation, values: Iterable[Value], vehicle: Vehicle) -> dict[str, str]:
    """Inputs of a computation that values of the standard's services give, as they would be typed."""
    numbered = (replace(v, value=float(LOOP_NUMBERS[v.value])) if v.value in LOOP_NUMBERS else v for v in values)
    known = {v.name: v for v in numbered if isinstance(v.value, float | int)}
    setting = setting_of(vehicle)
    found = {ask.name: _from_values(ask, known, setting) for ask in working.asks if ask.live}
    if vehicle.litres is not None and any(ask.name == LITRES.name for ask in working.asks):
        found[LITRES.name] = f"{vehicle.litres:.4g} {LITRES.unit}"
    return {name: text for name, text in found.items() if text}


def _from_values(ask: Ask, known: Mapping[str, Value], setting: Setting) -> str:
    if ask.point:
        return " ".join(_typed(known[name]) for name in ask.live if name in known)
    texts = {}
    for place in setting.places(ask.at):
        names = [name.format(place) for name in ask.live]
        if all(name in known for name in names):
            texts[place] = " + ".join(_typed(known[name]) for name in names)
    if ask.at is At.ENGINE:
        return texts.get(0, "")
    return " ".join(f"{place}={text}" for place, text in texts.items())


def _typed(value: Value) -> str:
    return f"{value.value:.5g} {value.unit}".strip()
