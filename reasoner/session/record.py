"""Events of a case, folded into what is known now. Pure: the same events give the same record.

An event is a mapping of plain values with `event` (its kind), `step` (acts of one step are taken back together) and,
on disk, `at` (when). Kinds:

    told       complaint: text
    codes      codes: [{code, states}], complete: whether everything stored was listed
    condition  condition: name, or null when not known: a new spell begins
    answer     check, values: {place: outcome, or {outcome: weight}}, sure; optional reading (as typed),
               inputs (of a computation, as typed; values are then worked out again), figures (with their errors;
               weighed again), asked, condition (seen at another time, in a spell of its own), spell (answers with the
               same one were seen together)
    log        file, mark (of its bytes), says: a scan log; what it answers is in answers of the same step
    pass       check, why: cant-tell | no-tool | not-now
    avoid      condition: one that cannot be brought about
    tools      lacking: [names], at hand: [names]
    note       text
    undo       undone: a step taken back
    correct    what was put right afterwards, with its reason (see casebook.correcting)
    rules      stamp: the rules the following answers are weighed with
    verdict    what was concluded
    stop       put away, to be resumed
    closed     state, fault, where, confirmed by: how it ended, and the true cause as found
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from reasoner.casebook.correcting import standing as standing
from reasoner.inference.evidence import Evidence, Spell, report
from reasoner.measure.asks import Setting
from reasoner.measure.carried import weigh_carried
from reasoner.measure.weigh import WorkedOut, work_out
from reasoner.network.tables import Tables
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Check, Rulebook

Event = Mapping[str, Any]


@dataclass(frozen=True)
class Given:
    """One answer as it was given. values: place number (from 1; 0 = engine) -> outcome weights by name."""

    step: int
    check: str
    values: Mapping[int, Mapping[str, float]]
    sure: str
    spell: int
    asked: bool
    reading: str = ""
    number: int = 0


@dataclass(frozen=True)
class Record:
    """spells: (condition or None) in order, the present one last. given: all answers, in order.

    apart: spell of an event -> its number here. passed: check -> why. unclear: (check, condition) that could not be
    told. avoided: conditions not to be brought about. unread: answers to checks these rules do not have (kept, not
    weighed).
    """

    complaint: str = ""
    codes: tuple[tuple[str, tuple[str, ...]], ...] = ()
    codes_complete: bool = False
    spells: tuple[str | None, ...] = (None,)
    apart: Mapping[str, int] = field(default_factory=dict)
    given: tuple[Given, ...] = ()
    passed: Mapping[str, str] = field(default_factory=dict)
    unclear: frozenset[tuple[str, str | None]] = frozenset()
    avoided: frozenset[str] = frozenset()
    lacking: frozenset[str] = frozenset()
    at_hand: frozenset[str] = frozenset()
    notes: tuple[str, ...] = ()
    stamps: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    steps: int = 0
    last_step: int = 0
    verdicts: tuple[Event, ...] = ()
    closed: Event | None = None

    @property
    def present(self) -> int:
        return len(self.spells) - 1

    @property
    def condition(self) -> str | None:
        return self.spells[-1]


def setting_of(vehicle: Vehicle) -> Setting:
    """What a computation has to know of the car."""
    return Setting(vehicle.cylinders, vehicle.banks)


def fold(book: Rulebook, events: Iterable[Event], vehicle: Vehicle | None = None) -> Record:
    """What is known after these events, under these rules. vehicle: without it, computations are not done again."""
    setting = None if vehicle is None else setting_of(vehicle)
    events = list(events)
    record = Record(
        lacking=frozenset(t.name for t in book.tools.values() if not t.common),
        steps=max((e.get("step", 0) for e in events), default=0),
    )
    for number, event in enumerate(standing(events)):
        record = _apply(book, record, event, number, setting)
    return record


def _apply(book: Rulebook, record: Record, event: Event, number: int, setting: Setting | None) -> Record:
    kind = event.get("event")
    record = replace(record, last_step=event.get("step", record.last_step))
    if kind == "told":
        return replace(record, complaint=event["complaint"])
    if kind == "codes":
        listed = tuple((c["code"], tuple(c.get("states", ()))) for c in event["codes"])
        return replace(record, codes=listed, codes_complete=bool(event.get("complete", True)))
    if kind == "condition":
        name = event["condition"] if event["condition"] in book.conditions else None
        return _new_spell(record, name)
    if kind == "answer":
        return _answer(book, record, event, number, setting)
    if kind == "pass":
        if event["why"] == "cant-tell":
            return replace(record, unclear=record.unclear | {(event["check"], record.condition)})
        return replace(record, passed={**record.passed, event["check"]: event["why"]})
    if kind == "avoid":
        return replace(record, avoided=record.avoided | {event["condition"]})
    if kind == "tools":
        lacking = (record.lacking | set(event.get("lacking", ()))) - set(event.get("at hand", ()))
        back = {c: w for c, w in record.passed.items() if w != "no-tool" or set(book.checks[c].needs) & lacking}
        at_hand = (record.at_hand | set(event.get("at hand", ()))) - set(event.get("lacking", ()))
        return replace(record, lacking=lacking, at_hand=at_hand, passed=back)
    if kind == "note":
        return replace(record, notes=(*record.notes, event["text"]))
    if kind == "rules":
        return replace(record, stamps=(*record.stamps, event["stamp"]))
    if kind == "closed":
        return replace(record, closed=event)
    if kind == "verdict":
        return replace(record, verdicts=(*record.verdicts, event))
    return record


def _new_spell(record: Record, condition: str | None) -> Record:
    if not any(g.spell == record.present for g in record.given):
        return replace(record, spells=(*record.spells[:-1], condition))  # nothing was seen in the present one
    return replace(record, spells=(*record.spells, condition))


def _answer(book: Rulebook, record: Record, event: Event, number: int, setting: Setting | None) -> Record:
    check = book.checks.get(event["check"])
    values = None if check is None else weights_of(book, check, event, setting)
    if check is None or values is None:
        return replace(record, unread=(*record.unread, str(event["check"])))
    given = Given(
        step=event.get("step", 0),
        check=check.name,
        values=values,
        sure=event.get("sure", "sure"),
        spell=record.present,
        asked=bool(event.get("asked", False)),
        reading=str(event.get("reading", "")),
        number=number,
    )
    if "condition" in event:  # seen at another time: a spell of its own, put before the present one
        at, label = record.present, str(event.get("spell", ""))
        if label in record.apart:
            return replace(record, given=(*record.given, replace(given, spell=record.apart[label])))
        shifted = tuple(replace(g, spell=g.spell + 1) if g.spell == at else g for g in record.given)
        condition = event["condition"] if event["condition"] in book.conditions else None
        spells = (*record.spells[:-1], condition, record.spells[-1])
        apart = {**record.apart, label: at} if label else record.apart
        return replace(record, spells=spells, given=(*shifted, given), apart=apart)
    if check.provokes and any(max(w, key=lambda n: w[n]) != check.outcomes[0].name for w in values.values()):
        # It brought the fault on: what is seen from here belongs to a spell of its own, known to be showing.
        record = _new_spell(record, record.condition)
        given = replace(given, spell=record.present)
    record = replace(record, given=(*record.given, given))
    return _new_spell(record, check.leaves) if check.leaves else record


def weights_of(
    book: Rulebook, check: Check, event: Event, setting: Setting | None = None
) -> dict[int, dict[str, float]] | None:
    """The outcome weights of an answer event by place, or None if these rules do not have its outcomes.

    What was worked out from inputs or figures is worked out again, where these rules still can. Places that were
    answered by a word beside others with figures keep their word.
    """
    if setting is not None and check.computed is not None and event.get("inputs"):
        again = work_out(check, {str(k): str(v) for k, v in event["inputs"].items()}, setting)
        if isinstance(again, WorkedOut):
            return {place: dict(weights) for place, weights in again.weights.items()}
    carried = (weigh_carried(check, event["figures"]) if event.get("figures") else None) or {}
    names = [o.name for o in check.outcomes]
    right = book.settings.report_right.get(event.get("sure", "sure"))
    if right is None:
        return None
    found: dict[int, dict[str, float]] = {}
    for place, value in event.get("values", {}).items():
        if int(place) in carried:
            weights = {n: carried[int(place)].get(n, 0.0) for n in names}
        elif isinstance(value, Mapping):
            if not set(value) <= set(names) or sum(value.values()) <= 0:
                return None
            weights = {n: float(value.get(n, 0.0)) for n in names}
        elif value in names:
            weights = dict(zip(names, report(names.index(value), len(names), right), strict=True))
        else:
            return None
        found[int(place)] = weights
    return found or None


def code_answers(book: Rulebook, record: Record, tables: Tables) -> list[Evidence]:
    """The codes read off, as answers to every check that speaks of codes: listed = second outcome, else the first.

    Not listed counts as absent only where everything stored was read off. A code is copied from a display and named
    back, not judged: it counts as it stands, and no outcome is ever impossible (`unlikeliest`).
    """
    if not record.codes and not record.codes_complete:
        return []
    listed = {code for code, _ in record.codes}
    found = []
    for number, table in enumerate(tables.checks):
        check = book.checks[table.name]
        if not check.codes:
            continue
        weights: list[tuple[float, ...] | None] = []
        for place in range(1, len(table.places) + 1):
            codes = check.codes.get(0 if table.places == ("engine",) else place, ())
            hit = bool(listed & set(codes)) or ("any" in codes and bool(listed))
            known = bool(codes) and (hit or record.codes_complete)
            weights.append(report(int(hit), len(table.outcomes), 1.0) if known else None)
        if any(w is not None for w in weights):
            found.append(Evidence(number, tuple(weights), number=-1))
    return found


def spells_of(book: Rulebook, record: Record, tables: Tables) -> tuple[Spell, ...]:
    """The record as spells of evidence for the engine. Codes come first, in a spell of their own."""
    conditions = tables.condition_number
    answers: list[list[Evidence]] = [[] for _ in record.spells]
    for given in record.given:
        number = tables.check_number.get(given.check)
        if number is None:
            continue  # a check that cannot apply to this vehicle
        table = tables.checks[number]
        count = len(table.places)
        weights: list[tuple[float, ...] | None] = [None] * count
        for place, by_name in given.values.items():
            row = tuple(by_name[o] for o in table.outcomes)
            if table.places == ("engine",):
                weights[0] = row
            elif 1 <= place <= count:
                weights[place - 1] = row
        answers[given.spell].append(Evidence(number, tuple(weights), number=given.number))
    spells = [
        Spell(conditions.get(name) if name else None, tuple(found))
        for name, found in zip(record.spells, answers, strict=True)
    ]
    codes = Spell(None, tuple(code_answers(book, record, tables)))
    return (codes, *spells) if codes.answers else tuple(spells)
