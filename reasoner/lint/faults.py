"""Lints about faults: whether they can be there, show, are told apart and confirmed."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from reasoner.inference.discrimination import raises
from reasoner.lint.context import Context, LintFinding, at, lint, pass_both, possible

# ---- no vehicle ------------------------------------------------------------------------------------------------------


@lint(
    "no-vehicle",
    "a fault or a check for no vehicle at all",
    "look at its `only`, and at its `share` if it has one",
)
def no_vehicle(context: Context) -> Iterator[LintFinding]:
    """A fault that no vehicle can have, or a check that applies to none.

    A share of 0 for every injection that its `only` allows, or a filter that excludes itself.

    Good:

        faults:
          leak: {only: {injection: [direct, dual]}, share: {port: 0, direct: 20, dual: 10}}

    Bad:

        faults:
          pump-high:
            name: Pump gives too much pressure
            means: It runs above its target.
            at: engine
            only: {injection: port}
            share: {port: 0, direct: 20, dual: 10}
            acts as: [rich]
            repair: new-meter
            confirmed by: [trim]
            driving on: It drinks.
            source: judgement
    """
    for fault in context.faults:
        if not possible(fault).values["injection"]:
            yield at("faults", fault.name, fault.origin.place, f'no vehicle can have "{fault.name}"')
    faults = [possible(fault) for fault in context.faults]
    for name, entry in context.book.checks.items():
        if not any(pass_both(entry.only, only) for only in faults):
            yield at("checks", name, entry.origin.place, f'"{name}" applies to no vehicle')


# ---- never shows -----------------------------------------------------------------------------------------------------


@lint(
    "never-shows",
    "a fault that shows in no condition",
    "say under `shows`, of it or of one of its families, in which conditions it acts, and how often",
)
def never_shows(context: Context) -> Iterator[LintFinding]:
    """A fault that never shows.

    In no condition does it act more often than where nothing is said (the setting `shows unless said`): nobody has
    written when it is to be seen, or it was written so low that a check would have to be repeated for ever.

    Good:

        faults:
          leak: {shows: {any: sometimes, stands: often}}

    Bad:

        faults:
          seal-leaks:
            name: Pump seal leaks
            means: Fuel gets into the oil.
            at: engine
            share: 10
            shows: {any: rarely}
            acts as: [rich]
            repair: new-meter
            confirmed by: [thin-oil]
            driving on: The oil loses its strength.
            source: judgement
        checks:
          thin-oil:
            name: Oil thin
            kind: look
            ask: Is the oil thin?
            sees: ever
            outcomes: {no: it is not, yes: it is}
            otherwise: {yes: rarely}
            given: {seal-leaks: {yes: often}}
            minutes: 1
            source: practice
    """
    unsaid = context.book.settings.shows_unless_said
    for fault in context.faults:
        often = [
            float(car.tables.shows[car.cause_of[fault.name]].max())
            for car in context.cars
            if fault.name in car.cause_of
        ]
        if often and max(often) <= unsaid.value + 1e-9:
            message = f'"{fault.name}" acts in no condition more often than {max(often) * 100:.0f} %'
            yield at("faults", fault.name, fault.origin.place, message)


# ---- told apart ------------------------------------------------------------------------------------------------------


@lint(
    "cannot-tell-apart",
    "two faults that no check can tell apart",
    "say under `given` of some check how the two differ, or under `alike` of one of them why nothing does",
)
def told_apart(context: Context) -> Iterator[LintFinding]:
    """Two faults that no check can tell apart.

    At even odds between the two, no single look, at any place and in any condition, brings as much as the setting
    `least gain`, on any of the typical vehicles that can have both: the program would never ask anything to decide
    between them. Where it cannot be helped, one of them names the other under `alike`, with the reason.

    Good:

        faults:
          meter-dirty:
            name: Air-mass meter dirty
            means: Its element is coated.
            at: engine
            share: 10
            acts as: [rich]
            repair: new-meter
            confirmed by: [airflow]
            driving on: It drinks.
            alike: {meter-high: The same part with the same signs; it is renewed either way.}
            source: judgement
        checks:
          airflow: {given: {meter-dirty: {too-much: usually}}}

    Bad:

        faults:
          meter-dirty:
            name: Air-mass meter dirty
            means: Its element is coated.
            at: engine
            share: 10
            acts as: [rich]
            repair: new-meter
            confirmed by: [airflow]
            driving on: It drinks.
            source: judgement
        checks:
          airflow: {given: {meter-dirty: {too-much: usually}}}
    """
    faults, least = context.book.faults, context.book.settings.least_gain
    worst: dict[tuple[str, str], tuple[float, str]] = {}  # of a pair: the least bits on any car, and how
    for car in context.cars:
        names = tuple(car.cause_of)
        for i, j in combinations(range(len(names)), 2):
            pair = tuple(sorted((names[i], names[j]), key=list(faults).index))
            bits, by = float(car.telling.bits[i, j]), car.tables.checks[car.telling.check[i, j]].name
            said = (bits, f"the best, {by}, brings {bits:.3f} bits" if bits >= 0.0005 else "everything shows the same")
            worst[pair[0], pair[1]] = min(said, worst.get((pair[0], pair[1]), said))
    for (first, second), (bits, by) in worst.items():
        one, other = faults[first], faults[second]
        excused = second in one.alike or first in other.alike
        if one.anything_else or other.anything_else or excused == (bits < least):
            continue
        if bits < least:
            message = f'no check can tell "{second}" from "{first}": {by}'
            yield at("faults", second, other.origin.place, message)
        else:
            owner, named = (one, second) if second in one.alike else (other, first)
            written = context.book.written["faults", owner.name, "alike", named]
            if context.book.over and written.place.file not in context.book.over:
                continue  # what lies over it may be why; it is looked at where it stands alone
            message = f'"{owner.name}" and "{named}" can be told apart: {by}'
            yield at("faults", owner.name, owner.origin.place, message, f"delete {named} from `alike` of {owner.name}")


# ---- confirmed -------------------------------------------------------------------------------------------------------

CONFIRMS = 2.0  # how many times likelier an outcome must be to count as confirming: judgement


@lint(
    "not-confirmed",
    "a fault that nothing confirms",
    "name checks under `confirmed by` that have an outcome which this fault makes much likelier than others do",
)
def fault_unconfirmed(context: Context) -> Iterator[LintFinding]:
    """A fault that nothing confirms.

    `confirmed by` names the checks that settle it. Each must have an outcome that is at least twice as likely while
    this fault shows as under all the others together, on some vehicle that can have it: otherwise it confirms nothing.

    Good:

        faults:
          meter-high: {confirmed by: [airflow]}

    Bad:

        faults:
          leak: {confirmed by: []}
          meter-high: {confirmed by: [airflow, trim]}
    """
    for fault in context.faults:
        spot = context.book.written.get(("faults", fault.name, "confirmed by"))
        place = spot.place if spot else fault.origin.place
        if not fault.confirmed_by:
            yield at("faults", fault.name, fault.origin.place, f'nothing confirms "{fault.name}"')
        for name in fault.confirmed_by:
            times = [
                raises(car.tables, table)[car.cause_of[fault.name]]
                for car in context.cars
                if fault.name in car.cause_of and (table := car.table(name))
            ]
            if not times and any(fault.name in car.cause_of for car in context.cars):
                message = f'"{name}" cannot confirm "{fault.name}": no vehicle can have both'
            elif times and max(times) < CONFIRMS:
                message = (
                    f'"{name}" hardly confirms "{fault.name}": at most {max(times):.1f} times as likely as under others'
                )
            else:
                continue
            yield LintFinding("faults", fault.name, place, len(spot.text) if spot else len(fault.name), message)
