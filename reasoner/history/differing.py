"""What two sets of rules say differently: of the same answers, and value by value."""

from __future__ import annotations

from dataclasses import dataclass

from reasoner.inference.weight import log_odds, weigh
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Rulebook
from reasoner.session.concluding import PERCEPTIBLE, answer_origin, answer_text
from reasoner.session.workup import Workup


@dataclass(frozen=True)
class Reweighed:
    """An answer that weighs differently: decibans for the cause held against, and the rules by which it does so (the
    places of the first that differ: what is seen under the fault, or how often it shows)."""

    text: str
    before: float
    after: float
    rule_before: str
    rule_after: str


def reweighed(before: Workup, after: Workup, cause: str) -> tuple[Reweighed, ...]:
    """What speaks otherwise for a cause under the later rules, the largest difference first: its prior and answers."""
    one, other = _weights(before, cause), _weights(after, cause)
    found = []
    for key in {**one, **other}:
        was, now = one.get(key), other.get(key)
        text = (was or now or NO_WEIGHT).text
        first, then = (was or NO_WEIGHT), (now or NO_WEIGHT)
        if abs(then.decibans - first.decibans) >= PERCEPTIBLE:
            rules = [(a, b) for a, b in zip(first.rules, then.rules, strict=False) if a != b]
            own, its = rules[0] if rules else ("", "what the rules say of others") if was and now else ("", "")
            found.append(Reweighed(text, first.decibans, then.decibans, own, its))
    return tuple(sorted(found, key=lambda r: -abs(r.after - r.before)))


@dataclass(frozen=True)
class _Weight:
    """rules: the places of what it rests on: what is seen under the fault, and how often that shows."""

    text: str
    decibans: float
    rules: tuple[str, ...]


NO_WEIGHT = _Weight("", 0.0, ("", ""))


def _weights(workup: Workup, cause: str) -> dict[tuple[int, str], _Weight]:
    """By answer, and (0, "") for the prior: decibans for the cause, and the rules behind them."""
    tables, book = workup.tables, workup.book
    number = tables.cause_number.get(cause)
    if number is None:
        return {}
    fault = tables.causes[number].fault
    prior = float(log_odds(tables.prior)[number])
    found = {(0, ""): _Weight("before any answer", prior, (_share_place(book, fault, workup.vehicle),))}
    for item in weigh(tables, workup.spells):
        answer, condition = item.answer, workup.belief.spells[item.spell].condition
        table = tables.checks[answer.check]
        seen = str(answer_origin(table, number, answer.weights).place)
        row = None if condition is None or table.steady else int(tables.shows_row[number, condition])
        shows = "" if row is None else str(tables.shows_origins[row].place)
        text = answer_text(workup, answer.number, answer.check, answer.weights)
        found[answer.number + 1, table.name] = _Weight(text, float(item.decibans[number]), (seen, shows))
    return found


def _share_place(book: Rulebook, fault: str, vehicle: Vehicle) -> str:
    """Where the share of a fault is written."""
    trail = ("faults", fault, "share")
    for key in ((*trail, vehicle.properties["injection"]), trail):
        if key in book.written:
            return str(book.written[key].place)
    return str(book.faults[fault].origin.place)


@dataclass(frozen=True)
class Changed:
    """A value that two sets of rules have differently ("" = not there)."""

    what: str
    before: str
    after: str
    place: str


def changed_values(before: Rulebook, after: Rulebook) -> tuple[Changed, ...]:
    """Every value that differs, in the order written; an entry that only one of them has, once."""
    entries = [{trail[:2] for trail in book.written} for book in (before, after)]
    found: dict[tuple[str, ...], Changed] = {}
    for trail in {**before.written, **after.written}:
        old, new = before.written.get(trail), after.written.get(trail)
        if (old.text if old else "") == (new.text if new else ""):
            continue
        place = str(new.place if new else old.place if old else "")
        if all(trail[:2] in there for there in entries):
            texts = old.text if old else "", new.text if new else ""
            found[trail] = Changed(": ".join(trail[1:]), *texts, place)
        else:
            texts = ("", "a new entry") if new else ("an entry", "")
            found.setdefault(trail[:2], Changed(trail[1], *texts, place))
    return tuple(found.values())
