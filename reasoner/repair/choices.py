"""The choices open, on one scale: what each costs now, and what it can be expected to cost later.

For one cause everything is settled: the work mends it, or leaves something to be mended when the car is back. So the
expected cost is an exact sum over the causes. Later costs are: a car that comes back because it was not cured (and what
driving on did meanwhile), because another part of the same age gives out within the stated distance, or because the
work brought something in; each time the right repair follows, as a car that is back has been looked at again. Watching
tells nothing of itself: what has not gone away is as open as before, and has been driven with.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from reasoner.inference.plan import Option, Situation
from reasoner.inference.stake import expected_losses, least_after, loss_table
from reasoner.network.tables import Array, Tables
from reasoner.repair.jobs import ENGINE, Job, all_places, cost, cylinders, effort, leaves, needed
from reasoner.repair.order import Try, by_chance_over_cost
from reasoner.repair.prices import Prices
from reasoner.repair.risks import driving_on
from reasoner.repair.wear import any_of, goes_within
from reasoner.rulebook.model import Effort, Rulebook

WORTH_A_THOUGHT = 0.01  # repairs of causes less likely than this are not laid out
TESTS = 8  # how many of the best checks are weighed as `test on`


@dataclass(frozen=True, eq=False)
class Stake:
    """What is decided on: rules, tables, the belief where the case stands, prices. options: checks that can be made,
    the best first; tests: those of them that testing on may begin with."""

    book: Rulebook
    tables: Tables
    now: Situation
    prices: Prices
    options: tuple[Option, ...] = ()
    tests: tuple[Option, ...] = ()

    @cached_property
    def chances(self) -> list[float]:
        """Probability of each cause."""
        found: list[float] = self.now.probability.tolist()
        return found

    @cached_property
    def needs(self) -> list[Job]:
        """What mends each cause."""
        return [needed(self.book, cause) for cause in self.tables.causes]

    @cached_property
    def harms(self) -> list[float]:
        """What driving on costs under each cause, expected, over the distance driven until it is clear that it is not
        cured."""
        by_fault = {
            name: sum(found.expected for found in driving_on(self.book, name, self.prices.watch))
            for name in self.tables.faults
        }
        return [by_fault[cause.fault] for cause in self.tables.causes]

    @cached_property
    def _costs(self) -> dict[Job, float]:
        return {}

    def cost(self, job: Job) -> float:
        """What a job costs, parts and labour."""
        if job not in self._costs:
            self._costs[job] = cost(self.book, self.prices, job)
        return self._costs[job]

    @cached_property
    def table(self) -> Array:
        """(X, C): losses of everything that might be done once more is known."""
        return loss_table([losses(self, work) for work in actions(self)])

    @cached_property
    def jobs(self) -> dict[Job, float]:
        """What may be needed, and how likely, the likeliest first. Not what stands for anything else or for nothing."""
        found: dict[Job, float] = {}
        for cause, job, chance in zip(self.tables.causes, self.needs, self.chances, strict=True):
            fault = self.book.faults[cause.fault]
            if not (fault.anything_else or fault.nothing_wrong) and chance > 0:
                found[job] = found.get(job, 0.0) + chance
        return dict(sorted(found.items(), key=lambda pair: -pair[1]))


@dataclass(frozen=True)
class Fate:
    """What becomes of a course under one cause. cured, another (a part of the same age goes): chances. later: costs."""

    cured: float
    another: float
    later: float


@dataclass(frozen=True)
class Choice:
    """A course that can be taken. kind: alone, two, bank, all, cheaper, in turn, test, watch.

    work: what is done now (of `in turn`: in this order, until it is mended). now: money for it, parts and labour in
    `effort`. cures: chance. not_cured, another, brought_in: why it may come back, and how likely each is; comes_back:
    for whatever reason, within the stated distance. later: money, expected. driving: the part of it that is harm done
    by driving on. check: what `test on` asks.
    """

    kind: str
    work: tuple[Job, ...]
    effort: Effort
    now: float
    cures: float
    not_cured: float
    another: float
    brought_in: float
    comes_back: float
    later: float
    driving: float
    check: Option | None = None

    @property
    def expected(self) -> float:
        return self.now + self.later


# ---- one course under one cause --------------------------------------------------------------------------------------


def fate(stake: Stake, work: Sequence[Job], cause: int) -> Fate:
    """Of work that is done at once, then whatever is left when the car is back. cause: its number."""
    fault = stake.book.faults[stake.tables.causes[cause].fault]
    if fault.nothing_wrong:
        return Fate(1.0, 0.0, 0.0)
    need = stake.needs[cause]
    left, cured = leaves(stake.book, work, need)
    if fault.anything_else:
        left, cured = need, 0.0
    elif not left.places:
        cured = 1.0
    old, goes = _others(stake, work, need)
    back, one = stake.prices.comeback, Job(need.repair, frozenset(list(need.places)[:1]))
    later = (1 - cured) * (back + stake.harms[cause] + stake.cost(left))
    return Fate(cured, any_of(old, goes), later + old * goes * (back + stake.cost(one)))


def goes_away(stake: Stake, cause: int) -> float:
    """Chance that it is gone again without a repair, or never was there."""
    fault = stake.book.faults[stake.tables.causes[cause].fault]
    return 1.0 if fault.nothing_wrong else fault.mends_itself.value if fault.mends_itself else 0.0


def _others(stake: Stake, work: Sequence[Job], need: Job) -> tuple[int, float]:
    """How many parts of the kind that has failed are left in, and the chance of each to give out within the stated
    distance. Each that does brings the car back by itself."""
    part = stake.book.parts.get(stake.book.repairs[need.repair].part)
    driven = stake.tables.vehicle.distance_km
    if part is None or part.lasts is None or driven is None:
        return 0, 0.0
    renewed = need.places.union(*(job.places for job in work if job.repair == need.repair))
    old = all_places(stake.tables.vehicle, need.places) - renewed
    return len(old), goes_within(part.lasts, driven, stake.prices.within)


def brought_in(book: Rulebook, work: Iterable[Job]) -> float:
    """Chance that the work itself brings something in, at any place."""
    sound = 1.0
    for job in work:
        wrong = book.repairs[job.repair].goes_wrong
        sound *= (1 - wrong.value) ** len(job.places) if wrong else 1.0
    return 1 - sound


def again(stake: Stake, work: Sequence[Job]) -> float:
    """What it costs, expected, to put right what the work brought in: the car is back, and one place done again."""
    total = 0.0
    for job in work:
        one = Job(job.repair, frozenset(list(job.places)[:1]))
        labour = effort(stake.book, stake.prices, one).minutes / 60.0 * stake.prices.hour
        total += brought_in(stake.book, (job,)) * (stake.prices.comeback + labour)
    return total


def losses(stake: Stake, work: Sequence[Job]) -> list[float]:
    """Money, now and later, of a course under each cause (C,)."""
    always = sum(stake.cost(job) for job in work) + again(stake, work)
    return [always + fate(stake, work, cause).later for cause in range(len(stake.needs))]


def watch(stake: Stake) -> Choice:
    """Nothing yet: what does not go away by itself is driven with, and then met by whatever is best against it."""
    gone = [goes_away(stake, cause) for cause in range(len(stake.needs))]
    left = [p * (1 - g) for p, g in zip(stake.chances, gone, strict=True)]
    driving = sum(p * harm for p, harm in zip(left, stake.harms, strict=True))
    later = driving + min(expected_losses(stake.table, left), default=0.0)
    cures, nothing = _mean(stake, gone), Effort(0.0, 0.0)
    return Choice("watch", (), nothing, 0.0, cures, 1 - cures, 0.0, 0.0, 1 - cures, later, driving)


def losses_in_turn(stake: Stake, tries: Sequence[Job]) -> list[float]:
    """The same, of one job after the other until it is mended; each that fails brings the car back."""
    return [_in_turn(stake, tries, cause) for cause in range(len(stake.needs))]


def _in_turn(stake: Stake, tries: Sequence[Job], cause: int) -> float:
    last = len(tries) - 1
    failed = next((n for n in range(last) if fate(stake, tries[: n + 1], cause).cured == 1), last)
    done = tries[: failed + 1]
    paid = sum(stake.cost(job) for job in done) + again(stake, done)
    return paid + failed * (stake.prices.comeback + stake.harms[cause]) + fate(stake, done, cause).later


# ---- all the courses -------------------------------------------------------------------------------------------------


def choices(stake: Stake) -> tuple[Choice, ...]:
    """Everything that can be done now, the cheapest by expected cost first."""
    found = [_worked_out(stake, kind, work) for kind, work in courses(stake).items()]
    found += [choice for choice in (watch(stake), test_on(stake)) if choice]
    return tuple(sorted(found, key=lambda choice: choice.expected))


def courses(stake: Stake) -> dict[str, tuple[Job, ...]]:
    """Kinds of choice with work in them, and the work of each; different kinds are different work."""
    likely = [job for job, chance in stake.jobs.items() if chance >= WORTH_A_THOUGHT]
    found: dict[str, tuple[Job, ...]] = {}
    if likely:
        lead = likely[0]
        whole = all_places(stake.tables.vehicle, lead.places)
        first = next((job for job in likely if job.repair == lead.repair and job.places < whole), lead)
        second = next((job for job in likely if not first.places <= job.places or job.repair != first.repair), None)
        found["all"] = (Job(lead.repair, whole),) if len(whole) > 1 else ()
        found["alone"] = (first,)
        found["two"] = _merged((first, second)) if second else ()
        found["bank"] = (Job(lead.repair, _bank(stake, first)),)
        found["cheaper"] = _cheaper(stake, lead, likely)
        found["in turn"] = _turns(stake, likely)
    known: set[tuple[Job, ...]] = {()}
    for kind, work in list(found.items()):
        if work in known:
            del found[kind]
        known.add(work)
    return found


def _merged(work: Iterable[Job]) -> tuple[Job, ...]:
    """Jobs of the same repair as one."""
    places: dict[str, frozenset[str]] = {}
    for job in work:
        places[job.repair] = places.get(job.repair, frozenset()) | job.places
    return tuple(Job(repair, at) for repair, at in places.items())


def _bank(stake: Stake, job: Job) -> frozenset[str]:
    """The cylinders that share an upstream sensor with those of a job; the job's own places where there is no bank."""
    banks = [cylinders(bank) for bank in stake.tables.vehicle.banks]
    own = [bank for bank in banks if bank & job.places]
    return frozenset().union(*own) if own else job.places


def _cheaper(stake: Stake, first: Job, likely: Sequence[Job]) -> tuple[Job, ...]:
    """The best step that costs less now than the suspect's repair: another repair, or one that sometimes saves it."""
    most = stake.cost(first)
    whole = frozenset((ENGINE,))
    steps = [Job(r.name, whole) for r in stake.book.repairs.values() if first.repair in r.instead_of]
    works = [(job,) for job in (*steps, *likely) if stake.cost(job) < most]
    return min(works, key=lambda work: _mean(stake, losses(stake, work)), default=())


def _turns(stake: Stake, likely: Sequence[Job]) -> tuple[Job, ...]:
    """By P over C; what a failed try costs on top comes with every one but the first, so it counts as part of C. What
    an earlier try has done is not done again."""
    tries = []
    for number, job in enumerate(likely):
        look = stake.cost(job) + again(stake, (job,)) + stake.prices.comeback
        tries.append(Try(str(number), stake.jobs[job], look))
    found: list[Job] = []
    for job in (likely[int(each.name)] for each in by_chance_over_cost(tries)):
        done = frozenset[str]().union(*(other.places for other in found if other.repair == job.repair))
        found += [Job(job.repair, job.places - done)] if job.places - done else []
    return tuple(found)


def _mean(stake: Stake, by_cause: Sequence[float]) -> float:
    return sum(p * loss for p, loss in zip(stake.chances, by_cause, strict=True))


def expected(stake: Stake, kind: str, work: Sequence[Job]) -> float:
    """Money, now and later, that a course is expected to cost."""
    return _mean(stake, losses_in_turn(stake, work) if kind == "in turn" else losses(stake, work))


def _worked_out(stake: Stake, kind: str, work: tuple[Job, ...]) -> Choice:
    at_once = work[:1] if kind == "in turn" else work
    efforts = [effort(stake.book, stake.prices, job) for job in at_once]
    now = sum(stake.cost(job) for job in at_once)
    fates = [fate(stake, at_once, cause) for cause in range(len(stake.needs))]
    cures, wrong = _mean(stake, [f.cured for f in fates]), brought_in(stake.book, at_once)
    return Choice(
        kind=kind,
        work=work,
        effort=Effort(sum(e.minutes for e in efforts), sum(e.money for e in efforts)),
        now=now,
        cures=cures,
        not_cured=1 - cures,
        another=_mean(stake, [f.another for f in fates]),
        brought_in=wrong,
        comes_back=1 - (1 - wrong) * _mean(stake, [f.cured * (1 - f.another) for f in fates]),
        later=expected(stake, kind, work) - now,
        driving=_mean(stake, [(1 - f.cured) * harm for f, harm in zip(fates, stake.harms, strict=True)]),
    )


def test_on(stake: Stake) -> Choice | None:
    """The best next check, and then whatever is best when its outcome is known."""
    found = []
    for option in stake.tests[:TESTS]:
        price, after = check_cost(stake, option), least_after(stake.tables, stake.now, option, stake.table)
        effort_now = Effort(option.minutes, option.money)
        found.append(Choice("test", (), effort_now, price, 0.0, 1.0, 0.0, 0.0, 1.0, after, 0.0, option))
    return min(found, key=lambda choice: choice.expected, default=None)


def check_cost(stake: Stake, option: Option) -> float:
    """What a check costs: work, the part of the waiting that counts, and money."""
    settings = stake.book.settings
    minutes = settings.asking_minutes + option.minutes + settings.waiting_counts * option.wait
    return option.money + minutes / 60.0 * stake.prices.hour


def actions(stake: Stake) -> list[tuple[Job, ...]]:
    """Everything that might be done once more is known: each job, its bank, all of its kind."""
    found: dict[tuple[Job, ...], None] = {}
    for job in stake.jobs:
        for places in (job.places, _bank(stake, job), all_places(stake.tables.vehicle, job.places)):
            found[(Job(job.repair, places),)] = None
    return list(found)
