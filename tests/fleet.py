"""Cases of virtual cars: drawn from tables, looked at in some conditions, and closed with what was really wrong.

Which checks are made is drawn too, and does not follow the answers, so that thousands are made in a minute. What they
show is drawn from the tables given as the truth, exactly as the model has it: one cause, one state a spell, every look
independent given these.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from reasoner.casebook.events import (
    Answered,
    Closed,
    CodesRead,
    ConditionMet,
    Event,
    Finished,
    JobTaken,
    Provoked,
    Told,
    WorkTaken,
)
from reasoner.casebook.shape import Case
from reasoner.casebook.writing import event_line, head_text
from reasoner.network.tables import CheckTable, Tables
from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.rulebook.model import Rulebook
from tests.events import file_of

SURE = {"sure": 0.85, "think so": 0.12, "guess": 0.03}  # how sure the observer says to be, and how often
FIRST = ("engine-off", "warm-idle", "hot-restart", "cruise", "after-refuelling", "cold-start", "load", "hot-soak")


def a_vehicle(**fields: str) -> Vehicle:
    vehicle, mistakes = vehicle_from({k.replace("_", " "): v for k, v in fields.items()})
    assert vehicle is not None, mistakes
    return vehicle


def a_case(
    book: Rulebook,
    vehicle: Vehicle,
    truth: Tables,
    seed: int,
    number: int,
    spells: int = 3,
    looks: int = 6,
    state: str = "proven",
    name: str = "",
    mended: bool = False,
) -> Case:
    """Case `number` of a seed: `looks` answers in each of so many spells, then closed.

    mended: with the work that was done before it was closed, and some clean provocations.
    """
    dice = random.Random(f"{seed}/{number}/asked")
    cause_number = dice.choices(range(len(truth.causes)), truth.prior.tolist())[0]
    cause = truth.causes[cause_number]
    minute, step = 0, 0
    day = 1 + number % 28
    events: list[Event] = []

    def add(event: Event) -> None:
        nonlocal minute, step
        minute, step = minute + 4, step + 1
        at = f"2026-{1 + number // 28 % 12:02d}-{day:02d}T{8 + minute // 60:02d}:{minute % 60:02d}:00+00:00"
        events.append(replace(event, at=at, step=step))

    add(Told(complaint="Lamp on and off."))
    add(CodesRead(codes=(), complete=False))  # not read off: what one code says to several checks is not drawn
    asked_ever: set[str] = set()
    conditions = [name for name in FIRST if name in truth.condition_number]
    for _ in range(spells):
        condition = dice.choice(conditions)
        add(ConditionMet(condition=condition))
        k = truth.condition_number[condition]
        showing = dice.random() < truth.shows[cause_number, k]
        possible = [
            t for t in truth.checks
            if (not t.conditions or k in t.conditions) and not t.provokes and t.leaves is None
            and not book.checks[t.name].codes and t.name not in asked_ever
        ]  # fmt: skip
        for table in dice.sample(possible, min(looks, len(possible))):
            sure = dice.choices(list(SURE), list(SURE.values()))[0]
            there = _look(table, cause_number, showing or table.steady, dice)
            said = [_reported(o, len(table.outcomes), book.settings.report_right[sure], dice) for o in there]
            first = 0 if table.places == ("engine",) else 1
            values = {place: table.outcomes[o] for place, o in enumerate(said, start=first)}
            add(Answered(check=table.name, values=values, sure=sure))
            if table.ever:
                asked_ever.add(table.name)
    if mended:
        at = "engine" if cause.where == "engine" else cause.where.replace("cylinders", "cylinder").split(" and ")[0]
        add(WorkTaken(what="one", jobs=(JobTaken(book.faults[cause.fault].repair, (at,)),)))
        add(Finished())
        for _ in range(3):
            add(Provoked(condition="hot-restart", clean=True))
    add(Closed(state=state, fault=cause.fault, where=cause.where))
    name = name or f"car-{number}"
    opened = f"2026-{1 + number // 28 % 12:02d}-{day:02d}T08:00:00+00:00"
    return Case(Path(f"{name}.yaml"), dict(vehicle.fields), tuple(events), name, opened, book.stamp)


def _look(table: CheckTable, cause: int, acts: bool, dice: random.Random) -> list[int]:
    """The outcome at each place."""
    outcomes = range(len(table.outcomes))
    rows = [int(row) if acts else 0 for row in table.index[cause]]
    return [dice.choices(outcomes, table.rows[row].tolist())[0] for row in rows]


def _reported(outcome: int, count: int, right: float, dice: random.Random) -> int:
    """What is said of an outcome: by mistake another one."""
    return outcome if dice.random() < right else dice.choice([o for o in range(count) if o != outcome])


def write(case: Case, folder: Path) -> Path:
    """The case as a file, as the journal writes them, but not flushed one by one."""
    file = file_of(case)
    rest = {key: value for key, value in file.head.items() if key != "format"}
    path = folder / case.path.name
    path.write_text("format: 1\n" + head_text(rest) + "".join(map(event_line, file.events)), encoding="utf-8")
    return path


def mix(number: int, seed: int = 0) -> dict[str, str]:
    """The vehicle fields of a shop's car `number`: common layouts more often, some distance."""
    dice = random.Random(f"{seed}/{number}/vehicle")
    layouts: Sequence[str] = ("inline 4",) * 6 + ("inline 3", "V 6", "inline 6", "flat 4")
    layout = dice.choice(layouts)
    fields = {
        "name": f"Car {number}",
        "layout": layout,
        "injection": dice.choice(("direct", "direct", "port")),
        "charging": dice.choice(("charged", "natural")),
        "metering": dice.choice(("airflow", "airflow", "pressure")),
        "distance": f"{1000 * dice.randrange(20, 260)} km",
    }
    return {key: value for key, value in fields.items() if value}
