"""A recorded case under other rules: what they make of the same answers, where they differ, what they ask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from reasoner.casebook.events import Event, Finished
from reasoner.history.trace import Trace, trace
from reasoner.inference.belief import by_class, leader
from reasoner.inference.weight import log_odds, weigh_answers
from reasoner.network.graph import Cause
from reasoner.network.tables import Tables
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Rulebook
from reasoner.session.chapters import Chapter, Found, Garage, found_in
from reasoner.session.concluding import PERCEPTIBLE, answer_origin, answer_text
from reasoner.session.effort import Spent, effort_spent
from reasoner.session.script import play, script_of
from reasoner.session.workup import Workup

# ---- What two sets of rules say differently --------------------------------------------------------------------------
# Of the same answers, and value by value.


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
    for item in weigh_answers(tables, workup.spells):
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


# ---- A recorded case under other rules -------------------------------------------------------------------------------
# What they make of the same answers, and what they would have asked.
#
# Three things are told apart: what was concluded when the case was worked on (its verdict event), what today's rules
# make of its answers, and what changed rules make of them.


class Grade(IntEnum):
    """How right it was, the better the higher."""

    WRONG = 0  # settled, and not what was found
    ASTRAY = 1  # another leads
    LEADING = 2  # what was found leads, not settled
    RIGHT = 3  # settled, and what was found


@dataclass(frozen=True)
class Ending:
    """Where the answers of a case lead.

    cause, fault, where: what leads at the end; chance: of its repair; found: chance of the cause that was found (None
    where nothing was, or these rules do not have it). settled: after how many answers, and what they had taken; None
    where it is not. unread: answers to what the rules do not have.
    """

    cause: str
    fault: str
    where: str
    title: str
    chance: float
    found: float | None
    answers: int
    settled: int | None
    effort: Spent
    grade: Grade | None
    unread: tuple[str, ...] = ()


@dataclass(frozen=True)
class Said:
    """What was concluded when the case was worked on. chance: of that cause, as said then.

    right: the repair was the one that was needed; exact: it was that cause. Both None where nothing was found.
    """

    cause: str
    kind: str
    chance: float
    right: bool | None
    exact: bool | None


@dataclass(frozen=True)
class Replayed:
    """part: counted from 1, where more than one thing was found. found: the cause as found ("" = none).

    changed, reweighed, asked_again: only where they were wanted. against: the cause that answers are weighed for. same:
    the beliefs under both rules are the same to the last bit.
    """

    case: str
    part: int
    found: str
    state: str
    said: Said | None
    today: Ending
    changed: Ending | None = None
    same: bool | None = None
    against: str = ""
    reweighed: tuple[Reweighed, ...] = ()
    asked_again: Ending | None = None

    @property
    def worse(self) -> bool:
        """The later rules (changed, else today's) do worse by what was found than what came before them."""
        if self.changed is not None:
            return _worse(self.today.grade, self.changed.grade)
        if self.said is None or self.said.right is None or self.today.grade is None:
            return False
        return self.said.right and self.today.grade < Grade.LEADING


def _worse(before: Grade | None, after: Grade | None) -> bool:
    return before is not None and after is not None and after < before


def replay(
    name: str,
    vehicle: Vehicle,
    events: Sequence[Event],
    today: Garage,
    changed: Garage | None = None,
    again: bool = False,
    why: bool = True,
) -> tuple[Replayed, ...]:
    """A case replayed: once for everything that was found in it, once where nothing was.

    again: asked again as well, which is slow. why: say which answers weigh differently under changed rules.
    """
    chapters = today.chapters(vehicle, events)
    others = changed.chapters(vehicle, events) if changed else ()
    founds: Sequence[Found | None] = found_in(chapters) or (None,)
    done = []
    for number, found in enumerate(founds):
        one = _replay(name, number + 1, chapters, found)
        if again:
            one = replace(one, asked_again=_asked_again(chapters, found))
        if changed:
            one = _beside(one, chapters, others, found, (found_in(others) or (None,))[number], why)
        done.append(one)
    return tuple(done)


def _replay(name: str, part: int, chapters: Sequence[Chapter], found: Found | None) -> Replayed:
    own, moved = _read(chapters, found)
    cause, state = (found.cause, found.state) if found else ("", "")
    return Replayed(name, part, cause, state, said_then(own.workup, found), ended(moved, found))


def _beside(
    done: Replayed,
    chapters: Sequence[Chapter],
    others: Sequence[Chapter],
    found: Found | None,
    its_found: Found | None,
    why: bool,
) -> Replayed:
    own, moved = _read(chapters, found)
    other, its_moved = _read(others, its_found)
    same = _same(moved, its_moved)
    against = found.cause if found and found.known else done.today.cause
    differ = () if same or not why else reweighed(own.workup, other.workup, against)
    return replace(done, changed=ended(its_moved, its_found), same=same, against=against, reweighed=differ)


def _read(chapters: Sequence[Chapter], found: Found | None) -> tuple[Chapter, Trace]:
    """The chapter to be judged: the last one in which what was found was there; else the first."""
    own = chapters[found.chapters[-1] if found else 0]
    return own, trace(own.workup)


def ended(moved: Trace, found: Found | None) -> Ending:
    """Where a trace ends, held against what was found."""
    workup, tables, p = moved.workup, moved.tables, moved.last
    classes = by_class(tables, p)
    best = int(classes.argmax())
    cause = tables.causes[leader(tables, p, repair_class=best)]
    settles = moved.settles()
    record = workup.record
    upto = None if settles is None else moved.points[settles]
    number = tables.cause_number.get(found.cause) if found and found.known else None
    return Ending(
        cause=cause.name,
        fault=cause.fault,
        where=cause.where,
        title=workup.book.faults[cause.fault].title,
        chance=float(classes[best]),
        found=None if number is None else float(p[number]),
        answers=record.answers,
        settled=None if settles is None else record.answers_until(upto),
        effort=effort_spent(workup, upto),
        grade=None if found is None else _grade(tables, cause, number, settles is not None),
        unread=record.unread,
    )


def _grade(tables: Tables, lead: Cause, number: int | None, is_settled: bool) -> Grade:
    """Right where what leads has the repair of what was found; of two faults at once, one of the two."""
    classes = {int(tables.class_of[tables.cause_number[each.name]]) for each in lead.each}
    right = number is not None and int(tables.class_of[number]) in classes
    if right:
        return Grade.RIGHT if is_settled else Grade.LEADING
    return Grade.WRONG if is_settled else Grade.ASTRAY


def said_then(workup: Workup, found: Found | None) -> Said | None:
    """The last verdict that was kept with the case, and whether it named the repair that was needed."""
    if not workup.record.verdicts:
        return None
    event = workup.record.verdicts[-1]
    cause, kind = event.cause, event.what
    tables = workup.tables
    right: bool | None = None
    if found is not None:
        one, other = tables.cause_number.get(cause), tables.cause_number.get(found.cause)
        if kind == "place-open":
            right = cause.split("@")[0] == found.fault
        elif one is not None and other is not None:
            right = bool(tables.class_of[one] == tables.class_of[other])
        else:
            right = cause == found.cause
    exact = None if found is None else cause == found.cause
    return Said(cause, kind, event.probability, right, exact)


def _same(one: Trace, other: Trace) -> bool:
    if one.tables.cause_number.keys() != other.tables.cause_number.keys():
        return False
    return len(one.beliefs) == len(other.beliefs) and all(
        bool((a == b).all()) for a, b in zip(one.beliefs, other.beliefs, strict=True)
    )


def _asked_again(chapters: Sequence[Chapter], found: Found | None) -> Ending:
    """The loop chooses its own checks, answered from the case where it has the answer."""
    there = found.chapters if found else (0,)
    own = chapters[there[0]]
    told = [e for chapter in chapters if chapter.number in there for e in chapter.events]
    bare = Workup(own.workup.book, own.workup.vehicle, own.workup.ruled, (), own.workup.by)
    for workup in play(bare, script_of(e for e in told if not isinstance(e, Finished))):
        bare = workup
    return ended(trace(bare), found)
