"""Work as jobs: a repair at some places, what it takes, which causes it mends; and what is known of a round of work."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from reasoner.measure.finding import listed
from reasoner.network.graph import Cause
from reasoner.network.vehicle import Vehicle
from reasoner.repair.prices import Prices
from reasoner.rulebook.model import At, Effort, Repair, Rulebook

ENGINE = "engine"


@dataclass(frozen=True)
class Job:
    """A repair at places: `cylinder 3`, `bank 1`, or `engine`."""

    repair: str
    places: frozenset[str]


def base(book: Rulebook, repair: str) -> Repair:
    """The repair that is done, place by place, where `repair` is the one for all places."""
    found = book.repairs[repair]
    return book.repairs[found.all_of] if found.all_of else found


def job_that_mends(book: Rulebook, cause: Cause) -> Job:
    """What mends a cause."""
    fault = book.faults[cause.fault]
    repair = book.repairs[fault.repair]
    by_cylinder = fault.at is At.CYLINDER or repair.all_of
    places = cylinders(cause.cylinders) if by_cylinder else frozenset((cause.where,))
    return Job(base(book, repair.name).name, places)


def cylinders(numbers: Iterable[int]) -> frozenset[str]:
    """Numbers of cylinders as names of places."""
    return _cylinders(frozenset(numbers))


@lru_cache(maxsize=256)
def _cylinders(numbers: frozenset[int]) -> frozenset[str]:
    return frozenset(f"cylinder {n}" for n in numbers)


def all_places(vehicle: Vehicle, places: frozenset[str]) -> frozenset[str]:
    """Every place of the kind that these are of."""
    kind = next(iter(places)).split()[0]
    if kind == "cylinder":
        return cylinders(range(1, vehicle.cylinders + 1))
    return places if kind == ENGINE else frozenset(f"bank {n}" for n in range(1, len(vehicle.banks) + 1))


def in_order(places: Iterable[str]) -> list[str]:
    """Names of places by their numbers."""
    return sorted(places, key=lambda place: [int(word) if word.isdecimal() else 0 for word in place.split()])


def places_text(places: Iterable[str]) -> str:
    """Places in words, in the order of their numbers: `cylinders 1 and 3`."""
    return listed(in_order(places))


def access(book: Rulebook, prices: Prices, repair: str) -> float:
    """Minutes to get there and back: the shop's own, else what the first place takes more than a further one."""
    found = book.repairs[repair]
    usual = found.minutes - found.each_more.minutes if found.each_more else 0.0
    return prices.access.get(repair, usual)


def job_effort(book: Rulebook, prices: Prices, job: Job) -> Effort:
    """Minutes and money of a job: the first place in full, every further one as the rules and the shop say."""
    repair, count = book.repairs[job.repair], len(job.places)
    more = repair.each_more or Effort(repair.minutes, repair.money)
    minutes = access(book, prices, repair.name) + count * more.minutes
    dearer = prices.parts[repair.part] - book.parts[repair.part].money if repair.part else 0.0
    return Effort(max(0.0, minutes), max(0.0, repair.money + (count - 1) * more.money + count * dearer))


def cost(book: Rulebook, prices: Prices, job: Job) -> float:
    """What a job costs, parts and labour; nothing where no place is left."""
    if not job.places:
        return 0.0
    found = job_effort(book, prices, job)
    return found.money + found.minutes / 60.0 * prices.hour


def leaves(book: Rulebook, work: Iterable[Job], need: Job) -> tuple[Job, float]:
    """What is left to be done of a needed job after this work, and the chance that it is mended although it is left."""
    places, chance = need.places, 0.0
    for job in work:
        repair = book.repairs[job.repair]
        if job.repair == need.repair or need.repair in repair.includes:
            places = places - job.places
        elif need.repair in repair.instead_of and repair.cures and ENGINE in job.places:
            chance = 1 - (1 - chance) * (1 - repair.cures.value)
    return Job(need.repair, places), chance


VALUE_SETS = ("first", "second", "old")
CLOSING_STATES = ("proven", "cured but unproven", "not cured", "given up")


@dataclass(frozen=True)
class TryMade:
    """The fault was provoked in a condition. clean: nothing of it was to be seen. made_so: as the rules ask. on: the
    day, such as 2026-03-28; "" where it is not known."""

    condition: str
    clean: bool
    made_so: bool = False
    on: str = ""


@dataclass(frozen=True)
class Work:
    """One round of work. finished: the step at which it was done, or None. provoked: the tries since, in order.
    cleared: whether codes were cleared after it, None where nobody said; cleared_when: the day and the mileage."""

    kind: str
    jobs: tuple[Job, ...]
    ticked: frozenset[str] = frozenset()
    figures: Mapping[tuple[int, str], str] = field(default_factory=dict)
    first: Mapping[int, str] = field(default_factory=dict)
    second: Mapping[int, str] = field(default_factory=dict)
    old: Mapping[int, str] = field(default_factory=dict)
    finished: int | None = None
    provoked: tuple[TryMade, ...] = ()
    drives: tuple[Mapping[str, float], ...] = ()
    cleared: bool | None = None
    cleared_when: str = ""
