"""Lints about checks: whether they tell anything, for what they cost, and are safe to make."""

from __future__ import annotations

import re
from collections.abc import Iterator

from reasoner.inference.discrimination import even_odds, raises
from reasoner.lint.context import BenchCar, Context, LintFinding, at, lint
from reasoner.lint.faults import CONFIRMS
from reasoner.mistake import Place
from reasoner.network.tables import CheckTable
from reasoner.rulebook.model import Rulebook

# ---- tells nothing ---------------------------------------------------------------------------------------------------


@lint(
    "tells-nothing",
    "a check that tells nothing",
    "say under `given` what it shows differently, look at the conditions it is made `in`, or take it out",
)
def tells_nothing(context: Context) -> Iterator[LintFinding]:
    """A check that tells nothing.

    Whatever is wrong or not, its outcomes are as likely as ever: even between the two faults that it tells apart best,
    or one of them and nothing to be seen, in whichever of its conditions, one look brings less than the setting `least
    gain` at even odds, on every typical vehicle it applies to. Where the faults that it shows do not act in the
    conditions it is made in, nobody can see what it says. Parts renewed are left out: they are told with the work.

    Good:

        checks:
          sooty-pipe:
            name: Soot in the tailpipe
            kind: look
            ask: Is the tailpipe sooty?
            sees: ever
            outcomes: {no: it is not, yes: it is}
            otherwise: {yes: seldom}
            given: {leak: {yes: often}}
            minutes: 1
            source: practice

    Bad:

        checks:
          sooty-pipe:
            name: Soot in the tailpipe
            kind: look
            ask: Is the tailpipe sooty?
            sees: ever
            outcomes: {no: it is not, yes: it is}
            otherwise: {yes: 28 %}
            given: {leak: {yes: 30 %}}
            minutes: 1
            source: practice
            waive: {unlikely-outcome: Shown on its own page.}
    """
    for name, entry in context.book.checks.items():
        if entry.intake == "renewed":  # told with the work and never asked by itself: it costs nothing
            continue
        numbers = [(car, car.tables.check_number[name]) for car in context.cars if name in car.tables.check_number]
        bits = [float(car.telling.says[number]) for car, number in numbers]
        if bits and max(bits) < context.book.settings.least_gain:
            said = "nothing" if max(bits) < 0.0005 else f"at most {max(bits):.4f} bits"
            yield at("checks", name, entry.origin.place, f'"{name}" tells {said}, whatever is wrong')


# ---- outcomes --------------------------------------------------------------------------------------------------------

LIKELIER = 1.5  # how many times as likely under one cause as under another: judgement


@lint(
    "unlikely-outcome",
    "an outcome that nothing makes likely, or no reading gives",
    "say under `given` which fault shows it, or take the outcome out",
)
def outcome_unreachable(context: Context) -> Iterator[LintFinding]:
    """An outcome that nothing makes likely, or that no reading can give.

    Every outcome but the first is there because it is likelier under one cause than under another: half as likely again
    at least. And where a check is measured, each outcome needs its band, or a typed number never gives it.

    Good:

        checks:
          plugs:
            outcomes: {same: the same, darker: darker, wet: wet with fuel}
            otherwise: {darker: seldom, wet: almost never}
            given: {leak: {darker: often, wet: sometimes}}

    Bad:

        checks:
          plugs:
            outcomes: {same: the same, darker: darker, wet: wet with fuel}
            otherwise: {darker: seldom, wet: almost never}
    """
    for name, entry in context.book.checks.items():
        tables = [table for car in context.cars if (table := car.table(name))]
        bands = {band.outcome for band in entry.measure.bands} if entry.measure else None
        most = [max(times) for times in zip(*map(_times, tables), strict=True)]
        for number, outcome in enumerate(entry.outcomes):
            if bands is not None and outcome.name not in bands:
                message = f'no reading gives the outcome "{outcome.name}" of "{name}"'
                mend = "give it a band under `measure`"
                yield LintFinding("checks", name, outcome.place, len(outcome.name), message, mend)
            if number and most and most[number] < LIKELIER:
                message = f'"{outcome.name}" of "{name}" is much the same whatever is wrong'
                yield LintFinding("checks", name, outcome.place, len(outcome.name), message)


def _times(table: CheckTable) -> list[float]:
    """How many times likelier each outcome is where it is likeliest than where it is not."""
    seen = table.rows[sorted({0, *table.index.ravel().tolist()})]
    found: list[float] = (seen.max(axis=0) / seen.min(axis=0)).tolist()
    return found


# ---- stands for less -------------------------------------------------------------------------------------------------

NOTICED = 0.02  # bits; by less nobody would notice; judgement


@lint(
    "stands-for-less",
    "a check that stands for another one and tells less than it",
    "say of these faults at least as much as the other check does, or take it out of `stands for`",
    strict=True,  # it is many numbers at a time, and none of them is a slip
)
def stands_for_less(context: Context) -> Iterator[LintFinding]:
    """A check that stands for another one and tells less than it.

    Once it is answered, what it stands for counts no more. Where the other says more of a fault (between the fault,
    while it shows, and nothing to be seen, at even odds and at its own place), an answer that agrees with it takes
    something away from the suspect that both point at. The numbers are to be mended.

    Good:

        checks:
          trim-fitted:
            name: Trim fitted over all airflows
            kind: reading
            ask: Is the fitted trim rich?
            sees: now
            outcomes: {normal: normal, rich: rich}
            otherwise: {rich: 2 %}
            given: {leak: {rich: 95 %}, meter-high: {rich: 97 %}}
            minutes: 10
            stands for: [trim]
            source: practice
            waive: {not-in-a-case: Shown on its own page.}

    Bad:

        checks:
          trim-fitted:
            name: Trim fitted over all airflows
            kind: reading
            ask: Is the fitted trim rich?
            sees: now
            outcomes: {normal: normal, rich: rich}
            otherwise: {rich: 20 %}
            given: {leak: {rich: 40 %}, meter-high: {rich: 97 %}}
            minutes: 10
            stands for: [trim]
            source: practice
            waive: {not-in-a-case: Shown on its own page.}
    """
    faults = {fault.name for fault in context.faults}  # not the one made of all the others
    for name, entry in context.book.checks.items():
        for other in entry.stands_for:
            less: dict[str, tuple[float, float]] = {}
            for car in context.cars:
                for fault, (ours, theirs) in _both(car, name, other).items():
                    most = less.get(fault, (0.0, NOTICED))
                    if fault in faults and theirs - ours > most[1] - most[0]:
                        less[fault] = ours, theirs
            if less:
                worst = sorted(less, key=lambda fault: less[fault][0] - less[fault][1])
                said = ", ".join(f"{f} ({less[f][0]:.2f} bits, the other {less[f][1]:.2f})" for f in worst)
                message = f'"{name}" stands for "{other}" and tells less of {said}'
                yield at("checks", name, entry.origin.place, message)


def _both(car: BenchCar, name: str, other: str) -> dict[str, tuple[float, float]]:
    """Bits that either check tells of each fault of a vehicle that has both checks, apart from nothing to be seen."""
    ours, theirs = car.table(name), car.table(other)
    if ours is None or theirs is None:
        return {}
    found = {}
    for fault, cause in car.cause_of.items():
        bits = [float(even_odds(table.rows[table.index[cause]], table.rows[0]).max()) for table in (ours, theirs)]
        found[fault] = bits[0], bits[1]
    return found


# ---- dear ------------------------------------------------------------------------------------------------------------


@lint(
    "dear-check",
    "a check that costs more than what it proves",
    "look at its minutes and money, and at those of the repairs",
)
def dear(context: Context) -> Iterator[LintFinding]:
    """A check that costs more than what it proves.

    Its minutes (at the setting `hour costs`), its waiting as far as that counts, and its money come to more than the
    dearest repair of any fault it can confirm: replacing the part on suspicion would be cheaper.

    Good:

        checks:
          airflow: {minutes: 30}

    Bad:

        checks:
          airflow: {minutes: 300}
    """
    book, settings = context.book, context.book.settings

    def cost(minutes: float, wait: float, money: float) -> float:
        return (minutes + settings.waiting_counts * wait) / 60 * settings.hour_costs + money

    for name, entry in book.checks.items():
        shown: set[str] = set()
        for car in context.cars:
            table = car.table(name)
            if table is not None:
                times = raises(car.tables, table, first=1)
                shown |= {fault for fault, cause in car.cause_of.items() if times[cause] >= CONFIRMS}
        repairs = {book.faults[fault].repair for fault in shown if not book.faults[fault].anything_else}
        if not repairs:
            continue
        own = cost(entry.minutes, entry.wait, entry.money)
        costs = {repair: cost(book.repairs[repair].minutes, 0, book.repairs[repair].money) for repair in repairs}
        dearest = max(costs, key=lambda repair: costs[repair])
        if own > costs[dearest]:
            message = f'"{name}" costs {own:.0f}, the dearest repair it points to {costs[dearest]:.0f} ({dearest})'
            yield at("checks", name, entry.origin.place, message)


# ---- hazards ---------------------------------------------------------------------------------------------------------

# What is about to be done (words of the step) -> what it can do -> words of which one must be in a caution.
HAZARDS: tuple[tuple[str, str, str], ...] = (
    (
        r"fuel (?:line|hose|pipe|filter)s?|fuel pressure (?:gauge|down)|return line|purge hose|injectors? taken out"
        r"|(?:weigh|empty|take off) the canister|filler cap|siphon|(?:sample|run) of (?:the )?(?:fuel|petrol)",
        "petrol or its vapour can get out",
        r"petrol|fuel|vapour",
    ),
    (
        r"(?:let|bring|relieve) the rail pressure|high-pressure (?:pipe|line|pump)s? off|open(?:ing)? the rail",
        "fuel stands under high pressure",
        r"pressure",
    ),
    (r"\bcoils?\b|ignition leads?|spark tester|sparks? (?:jump|over)", "ignition voltage is about", r"volt"),
    (r"unplug (?:the |each |an )?injector|injector's (?:plug|connector)", "injectors are driven with", r"volt|switch"),
    (
        r"under(?:neath)? the car|from below|car (?:up )?on (?:a lift|stands)|jack (?:it|the car)",
        "a car can fall",
        r"stand",
    ),
    (r"crank (?:it|the engine)|cranking", "a flooded cylinder or a turning engine", r"crank|belt|pulley|moving|volt"),
    (r"\bbelts?\b.*(?:run|idl)|(?:run|idl).*\bfan\b", "parts turn", r"belt|fan|finger"),
    (r"hot[- ]air|heat gun|hair dryer|warm (?:it|each|one) with", "heat comes near fuel", r"burn|vapour|spark|fire"),
    (r"propane", "a gas that burns is let in", r"burn|vapour|fire"),
    (r"radiator cap|coolant hose|cooling system", "coolant is hot and under pressure", r"hot|coolant"),
    (
        r"(?:battery|earth lead) off|disconnect the battery",
        "learned values go, and batteries give off gas",
        r"batter|earth",
    ),
    (r"test drive|on the road|full load|foot down", "somebody drives and reads", r"driv"),
)


@lint(
    "no-caution",
    "a step that can hurt, without a caution",
    "name a caution that speaks of it under `cautions`, or add one",
)
def hazards(context: Context) -> Iterator[LintFinding]:
    """A step that can hurt, without a caution.

    Words in what is done, and in the tools it needs, are compared with words in its cautions, and in those of the
    conditions it is done in. The list is short and errs on the side of silence: whether a step is safe is for people to
    judge, and this says nothing about what it passes.

    Good:

        checks:
          line-off:
            name: Return line off
            kind: test
            ask: Does it stay rich with the fuel line off?
            how: Take the fuel line off and catch what comes out.
            sees: ever
            outcomes: {no: it does not, yes: it does}
            otherwise: {yes: seldom}
            given: {leak: {yes: often}}
            minutes: 10
            cautions: [vapour]
            source: practice

    Bad:

        checks:
          line-off:
            name: Return line off
            kind: test
            ask: Does it stay rich with the fuel line off?
            how: Take the fuel line off and catch what comes out.
            sees: ever
            outcomes: {no: it does not, yes: it does}
            otherwise: {yes: seldom}
            given: {leak: {yes: often}}
            minutes: 10
            source: practice
    """
    book = context.book
    for section, name, place, step, cautions in _steps(book):
        told = " ".join(book.cautions[caution].say for caution in cautions).lower()
        for words, danger, wanted in HAZARDS:
            found = re.search(words, step.lower())
            if found and not re.search(wanted, told):
                what = " ".join(found[0].split())
                yield at(section, name, place, f'"{name}" has "{what}" ({danger}) and no caution about it')


def _steps(book: Rulebook) -> Iterator[tuple[str, str, Place, str, tuple[str, ...]]]:
    """(section, name, place, what is done and with what, cautions) of everything that is done to a car."""
    for check in book.checks.values():
        if check.kind in ("told", "code"):
            continue  # asked, not done
        tools = " ".join(book.tools[tool].title for tool in check.needs)
        common = [set(book.conditions[name].cautions) for name in check.conditions]
        cautions = (*check.cautions, *(set.intersection(*common) if common else ()))
        yield "checks", check.name, check.origin.place, f"{check.ask} {check.how} {tools}", cautions
    for condition in book.conditions.values():
        yield "conditions", condition.name, condition.origin.place, condition.bring_about, condition.cautions
    for repair in book.repairs.values():
        yield "repairs", repair.name, repair.origin.place, repair.do, repair.cautions
    for sheet in book.sheets.values():
        for step in sheet.steps:
            yield "sheets", sheet.name, step.place, step.do, step.cautions
