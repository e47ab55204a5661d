"""A trial of rules: virtual cars taken through the real session, and how well it did.

Cars are drawn from the rules themselves or from rules perturbed within or beyond their own uncertainty; the session
always reasons with the rules as written. Pure and seeded: the same arguments give the same runs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log2
from typing import Literal

from reasoner.casebook.events import Event
from reasoner.inference.belief import by_class, by_fault, leader
from reasoner.inference.choose import rank
from reasoner.inference.credible_range import perturbed
from reasoner.inference.plan import Option, options, priced, worth_asking
from reasoner.repair.followup import mended
from reasoner.session import acts
from reasoner.session.deciding import concluded, kind_of, mends_most
from reasoner.session.story import told_first
from reasoner.session.words import given_text
from reasoner.session.workup import Workup
from reasoner.trial.virtual import Car, World, outcomes_by_name, spell_key, virtual_car

Perturb = Literal["none", "within", "beyond"]
LOOSENED = {"within": 1.0, "beyond": 4.0}  # beyond: the rules are worth a quarter of the cases they claim
MOST_STEPS_OF_A_CAR = 80  # of one car; nobody goes on for so long

Chooser = Callable[[Workup, int], tuple[Option | None, int]]


@dataclass(frozen=True)
class TrialStep:
    """One thing asked: what it cost (minutes with the question itself) and what it told of the true cause.

    bits: by how much the true cause's repair class gained, log2 of the factor on its probability; gain: what was
    expected of it (0 where not worked out). text: the answer.
    """

    check: str
    condition: str
    fresh: bool
    minutes: float
    wait: float
    money: float
    hazards: int
    bits: float
    gain: float
    text: str
    leading: str
    chance: float


@dataclass(frozen=True)
class TrialRun:
    """One car from codes to verdict. kind: of the verdict. claimed: how likely the leading repair is, at its
    place; fault_claimed: the leading fault, wherever it sits."""

    number: int
    fault: str
    where: str
    kind: str
    said_fault: str
    said_where: str
    claimed: float
    fault_claimed: float
    right_class: bool
    right_repair: bool
    right_fault: bool
    codes: tuple[str, ...]
    steps: tuple[TrialStep, ...]

    @property
    def given(self) -> bool:
        """A verdict was given: what to do is settled, or the fault is and its place is not."""
        return self.kind in ("settled", "place-open")

    @property
    def right(self) -> bool:
        """What was claimed is so: the repair at its place, or, with the place left open, the fault."""
        return self.right_fault if self.kind == "place-open" else self.right_class

    @property
    def firmness(self) -> float:
        """The probability that was claimed for that."""
        return self.fault_claimed if self.kind == "place-open" else self.claimed

    @property
    def minutes(self) -> float:
        return sum(s.minutes for s in self.steps)

    @property
    def wait(self) -> float:
        return sum(s.wait for s in self.steps)

    @property
    def money(self) -> float:
        return sum(s.money for s in self.steps)


def world_of(world: World, perturb: Perturb, seed: int, number: int) -> World:
    """What car `number` is drawn from: each has its own perturbed rules."""
    if perturb == "none":
        return world
    return World(world.book, perturbed(world.tables, seed * 1_000_003 + number, LOOSENED[perturb]))


def run_car(start: Workup, world: World, seed: int, number: int, choose: Chooser, silent: bool = False) -> TrialRun:
    """One car through the session that begins with `start` (no answers yet).

    world: what the car is drawn from; what the session's rules ask and those do not know is answered "can't tell".
    silent: what is told of any car before the first question is asked one thing at a time.
    """
    virtual = virtual_car(world, seed, number)
    codes = virtual.codes()
    workup = start.after(acts.list_codes(start, [(code, ["stored"]) for code in codes]))
    if not silent:
        workup = workup.after(at_the_counter(workup, virtual))
    steps: list[TrialStep] = []
    memory = 0
    while len(steps) < MOST_STEPS_OF_A_CAR:
        option, memory = choose(workup, memory)
        if option is None:
            break
        before, workup = workup, workup.after(answered(workup, virtual, option))
        steps.append(_step(before, workup, option, virtual))
    return _run(workup, virtual, number, tuple(codes), tuple(steps))


def at_the_counter(workup: Workup, virtual: Car) -> list[Event]:
    """What is told before the first question, in one go."""
    events: list[Event] = []
    told: dict[str, str] = {}
    for check in told_first(workup):
        table = virtual.world.table(check.name)
        needless = any(told.get(other) in outcomes for other, outcomes in check.not_where.items())
        own = workup.tables.checks[workup.tables.check_number[check.name]]
        if needless or table is None or table.outcomes != own.outcomes:
            continue
        there = virtual.there(table, (None, 0))
        sure, said = virtual.reported(table, there, (None, 0), workup.book.settings.report_right)
        told[check.name] = table.outcomes[said[0]]
        events += acts.answer(workup, check.name, outcomes_by_name(table, said), sure)
    return events


def answered(workup: Workup, virtual: Car, option: Option) -> list[Event]:
    """What this car shows to a proposed check; what must come before it is asked in its place."""
    option = as_it_is_asked(workup, option)
    name = workup.tables.checks[option.check].name
    table = virtual.world.table(name)
    if table is None or table.outcomes != workup.tables.checks[option.check].outcomes:
        return acts.pass_over(workup, name, "cant-tell", option)
    record = workup.record
    if option.fresh and option.condition is not None:
        record = workup.after(acts.change_condition(workup, workup.tables.conditions[option.condition])).record
    spell = spell_key(record)
    there = virtual.there(table, spell, option.place)
    sure, said = virtual.reported(table, there, spell, workup.book.settings.report_right)
    events = acts.answer(workup, name, outcomes_by_name(table, said), sure, option)
    if table.provokes and any(there.values()):
        virtual.brought_on.add(spell_key(workup.after(events).record))
    return events


def as_it_is_asked(workup: Workup, option: Option) -> Option:
    """The option as it is really asked: one look, and a check that has to come first in its place."""
    if option.first is not None:
        first = workup.tables.checks[option.first]
        return Option(
            option.first,
            workup.situation.condition,
            False,
            minutes=first.minutes,
            wait=first.wait,
            money=first.money,
            hazards=first.hazards,
        )
    if option.times == 1:
        return option
    return priced(workup.tables, workup.situation, workup.costs, option._replace(times=1))


def _step(before: Workup, after: Workup, option: Option, virtual: Car) -> TrialStep:
    option = as_it_is_asked(before, option)
    tables = before.tables
    condition = "" if option.condition is None else tables.conditions[option.condition]
    given = after.record.given[-1:] if len(after.record.given) > len(before.record.given) else ()
    cause = after.tables.causes[leader(after.tables, after.belief.probability)]  # pairs are among them now and then
    return TrialStep(
        tables.checks[option.check].name,
        condition,
        option.fresh,
        option.minutes + before.costs.asking_minutes,
        option.wait,
        option.money,
        option.hazards,
        log2(_true_class(after, virtual) / _true_class(before, virtual)),
        option.gain,
        "".join(given_text(after, g) for g in given) or "can't tell",
        cause.name,
        float(after.belief.probability.max()),
    )


def _true_class(workup: Workup, virtual: Car) -> float:
    """Probability of the true cause's repair class, as these rules have it (tiny where they do not know it)."""
    tables = workup.tables
    true = virtual.world.tables.causes[virtual.cause]
    number = tables.cause_number.get(true.name)
    return 1e-9 if number is None else float(by_class(tables, workup.belief.probability)[tables.class_of[number]])


def _run(workup: Workup, virtual: Car, number: int, codes: tuple[str, ...], steps: tuple[TrialStep, ...]) -> TrialRun:
    tables, p = workup.tables, workup.situation.probability
    decision = concluded(workup)
    kind, best = kind_of(decision), decision.best
    faults = by_fault(tables, p)
    fault = int(faults.argmax())
    lead = leader(tables, p, fault=fault if kind == "place-open" else None)
    if kind == "settled":
        lead = mends_most(decision)
    cause = tables.causes[lead]
    true = virtual.world.tables.causes[virtual.cause]
    true_number = tables.cause_number.get(true.name)
    right = int(tables.class_of[lead]) == (None if true_number is None else int(tables.class_of[true_number]))
    if kind == "settled":
        right = true.fault in workup.book.faults and mended(workup.book, true, best.work) == 1.0
    repairs = workup.book.faults
    return TrialRun(
        number=number,
        fault=true.fault,
        where=true.where,
        kind=kind,
        said_fault=cause.fault,
        said_where=cause.where,
        claimed=best.cures if kind == "settled" else float(by_class(tables, p)[tables.class_of[lead]]),
        fault_claimed=float(faults[fault]),
        right_class=right,
        right_repair=true.fault in repairs and repairs[true.fault].repair == repairs[cause.fault].repair,
        right_fault=true.fault == tables.faults[fault],
        codes=codes,
        steps=steps,
    )


# ---- ways of choosing ------------------------------------------------------------------------------------------------


def by_rollout(workup: Workup, memory: int) -> tuple[Option | None, int]:
    """The option that the session proposes: the best few, each followed a step further."""
    return workup.look, memory


def by_greed(workup: Workup, memory: int) -> tuple[Option | None, int]:
    """Gain for its cost, and no look ahead."""
    ranked = rank(workup.tables, workup.situation, workup.costs, compared=0)
    return next((o for o in ranked if worth_asking(o, workup.costs)), None), memory


def by_list(order: Sequence[tuple[str, str]]) -> Chooser:
    """A fixed order of checks, each with its condition (or "": the nearest), whatever the answers say.

    It stops as the session does: when settled, or when no check at all is worth its cost. What cannot be done (no
    tool, not this vehicle, answered already) is left out. A check done place by place is done at every place, the
    likelier first.
    """

    def choose(workup: Workup, memory: int) -> tuple[Option | None, int]:
        ranked = rank(workup.tables, workup.situation, workup.costs, compared=0)
        if not any(worth_asking(o, workup.costs) for o in ranked):
            return None, memory
        possible = options(workup.tables, workup.situation, workup.costs)
        while memory < len(order):
            option = _listed(workup, possible, *order[memory])
            if option is not None and option.place is not None:
                return option, memory  # and here again until every place is done
            memory += option is None or option.first is None
            if option is not None:
                return option, memory
        return None, memory

    return choose


def cheapest_first(start: Workup) -> list[tuple[str, str]]:
    """Every check once, by what it costs from the start: a list as a shop may keep one, for want of a better."""
    found = sorted(options(start.tables, start.situation, start.costs), key=lambda o: o.cost)
    return [(start.tables.checks[number].name, "") for number in dict.fromkeys(o.check for o in found)]


def _listed(workup: Workup, possible: Sequence[Option], name: str, condition: str) -> Option | None:
    """The way to do a listed check: where the car is if it can be, else in the nearest condition."""
    tables = workup.tables
    number, wanted = tables.check_number.get(name), tables.condition_number.get(condition)
    ways = [o for o in possible if o.check == number and o.times == 1 and (not condition or o.condition == wanted)]
    if not ways:
        return None
    if ways[0].place is not None:
        chances = {o.place: _at(workup, o.place) for o in ways}
        ways = [o for o in ways if chances[o.place] == max(chances.values())]
    return min(ways, key=lambda o: (o.fresh, o.cost))


def _at(workup: Workup, place: int | None) -> float:
    """How likely a fault of one cylinder sits at this one."""
    own = [i for i, c in enumerate(workup.tables.causes) if c.where == f"cylinder {(place or 0) + 1}"]
    return float(workup.belief.probability[own].sum())
