"""A car of the model taken through the conversation that any other program has with the reasoner: codes, then question
by question until it stops. Deterministic: the same car and rules give the same run.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log2

from reasoner.inference.belief import by_class, by_fault, leader
from reasoner.network.vehicle import vehicle_from
from reasoner.repair.choices import losses, losses_of
from reasoner.repair.followup import mended
from reasoner.rulebook.model import Rulebook
from reasoner.session.acts import Refused
from reasoner.session.deciding import concluded, mends_most
from reasoner.session.document import Question, Verdict
from reasoner.session.protocol import Message, Talk, hear
from reasoner.session.story import told_first
from reasoner.session.workup import Workup, begin
from reasoner.trial.trial import TrialRun, TrialStep
from tests.model.bench import MEANS, Bench
from tests.model.breakages import BY_NAME
from tests.model.car import Car, Profile
from tests.model.observers import OBSERVERS, Seen, observe
from tests.model.weeks import Past

MOST_STEPS = 80  # of one car; nobody goes on for so long
# What a small workshop has beside what the rules take to be at hand. Common practice, no source.
SHOP = ("low-pressure-gauge", "lift", "manometer", "gas-analyser", "smoke-machine", "oscilloscope", "borescope")
CLEARS = ("cleared-idle",)


@dataclass(frozen=True)
class Played:
    """A run and what it came from. slips: answers in which the technician named another outcome than was there.

    paid: money for the looks, and all that what was recommended costs on this car, now and later; mends: whether it
    mends the car. least: what the right repair costs where it is known at once. None where these rules cannot have it.
    """

    run: TrialRun
    car: Car
    past: Past
    slips: tuple[str, ...]
    unseen: tuple[str, ...]  # checks that were asked and have no observer, or one that speaks in other outcomes
    mends: bool = False
    paid: float | None = None
    least: float | None = None


_begun: dict[tuple[int, str], tuple[Rulebook, Workup]] = {}  # tables take a while: once for rules and kind of car


def start(book: Rulebook, profile: Profile) -> Workup:
    """A case of this kind of car without an answer."""
    key = (id(book), profile.name)
    if key not in _begun:
        vehicle, mistakes = vehicle_from(profile.fields)
        assert vehicle is not None, mistakes
        _begun[key] = (book, begin(book, vehicle))
    return _begun[key][1]


def truth(book: Rulebook, car: Car) -> str:
    """What the rules call what is wrong with a car: of its names the first that they have, else the unnamed fault."""
    for name in BY_NAME[car.breakage].called:
        if name in book.faults:
            return name
    return next(f.name for f in book.faults.values() if f.anything_else)


def where(car: Car) -> str:
    """The place in the words of a cause: `cylinder 2`, `cylinders 2 and 3`, `bank 1`, or the whole engine."""
    places = sorted((car.broken.place, *car.broken.more))
    if not places[-1]:
        return "engine"
    kind = BY_NAME[car.breakage].at
    if len(places) == 1:
        return f"{kind} {places[0]}"
    return f"{kind}s {places[0]} and {places[1]}"


def play(
    book: Rulebook, car: Car, past: Past, number: int = 0, tools: Sequence[str] = SHOP, silent: bool = False
) -> Played:
    """The car from its list of codes to where the session stops. tools: at hand beside the common ones. silent: what is
    told at the counter of any car is not told before it is asked."""
    talk, kind, steps, slips, unseen = played_through(book, car, past, tools, silent)
    codes = tuple(sorted(past.codes))
    run = _run(talk, car, number, kind, codes, tuple(steps))
    return Played(run, car, past, tuple(slips), tuple(unseen), *_paid(talk, car, run))


def played_through(
    book: Rulebook, car: Car, past: Past, tools: Sequence[str] = SHOP, silent: bool = False
) -> tuple[Talk, str, list[TrialStep], list[str], list[str]]:
    """The conversation where it stops, how that is, its steps, and what slipped and what nobody could see."""
    begun = start(book, car.profile)
    talk = Talk(begun)
    talk = _hear(talk, {"type": "complaint", "text": complaint(past)})
    talk = _hear(talk, {"type": "tools", "at hand": [name for name in tools if name in book.tools]})
    codes = sorted(past.codes)
    talk = _hear(talk, {"type": "codes", "codes": [{"code": c, "states": [past.codes[c]]} for c in codes]})
    if past.frame is None:  # said with the codes, as whoever reads them sees it: else it is asked of each value
        talk = _hear(talk, {"type": "frame", "line": "none"})
    steps: list[TrialStep] = []
    slips: list[str] = []
    unseen: list[str] = []
    if not silent:
        talk = _at_the_counter(talk, car, past, slips)
    kind = "nothing-worth"  # where it would ask on for longer than anybody goes on
    while len(steps) < MOST_STEPS:
        asked = talk.next()
        if isinstance(asked, Verdict):
            kind = asked.kind
            break
        before = talk
        bench = bench_of(car, past, talk, asked)
        outcomes = [o.name for o in asked.outcomes]
        seen = observe(bench, asked.way.check, outcomes)
        if asked.way.check not in OBSERVERS or (seen and not set(seen.outcomes.values()) <= set(outcomes)):
            unseen.append(asked.way.check)
            seen = None
        message: Message = {"type": "pass", "check": asked.way.check, "why": "cant-tell"}
        text = "can't tell"
        if seen is not None:
            text = _text(seen.outcomes or seen.numbers)
            message = _said(seen)
            if seen.slipped:
                slips.append(f"{asked.way.check}: {text}")
        talk = _hear(talk, message)
        steps.append(_step(before, talk, car, asked, text))
    return talk, kind, steps, slips, unseen


def _at_the_counter(talk: Talk, car: Car, past: Past, slips: list[str]) -> Talk:
    """What is taken in before the first question. What somebody cannot say of it is still asked, but for values that
    this frame has not got."""
    for check in told_first(talk.workup):
        if past.frame is None and not check.intake:
            continue
        seen = observe(Bench(car, past, None, ever=True), check.name, [o.name for o in check.outcomes])
        if seen is not None:
            talk = _hear(talk, {**_said(seen), "check": check.name})
            if seen.slipped:
                slips.append(f"{check.name}: {_text(seen.outcomes)}")
        elif not check.intake:
            talk = _hear(talk, {"type": "pass", "check": check.name, "why": "cant-tell"})
    return talk


def _said(seen: Seen) -> Message:
    if seen.numbers:
        return {"type": "answer", "numbers": {str(p): v for p, v in seen.numbers.items()}, "sure": seen.sure}
    values = {str(p): o for p, o in seen.outcomes.items()}
    return {"type": "answer", "values": values, "rest": "none", "sure": seen.sure}


def complaint(past: Past) -> str:
    """What the owner says when the car is brought in."""
    said = ["The engine light is on."] if "stored" in past.codes.values() else []
    words = {
        "smell": "It smells of fuel",
        "smoke": "It smokes",
        "rough": "It runs rough",
        "hard start": "It starts badly",
    }
    said += [f"{words[sign]} now and then." for sign, n in past.seen.items() if n >= 2 and sign in words]
    return " ".join(said) or "It uses too much fuel."


def bench_of(car: Car, past: Past, talk: Talk, asked: Question) -> Bench:
    """The car where the question puts it: in the present spell, or in the new one that is begun for it."""
    record = talk.workup.record
    condition = record.condition
    number = sum(name == condition for name in record.spells[: record.present])
    if asked.way.fresh:
        condition = asked.way.condition or None
        number = sum(name == condition for name in record.spells)
    if condition is None and asked.way.condition in MEANS:
        condition = asked.way.condition
    cleared = any(name in CLEARS for name in record.spells)
    ever = str(talk.workup.book.checks[asked.way.check].sees) == "ever"
    return Bench(car, past, condition, number, cleared, place=asked.way.place or 0, ever=ever)


def _hear(talk: Talk, message: Message) -> Talk:
    try:
        return hear(talk, message)[0]
    except Refused as refused:
        raise AssertionError(f"{message}: {refused.message} ({refused.mend})") from refused


def _text(values: Mapping[int, str] | Mapping[int, float]) -> str:
    return ", ".join(f"{p}={v}" if p else f"{v}" for p, v in values.items())


def _step(before: Talk, after: Talk, car: Car, asked: Question, text: str) -> TrialStep:
    way = asked.way
    workup = after.workup
    best = int(workup.belief.probability.argmax())
    return TrialStep(
        way.check,
        way.condition,
        way.fresh,
        way.minutes + before.workup.costs.asking_minutes,
        way.waiting,
        way.money,
        way.hazards,
        log2(_true_class(after, car) / _true_class(before, car)),
        way.bits,
        text,
        workup.tables.causes[best].name,
        float(workup.belief.probability[best]),
    )


def _true_cause(workup: Workup, car: Car) -> int | None:
    """The cause of these rules that the car has; None where they cannot have it on this vehicle."""
    fault, place = truth(workup.book, car), where(car)
    causes = workup.tables.causes
    return next((i for i, c in enumerate(causes) if c.fault == fault and c.where == place), None)


def _true_class(talk: Talk, car: Car) -> float:
    """Probability of the true cause's repair at its place (tiny where the rules do not have it)."""
    workup = talk.workup
    true = _true_cause(workup, car)
    if true is None:
        return 1e-9
    return float(by_class(workup.tables, workup.belief.probability)[workup.tables.class_of[true]])


def _paid(talk: Talk, car: Car, run: TrialRun) -> tuple[bool, float | None, float | None]:
    """Whether what is recommended mends the car, what all costs with it, and what knowing at once would have cost."""
    workup = talk.workup
    true = _true_cause(workup, car)
    if true is None:
        return False, None, None
    best, stake = concluded(workup).best, workup.outlook.bare
    fee = workup.book.settings.afterwards.hand_on_costs
    least = losses(stake, ())[true] - fee
    minutes = sum(s.minutes + workup.costs.waiting(s.wait) for s in run.steps)
    looks = minutes / 60.0 * stake.prices.hour + run.money
    if best.kind in ("watch", "free") and mended(workup.book, workup.tables.causes[true], best.work) < 1.0:
        after = least + fee  # done or watched first, and then as open as before
    else:
        after = losses_of(stake, best.kind, best.work)[true] if best.work else least + fee
    mends = bool(best.work) and mended(workup.book, workup.tables.causes[true], best.work) == 1.0
    return mends, looks + after, least


def _run(talk: Talk, car: Car, number: int, kind: str, codes: Sequence[str], steps: tuple[TrialStep, ...]) -> TrialRun:
    """The verdict held against what the car has: the repair that leads at its place, and the fault."""
    workup = talk.workup
    tables, p = workup.tables, workup.belief.probability
    classes, faults = by_class(tables, p), by_fault(tables, p)
    best, fault = int(classes.argmax()), int(faults.argmax())
    lead = leader(tables, p, fault=fault) if kind == "place-open" else leader(tables, p, repair_class=best)
    true_fault, true = truth(workup.book, car), _true_cause(workup, car)
    right, claimed = true is not None and int(tables.class_of[true]) == best, float(classes[best])
    if kind == "settled":  # what is claimed is that the work mends it
        decision = concluded(workup)
        lead, claimed = mends_most(decision), decision.best.cures
        right = true is not None and mended(workup.book, tables.causes[true], decision.best.work) == 1.0
    cause = tables.causes[lead]
    return TrialRun(
        number=number,
        fault=true_fault,
        where=where(car),
        kind=kind,
        said_fault=cause.fault,
        said_where=cause.where,
        claimed=claimed,
        fault_claimed=float(faults[fault]),
        right_class=right,
        right_repair=workup.book.faults[cause.fault].repair == workup.book.faults[true_fault].repair,
        right_fault=true_fault == tables.faults[fault],
        codes=tuple(codes),
        steps=steps,
    )
