"""What must be known before a repair is recommended, as the rules say (`only after`), and what of it is missing."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from math import log10

from reasoner.inference.evidence import Spell
from reasoner.inference.exclude import spoken_against
from reasoner.inference.weight import together
from reasoner.repair.choices import Stake
from reasoner.repair.jobs import Job, all_places
from reasoner.repair.lineage import within
from reasoner.repair.risks import driving_on
from reasoner.rulebook.model import At, Check

SUGGESTED = 3


@dataclass(frozen=True)
class Missing:
    """kind: excluded (a fault or family is not), answered (a check is not), beyond (only these checks speak for it),
    driving (a risk of driving on is too high). name: of the fault, family, check or risk. chance: how likely it still
    is. checks: what would settle it. because: the rules' reason."""

    kind: str
    name: str
    chance: float
    checks: tuple[str, ...]
    because: str = ""


@dataclass(frozen=True, eq=False)
class Known:
    """What the answers say by themselves. spells: all of them. answered: the checks' names."""

    spells: tuple[Spell, ...]
    answered: Collection[str]


def missing(stake: Stake, known: Known, work: Iterable[Job]) -> tuple[Missing, ...]:
    """What is missing for this work; nothing where the rules ask for nothing."""
    found: dict[Missing, None] = {}
    for job in work:
        guard = stake.book.repairs[job.repair].only_after
        if guard is None:
            continue
        for name in guard.excluded:
            if not excluded(stake, known, name):
                found[Missing("excluded", name, _chance(stake, name), _speakers(stake, name), guard.because)] = None
        for name in guard.answered:
            if name in stake.tables.check_number and name not in known.answered:
                found[Missing("answered", name, 0.0, (name,), guard.because)] = None
        if guard.beyond and not _spoken_for(stake, known, job, guard.beyond):
            checks = _placed(stake, job, guard.beyond)
            found[Missing("beyond", "", stake.jobs.get(job, 0.0), checks, guard.because)] = None
    return tuple(found)


def missing_for_watching(stake: Stake) -> tuple[Missing, ...]:
    """Risks of driving on that are too high for doing nothing yet."""
    found: dict[str, float] = {}
    for cause, chance in zip(stake.tables.causes, stake.chances, strict=True):
        for harm in driving_on(stake.book, cause.fault, stake.prices.watch):
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
    speakers = {n for n, check in enumerate(stake.tables.checks) if _speaks(stake, check.name, name)}
    against: list[float] = spoken_against(stake.tables, known.spells, speakers).tolist()
    left = sum(prior[c] * against[c] for c in own) / before
    return _chance(stake, name) < after.excluded_below and -10 * log10(left) >= after.speaks_from


def _causes(stake: Stake, name: str) -> list[int]:
    """Causes of a fault, or of the faults of a family."""
    own = within(stake.book, name)
    return [number for number, cause in enumerate(stake.tables.causes) if cause.fault in own]


def _chance(stake: Stake, name: str) -> float:
    return sum(stake.chances[c] for c in _causes(stake, name))


def _spoken_for(stake: Stake, known: Known, job: Job, not_enough: Collection[str]) -> bool:
    """Whether the answers, but for those of these checks, speak for what the job mends (for that place, if it is done
    at one: those that look at each place). Together: where several agree, no single one is needed."""
    at_one = job.places != all_places(stake.tables.vehicle, job.places)
    own = [c for c, need in enumerate(stake.needs) if need.repair == job.repair and need.places <= job.places]
    if not own:
        return False
    checks = {
        number
        for number, table in enumerate(stake.tables.checks)
        if table.name not in not_enough and (stake.book.checks[table.name].at is At.CYLINDER or not at_one)
    }
    return together(stake.tables, known.spells, checks, own) >= stake.book.settings.afterwards.speaks_from


def _speakers(stake: Stake, name: str) -> tuple[str, ...]:
    """Checks at hand that say something about a fault or family."""
    return _quickest(stake, lambda check: _speaks(stake, check.name, name))


def _speaks(stake: Stake, check: str, name: str) -> bool:
    """Whether a check says something of a fault or family by name, or of one that belongs to it."""
    return not within(stake.book, name).isdisjoint(stake.book.checks[check].given)


def _placed(stake: Stake, job: Job, not_enough: Collection[str]) -> tuple[str, ...]:
    """Checks at hand that look at each cylinder (at anything, where all of them are meant)."""
    at_one = job.places != all_places(stake.tables.vehicle, job.places)
    return _quickest(stake, lambda c: c.name not in not_enough and (c.at is At.CYLINDER or not at_one))


def _quickest(stake: Stake, wanted: Callable[[Check], bool]) -> tuple[str, ...]:
    names = dict.fromkeys(stake.tables.checks[option.check].name for option in stake.options)
    checks = [stake.book.checks[name] for name in names if wanted(stake.book.checks[name])]
    return tuple(check.name for check in sorted(checks, key=lambda c: c.minutes)[:SUGGESTED])
