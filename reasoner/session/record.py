"""Events of a case, folded into what is known now. Pure: the same events give the same record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from reasoner.casebook.correcting import last_step
from reasoner.casebook.correcting import standing as standing
from reasoner.casebook.events import (
    Answered,
    Avoided,
    Cleared,
    Closed,
    CodesRead,
    Concluded,
    ConditionMet,
    Drove,
    Event,
    FactsTold,
    Noted,
    PassedOver,
    Provoked,
    ReadingsTaken,
    RichSeen,
    RulesUsed,
    Told,
    ToolsSaid,
)
from reasoner.inference.evidence import Evidence, Spell, reported_weights
from reasoner.measure.asks import Setting
from reasoner.measure.codes import STORED
from reasoner.measure.weigh import WorkedOut, weigh_carried, work_out
from reasoner.network.tables import Tables
from reasoner.network.vehicle import Vehicle, with_facts
from reasoner.rulebook.model import Check, Rulebook, Sees

CODES_KEPT = 16  # readings of codes, of which the answers are kept with the tables


@dataclass(frozen=True)
class Given:
    """One answer as it was given. values: place number (from 1; 0 = engine) -> outcome weights by name. lasting: it
    holds for all of the case, whatever the spell."""

    step: int
    check: str
    values: Mapping[int, Mapping[str, float]]
    sure: str
    spell: int
    asked: bool
    reading: str = ""
    number: int = 0
    lasting: bool = False


@dataclass(frozen=True)
class LiveRead:
    """Live values as they were read: name -> number and unit. spell: its number."""

    step: int
    spell: int
    readings: Mapping[str, str]


@dataclass(frozen=True)
class Record:
    """spells: (condition or None) in order, the present one last. given: all answers, in order.

    apart: spell of an event -> its number here. passed: check -> why. unclear: (check, condition) that could not be
    told. avoided: conditions not to be brought about. unread: what was answered to checks or places that these rules or
    this vehicle do not have (kept, not weighed).
    facts: what became known of the car; "" = asked, and not known. rich: spell -> whether it was seen to be rich in it
    (None: asked, and nobody can tell).
    live: readings typed in one go, in order. cleared: codes were, and the car was not driven since, as far as was told.
    cleared_from: the event that said so last, or that they were not.
    said_nothing: events with which codes were read, or answered, as empty then: so they are on a car that runs well or
    not.
    """

    complaint: str = ""
    codes: tuple[tuple[str, tuple[str, ...]], ...] = ()
    codes_complete: bool = False
    cleared: bool = False
    cleared_from: int = 0
    said_nothing: tuple[int, ...] = ()
    spells: tuple[str | None, ...] = (None,)
    apart: Mapping[str, int] = field(default_factory=dict)
    given: tuple[Given, ...] = ()
    passed: Mapping[str, str] = field(default_factory=dict)
    unclear: frozenset[tuple[str, str | None]] = frozenset()
    avoided: frozenset[str] = frozenset()
    lacking: frozenset[str] = frozenset()
    at_hand: frozenset[str] = frozenset()
    facts: Mapping[str, str] = field(default_factory=dict)
    rich: Mapping[int, bool | None] = field(default_factory=dict)
    live: tuple[LiveRead, ...] = ()
    notes: tuple[str, ...] = ()
    stamps: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    steps: int = 0
    last_step: int = 0
    verdicts: tuple[Concluded, ...] = ()
    closed: Closed | None = None

    @property
    def answers(self) -> int:
        """How often something was answered or told: all of one line, or of one log, is once; an answer that took the
        place of an earlier one is none more."""
        return self.answers_until(None)

    def answers_until(self, number: int | None) -> int:
        """The same up to the event of this number."""
        by_then = [given for given in self.given if number is None or given.number <= number]
        later = ((given, by_then[n + 1 :]) for n, given in enumerate(by_then))
        return len({given.step for given, after in later if not any(_replaces(new, given) for new in after)})

    @property
    def empty_since_clearing(self) -> bool:
        """Whether codes were read as empty since they were cleared, and no drive was told of since."""
        return self.cleared and any(number > self.cleared_from for number in self.said_nothing)

    @property
    def present(self) -> int:
        return len(self.spells) - 1

    @property
    def condition(self) -> str | None:
        return self.spells[-1]


def _replaces(later: Given, earlier: Given) -> bool:
    """Whether an answer takes the place of an earlier one: to the same check, at all places of the earlier one, and in
    the same spell unless it holds for all of the case."""
    same = later.check == earlier.check and (later.lasting or later.spell == earlier.spell)
    return same and set(earlier.values) <= set(later.values)


def setting_of(vehicle: Vehicle) -> Setting:
    """What a computation has to know of the car."""
    return Setting(vehicle.cylinders, vehicle.banks)


def fold(book: Rulebook, events: Iterable[Event], vehicle: Vehicle) -> Record:
    """What is known after these events, under these rules, of this vehicle."""
    setting, events = setting_of(vehicle), list(events)
    record = Record(
        lacking=frozenset(t.name for t in book.tools.values() if not t.common),
        steps=last_step(events),
    )
    for number, event in enumerate(standing(events)):
        record = _with(book, replace(record, last_step=event.step or record.last_step), event, number, setting)
    return record


def _with(book: Rulebook, record: Record, event: Event, number: int, setting: Setting) -> Record:
    """The record with one more event, kind by kind."""
    match event:
        case Told():
            return replace(record, complaint=event.complaint)
        case CodesRead():
            listed = tuple((c.code, c.states) for c in event.codes)
            if record.cleared and event.complete and not listed:
                return replace(record, said_nothing=(*record.said_nothing, number))
            # What is there says what it says; that nothing else is there says nothing until a drive.
            return replace(record, codes=listed, codes_complete=event.complete and not record.cleared)
        case Cleared():
            return replace(record, cleared=event.cleared, cleared_from=number)
        case Drove():
            return replace(record, cleared=False)
        case Provoked():
            return _driven_by(book, record, event.condition)
        case ConditionMet():
            record = _driven_by(book, record, event.condition)
            if event.spell in record.apart:
                return _gone_on_with(record, event.spell)
            return _new_spell(record, event.condition if event.condition in book.conditions else None)
        case Answered():
            return _answer(book, record, event, number, setting)
        case PassedOver(why="cant-tell"):
            return replace(record, unclear=record.unclear | {(event.check, record.condition)})
        case PassedOver():
            return replace(record, passed={**record.passed, event.check: event.why})
        case Avoided():
            return replace(record, avoided=record.avoided | {event.condition})
        case ToolsSaid():
            return _tools(book, record, event)
        case FactsTold():
            return replace(record, facts={**record.facts, **event.facts})
        case RichSeen():
            return replace(record, rich={**record.rich, record.present: event.rich})
        case ReadingsTaken():
            return _live(book, record, event)
        case Noted():
            return replace(record, notes=(*record.notes, event.text))
        case RulesUsed():
            return replace(record, stamps=(*record.stamps, event.stamp))
        case Closed():
            return replace(record, closed=event)
        case Concluded():
            return replace(record, verdicts=(*record.verdicts, event))
    return record


def _tools(book: Rulebook, record: Record, event: ToolsSaid) -> Record:
    """What was passed over for want of a tool is asked again once nothing it needs is lacking."""
    lacking = (record.lacking | set(event.lacking)) - set(event.at_hand)
    at_hand = (record.at_hand | set(event.at_hand)) - set(event.lacking)
    needs = {name: set(check.needs) for name, check in book.checks.items()}  # a check may have left the rules
    passed = {c: w for c, w in record.passed.items() if w != "no-tool" or needs.get(c, set()) & lacking}
    return replace(record, lacking=lacking, at_hand=at_hand, passed=passed)


def _new_spell(record: Record, condition: str | None) -> Record:
    """The car does something else from here. A spell in which nothing was seen gives its place to the new one, and what
    was said of its mixture holds no longer."""
    if record.present in {*(g.spell for g in record.given), *(r.spell for r in record.live)}:
        return replace(record, spells=(*record.spells, condition))
    rich = {spell: rich for spell, rich in record.rich.items() if spell != record.present}
    return replace(record, spells=(*record.spells[:-1], condition), rich=rich)


def _gone_on_with(record: Record, label: str) -> Record:
    """The spell of that name, of which was told before, is the present one."""
    at, last = record.apart[label], record.present
    place = {spell: spell - (spell > at) for spell in range(last + 1)} | {at: last}
    return replace(
        record,
        spells=(*record.spells[:at], *record.spells[at + 1 :], record.spells[at]),
        given=tuple(replace(g, spell=place[g.spell]) for g in record.given),
        live=tuple(replace(r, spell=place[r.spell]) for r in record.live),
        rich={place[spell]: rich for spell, rich in record.rich.items()},
        apart={name: place[spell] for name, spell in record.apart.items()},
    )


def _driven_by(book: Rulebook, record: Record, condition: str | None) -> Record:
    """The same after a condition was brought about; one that takes a drive ends what clearing hides."""
    met = book.conditions.get(condition or "")
    return replace(record, cleared=False) if met is not None and met.road else record


def _answer(book: Rulebook, record: Record, event: Answered, number: int, setting: Setting) -> Record:
    check = book.checks.get(event.check)
    values = None if check is None else weights_of(book, check, event, setting)
    if check is None or values is None:
        return replace(record, unread=(*record.unread, event.check))
    gone = [place for place in values if place not in setting.places(check.at)]
    if gone:
        record = replace(record, unread=(*record.unread, _places(event.check, gone)))
        values = {place: weights for place, weights in values.items() if place not in gone}
    if not values:
        return record
    if (
        record.cleared
        and check.codes
        and all(max(w, key=lambda n: w[n]) == check.outcomes[0].name for w in values.values())
    ):
        return replace(record, said_nothing=(*record.said_nothing, number))
    given = Given(
        step=event.step,
        check=check.name,
        values=values,
        sure=event.sure,
        spell=record.present,
        asked=event.asked,
        reading=event.reading,
        number=number,
        lasting=check.sees is Sees.EVER,
    )
    if event.apart:
        record, spell = _apart(book, record, event.spell, event.condition)
        return replace(record, given=(*record.given, replace(given, spell=spell)))
    if check.provokes and any(max(w, key=lambda n: w[n]) != check.outcomes[0].name for w in values.values()):
        # It brought the fault on: what is seen from here belongs to a spell of its own, known to be showing.
        record = _new_spell(record, record.condition)
        given = replace(given, spell=record.present)
    record = replace(record, given=(*record.given, given))
    return _new_spell(record, check.leaves) if check.leaves else record


def _apart(book: Rulebook, record: Record, label: str, condition: str | None) -> tuple[Record, int]:
    """The spell of what was seen at another time: that of its label, or one of its own, put before the present one."""
    if label in record.apart:
        return record, record.apart[label]
    at = record.present
    shifted = replace(
        record,
        spells=(*record.spells[:-1], condition if condition in book.conditions else None, record.spells[-1]),
        given=tuple(replace(g, spell=g.spell + 1) if g.spell == at else g for g in record.given),
        live=tuple(replace(r, spell=r.spell + 1) if r.spell == at else r for r in record.live),
        rich={spell + (spell == at): rich for spell, rich in record.rich.items()},
        apart={**record.apart, label: at} if label else record.apart,
    )
    return shifted, at


def _live(book: Rulebook, record: Record, event: ReadingsTaken) -> Record:
    spell = record.present
    if event.spell:
        record, spell = _apart(book, record, event.spell, event.condition)
    rich = record.rich if event.rich is None else {**record.rich, spell: event.rich}
    return replace(record, live=(*record.live, LiveRead(event.step, spell, event.readings)), rich=rich)


def _places(check: str, places: Sequence[int]) -> str:
    """Places of a check that are not there: `plugs at 5 and 6`, `plugs of the whole engine`."""
    *before, last = map(str, places)
    at = f" at {', '.join(before)} and {last}" if before else f" at {last}"
    return check + (at if any(places) else " of the whole engine")


def weights_of(book: Rulebook, check: Check, event: Answered, setting: Setting) -> dict[int, dict[str, float]] | None:
    """The outcome weights of an answer event by place, or None if these rules do not have its outcomes.

    What was worked out from inputs or figures is worked out again, where these rules still can. Places that were
    answered by a word beside others with figures keep their word.
    """
    if check.computed is not None and event.inputs:
        again = work_out(check, event.inputs, setting)
        if isinstance(again, WorkedOut):
            return {place: dict(weights) for place, weights in again.weights.items()}
    carried = (weigh_carried(check, event.figures) if event.figures else None) or {}
    names = [o.name for o in check.outcomes]
    right = book.settings.report_right.get(event.sure)
    if right is None:
        return None
    found: dict[int, dict[str, float]] = {}
    for place, value in event.values.items():
        if place in carried:
            weights = {n: carried[place].get(n, 0.0) for n in names}
        elif isinstance(value, Mapping):
            if not set(value) <= set(names) or sum(value.values()) <= 0:
                return None
            weights = {n: float(value.get(n, 0.0)) for n in names}
        elif value in names:
            weights = dict(zip(names, reported_weights(names.index(value), len(names), right), strict=True))
        else:
            return None
        found[place] = weights
    return found or None


def code_answers(book: Rulebook, record: Record, tables: Tables) -> tuple[Evidence, ...]:
    """The codes read off, as answers to every check that speaks of codes: listed = second outcome, else the first.

    Not listed counts as absent only where everything stored was read off. A code is copied from a display and named
    back, not judged: it counts unchanged, and no outcome is ever impossible (`unlikeliest`).
    """
    if not record.codes and not record.codes_complete:
        return ()
    key = record.codes, record.codes_complete
    return tables.kept.once("codes", key, lambda: _code_answers(book, record, tables), CODES_KEPT)


def _code_answers(book: Rulebook, record: Record, tables: Tables) -> tuple[Evidence, ...]:
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
            weights.append(reported_weights(int(hit), len(table.outcomes), 1.0) if known else None)
        if any(w is not None for w in weights):
            found.append(Evidence(number, tuple(weights), number=-1))
    return *found, *_state_answers(book, record, tables)


def states_read(book: Rulebook, record: Record, check: Check) -> set[str] | None:
    """The states in which the codes that a check goes by were read off; None where none of these codes was, empty where
    that is not known: `stored` alone tells of no other state where no code at all was read in another one, for then the
    stored ones may be all that anybody looked at."""
    codes = set().union(*book.checks[check.codes_of].codes.values()) if check.codes_of in book.checks else set()
    read = [set(states) for code, states in record.codes if code in codes]
    if not read:
        return None
    of_any = set().union(*(states for _, states in record.codes))
    return set() if of_any == {STORED} else set().union(*read)


def _state_answers(book: Rulebook, record: Record, tables: Tables) -> Iterator[Evidence]:
    """The states in which codes were read, as answers to checks that go by them: the first outcome that one of them
    means. A stored code may be failing all the same, where nobody said whether it is pending: that counts as not quite
    sure."""
    for number, table in enumerate(tables.checks):
        check = book.checks[table.name]
        read = states_read(book, record, check) or set()
        meant = next((o for o in table.outcomes if read.intersection(check.code_states.get(o, ()))), None)
        if meant is not None:
            sure = "think so" if read.intersection(check.code_states[meant]) == {STORED} else "sure"
            right = book.settings.report_right[sure]
            weights = reported_weights(table.outcomes.index(meant), len(table.outcomes), right)
            yield Evidence(number, (weights,), number=-1)


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
    codes = Spell(None, code_answers(book, record, tables))
    return (codes, *spells) if codes.answers else tuple(spells)


# ---- The car as it has become known ----------------------------------------------------------------------------------
# A fact that stands is true of the car throughout the case. A suspect or a check that needs what the car has not got is
# not in its tables, so nothing that is worked out from them speaks of it.


def facts_told(events: Iterable[Event]) -> dict[str, str]:
    """Facts that stand, the latest of each; "" where it was asked and is not known."""
    found: dict[str, str] = {}
    for event in standing(events):
        if isinstance(event, FactsTold):
            found |= event.facts
    return found


def known_car(vehicle: Vehicle, events: Iterable[Event]) -> Vehicle:
    """The stated vehicle with what has become known of it."""
    return with_facts(vehicle, said(facts_told(events)))[0]


def said(facts: Mapping[str, str]) -> dict[str, str]:
    """The facts that are known: without those that were asked and could not be told."""
    return {key: value for key, value in facts.items() if value}
