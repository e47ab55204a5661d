"""Answers, places and probabilities in words. One place, so that every screen says the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reasoner.casebook.events import (
    Avoided,
    CodesRead,
    ConditionMet,
    Corrected,
    Event,
    FactsTold,
    LogTaken,
    Noted,
    PassedOver,
    ReadingsTaken,
    RichSeen,
    Told,
    ToolsSaid,
)
from reasoner.measure.finding import listed as listed
from reasoner.measure.finding import percent as percent
from reasoner.network.vehicle import Vehicle
from reasoner.repair.unexplained import Unexplained
from reasoner.rulebook.model import AND, AND_ALSO, At, Check, Rulebook
from reasoner.session.record import Given, standing
from reasoner.session.workup import Workup

PASSES = {"cant-tell": "can't tell", "no-tool": "no tool for it", "not-now": "not now"}


TIE = 1e-9  # outcomes whose weights differ by less than this share are equally likely
EMPTY_LIST = (
    "The list of codes was read empty after clearing, with no drive told of between: that says nothing. Read it again "
    "after a drive."
)
OUTCOME_OR = " | "  # no name of an outcome has it


def range_text(low: float, high: float) -> str:
    """`20 to 45 %`: the range of a chance, its ends said as a chance is, so that what lies in it is seen to."""
    first, last = percent(low), percent(high)
    return last if first == last else f"{first.removesuffix(' %')} to {last}"


FOUNDED = ((0.15, "firm"), (0.35, "fair"), (1.0, "thin"))  # how wide a chance's range may be for the word; judgement


def founded(low: float, high: float) -> str:
    """One word for how far a chance may be off because the rules' own numbers are not known better."""
    return next(word for width, word in FOUNDED if high - low <= width)


def fault_at(book: Rulebook, fault: str, where: str) -> str:
    """A fault at a place: `Injector leaks when shut, cylinder 3`."""
    return at_place(book.faults[fault].title, where)


def at_place(title: str, where: str) -> str:
    """The title of a fault, and where it is; of two at once, of each."""
    if AND in where:
        return AND_ALSO.join(map(at_place, title.split(AND_ALSO), where.split(AND)))
    return title if where in ("engine", "") else f"{title}, {where}"


def place_text(where: str) -> str:
    """A place, or those of two faults at once that are not the whole engine."""
    return ", ".join(each for each in where.split(AND) if each != "engine")


def places_of(vehicle: Vehicle, check: Check) -> dict[int, str]:
    """The places a check looks at, by the number a person types: 0 for the whole engine."""
    if check.at is At.CYLINDER:
        return {n: f"cylinder {n}" for n in range(1, vehicle.cylinders + 1)}
    if check.at is At.BANK:
        return {n: f"bank {n}" for n in range(1, len(vehicle.banks) + 1)}
    return {0: "engine"}


def best_fitting(weights: Mapping[str, float]) -> tuple[str, ...]:
    """The outcomes that fit best: several where what was read leaves it open between them."""
    most = max(weights.values())
    return tuple(name for name, weight in weights.items() if weight > most * (1 - TIE))


def _one_of(check: Check, outcomes: Sequence[str]) -> str:
    """Outcomes that are left open, in words. Where they are many and the usual one is among them, nothing was read that
    speaks against it: the coolant is right, and the intake air was not typed."""
    texts = {o.name: o.text for o in check.outcomes}
    if len(outcomes) > 2 and outcomes[0] == check.outcomes[0].name:
        return f"{texts[outcomes[0]]}, as far as it was read"
    return " or ".join(texts[name] for name in outcomes)


def values_text(workup: Workup, check: Check, values: Mapping[int, str]) -> str:
    """Outcomes by place in words, the usual one last: `cylinder 3 wet with fuel, the rest the same`. An outcome may be
    several by name, with OUTCOME_OR between them."""
    texts = {value: _one_of(check, value.split(OUTCOME_OR)) for value in values.values()}
    usual = check.outcomes[0].name
    places = places_of(workup.vehicle, check)
    groups: dict[str, list[int]] = {}
    for place, outcome in sorted(values.items()):
        groups.setdefault(outcome, []).append(place)
    if list(groups.values()) == [[0]]:
        return texts[next(iter(groups))]
    if len(groups) == 1 and len(values) == len(places) > 1:
        return f"each {check.at.value} {texts[next(iter(groups))]}"
    parts = []
    ordered = sorted(groups.items(), key=lambda pair: (pair[0] == usual, len(pair[1])))
    for number, (outcome, at) in enumerate(ordered):
        last = number == len(ordered) - 1
        where = "the rest" if last and len(at) > 1 and len(values) == len(places) else listed([places[p] for p in at])
        parts.append(f"{where} {texts[outcome]}")
    return ", ".join(parts)


def any_one_text(workup: Workup, check: Check, places: Sequence[int], outcome: str) -> str:
    """One place or another, whichever: `cylinder 1, 2 or 4 wet with fuel, the rest the same`."""
    texts, everywhere = {o.name: o.text for o in check.outcomes}, places_of(workup.vehicle, check)
    where = listed([everywhere[p] for p in places], "or").replace("s ", " ", 1)
    rest = "the other" if len(everywhere) == 2 else "the rest"
    return f"{where} {texts[outcome]}, {rest} {texts[check.outcomes[0].name]}"


def given_text(workup: Workup, given: Given) -> str:
    """An answer in words: `Plugs after clearing: cylinder 3 wet with fuel, the rest the same (think so)`."""
    check = workup.book.checks[given.check]
    seen = {place: OUTCOME_OR.join(best_fitting(weights)) for place, weights in given.values.items()}
    extra = f" ({given.reading})" if given.reading else ("" if given.sure == "sure" else f" ({given.sure})")
    return f"{check.title}: {values_text(workup, check, seen)}{extra}"


def unexplained_text(workup: Workup, left: Unexplained) -> str:
    """What was seen and is not explained, with the fault that it would fit."""
    fits = workup.tables.causes[left.suspect]
    would = fault_at(workup.book, fits.fault, fits.where)
    return f"{given_text(workup, workup.record.given[left.at])}; it would fit: {would}"


def state_text(workup: Workup, spell: int) -> str:
    """In which condition a spell was, and whether it was rich then: `warm idle, not rich`."""
    record, conditions = workup.record, workup.book.conditions
    name, rich = record.spells[spell], record.rich.get(spell)
    return rich_text(conditions[name].title if name and name in conditions else "", rich) or "not known when"


def rich_text(title: str, rich: bool | None) -> str:
    """A condition with whether it was rich in it (None: not known)."""
    return ", ".join(filter(None, (title, "" if rich is None else "rich" if rich else "not rich")))


def codes_text(workup: Workup, check: int, weights: Sequence[tuple[float, ...] | None]) -> str:
    """What the list of codes says to a check that speaks of codes."""
    table = workup.tables.checks[check]
    entry = workup.book.checks[table.name]
    places = list(places_of(workup.vehicle, entry))
    looked = {places[p]: entry.outcomes[w.index(max(w))].name for p, w in enumerate(weights) if w is not None}
    if entry.kind == "code" and set(looked.values()) == {entry.outcomes[0].name}:
        return f"{entry.title}: not on the list of codes"  # nobody was asked
    return f"{entry.title}: {values_text(workup, entry, looked)}"


def step_text(workup: Workup, step: int) -> str:
    """What was done in a step that still stands, in words: an answer, or the act."""
    logs = [e.file for e in standing(workup.events) if isinstance(e, LogTaken) and e.step == step]
    if logs:
        return f"the log {logs[0]}, with all that it answers"
    given = [g for g in workup.record.given if g.step == step]
    if given:
        return "; ".join(given_text(workup, g) for g in given)
    return "; ".join(filter(None, (act_text(workup.book, e) for e in workup.events if e.step == step)))


def act_text(book: Rulebook, event: Event) -> str:
    """An event that is no answer, in words; "" where there is nothing to be said of it."""
    match event:
        case ConditionMet():
            condition = book.conditions.get(event.condition or "")
            return f"the car's condition: {condition.title if condition else 'not known'}"
        case Corrected():
            check = book.checks.get(event.check)
            return f"{check.title if check else event.check or 'the car'} as it was told again"
        case PassedOver():
            check = book.checks.get(event.check)
            return f"{check.title if check else event.check}: {PASSES.get(event.why, event.why)}"
        case Avoided():
            condition = book.conditions.get(event.condition)
            return f"never to be brought about: {condition.title if condition else event.condition}"
        case CodesRead():
            return "the codes read: " + (", ".join(code.code for code in event.codes) or "none")
        case ToolsSaid():
            names = (*event.lacking, *event.at_hand)
            return "tools: " + ", ".join(book.tools[n].title for n in names if n in book.tools)
        case FactsTold():
            titles = {entry.key: entry.title for entry in book.equipment.values()}
            return "the car: " + ", ".join(f"{titles.get(k, k)}: {v or 'not known'}" for k, v in event.facts.items())
        case Told():
            return "the complaint"
        case RichSeen():
            if event.rich is None:
                return "whether it is rich now: can't tell"
            return "it is rich now" if event.rich else "it is not rich now"
        case ReadingsTaken():
            return "readings: " + ", ".join(f"{name} {text}" for name, text in event.readings.items())
        case Noted():
            return "a note"
    return ""
