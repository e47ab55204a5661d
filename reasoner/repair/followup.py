"""What may be wrong after work: not cured, or brought in by it; or nothing.

not cured    each cause as likely as it was, as far as the work does not mend it; of two at once, of which it mends
             one, the other; of two of which it mends neither, half each
brought in   of what was mended, the part in which the work goes wrong; shared among the faults that are possible
             only after such work and those it raises, at the places that were worked on (and a little beside them)
second       of what was mended, the part of cars that had two faults at once: any other cause, as likely as on any car
cured        the rest: the cause that stands for nothing being wrong
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import prod

from reasoner.network.graph import Cause, fault_share, follows
from reasoner.network.tables import Tables, tables_of
from reasoner.network.vehicle import Vehicle
from reasoner.repair.choices import brought_in
from reasoner.repair.jobs import Job, job_that_mends, leaves
from reasoner.rulebook.model import AND, Rulebook

# Of the cars with two faults, the part in which the other one has shown nothing that was not explained by the time the
# first was found; judgement.
UNSEEN = 0.5


def tables_after(book: Rulebook, vehicle: Vehicle, before: Mapping[str, float], work: Sequence[Job]) -> Tables:
    """The tables of a car that was worked on. before: probability of each cause, by name, when it was."""
    found = tables_of(book, vehicle, (job.repair for job in work))
    return found.with_prior(prior_after(book, vehicle, found.causes, before, work))


def prior_after(
    book: Rulebook, vehicle: Vehicle, causes: Sequence[Cause], before: Mapping[str, float], work: Sequence[Job]
) -> list[float]:
    """Probability of each cause after the work, 0 or more. Rules that leave nothing possible change nothing."""
    left = _not_cured(book, causes, before, work)
    cured = max(0.0, 1 - sum(left))  # work that mends nothing may leave a rounding below 0
    shares = [sum(_share(book, vehicle, cause, causes, job) for job in work) for cause in causes]
    wrong = cured * brought_in(book, work) if any(shares) else 0.0
    others = _others(book, causes, work)
    second = (cured - wrong) * book.settings.two_faults * UNSEEN if any(others) else 0.0
    gone = cured - wrong - second
    after = [
        still
        + (wrong * part / sum(shares) if part else 0.0)
        + (second * other / sum(others) if other else 0.0)
        + gone * book.faults[cause.fault].nothing_wrong
        for cause, still, part, other in zip(causes, left, shares, others, strict=True)
    ]
    return after if any(after) else [before.get(cause.name, 1.0) for cause in causes]


def _not_cured(
    book: Rulebook, causes: Sequence[Cause], before: Mapping[str, float], work: Sequence[Job]
) -> list[float]:
    """How likely each cause is still there. A pair that was believed in is one or the other from here on: that both are
    there still is weighed again by what is seen now."""
    stays = {cause.name: 1 - mended(book, cause, work) for cause in causes}
    left = {name: before.get(name, 0.0) * stay for name, stay in stays.items()}
    for name, chance in before.items():
        one, pair, other = name.partition(AND)
        for own, beside in ((one, other), (other, one)) if pair else ():
            if own in left:
                left[own] += chance * stays[own] * (1 - stays.get(beside, 0.0) / 2)
    return list(left.values())


def _others(book: Rulebook, causes: Sequence[Cause], work: Sequence[Job]) -> list[float]:
    """How likely each cause was there beside what was mended, up to a factor: as on any car. A fault that the work
    mends at one place is left out: how likely more places are is in the rules, and in what was believed before."""
    touched = {cause.fault for cause in causes if mended(book, cause, work)}
    return [0.0 if cause.alone or cause.fault in touched else cause.prior for cause in causes]


def mended(book: Rulebook, cause: Cause, work: Sequence[Job]) -> float:
    """Chance that this work mends a cause, both of a pair."""
    if cause.members:
        return prod(mended(book, each, work) for each in cause.members)
    if book.faults[cause.fault].anything_else:
        return 0.0
    left, by_luck = leaves(book, work, job_that_mends(book, cause))
    return by_luck if left.places else 1.0


def _share(book: Rulebook, vehicle: Vehicle, cause: Cause, causes: Sequence[Cause], job: Job) -> float:
    """How much of what a job brings in is this cause: its fault's share, spread over its places."""
    fault = book.faults[cause.fault]
    weight = book.repairs[job.repair].raises.get(fault.name, 0.0)
    if follows(fault.after_work, (job.repair,)) and not fault.nothing_wrong:
        weight += fault_share(fault, vehicle)
    places = [other.where for other in causes if other.fault == fault.name and " and " not in other.where]
    if not weight or cause.where not in places:
        return 0.0
    inside = [place for place in places if place in job.places]
    outside = len(places) - len(inside)
    if not inside or not outside:
        return weight / len(places)
    beside = book.settings.afterwards.beside_the_work
    return weight * ((1 - beside) / len(inside) if cause.where in job.places else beside / outside)
