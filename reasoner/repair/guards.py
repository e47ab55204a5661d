"""What should be known before a repair is done, and what of it is missing: what the rules ask for (`only after`), and
that somebody has looked at the part itself.

What is missing is a doubt: a chance that the work is in vain, whatever is believed. It makes work dearer, and the check
that would take it away earns what it saves; no rule forbids anything.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from math import log10

from reasoner.inference.evidence import Spell
from reasoner.inference.weight import (
    believed_without,
    chance_to_speak_for,
    chances_to_find,
    decibans_moved,
    findings_against,
    moments_ahead,
    spoken_against,
)
from reasoner.network.tables import Array
from reasoner.repair.choices import Stake, free
from reasoner.repair.jobs import Job, all_places
from reasoner.repair.reckoning import driving_on, members_of
from reasoner.rulebook.model import At, Check

SUGGESTED = 3
WHICH = 0.5  # more likely than not: share of what a work mends that sits at fewer places
MAY_SPEAK = 0.1  # a look that speaks for its cause less often is none that settles it; judgement
TALK = ("told", "code")


@dataclass(frozen=True)
class Missing:
    """kind: excluded (a fault or family is not), answered (a check is not), beyond (only these checks speak for it),
    looked (no look at the car itself has spoken for it), which (nobody has looked which of several places it is),
    driving (a risk of driving on is too high). name: of the fault, family, check or risk. chance: how likely it still
    is. checks: what would settle it, at hand and not yet answered. because: the rules' reason. speak: how likely each
    of these checks gives an answer that settles it, one that speaks for it or by which it can be excluded; empty where
    any answer does."""

    kind: str
    name: str
    chance: float
    checks: tuple[str, ...]
    because: str = ""
    speak: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Known:
    """What the answers say by themselves. spells: all of them. answered: the checks' names."""

    spells: tuple[Spell, ...]
    answered: Collection[str]


def missing(stake: Stake, known: Known, work: Iterable[Job]) -> tuple[Missing, ...]:
    """What is missing for this work."""
    guards = Guards(stake, known)
    return tuple(dict.fromkeys(item for job in work for item in guards.missing(job)))


@dataclass(frozen=True, eq=False)
class Guards:
    """What is missing for each job, as far as anybody has asked."""

    stake: Stake
    known: Known

    def missing(self, job: Job) -> list[Missing]:
        if job not in self._asked:
            own = self._asked_for(job)
            if not any(item.kind in ("answered", "beyond") for item in own):  # those say what to look at
                own += self._not_looked_at(job) or self._not_known_which(job)
            self._asked[job] = own
        return self._asked[job]

    @cached_property
    def _asked(self) -> dict[Job, list[Missing]]:
        return {}

    def _asked_for(self, job: Job) -> list[Missing]:
        """What the rules want known before this job."""
        stake = self.stake
        guard = stake.book.repairs[job.repair].only_after
        if guard is None:
            return []
        found = []
        for name in guard.excluded:
            if not self._excluded(name):
                checks, chances = self._can_exclude(name)
                found.append(Missing("excluded", name, _chance(stake, name), checks, guard.because, chances))
        for name in guard.answered:
            if name in stake.tables.check_number and name not in self.known.answered:
                found.append(Missing("answered", name, 0.0, self._quickest({name}), guard.because))
        if guard.beyond and not self._beyond(job, guard.beyond):
            looks = _looks_beyond(stake, guard.beyond, self._at_one(job))
            checks, speak = self._telling(looks, self._mended(job))
            found.append(Missing("beyond", "", stake.jobs.get(job, 0.0), checks, guard.because, speak))
        return found

    def _can_exclude(self, name: str) -> tuple[tuple[str, ...], tuple[float, ...]]:
        """Checks at hand of which a look can well speak against a fault or family as much as it takes, the most chance
        of that a minute first, and how likely each does; those that speak of it at all, and no chances, if none can."""
        found = excluders(self.stake, name)
        best = self._worth_most({n: self._may_find(n, found[n]) for n in self._unanswered if n in found})
        return (tuple(best), tuple(best.values())) if best else (self._quickest(speakers(self.stake, name)), ())

    def _worth_most(self, chances: Mapping[str, float]) -> dict[str, float]:
        """Of checks, each with the chance that it settles what is asked, those that can well do so, the most chance a
        minute first."""
        may = [n for n in chances if chances[n] >= MAY_SPEAK]
        best = sorted(may, key=lambda n: self.stake.book.checks[n].minutes / chances[n])[:SUGGESTED]
        return {n: chances[n] for n in best}

    def _may_find(self, check: str, outcomes: Sequence[int]) -> float:
        """The chance that a look finds one of these, here or where it likeliest does."""
        tables, now = self.stake.tables, self.stake.now
        number = tables.check_number[check]
        conditions = tables.checks[number].conditions
        moments = [0] if not conditions or now.condition in conditions else []
        moments += [k + 1 for k in conditions or range(len(tables.conditions)) if k not in now.avoided]
        showing, quiet = self._moments
        return float(max(chances_to_find(tables, number, outcomes, showing[moments], quiet[moments]), default=0.0))

    @cached_property
    def _moments(self) -> tuple[Array, Array]:
        now = self.stake.now
        return moments_ahead(self.stake.tables, now.probability, now.showing, now.quiet)

    def _excluded(self, name: str) -> bool:
        if name not in self._known_excluded:
            self._known_excluded[name] = excluded(self.stake, self.known, name)
        return self._known_excluded[name]

    @cached_property
    def _known_excluded(self) -> dict[str, bool]:
        return {}

    def _not_looked_at(self, job: Job) -> list[Missing]:
        """What a job mends, where it is believed on talk and codes: no look at the car has spoken for it by itself."""
        stake, own = self.stake, self._mended(job)
        if not own or free(stake, job):
            return []
        fault = stake.tables.causes[max(self._alone(own), key=lambda c: stake.chances[c])].fault
        direct = looking_at(stake, fault)
        if not direct:
            return []
        (checks, speak), chance = self._telling(direct, own), sum(stake.chances[c] for c in own)
        looked = not speak and not direct.isdisjoint(self.known.answered)  # in every way that can well speak for it
        if self._spoken_for(direct, own) or (looked and chance >= stake.book.settings.dominates):
            return []
        return [Missing("looked", fault, chance, checks, speak=speak)]

    def _not_known_which(self, job: Job) -> list[Missing]:
        """Work at several places, most likely for one of them, where nobody has looked which."""
        stake, own = self.stake, self._mended(job)
        fewer = [c for c in self._alone(own) if stake.needs[c][0].places < job.places]
        chance = sum(stake.chances[c] for c in fewer)
        if len(job.places) < 2 or chance < WHICH * sum(stake.chances[c] for c in self._alone(own)):
            return []
        fault = stake.tables.causes[max(fewer, key=lambda c: stake.chances[c])].fault
        direct = frozenset(name for name in looking_at(stake, fault) if stake.book.checks[name].at is At.CYLINDER)
        if not direct or not direct.isdisjoint(self.known.answered):
            return []
        return [Missing("which", fault, chance, self._quickest(direct))]

    def _beyond(self, job: Job, not_enough: Collection[str]) -> bool:
        """Whether looks other than these speak for what the job mends (for that place, if it is done at one: those that
        look at each place)."""
        own = self._mended(job)
        return bool(own) and self._spoken_for(_looks_beyond(self.stake, not_enough, self._at_one(job)), own)

    def _at_one(self, job: Job) -> bool:
        return job.places != all_places(self.stake.tables.vehicle, job.places)

    def _spoken_for(self, checks: frozenset[str], causes: Sequence[int]) -> bool:
        """Whether the answers of these checks, together, speak for these causes: where several agree, no single one is
        needed."""
        stake = self.stake
        given = checks & self._answered
        if not given:
            return False
        if given not in self._without:
            numbers = {stake.tables.check_number[name] for name in given}
            self._without[given] = believed_without(stake.tables, self.known.spells, numbers)
        after = stake.book.settings.afterwards
        return decibans_moved(stake.now.probability, self._without[given], causes) >= after.speaks_from

    @cached_property
    def _answered(self) -> frozenset[str]:
        return frozenset(self.known.answered)

    @cached_property
    def _without(self) -> dict[frozenset[str], Array]:
        """What would be believed without some checks."""
        return {}

    def _mended(self, job: Job) -> list[int]:
        """Causes that a job mends, or of which it mends one of the two."""
        return self.stake.once("mended", job, lambda: _mended(self.stake, job))

    def _alone(self, causes: Sequence[int]) -> list[int]:
        """Those that are no pairs. What is in a pair is among them by itself too."""
        return [c for c in causes if not self.stake.tables.causes[c].members]

    def _telling(self, checks: Collection[str], causes: Sequence[int]) -> tuple[tuple[str, ...], tuple[float, ...]]:
        """Of these checks, those whose answer can well speak for these causes as much as it takes, the most chance of
        that a minute first, and how likely each does; the quickest, and no chances, if none can."""
        tables = self.stake.tables
        own = [c for c in causes if tables.prior[c] > 0]
        if not own:
            return self._quickest(checks), ()
        best = self._worth_most({n: self.speaks(n, own) for n in self._unanswered if n in checks})
        if not best:
            return self._quickest(checks), ()
        there = sum(self.stake.chances[c] for c in own)
        return tuple(best), tuple(there * chance for chance in best.values())

    def speaks(self, check: str, causes: Sequence[int]) -> float:
        """The chance that an answer to a check speaks for these causes as much as it takes, if it is one of them, each
        as likely as it is beforehand."""
        tables = self.stake.tables
        known: dict[str, float] = tables.kept.shelf("speak for", tuple(causes))
        if check not in known:
            enough = 10 ** (self.stake.book.settings.afterwards.speaks_from / 10)
            each = chance_to_speak_for(tables, tables.check_number[check], causes, enough)
            known[check] = float(each @ tables.prior[list(causes)] / tables.prior[list(causes)].sum())
        return known[check]

    def _quickest(self, names: Collection[str]) -> tuple[str, ...]:
        """The quickest of these that can be made and that nobody has answered yet."""
        return tuple(name for name in self._unanswered if name in names)[:SUGGESTED]

    @cached_property
    def _unanswered(self) -> list[str]:
        """Checks at hand without an answer, looks at the car before talk, the quickest first."""
        tables = self.stake.tables
        found = [tables.checks[n] for n in at_hand(self.stake) if tables.checks[n].name not in self.known.answered]
        kinds = self.stake.book.checks
        return [c.name for c in sorted(found, key=lambda c: (kinds[c.name].kind in TALK, c.minutes))]


def missing_for_watching(stake: Stake) -> tuple[Missing, ...]:
    """Risks of driving on that are too high for doing nothing yet."""
    found: dict[str, float] = {}
    chances: dict[str, float] = {}
    for cause, chance in zip(stake.tables.causes, stake.chances, strict=True):
        for each in cause.each:
            chances[each.fault] = chances.get(each.fault, 0.0) + chance
    for fault, chance in chances.items():
        for harm in stake.once("driving on", fault, partial(driving_on, stake.book, fault, stake.prices.watch)):
            found[harm.risk.name] = found.get(harm.risk.name, 0.0) + chance * harm.chance
    limits = {risk.name: risk.not_above for risk in stake.book.risks.values() if risk.not_above is not None}
    return tuple(Missing("driving", n, p, (), "") for n, p in found.items() if n in limits and p > limits[n])


def excluded(stake: Stake, known: Known, name: str) -> bool:
    """Unlikely by now, and spoken against by a check that speaks of it: a belief alone excludes nothing."""
    after = stake.book.settings.afterwards
    own = _causes(stake, name)
    prior: list[float] = stake.tables.prior.tolist()
    before = sum(prior[c] for c in own)
    if not before:
        return True
    numbers = {stake.tables.check_number[check] for check in speakers(stake, name)}
    against: list[float] = spoken_against(stake.tables, known.spells, numbers).tolist()
    left = sum(prior[c] * against[c] for c in own) / before
    return _chance(stake, name) < after.excluded_below and -10 * log10(left) >= after.speaks_from


def _causes(stake: Stake, name: str) -> list[int]:
    """Causes of a fault, or of the faults of a family."""

    def work() -> list[int]:
        own = members_of(stake.book, name)
        return [n for n, cause in enumerate(stake.tables.causes) if any(each.fault in own for each in cause.each)]

    return stake.once("causes", name, work)


def _mended(stake: Stake, job: Job) -> list[int]:
    needs = enumerate(stake.needs)
    return [c for c, jobs in needs if any(n.repair == job.repair and n.places <= job.places for n in jobs)]


def _chance(stake: Stake, name: str) -> float:
    return sum(stake.chances[c] for c in _causes(stake, name))


# ---- which checks speak of what: by the rules and the car alone, so worked out once --------------------------------


def speakers(stake: Stake, name: str) -> frozenset[str]:
    """Checks that say something of a fault or family by name, or of one that belongs to it."""
    own = members_of(stake.book, name)
    return _kept(stake, ("speak", name), lambda check: not own.isdisjoint(check.given))


def excluders(stake: Stake, name: str) -> Mapping[str, tuple[int, ...]]:
    """Of the checks that speak of a fault or family, those of which one look can speak against it as much as it takes,
    each with the outcomes that do: not what only its own sign would tell."""
    tables, after = stake.tables, stake.book.settings.afterwards
    own = [c for c in _causes(stake, name) if tables.prior[c] > 0]
    enough = 10 ** (-after.speaks_from / 10)

    def work() -> dict[str, tuple[int, ...]]:
        speak = speakers(stake, name)
        each = {n: findings_against(tables, tables.check_number[n], own, enough) for n in speak}
        return {n: found for n, found in each.items() if found}

    return tables.kept.once("checks that exclude", name, work)


def looking_at(stake: Stake, fault: str) -> frozenset[str]:
    """Checks that look at the part itself: no talk and no code, and the rules say of this very fault what they show."""
    return _kept(stake, ("look", fault), lambda check: check.kind not in TALK and fault in check.given)


def _looks_beyond(stake: Stake, not_enough: Collection[str], at_one: bool) -> frozenset[str]:
    """Looks at the car beyond these checks; of work at one place, those that look at each cylinder."""
    key = "beyond", tuple(not_enough), at_one

    def counts(check: Check) -> bool:
        return check.name not in not_enough and check.kind not in TALK and (check.at is At.CYLINDER or not at_one)

    return _kept(stake, key, counts)


def _kept(stake: Stake, key: object, wanted: Callable[[Check], bool]) -> frozenset[str]:
    def work() -> frozenset[str]:
        checks = (stake.book.checks[table.name] for table in stake.tables.checks)
        return frozenset(check.name for check in checks if wanted(check))

    return stake.tables.kept.once("checks that speak", key, work)


def at_hand(stake: Stake) -> list[int]:
    """Checks that can be made on this car with the tools there are."""
    now = stake.now
    closed = {k for k, needs in enumerate(stake.tables.condition_needs) if k in now.avoided or needs & now.lacking}
    return [
        number
        for number, check in enumerate(stake.tables.checks)
        if number not in now.barred
        and not check.needs & now.lacking
        and not (check.steady and (number, None) in now.done)
        and not (check.conditions and closed.issuperset(check.conditions))
    ]
