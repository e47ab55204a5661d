"""Answers given beforehand: what would be seen on this car, whichever check the loop chooses to ask.

A script is a list of events, as in a case file. Its complaint, codes, tools and first condition are the intake; its
answers are found by check and condition, in the order recorded; one with `inputs` is worked out anew, where these rules
can. What it does not hold, or these rules do not have (an outcome, a degree of sureness), is answered "can't tell".
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace

from reasoner.casebook.events import (
    Answered,
    CodesRead,
    ConditionMet,
    Event,
    FactsTold,
    Finished,
    OutcomeSeen,
    Told,
    ToolsSaid,
)
from reasoner.casebook.trouble import Refused
from reasoner.inference.plan import Option
from reasoner.session import acts, readings
from reasoner.session.asking import now_due
from reasoner.session.record import standing
from reasoner.session.words import places_of
from reasoner.session.workup import Workup

INTAKE_EVENTS = (Told, CodesRead, ToolsSaid, FactsTold)


@dataclass(frozen=True)
class Look:
    """An answer, and the condition it was seen in."""

    condition: str | None
    event: Answered


@dataclass(frozen=True)
class Script:
    """intake: events to begin with. seen: everything answered, in order, each with the condition it was seen in."""

    intake: tuple[Event, ...]
    seen: tuple[Look, ...]


def script_of(events: Iterable[Event]) -> Script:
    """A script from the standing events of a case."""
    intake: list[Event] = []
    seen: list[Look] = []
    here: str | None = None
    first = True
    for event in standing(events):
        if isinstance(event, Finished):
            break  # what is seen from here on is about the car after the work
        if isinstance(event, INTAKE_EVENTS):
            intake.append(event)
        elif isinstance(event, ConditionMet):
            here = event.condition
            if first and not seen:
                intake.append(event)
                first = False
        elif isinstance(event, Answered):
            seen.append(Look(event.condition if event.apart else here, event))
    return Script(tuple(intake), tuple(seen))


def intake_events(workup: Workup, event: Event) -> list[Event]:
    """An event of a script's intake as a new step of a case."""
    return [replace(event, step=workup.record.steps + 1, at="")]


def begin_with(workup: Workup, script: Script) -> Workup:
    """The case after the script's intake."""
    for event in script.intake:
        workup = workup.after(intake_events(workup, event))
    return workup


def reply(workup: Workup, script: Script, option: Option) -> list[Event]:
    """The script's answer to a proposed check, or "can't tell".

    What is seen now counts only where it was seen in the condition asked about; each look is given once, in order.
    """
    option = now_due(workup, option)
    table = workup.tables.checks[option.check]
    condition = workup.tables.conditions[option.condition] if option.condition is not None else None
    looks = [s for s in script.seen if s.event.check == table.name and (table.steady or s.condition == condition)]
    if option.place is not None:
        looks = [s for s in looks if option.place + 1 in s.event.values]
        used = sum(g.check == table.name and option.place + 1 in g.values for g in workup.record.given)
    else:
        names = workup.record.spells
        used = sum(g.check == table.name and (table.steady or names[g.spell] == condition) for g in workup.record.given)
    if used >= len(looks):
        return acts.pass_over(workup, table.name, "cant-tell", option)
    event = looks[used].event
    if event.inputs and workup.book.checks[table.name].computed:
        with suppress(Refused):  # these rules cannot work it out any more: the outcome counts, as it was kept
            worked = readings.outcome_from_inputs(workup, table.name, event.inputs)
            return acts.answer(workup, table.name, worked.weights, "sure", option, worked.reading, None, worked.inputs)
    values = _fitting(workup, table.name, event)
    if not values:
        return acts.pass_over(workup, table.name, "cant-tell", option)
    if option.place is not None:
        values = {option.place + 1: values[option.place + 1]}
    figures = {place: kept for place, kept in event.figures.items() if int(place) in values}
    return acts.answer(workup, table.name, values, event.sure, option, event.reading, figures=figures)


def _fitting(workup: Workup, name: str, event: Answered) -> dict[int, OutcomeSeen]:
    """The values of an answer at the places this vehicle has, if these rules have them, and how sure it was."""
    if event.sure not in workup.book.settings.report_right:
        return {}
    check = workup.book.checks[name]
    places, outcomes = places_of(workup.vehicle, check), {o.name for o in check.outcomes}
    return {
        place: value
        for place, value in event.values.items()
        if place in places and ({value} if isinstance(value, str) else set(value)) <= outcomes
    }


def play(workup: Workup, script: Script, limit: int = 60) -> Iterator[Workup]:
    """The case after each step, until the verdict or `limit` steps."""
    workup = begin_with(workup, script)
    yield workup
    for _ in range(limit):
        if workup.look is None:
            return
        workup = workup.after(reply(workup, script, workup.look))
        yield workup
