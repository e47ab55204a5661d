"""The proposed check as a question to a person."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice

from reasoner.inference.belief import by_class, by_fault, leader, ordered
from reasoner.inference.choose import gains
from reasoner.inference.foresee import Foreseen, foresee
from reasoner.inference.gain import marks
from reasoner.inference.plan import Option, follow, options, worth_asking
from reasoner.network.tables import Array
from reasoner.rulebook.model import Check, Condition, Rulebook
from reasoner.session.document import Move, OutcomeDoc, Question, ReadingDoc, Separation, Way
from reasoner.session.fitted import open_facts
from reasoner.session.readings import earlier, typed_as, works_out
from reasoner.session.words import any_one_text, fault_at, places_of, values_text
from reasoner.session.workup import Workup

ALTERNATIVES = 3
OUTCOMES_SHOWN = 4
SUSPECTS_MOVED = 2
LIKELY_SUSPECT = 0.01  # a suspect less likely than this, before and after, is not named; judgement
TURNS_FROM = 0.01  # chance of an outcome from which it is worth the name of what could change a verdict; judgement
OUTCOMES_FOLLOWED = 16  # the likeliest, among which those that differ only in the place are put together


def way(workup: Workup, option: Option) -> Way:
    """An option in words: which check, in which condition, at which place, and what it takes."""
    book, tables = workup.book, workup.tables
    check = book.checks[tables.checks[option.check].name]
    condition = None if option.condition is None else book.conditions[tables.conditions[option.condition]]
    place = None if option.place is None else option.place + 1
    return Way(
        check.name,
        check.title,
        condition.name if condition else "",
        condition.title if condition else "as the car is",
        option.fresh,
        option.times,
        place,
        option.minutes,
        option.wait,
        option.money,
        option.hazards,
        option.gain,
        _titles(
            workup.book, [n for n in _needs(check, condition if option.fresh else None) if n in workup.record.lacking]
        ),
    )


def _needs(check: Check, condition: Condition | None) -> list[str]:
    """Tools, those of a condition to be brought about among them, each once."""
    return list(dict.fromkeys((*check.needs, *(condition.needs if condition else ()))))


def _titles(book: Rulebook, tools: Iterable[str]) -> tuple[str, ...]:
    return tuple(book.tools[n].title for n in tools)


def now_due(workup: Workup, option: Option) -> Option:
    """What is done now: the option itself, or what must come before it, in the condition that costs least to get to."""
    if option.first is None:
        return option
    tables, now = workup.tables, workup.situation
    ways = [o for o in options(tables, now, workup.costs) if o.check == option.first and o.times == 1]
    if not ways:  # nothing here allows it, such as a tool that lacks: the person says so
        first = tables.checks[option.first]
        return Option(option.first, now.condition, False, minutes=first.minutes, wait=first.wait)
    best = min(ways, key=lambda o: o.cost)
    return now_due(workup, best) if best.first is not None else gains(tables, now, [best])[0]


def question(workup: Workup, option: Option, ranked: Sequence[Option] | None = None) -> Question:
    """A proposed option as a question to a person. A check that must come first is asked in its place."""
    book, tables = workup.book, workup.tables
    asked = now_due(workup, option)
    before = "" if asked is option else book.checks[tables.checks[option.check].name].title
    check = book.checks[tables.checks[asked.check].name]
    condition = None
    if asked.fresh and asked.condition is not None:
        condition = book.conditions[tables.conditions[asked.condition]]
    names = list(check.cautions) + [n for n in (condition.cautions if condition else ()) if n not in check.cautions]
    ranked = workup.ranked if ranked is None else ranked
    there = _there_too(workup, asked, ranked)[:ALTERNATIVES]
    said = {option.check, asked.check, *(o.check for o in there)}
    others = [o for o in ranked if o.check not in said and worth_asking(o, workup.costs)][:ALTERNATIVES]
    return Question(
        way=way(workup, asked),
        kind=check.kind,
        ask=check.ask,
        how=check.how,
        at=str(check.at),
        places={
            n: t for n, t in places_of(workup.vehicle, check).items() if asked.place is None or n == asked.place + 1
        },
        outcomes=tuple(OutcomeDoc(o.name, o.text) for o in check.outcomes),
        reading=ReadingDoc(check.measure.quantity, check.measure.unit, typed_as(check)) if check.measure else None,
        cautions=tuple(book.cautions[n].say for n in names),
        bring_about=condition.bring_about if condition else "",
        condition_means=condition.means if condition else "",
        needs=_titles(workup.book, _needs(check, condition)),
        before=before,
        lists_codes=bool(check.codes) and not workup.record.codes_complete,
        separates=separations(workup, asked),
        alternatives=tuple(way(workup, o) for o in others),
        step=workup.record.steps,
        works_out=works_out(workup, check),
        facts=open_facts(workup, asked),
        while_rich=check.while_rich,
        sees=str(check.sees),
        earlier=earlier(workup, check),
        while_there=tuple(way(workup, o) for o in there),
    )


def _there_too(workup: Workup, asked: Option, ranked: Sequence[Option]) -> list[Option]:
    """Other looks that are best made in the condition that is there, or brought about, for this one; best first. Not
    what can be seen at any time."""
    checks = workup.tables.checks
    if asked.condition is None or checks[asked.check].steady:
        return []
    own = [o for o in ranked if o.check != asked.check and not checks[o.check].steady and worth_asking(o, workup.costs)]
    return [o for o in own if (o.condition, o.fresh) == (asked.condition, asked.fresh)]


def separations(workup: Workup, option: Option) -> tuple[Separation, ...]:
    """For the likeliest outcomes: the chance of each, and the suspect it speaks for most, before and after.

    A suspect is a fault at its place where one place stands out, else the fault over all its places. Outcomes that
    differ only in the place, and by nothing that is known so far, are told as one: `cylinder 1, 2 or 4 misfires`.
    """
    tables = workup.tables
    table = tables.checks[option.check]
    check = workup.book.checks[table.name]
    places = list(places_of(workup.vehicle, check))
    found: dict[object, tuple[dict[int, str], list[int], Separation]] = {}
    for branch in _foreseen(workup, option):
        seen = {places[p]: table.outcomes[o] for p, o in marks(table, branch.outcome, option.place)}
        fault, where, before, after = _speaks_for(workup, branch.probability)
        odd = [place for place, outcome in seen.items() if outcome != table.outcomes[0]]
        there = len(odd) == 1 and where == places_of(workup.vehicle, check)[odd[0]]
        text = values_text(workup, check, seen)
        moves = _moves(workup, branch.probability)
        number = list(table.outcomes).index(next(iter(seen.values()))) + 1 if len(seen) == 1 else 0
        separation = Separation(text, branch.chance, fault_at(workup.book, fault, where), before, after, moves, number)
        key: object = branch.outcome
        if len(odd) == 1 and len(seen) > 1 and (there or where in ("", "engine")):
            key = (seen[odd[0]], fault, *(round(x, 6) for x in (branch.chance, before, after)))
        found.setdefault(key, (seen, [], separation))[1].extend(odd)
    told = [_as_one(workup, check, *entry) for entry in found.values()]
    return tuple(sorted(told, key=lambda s: -s.chance)[:OUTCOMES_SHOWN])


def _foreseen(workup: Workup, option: Option) -> Iterator[Foreseen]:
    """The likeliest outcomes of an option, as they will be believed."""
    branches = islice(follow(workup.expected, workup.situation, option), OUTCOMES_FOLLOWED)
    begins = (option.condition,) if option.fresh else None
    outcomes = [(branch.outcome, branch.chance) for branch in branches]
    right = workup.book.settings.report_right["sure"]
    return foresee(workup.tables, workup.spells, option.check, option.place, begins, outcomes, right)


def could_turn(workup: Workup, option: Option) -> bool:
    """Whether some outcome of it, not a very rare one, would make another repair the likeliest."""
    now = int(by_class(workup.tables, workup.belief.probability).argmax())
    return any(
        branch.chance >= TURNS_FROM and int(by_class(workup.tables, branch.probability).argmax()) != now
        for branch in _foreseen(workup, option)
    )


def _speaks_for(workup: Workup, after: Array) -> tuple[str, str, float, float]:
    """The suspect that gains most: its fault, its place ("" = open), its chance now and `after`."""
    tables, now = workup.tables, workup.belief.probability
    faults = by_fault(tables, after)
    fault = int((faults - by_fault(tables, now)).argmax())
    best = leader(tables, after, fault=fault)
    cause = tables.causes[best]
    if after[best] <= 0.5 * faults[fault]:
        return cause.fault, "", float(by_fault(tables, now)[fault]), float(faults[fault])
    return cause.fault, cause.where, float(now[best]), float(after[best])


def _moves(workup: Workup, after: Array) -> tuple[Move, ...]:
    """The suspects that lead now, and the one that gains most if it is another: before and after."""
    was, will = by_fault(workup.tables, workup.belief.probability), by_fault(workup.tables, after)
    shown = ordered(was, SUSPECTS_MOVED)
    gains = int((will - was).argmax())
    if gains not in shown and will[gains] >= LIKELY_SUSPECT:
        shown = [*shown, gains]
    names = workup.tables.faults
    return tuple(
        Move(workup.book.faults[names[f]].title, float(was[f]), float(will[f]))
        for f in shown
        if max(was[f], will[f]) >= LIKELY_SUSPECT
    )


def _as_one(workup: Workup, check: Check, seen: dict[int, str], odd: list[int], first: Separation) -> Separation:
    if len(odd) < 2 or sum(outcome != check.outcomes[0].name for outcome in seen.values()) != 1:
        return first
    place = next(p for p in seen if seen[p] != check.outcomes[0].name)
    return replace(
        first,
        outcome=any_one_text(workup, check, sorted(odd), seen[place]),
        chance=first.chance * len(odd),
        lead=first.lead.replace(f", {places_of(workup.vehicle, check)[place]}", f", that {check.at}"),
    )
