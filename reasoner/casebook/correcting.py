"""What was put right afterwards: a correction is a new line with its reason; what it corrects stays as written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from reasoner.casebook.events import KEPT_BESIDE, Answered, Corrected, Event, OutcomeSeen, Undone
from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError


def standing(events: Iterable[Event]) -> list[Event]:
    """The events that have not been taken back, each as last corrected; corrections themselves are left out."""
    events = list(events)
    undone = undone_steps(events)
    left = [e for e in events if not isinstance(e, Undone) and e.step not in undone]
    better = {(e.corrected, e.check): e for e in left if isinstance(e, Corrected)}
    if not better:
        return left
    return [_corrected(e, better.get((e.step, e.check))) if isinstance(e, Answered) else e
            for e in left if not isinstance(e, Corrected)]  # fmt: skip


def undone_steps(events: Iterable[Event]) -> frozenset[int]:
    """The steps taken back. What was written without a step (0) cannot be."""
    return frozenset(e.undone for e in events if isinstance(e, Undone)) - {0}


def _corrected(event: Answered, by: Corrected | None) -> Answered:
    if by is None or not event.step:
        return event
    sure = by.sure or "sure"
    return replace(event, values=by.values, sure=sure, reading=by.reading, inputs=by.inputs, figures=by.figures)


def vehicle_fields(case: Case) -> dict[str, str]:
    """The vehicle of a case's head, with what was put right later. An empty text takes a key away."""
    fields = dict(case.vehicle)
    undone = undone_steps(case.events)
    for event in case.events:
        if isinstance(event, Corrected) and event.step not in undone:
            fields |= event.vehicle
    return {key: value for key, value in fields.items() if value != ""}


def last_step(events: Iterable[Event]) -> int:
    """The highest number given to a step; 0 where none was."""
    return max((e.step for e in events), default=0)


def correct_answer(
    events: Sequence[Event], step: int, check: str, values: Mapping[int, OutcomeSeen], sure: str, because: str
) -> list[Event]:
    """The answer of a step as it should have been. Raises CasebookError where there is none."""
    if not any(isinstance(e, Answered) and (e.step, e.check) == (step, check) for e in standing(events)):
        raise CasebookError(f"step {step} holds no answer to {check}", "`reasoner cases show` numbers the steps")
    new, reason = last_step(events) + 1, _reason(because)
    return [Corrected(step=new, corrected=step, check=check, values=values, sure=sure, because=reason)]


def correct_vehicle(events: Sequence[Event], fields: Mapping[str, str], because: str) -> list[Event]:
    """Keys of the vehicle as they should have been. Raises CasebookError without a reason."""
    return [Corrected(step=last_step(events) + 1, vehicle=dict(fields), because=_reason(because))]


def take_step_back(events: Sequence[Event], step: int, because: str) -> list[Event]:
    """A step as if it had not been. Raises CasebookError where there is none to take back."""
    if not any(e.step == step and not isinstance(e, KEPT_BESIDE) for e in standing(events)):
        raise CasebookError(f"there is no step {step} to take back", "`reasoner cases show` numbers the steps")
    return [Undone(step=last_step(events) + 1, undone=step, because=_reason(because))]


def _reason(because: str) -> str:
    if not because.strip():
        raise CasebookError("a correction needs its reason", "say why: --because TEXT")
    return because.strip()
