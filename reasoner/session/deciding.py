"""What to do about what is believed, in words: every choice with its costs, which is best, and what that hangs on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby

from reasoner.repair.break_even import Hinge, hinges
from reasoner.repair.choices import Choice, Stake, at_once
from reasoner.repair.followup import mended
from reasoner.repair.guards import Missing
from reasoner.repair.jobs import ENGINE, Job, all_places, places_text
from reasoner.repair.prices import Prices
from reasoner.repair.unexplained import unexplained
from reasoner.rulebook.model import Rulebook
from reasoner.session.document import ChoiceDoc, DecisionDoc, PriceDoc
from reasoner.session.plain import thousands, time_text
from reasoner.session.words import percent, unexplained_text
from reasoner.session.workup import Workup

WORTH_A_LINE = 0.01  # a chance below is not worth a line; judgement
HARDLY_CURES = 0.05  # a step first that cures less often than this is not laid out; judgement
AS_GOOD_AS_FREE = 0.5  # money, minutes: what would have to be cheaper than this will not be; judgement
IN_TURN = 3  # so many repairs of them are named
SAID_WITHOUT_WORK = {
    "test": "test on",
    "watch": "replace nothing yet",
    "hand on": "pass the car on",
}  # kinds without work
STEPS = {
    "cheaper": "the cheaper step first",
    "free": "first what needs no part",
    "in turn": "one after the other",
}
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")


@dataclass(frozen=True, eq=False)
class Decision:
    """choices: the cheapest first. missing: for each kind, what should be known first. best: what is recommended, the
    cheapest that is not too dangerous."""

    workup: Workup
    stake: Stake
    choices: tuple[Choice, ...]
    missing: dict[str, tuple[Missing, ...]]

    @cached_property
    def open(self) -> tuple[Choice, ...]:
        return tuple(c for c in self.choices if not any(item.kind == "driving" for item in self.missing[c.kind]))

    @property
    def best(self) -> Choice:
        return self.open[0]


def decide(workup: Workup, prices: Prices | None = None) -> Decision:
    """All the choices open now. prices: in place of those that the case was worked with."""
    if prices is not None and prices != workup.prices:
        workup = replace(workup, prices=prices)
    outlook = workup.outlook
    found = outlook.choices(workup.look)
    lacking = {choice.kind: outlook.missing(at_once(choice.kind, choice.work)) for choice in found}
    return Decision(workup, outlook.stake, found, {**lacking, "watch": outlook.too_dangerous})


def concluded(workup: Workup) -> Decision:
    """What is best if nothing more is looked at."""
    decision = decide(workup)
    kept = tuple(choice for choice in decision.choices if choice.kind != "test")
    return replace(decision, choices=kept)


def kind_of(decision: Decision) -> str:
    """How firm a conclusion is.

    settled: what is recommended cures as surely as that word asks for. place-open: one fault is as sure as that, and
    its place is not. at-least: one cause is as sure as that, alone or beside another. first: something that costs
    nothing comes first. watch: nothing is wrong now, or it is over. nothing-worth: anything else.
    """
    workup, best = decision.workup, decision.best
    sure = workup.costs.dominates
    if best.kind == "watch":
        return "watch" if best.cures >= sure else "nothing-worth"
    if best.cures >= sure:
        return "settled"
    if best.kind == "free":
        return "first"
    if len(workup.tables.pairs) and at_least(workup)[1] >= sure:
        return "at-least"
    return "place-open" if workup.fault_settled else "nothing-worth"


def at_least(workup: Workup) -> tuple[int, float]:
    """The single cause that is likeliest to be there, alone or beside another, and how likely that is."""
    tables, chances = workup.tables, workup.belief.probability.tolist()
    there: dict[str, float] = {}
    for cause, chance in zip(tables.causes, chances, strict=True):
        for each in cause.each if not cause.alone else ():
            there[each.name] = there.get(each.name, 0.0) + chance
    most = max(there, key=there.__getitem__)
    return tables.cause_number[most], there[most]


def mends_most(decision: Decision) -> int:
    """The likeliest cause, of the fault that the recommended work most likely mends."""
    book, causes = decision.workup.book, decision.workup.tables.causes
    mends = [p * mended(book, c, decision.best.work) for p, c in zip(decision.stake.chances, causes, strict=True)]
    by_fault: dict[str, float] = {}
    for cause, chance in zip(causes, mends, strict=True):
        by_fault[cause.fault] = by_fault.get(cause.fault, 0.0) + chance
    own = [number for number, cause in enumerate(causes) if by_fault[cause.fault] == max(by_fault.values())]
    return max(own, key=mends.__getitem__)


def mended_too(decision: Decision, fault: str, least: float) -> list[str]:
    """Other faults that the recommended work mends where they are it, at least so likely; the likeliest first."""
    book, causes = decision.workup.book, decision.workup.tables.causes
    found: dict[str, float] = {}
    for cause, chance in zip(causes, decision.stake.chances, strict=True):
        if cause.fault != fault:
            found[cause.fault] = found.get(cause.fault, 0.0) + chance * mended(book, cause, decision.best.work)
    return sorted((name for name, chance in found.items() if chance >= least), key=lambda name: -found[name])


def decision_document(decision: Decision, case: str = "") -> DecisionDoc:
    """The decision as one document: the choices with their costs, what is missing, and what would change it."""
    best = decision.best
    hanging = hinges(decision.stake, best, [c for c in decision.open if c is not best])
    nearest = {hinge.what: hinge for hinge in reversed(hanging)}  # of each figure, only the nearest
    hanging = tuple(h for h in hanging if nearest[h.what] is h and (h.at > h.now or h.at > AS_GOOD_AS_FREE))
    return DecisionDoc(
        case=case,
        sentence=_sentence(decision),
        choices=tuple(_choice(decision, choice) for choice in _worth_a_row(decision)),
        hinges=tuple(_hinge(decision, best, hinge) for hinge in hanging),
        prices=_prices(decision.stake),
        currency=decision.stake.prices.currency,
        notes=tuple(_notes(decision)),
    )


def _worth_a_row(decision: Decision) -> list[Choice]:
    """The choices without those that are the same work again under another name, at the same money or more, and without
    steps first that hardly ever cure."""
    found: list[Choice] = []
    for choice in decision.choices:
        again = choice.work and any(set(c.work) == set(choice.work) and c.now <= choice.now for c in found)
        idle = choice.kind in ("cheaper", "free") and choice.cures < HARDLY_CURES
        if choice is decision.best or not (again or idle):
            found.append(choice)
    return found


# ---- words -----------------------------------------------------------------------------------------------------------


def title(decision: Decision, choice: Choice) -> str:
    """`Replace the direct injector at its cylinder: cylinder 3`."""
    workup = decision.workup
    if choice.kind == "watch":
        return "Replace nothing yet; drive on and watch"
    if choice.kind == "hand on":
        return "Replace nothing here; pass the car on to a shop with more equipment"
    if choice.check is not None:
        check = workup.book.checks[workup.tables.checks[choice.check.check].name]
        fresh = choice.check.fresh and choice.check.condition is not None
        where = workup.book.conditions[workup.tables.conditions[choice.check.condition or 0]].title if fresh else ""
        return f"Test on: {check.title}" + (f", {where}" if where else "")
    if choice.kind == "in turn":
        return "One after the other until it runs right: " + "; ".join(_in_turn(decision, choice.work))
    first = {"cheaper": "First the cheaper step: ", "free": "First, as it needs no part and does no harm: "}
    return first.get(choice.kind, "") + "; ".join(job_text(decision, job) for job in choice.work)


def _in_turn(decision: Decision, work: Sequence[Job]) -> Iterable[str]:
    """The first few repairs, each with its places in the order they are tried."""
    runs = [list(run) for _, run in groupby(work, key=lambda job: job.repair)]
    for run in runs[:IN_TURN]:
        yield ", then ".join([job_text(decision, run[0]), *(places_text(job.places) for job in run[1:])])
    if runs[IN_TURN:]:
        yield f"and {sum(map(len, runs[IN_TURN:]))} more"


def job_text(decision: Decision, job: Job) -> str:
    """A job in words: the repair, and its places where it is not the whole engine."""
    repair = decision.workup.book.repairs[job.repair].title
    if job.places == {ENGINE}:
        return repair
    places = places_text(job.places)
    whole = len(job.places) > 1 and job.places == all_places(decision.workup.vehicle, job.places)
    return f"{repair}: all {NUMBERS[len(job.places)]}, {places}" if whole else f"{repair}: {places}"


def short(decision: Decision, choice: Choice) -> str:
    """A choice in a few words, for a sentence."""
    if choice.kind in SAID_WITHOUT_WORK:
        return SAID_WITHOUT_WORK[choice.kind]
    if choice.kind in STEPS:
        return STEPS[choice.kind]
    places = choice.work[0].places
    if choice.kind == "alone":
        return f"{places_text(places)} alone" if places != {ENGINE} else job_text(decision, choice.work[0])
    if choice.kind == "bank":
        return f"the bank ({places_text(places)})"
    return f"all {NUMBERS[len(places)]}" if choice.kind == "all" else "the likeliest two"


def money_text(stake: Stake, value: float) -> str:
    """A sum in the shop's currency, if it has said one."""
    return f"{thousands(value)} {stake.prices.currency}".strip()


def _sentence(decision: Decision) -> str:
    best = decision.best
    now, whole = money_text(decision.stake, best.now), money_text(decision.stake, best.expected)
    later = best.expected - best.now >= 1
    cost = f"It costs {now} now, and with what may follow about {whole}." if later else f"It costs {whole}."
    said = f"{title(decision, best)}. {cost}"
    lacking = [missing_text(decision.workup.book, item).partition(" (")[0] for item in decision.missing[best.kind]]
    return said + (f" Not known: {'; '.join(lacking)}." if lacking else "")


def _choice(decision: Decision, choice: Choice) -> ChoiceDoc:
    return ChoiceDoc(
        kind=choice.kind,
        title=title(decision, choice),
        now=choice.now,
        parts=choice.effort.money,
        minutes=choice.effort.minutes,
        cures=choice.cures,
        comes_back=choice.comes_back,
        again=tuple(_again(choice)) if choice.kind not in SAID_WITHOUT_WORK else (),
        later=choice.later,
        driving=choice.driving,
        expected=choice.expected,
        missing=tuple(missing_text(decision.workup.book, item) for item in decision.missing[choice.kind]),
        cheapest=choice is decision.choices[0],
        recommended=choice is decision.best,
    )


def _again(choice: Choice) -> Iterable[str]:
    reasons = (
        (choice.not_cured, "it was something else"),
        (choice.another, "another part of the same age gives out"),
        (choice.brought_in, "the work itself causes a fault"),
    )
    for chance, why in reasons:
        if chance >= WORTH_A_LINE:
            yield f"{why} {percent(chance)}"


def missing_text(book: Rulebook, item: Missing) -> str:
    """`Purge valve leaks or sticks open is not excluded, 12 % left (to settle it: ...)`."""
    checks = ", ".join(book.checks[name].title for name in item.checks)
    settle = f" (to settle it: {checks})" if checks else ""
    if item.kind == "excluded":
        entry = book.families.get(item.name) or book.faults[item.name]
        if item.chance < book.settings.afterwards.excluded_below:
            return f"nothing has spoken against {entry.title} yet, unlikely as it is{settle}"
        return f"{entry.title} is not excluded, {percent(item.chance)} left{settle}"
    if item.kind == "answered":
        return f"not looked at yet: {checks}"
    if item.kind == "looked":
        return f"nothing seen on the car itself speaks for {book.faults[item.name].title} yet{settle}"
    if item.kind == "which":
        return f"nobody has looked at which place it is{settle}"
    if item.kind == "driving":
        risk = book.risks[item.name]
        return f"driving on is too dangerous ({risk.title})"
    return f"what points to that place so far is not enough to pay for a part{settle}"


def _hinge(decision: Decision, best: Choice, hinge: Hinge) -> str:
    """`if a direct injector costs less than 113 (now 240): all four`."""
    stake, job = decision.stake, next(iter(decision.stake.jobs), None)
    known = next((choice for choice in decision.choices if choice.kind == hinge.instead), None)
    other = short(decision, known) if known else "; ".join(job_text(decision, job) for job in hinge.work)
    rises = hinge.at > hinge.now
    if hinge.what == "chance" and job:
        it = f"it is {places_text(job.places)}" if job.places != {ENGINE} else "this cures it"
        way = "rises above" if rises else "falls below"
        return f"if the chance that {it} {way} {percent(hinge.at)} (now {percent(hinge.now)}): {other}"
    more = "more" if rises else "less"
    if hinge.what == "access":
        return f"if getting there takes {more} than {time_text(hinge.at)} (now {time_text(hinge.now)}): {other}"
    if hinge.what == "check":
        cost = f"{money_text(stake, hinge.at)} (it costs {money_text(stake, hinge.now)})"
        return f"only if the check cost more than {cost} would this be better: {other}"
    what = {"comeback": "a car that comes back", "hour": "an hour of work"}.get(hinge.what)
    if what is None and job:
        part = stake.book.parts[stake.book.repairs[job.repair].part].title
        what = f"an {part}" if part[0] in "aeiou" else f"a {part}"
    return f"if {what} costs {more} than {money_text(stake, hinge.at)} (now {money_text(stake, hinge.now)}): {other}"


def _prices(stake: Stake) -> tuple[PriceDoc, ...]:
    """The figures that were reckoned with, for what may be replaced."""
    prices, book = stake.prices, stake.book
    found = [
        PriceDoc("an hour of work", money_text(stake, prices.hour), "hour" in prices.said),
        PriceDoc("a car that comes back", money_text(stake, prices.comeback), "comeback" in prices.said),
        PriceDoc("coming back counts within", f"{thousands(prices.within)} km", "within" in prices.said),
        PriceDoc("driven when it is not cured", f"{thousands(prices.watch)} km", "watch" in prices.said),
    ]
    for job in list(stake.jobs)[:3]:
        repair = book.repairs[job.repair]
        if repair.part:
            value = money_text(stake, prices.parts[repair.part])
            found.append(PriceDoc(book.parts[repair.part].title, value, repair.part in prices.said))
        if repair.name in prices.access:
            found.append(PriceDoc(f"to get there: {repair.title}", time_text(prices.access[repair.name]), True))
    return tuple(dict.fromkeys(found))


def _notes(decision: Decision) -> Iterable[str]:
    wears = any(decision.workup.book.repairs[job.repair].part for job in list(decision.stake.jobs)[:1])
    if wears and decision.workup.vehicle.distance_km is None:
        yield "The mileage is not known, so wear of other parts of the same age is not counted."
    spare = [c for c in decision.workup.tables.causes if decision.workup.book.faults[c.fault].anything_else]
    chance = sum(decision.stake.chances[decision.workup.tables.cause_number[c.name]] for c in spare)
    if chance >= WORTH_A_LINE:
        yield f"{percent(chance)} is left for something not in these rules; no repair here mends that."
    if decision.workup.look is None:
        yield "No check at hand would save more than it costs."
    yield from _not_explained(decision) if decision.best.work else ()


def _not_explained(decision: Decision) -> Iterable[str]:
    """What was seen that the recommended work does not explain, with the fault that it would fit."""
    workup = decision.workup
    for left in unexplained(workup, [mends_most(decision)]):
        yield f"Not explained by this work: {unexplained_text(workup, left)}. Look at it before the car goes."


def choice_of_kind(decision: Decision, kind: str) -> Choice | None:
    """The choice of a kind; `best` for the recommended one."""
    found: Sequence[Choice] = decision.choices
    return decision.best if kind == "best" else next((choice for choice in found if choice.kind == kind), None)
