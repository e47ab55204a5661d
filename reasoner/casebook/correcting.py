"""What was put right afterwards. A correction is a new line with its reason; what it corrects stays as it was written.

correct    because: text, and one of
           corrected: a step, check, values, sure: the answer given there, as it should have been
           vehicle: {key: text}: what was wrong about the vehicle
undo       undone: a step, because: text: the step as if it had not been
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from reasoner.casebook.casefile import CaseFile
from reasoner.casebook.trouble import CasebookError
from reasoner.casebook.writing import Event

KEPT_BESIDE = ("rules", "verdict", "stop")  # events that the program keeps; none is a step somebody takes back
REPLACED = ("values", "sure", "reading", "inputs", "figures")


def standing(events: Iterable[Event]) -> list[Event]:
    """The events that have not been taken back, each as last corrected; corrections themselves are left out."""
    events = list(events)
    undone = {e["undone"] for e in events if e.get("event") == "undo"}
    left = [e for e in events if e.get("event") != "undo" and e.get("step") not in undone]
    better = {(e.get("corrected"), e.get("check")): e for e in left if e.get("event") == "correct"}
    if not better:
        return left
    return [_corrected(e, better.get((e.get("step"), e.get("check")))) for e in left if e.get("event") != "correct"]


def _corrected(event: Event, by: Event | None) -> Event:
    if by is None or event.get("event") != "answer":
        return event
    rest = {key: value for key, value in event.items() if key not in REPLACED}
    return {**rest, **{key: by[key] for key in REPLACED if key in by}}


def vehicle_fields(case: CaseFile) -> dict[str, str]:
    """The vehicle of a case's head, with what was put right later. An empty text takes a key away."""
    fields = {str(key): str(value) for key, value in case.head["vehicle"].items()}
    undone = {e["undone"] for e in case.events if e.get("event") == "undo"}
    for event in case.events:
        if event.get("event") == "correct" and event.get("step") not in undone:
            fields |= {str(key): str(value) for key, value in event.get("vehicle", {}).items()}
    return {key: value for key, value in fields.items() if value != ""}


def last_step(events: Sequence[Event]) -> int:
    return max((e.get("step", 0) for e in events), default=0)


def correct_answer(
    events: Sequence[Event], step: int, check: str, values: Mapping[str, object], sure: str, because: str
) -> list[Event]:
    """The answer of a step as it should have been. Raises CasebookError where there is none."""
    if not any(e.get("event") == "answer" and (e.get("step"), e["check"]) == (step, check) for e in standing(events)):
        raise CasebookError(f"step {step} holds no answer to {check}", "`reasoner cases show` numbers the steps")
    kept = {"corrected": step, "check": check, "values": dict(values), "sure": sure}
    return [{"event": "correct", "step": last_step(events) + 1, **kept, "because": _reason(because)}]


def correct_vehicle(events: Sequence[Event], fields: Mapping[str, str], because: str) -> list[Event]:
    return [{"event": "correct", "step": last_step(events) + 1, "vehicle": dict(fields), "because": _reason(because)}]


def take_back(events: Sequence[Event], step: int, because: str) -> list[Event]:
    """A step as if it had not been. Raises CasebookError where there is none to take back."""
    if not any(e.get("step") == step and e.get("event") not in KEPT_BESIDE for e in standing(events)):
        raise CasebookError(f"there is no step {step} to take back", "`reasoner cases show` numbers the steps")
    return [{"event": "undo", "step": last_step(events) + 1, "undone": step, "because": _reason(because)}]


def _reason(because: str) -> str:
    if not because.strip():
        raise CasebookError("a correction needs its reason", "say why: --because TEXT")
    return because.strip()
