"""The choices open, on one scale: what each costs now, and what it can be expected to cost later.

For one cause everything is settled: the work mends it, or leaves something to be mended when the car is back. So the
expected cost is an exact sum over the causes. Later costs are: a car that comes back because it was not cured (and what
driving on did meanwhile), because another part of the same age gives out within the stated distance, or because the
work brought something in; each time the right repair follows, as a car that is back has been looked at again. Watching
tells nothing of itself: what has not gone away is as open as before, and has been driven with.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from reasoner.inference.information_value import First, by_cause, expected_losses, loss_table, mean
from reasoner.inference.plan import Option, Situation
from reasoner.network.tables import Array, Tables
from reasoner.repair.jobs import ENGINE, Job, all_places, cost, cylinders, job_effort, job_that_mends, leaves
from reasoner.repair.prices import Prices
from reasoner.repair.reckoning import Try, any_of, by_chance_over_cost, driving_on, goes_within
from reasoner.rulebook.model import Effort, Rulebook, T

WORTH_A_THOUGHT = 0.01  # repairs of causes less likely than this are not laid out; judgement
NOT_THOUGHT_OF = 0.002  # nor thought of once more is known; judgement
LOSSES_KEPT = 64  # lists of prices of which losses are kept
Works = tuple[Job, ...]


@dataclass(frozen=True, eq=False)
class Stake:
    """What is decided on: rules, tables, the belief where the case stands, prices.

    doubts: the chance that a work is in vain for want of what should be known before (see `guards`).
    acts_held, table_held: the acts and losses of another stake, where only one value is to differ from it.
    """

    book: Rulebook
    tables: Tables
    now: Situation
    prices: Prices
    doubts: Callable[[Works], float] = lambda work: 0.0
    acts_held: tuple[tuple[str, Works], ...] | None = None
    table_held: Array | None = None

    @cached_property
    def chances(self) -> list[float]:
        """Probability of each cause."""
        found: list[float] = self.now.probability.tolist()
        return found

    @cached_property
    def needs(self) -> list[Works]:
        """What mends each cause: a job; of a pair the job of each of the two."""
        if "needs" not in self.made:
            causes = self.tables.causes
            self.made["needs"] = [tuple(job_that_mends(self.book, each) for each in cause.each) for cause in causes]
        found: list[Works] = self.made["needs"]
        return found

    @cached_property
    def harms(self) -> list[float]:
        """What driving on costs under each cause, expected, over the distance driven until it is clear that it is not
        cured."""
        if "harms" not in self.made:
            by_fault = {
                name: sum(found.expected for found in driving_on(self.book, name, self.prices.watch))
                for name in dict.fromkeys(each.fault for cause in self.tables.causes for each in cause.each)
            }
            self.made["harms"] = [sum(by_fault[each.fault] for each in cause.each) for cause in self.tables.causes]
        found: list[float] = self.made["harms"]
        return found

    @cached_property
    def made(self) -> dict[Any, Any]:
        """Costs and losses worked out before: with the same rules, vehicle and prices they never change."""
        p = self.prices
        key = id(self.book), p.hour, p.comeback, p.within, p.watch, tuple(p.parts.items()), tuple(p.access.items())
        begun: dict[Any, Any] = {"rules": self.book}  # kept, so that no other rules get its number
        return self.tables.kept.once("losses", key, lambda: begun, LOSSES_KEPT)

    def once(self, what: str, key: object, work: Callable[[], T]) -> T:
        """The same, of what `work` comes to for a key."""
        made = self.made
        if (what, key) not in made:
            made[what, key] = work()
        found: T = made[what, key]
        return found

    def cost(self, job: Job) -> float:
        """What a job costs, parts and labour."""
        if job not in self.made:
            self.made[job] = cost(self.book, self.prices, job)
        found: float = self.made[job]
        return found

    @cached_property
    def acts(self) -> tuple[tuple[str, Works], ...]:
        """Everything that might be done, now or once more is known: kind and work."""
        if self.acts_held is not None:
            return self.acts_held
        now = courses(self)
        return (*now.items(), *(("", work) for work in actions(self) if work not in now.values()))

    @cached_property
    def table(self) -> Array:
        """(X, C): losses of the acts."""
        if self.table_held is not None:
            return self.table_held
        return loss_table([losses_of(self, kind, work) for kind, work in self.acts])

    @cached_property
    def jobs(self) -> dict[Job, float]:
        """What may be needed, and how likely, the likeliest first. Not what stands for anything else or for nothing."""
        found: dict[Job, float] = {}
        for cause, jobs, chance in zip(self.tables.causes, self.needs, self.chances, strict=True):
            for job in jobs if not cause.alone and chance > 0 else ():
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
    """A course that can be taken. kind: alone, two, bank, all, cheaper, in turn, free (done first, as it
    costs nothing and harms nothing), test, watch, hand on.

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
    """What becomes of work done at once, and then of whatever is left when the car is back. cause: its number."""
    fault = stake.book.faults[stake.tables.causes[cause].fault]
    if fault.nothing_wrong:
        return Fate(1.0, 0.0, 0.0)
    back, cured, sound, still, later = stake.prices.comeback, 1.0, 1.0, 0.0, 0.0
    for need in stake.needs[cause]:
        left, mends = leaves(stake.book, work, need)
        if fault.anything_else:
            left, mends = need, 0.0
        elif not left.places:
            mends = 1.0
        cured, still = cured * mends, still + (1 - mends) * stake.cost(left)
        old, goes = _others(stake, work, need)
        one = Job(need.repair, frozenset(list(need.places)[:1]))
        sound *= 1 - any_of(old, goes)
        later += old * goes * (back + stake.cost(one))
    later += (1 - cured) * (in_vain(stake) + stake.harms[cause]) + still
    return Fate(cured, 1 - sound, later)


def fates(stake: Stake, work: Works) -> list[Fate]:
    """(C,) what becomes of work under each cause; where the work does nothing, it is what becomes of no work at all."""
    found = list(stake.once("fates", (), lambda: [fate(stake, (), c) for c in range(len(stake.needs))]))
    for cause in touched(stake, work):
        found[cause] = fate(stake, work, cause)
    return found


def touched(stake: Stake, work: Works) -> frozenset[int]:
    """Causes of whose repair this work does something, or may save it."""

    def by_repair() -> dict[str, list[int]]:
        causes: dict[str, list[int]] = {}
        for cause, needs in enumerate(stake.needs):
            for repair in {need.repair for need in needs}:
                causes.setdefault(repair, []).append(cause)
        return causes

    causes = stake.once("by repair", (), by_repair)
    done = [stake.book.repairs[job.repair] for job in work]
    repairs = {name for repair in done for name in (repair.name, *repair.includes, *repair.instead_of)}
    return frozenset(cause for name in repairs for cause in causes.get(name, ()))


def in_vain(stake: Stake) -> float:
    """What it costs that work has not cured: the car is back, and what is wrong as open as for whoever begins anew."""
    return max(stake.prices.comeback, stake.book.settings.afterwards.hand_on_costs)


def _nothing_wrong(stake: Stake) -> list[int]:
    """Causes that stand for a car with nothing wrong."""
    causes = enumerate(stake.tables.causes)
    return stake.once("nothing wrong", (), lambda: [n for n, c in causes if stake.book.faults[c.fault].nothing_wrong])


def goes_away(stake: Stake, cause: int) -> float:
    """Chance that it is gone again without a repair, or never was there."""
    fault = stake.book.faults[stake.tables.causes[cause].fault]
    return 1.0 if fault.nothing_wrong else fault.gone_without_repair.value if fault.gone_without_repair else 0.0


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
    """Chance that the work itself causes a new fault, at any place."""
    sound = 1.0
    for job in work:
        wrong = book.repairs[job.repair].goes_wrong
        sound *= (1 - wrong.value) ** len(job.places) if wrong else 1.0
    return 1 - sound


def cost_of_comeback(stake: Stake, work: Sequence[Job]) -> float:
    """What it costs, expected, to put right what the work brought in: the car is back, and one place done again."""
    total = 0.0
    for job in work:
        one = Job(job.repair, frozenset(list(job.places)[:1]))
        labour = job_effort(stake.book, stake.prices, one).minutes / 60.0 * stake.prices.hour
        total += brought_in(stake.book, (job,)) * (stake.prices.comeback + labour)
    return total


def losses(stake: Stake, work: Sequence[Job]) -> Array:
    """Money, now and later, of a course under each cause (C,); to hand the car on where there is no work."""
    work = tuple(work)
    key = "losses", work
    if key not in stake.made:
        always = sum(stake.cost(job) for job in work) + cost_of_comeback(stake, work)
        each = _handed_on(stake) if not work else [f.later for f in fates(stake, work)]
        stake.made[key] = by_cause([always + later for later in each])
    found: Array = stake.made[key]
    return found + doubt(stake, work)


def doubt(stake: Stake, work: Works) -> float:
    """Money expected to be lost for want of what the rules want known before: the work in vain, and the car back."""
    share = stake.doubts(work)
    return share * stake.once("in vain", work, lambda: sum(map(stake.cost, work)) + in_vain(stake)) if share else 0.0


def _handed_on(stake: Stake) -> list[float]:
    """Of a car that goes to somebody who finds it: what that costs, and all that the right repair costs."""
    fee = stake.book.settings.afterwards.hand_on_costs
    return [fee + _right(stake, cause) for cause in range(len(stake.needs))]


def _right(stake: Stake, cause: int) -> float:
    """All that the right repair costs, now and later."""
    need = stake.needs[cause]
    now = sum(stake.cost(job) for job in need)
    if stake.book.faults[stake.tables.causes[cause].fault].anything_else:
        return now
    return now + cost_of_comeback(stake, need) + fate(stake, need, cause).later


def known(stake: Stake) -> list[float]:
    """(C,) money that each cause costs where it is known; what is not in these rules nobody can know here."""
    spare = [stake.book.faults[cause.fault].anything_else for cause in stake.tables.causes]
    handed = losses(stake, ())
    fee = stake.book.settings.afterwards.hand_on_costs
    return [loss if other else loss - fee for loss, other in zip(handed, spare, strict=True)]


def hand_on(stake: Stake) -> Choice:
    """The car goes to somebody who has more to find it with, and who then mends what is wrong."""
    later = _mean(stake, losses(stake, ()))
    return Choice("hand on", (), Effort(0.0, 0.0), 0.0, 0.0, 1.0, 0.0, 0.0, 1.0, later, 0.0)


def watch(stake: Stake) -> Choice:
    """Nothing is done yet: what does not go away by itself is driven with, comes back, and is then met by the best."""
    first = after_watching(stake)
    later, left = _mean(stake, first.costs) + _then(stake, first), _mean(stake, first.stays)
    driving = later - _then(stake, first) - left * stake.book.settings.afterwards.another_visit_costs
    return Choice("watch", (), Effort(0.0, 0.0), 0.0, 1 - left, left, 0.0, 0.0, left, later, driving)


def after_watching(stake: Stake) -> First:
    """What watching costs, and what of each cause is there still: it is driven with, and comes in once more."""
    stays = [1 - goes_away(stake, cause) for cause in range(len(stake.needs))]
    visit = stake.book.settings.afterwards.another_visit_costs
    return First([stay * (harm + visit) for stay, harm in zip(stays, stake.harms, strict=True)], stays)


def free(stake: Stake, job: Job) -> bool:
    """Work that costs no more than a little time and brings nothing in: once it is done, one sees whether it helped."""
    repair = stake.book.repairs[job.repair]
    return not repair.money and not repair.goes_wrong and stake.cost(job) <= stake.prices.hour / 2


def freely(stake: Stake) -> list[Works]:
    """Work that may be done first, as it costs nothing and harms nothing: at all its places, as one."""
    found: dict[Works, None] = {}
    for job, chance in stake.jobs.items():
        whole = Job(job.repair, all_places(stake.tables.vehicle, job.places))
        if chance >= WORTH_A_THOUGHT and free(stake, whole):
            found[(whole,)] = None
    return list(found)


def first_of(stake: Stake, work: Works) -> First:
    """Work that is done first; where it does not help, the case goes on without that cause."""
    cost = sum(stake.cost(job) for job in work)
    return First([cost] * len(stake.needs), [1 - f.cured for f in fates(stake, work)])


def do_first(stake: Stake) -> Choice | None:
    """The best work that costs nothing and harms nothing, and then whatever is best if it has not helped."""
    found = []
    for work in freely(stake):
        first = first_of(stake, work)
        minutes, now = sum(job_effort(stake.book, stake.prices, job).minutes for job in work), first.costs[0]
        left, later = _mean(stake, first.stays), _then(stake, first)
        found.append(Choice("free", work, Effort(minutes, 0.0), now, 1 - left, left, 0.0, 0.0, 0.0, later, 0.0))
    return min(found, key=lambda choice: choice.expected, default=None)


def _then(stake: Stake, first: First) -> float:
    """Expected loss of whatever is best against what is still there."""
    left = [p * stay for p, stay in zip(stake.chances, first.stays, strict=True)]
    return min(expected_losses(stake.table, left), default=0.0)


def losses_of(stake: Stake, kind: str, work: Works) -> Array:
    """Money, now and later, of a course of some kind under each cause (C,)."""
    return losses_in_turn(stake, work) if kind == "in turn" else losses(stake, work)


def at_once(kind: str, work: Works) -> Works:
    """What is done now. In turn only the first is: what speaks for the others is seen when that has not cured it."""
    return work[:1] if kind == "in turn" else work


def losses_in_turn(stake: Stake, tries: Works) -> Array:
    """Losses of doing one job after the other until it is mended (C,); each that fails brings the car back."""
    key = "in turn", tries
    if key not in stake.made:
        paid, so_far = [], 0.0
        for job in tries:
            so_far += stake.cost(job) + cost_of_comeback(stake, (job,))
            paid.append(so_far)
        harm, last = in_vain(stake), len(tries) - 1
        each = [paid[last] + last * (harm + h) + f.later for h, f in zip(stake.harms, fates(stake, ()), strict=True)]
        for cause in touched(stake, tries).union(_nothing_wrong(stake)):
            each[cause] = _in_turn(stake, tries, paid, cause)
        stake.made[key] = by_cause(each)
    found: Array = stake.made[key]
    return found + doubt(stake, tries[:1])


def _in_turn(stake: Stake, tries: Works, paid: Sequence[float], cause: int) -> float:
    """paid: for the tries up to each."""
    failed = _first_that_mends(stake, tries, cause)
    harm = in_vain(stake) + stake.harms[cause]
    return paid[failed] + failed * harm + fate(stake, tries[: failed + 1], cause).later


def _mends_at(stake: Stake, tries: Works, need: Job) -> int:
    """The number of the try after which nothing is left of a needed job; the last one where none does it."""
    places = need.places
    for number, job in enumerate(tries):
        if job.repair == need.repair or need.repair in stake.book.repairs[job.repair].includes:
            places = places - job.places
            if not places:
                return number
    return len(tries) - 1


def _first_that_mends(stake: Stake, tries: Works, cause: int) -> int:
    """The number of the try after which nothing is left of a cause for sure; the last one where none does it."""
    fault = stake.book.faults[stake.tables.causes[cause].fault]
    last = len(tries) - 1
    if fault.nothing_wrong or fault.anything_else:
        return 0 if fault.nothing_wrong else last
    return max(_mends_at(stake, tries, need) for need in stake.needs[cause])


# ---- all the courses -------------------------------------------------------------------------------------------------


def all_choices(stake: Stake) -> tuple[Choice, ...]:
    """Everything that can be done now, the cheapest by expected cost first."""
    found = [_worked_out(stake, kind, work) for kind, work in courses(stake).items()]
    found += [choice for choice in (do_first(stake), watch(stake), hand_on(stake)) if choice]
    return tuple(sorted(found, key=lambda choice: choice.expected))


def courses(stake: Stake) -> dict[str, Works]:
    """Kinds of choice with work in them, and the work of each; different kinds are different work.

    The best single job is among them, at its places, for its bank or for all: where it is not the suspect's, nor a
    cheaper step before that, it stands in the suspect's place.
    """
    likely = [job for job, chance in stake.jobs.items() if chance >= WORTH_A_THOUGHT]
    if not likely:
        return {}
    found = _about(stake, likely[0], likely)
    works = [*(work for job in likely for work in variants(stake, job)), ()]  # to hand it on among them
    best = min(works, key=lambda work: _mean(stake, losses(stake, work)))
    if best and best not in found.values():
        lead = next(job for job in likely if best in variants(stake, job))
        found = _about(stake, lead, [lead, *(job for job in likely if job != lead)])
    return found


def _about(stake: Stake, lead: Job, likely: Sequence[Job]) -> dict[str, Works]:
    """The courses with one job as the suspect's. likely: all that may be needed, that one first."""
    whole = all_places(stake.tables.vehicle, lead.places)
    first = next((job for job in likely if job.repair == lead.repair and job.places < whole), lead)
    second = next((job for job in likely if not first.places <= job.places or job.repair != first.repair), None)
    found: dict[str, Works] = {
        "all": (Job(lead.repair, whole),) if len(whole) > 1 else (),
        "alone": (first,),
        "two": _merged((first, second)) if second else (),
        "bank": (Job(lead.repair, _bank(stake, first)),),
        "cheaper": _cheaper(stake, lead, likely),
        "in turn": _turns(stake, likely),
    }
    known: set[Works] = {()}
    for kind, work in list(found.items()):
        if work in known:
            del found[kind]
        known.add(work)
    return found


def variants(stake: Stake, job: Job) -> list[Works]:
    """A job at its places, for the whole bank, and for all places of its kind."""
    whole = all_places(stake.tables.vehicle, job.places)
    return [(Job(job.repair, places),) for places in dict.fromkeys((job.places, _bank(stake, job), whole))]


def _merged(work: Iterable[Job]) -> Works:
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


def _cheaper(stake: Stake, first: Job, likely: Sequence[Job]) -> Works:
    """The best step that costs less now than the suspect's repair: another repair, or one that sometimes saves it."""
    most = stake.cost(first)
    works = [(job,) for job in (*_steps(stake, first), *likely) if stake.cost(job) < most]
    return min(works, key=lambda work: _mean(stake, losses(stake, work)), default=())


def _steps(stake: Stake, first: Job) -> list[Job]:
    """Work that sometimes saves this repair."""
    whole = frozenset((ENGINE,))
    return [Job(r.name, whole) for r in stake.book.repairs.values() if first.repair in r.instead_of]


def _turns(stake: Stake, likely: Sequence[Job]) -> tuple[Job, ...]:
    """By P over C; what a failed try costs on top comes with every one but the first, so it counts as part of C. What
    an earlier try has done is not done again."""
    tries = []
    for number, job in enumerate(likely):
        look = stake.cost(job) + cost_of_comeback(stake, (job,)) + in_vain(stake)
        tries.append(Try(str(number), stake.jobs[job], look))
    found: list[Job] = []
    for job in (likely[int(each.name)] for each in by_chance_over_cost(tries)):
        done = frozenset[str]().union(*(other.places for other in found if other.repair == job.repair))
        found += [Job(job.repair, job.places - done)] if job.places - done else []
    return tuple(found)


def _mean(stake: Stake, values: Array | Sequence[float]) -> float:
    return mean(values, stake.now.probability)


def expected(stake: Stake, kind: str, work: Sequence[Job]) -> float:
    """Money, now and later, that a course is expected to cost."""
    return _mean(stake, losses_of(stake, kind, tuple(work)))


def _worked_out(stake: Stake, kind: str, work: tuple[Job, ...]) -> Choice:
    first = at_once(kind, work)
    efforts = [job_effort(stake.book, stake.prices, job) for job in first]
    now = sum(stake.cost(job) for job in first)
    each = fates(stake, first)
    cures, wrong = _mean(stake, [f.cured for f in each]), brought_in(stake.book, first)
    return Choice(
        kind=kind,
        work=work,
        effort=Effort(sum(e.minutes for e in efforts), sum(e.money for e in efforts)),
        now=now,
        cures=cures,
        not_cured=1 - cures,
        another=_mean(stake, [f.another for f in each]),
        brought_in=wrong,
        comes_back=1 - (1 - wrong) * _mean(stake, [f.cured * (1 - f.another) for f in each]),
        later=expected(stake, kind, work) - now,
        driving=_mean(stake, [(1 - f.cured) * harm for f, harm in zip(each, stake.harms, strict=True)]),
    )


def test_on(stake: Stake, look: Option, expected: float) -> Choice:
    """A check is made first, and then whatever is best is done. expected: what that costs all in all."""
    price = check_cost(stake, look)
    spent = Effort(look.minutes, look.money)
    return Choice("test", (), spent, price, 0.0, 1.0, 0.0, 0.0, 1.0, expected - price, 0.0, look)


def check_cost(stake: Stake, option: Option) -> float:
    """What a check costs: work, the part of the waiting that counts, and money."""
    settings = stake.book.settings
    minutes = settings.asking_minutes + option.minutes + settings.waiting(option.wait)
    return option.money + minutes / 60.0 * stake.prices.hour


def actions(stake: Stake) -> list[Works]:
    """What might be done once more is known: each job that may be needed, its bank, all of its kind; both jobs of two
    faults at once; to hand the car on."""
    jobs = [job for job, chance in stake.jobs.items() if chance >= NOT_THOUGHT_OF]
    likely = zip(stake.needs, stake.chances, strict=True)
    both = [_merged(jobs) for jobs, chance in likely if len(jobs) > 1 and chance >= NOT_THOUGHT_OF]
    return [*dict.fromkeys((*(work for job in jobs for work in variants(stake, job)), *both)), ()]
