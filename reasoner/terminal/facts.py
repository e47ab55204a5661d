"""The car as equipped, on the screen: one line where a fact matters, `this car has none`, and `car` for all of it."""

from __future__ import annotations

from collections.abc import Sequence

from reasoner.session import acts, fitted
from reasoner.session.acts import Refused
from reasoner.session.document import FactDoc, Question
from reasoner.session.plain import shortened
from reasoner.terminal.blocks import QUIET, head, numbered, para, rows
from reasoner.terminal.picking import numbers_in, pick, pick_several
from reasoner.terminal.prompting import ask
from reasoner.terminal.sitting import Sitting, in_words

TYPED = ("displacement", "model year", "distance")  # facts that are typed, not chosen


def ask_fact(sitting: Sitting, fact: FactDoc) -> bool:
    """One line about the car, because the next check or a leading suspect hangs on it. True: something was kept."""
    while True:
        helps = fact.how or "The handbook or the parts list says it."
        line = ask(
            sitting.desk, f"About the car: {fact.ask} {_ways(fact)}, Enter: not known, h how to see it > ", helps
        )
        value = _value(line, fact)
        if value is None:
            sitting.desk.say(f'"{shortened(line, 20)}" is not clear: {_ways(fact)}, or Enter.')
            continue
        return _keep(sitting, {fact.fact: value})


def has_none(sitting: Sitting, check: str) -> bool:
    """`This car has none`: of what the check needs; where that is not plain, of what is chosen."""
    facts = fitted.needed_by(sitting.workup, check) or fitted.on_this_car(sitting.workup)
    if not facts:
        sitting.desk.say("Nothing here hangs on what a car may be without.")
        return False
    if len(facts) > 1:
        sitting.desk.show(head("None of what?"), rows(numbered(f.title for f in facts)))
        numbers = pick_several(sitting.desk, "Their numbers, Enter: back > ", len(facts))
        facts = tuple(facts[n - 1] for n in numbers)
    return bool(facts) and _keep(sitting, {f.fact: f.values[-1] for f in facts})


def car(sitting: Sitting, rest: str, question: Question | None) -> bool:
    """What is known of the car; numbers change it, `model year 2014` says a figure."""
    desk, workup = sitting.desk, sitting.workup
    key = next((key for key in TYPED if rest.lower().startswith(key)), None)
    if key is not None:
        return _tried(sitting, {key: rest[len(key) :].strip(" :=")})
    facts = tuple(fitted.document(entry) for entry in workup.book.equipment.values())
    if not facts:
        desk.say(f"{workup.vehicle.title}. Also: car model year 2014, car displacement 1.6 L, car distance 98000 km.")
        return False

    def show() -> None:
        lines = [(str(n), f.title, workup.vehicle.properties.get(f.fact, "not known")) for n, f in enumerate(facts, 1)]
        told = "also: car model year 2014, car displacement 1.6 L, car distance 98000 km"
        desk.page(head("The car"), para(workup.vehicle.title), rows([(n, f"{t}: {v}") for n, t, v in lines]),
                  para(told, style=QUIET))  # fmt: skip

    number = pick(desk, "Its number to change it, or Enter > ", len(facts), rest, show)
    return number is not None and ask_fact(sitting, facts[number - 1])


def _tried(sitting: Sitting, told: dict[str, str]) -> bool:
    try:
        return _keep(sitting, told)
    except Refused as refused:
        sitting.desk.say(in_words(refused))
        return False


def _keep(sitting: Sitting, told: dict[str, str]) -> bool:
    before = sitting.workup
    sitting.keep(acts.facts(before, told))
    after, names = sitting.workup, {entry.key: entry.title for entry in before.book.equipment.values()}
    fresh = {k: v for k, v in after.vehicle.properties.items() if before.vehicle.properties.get(k) != v}
    parts = [f"{names.get(k, k)}: {v}" for k, v in fresh.items()] or [
        f"{k}: {v or 'not known'}" for k, v in told.items()
    ]
    sitting.said.append("; ".join(filter(None, ("Kept: " + ", ".join(parts), fitted.gone(before, after)))) + ".")
    return True


def _ways(fact: FactDoc) -> str:
    return "y or n" if fact.values == ("yes", "no") else "1 or 2"


def _value(line: str, fact: FactDoc) -> str | None:
    """The value meant; "" where it is not known, None where the line is not clear."""
    text: str = line.lower()
    if text in ("", "0", "d", "not known"):
        return ""
    if fact.values == ("yes", "no") and text in ("y", "n", "yes", "no"):
        return "yes" if text.startswith("y") else "no"
    chosen: Sequence[int] | None = numbers_in(text, len(fact.values))
    if chosen is not None and len(chosen) == 1:
        return fact.values[chosen[0] - 1]
    meant = [value for value in fact.values if value.startswith(text)]
    return meant[0] if len(meant) == 1 else None
