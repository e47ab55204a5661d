"""The case after the work: what may be wrong then, and how far it is proven gone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Self

from reasoner.casebook.events import (
    Avoided,
    Corrected,
    Event,
    FactsTold,
    Finished,
    PassedOver,
    RulesUsed,
    Told,
    ToolsSaid,
    Undone,
)
from reasoner.casebook.trouble import Refused
from reasoner.inference.plan import By, Option
from reasoner.network.tables import Tables
from reasoner.network.vehicle import Vehicle
from reasoner.repair.followup import tables_after
from reasoner.repair.jobs import Work
from reasoner.repair.prices import Prices
from reasoner.repair.proof import ProofDoc, proof_document
from reasoner.repair.rounds import parted, rounds_of
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.parts import passes
from reasoner.session.record import known_car
from reasoner.session.workup import Workup, begin

# What stays true of person, car and rules when the work is done.
CARRIED = (Told, ToolsSaid, FactsTold, Avoided, RulesUsed)


@dataclass(frozen=True)
class AfterWork(Workup):
    """A case after finished work. That the work is believed to have cured it settles nothing, and neither does an empty
    list of codes, which clearing empties too: something must have been seen of the car since.

    whole: its tables before anything about the car was told after the work (None: nothing was)."""

    whole: Tables | None = None

    @property
    def look(self) -> Option | None:
        return super().look if self.record.given else next(iter(self.ranked), None)

    def _refitted(self) -> Self:
        """What the car has not got is no cause any more; all else stays as likely as the work left it."""
        whole, later = self.whole or self.ruled, super()._refitted()
        return later if later.ruled is self.ruled else replace(later, whole=whole)

    def _tables_of(self, car: Vehicle) -> Tables:
        whole, faults = self.whole or self.ruled, self.book.faults
        stays = [passes(faults[c.fault].only, car.properties, car.distance_km, unknown=True) for c in whole.causes]
        if all(stays):
            return whole  # to the last bit, where a fact was taken back
        return whole.with_prior([p if here else 0.0 for p, here in zip(whole.prior, stays, strict=True)])


def workup_now(
    book: Rulebook, vehicle: Vehicle, events: Sequence[Event], by: By = "time", prices: Prices | None = None
) -> Workup:
    """A case now: as `begin`, but after finished work with what may be wrong then, and the answers since."""
    return _through(book, vehicle, _parts(events), by, prices)


def gone_on(workup: Workup, so_far: Sequence[Event], more: Sequence[Event]) -> Workup:
    """The case with more events. Where work is finished, or something taken back, it is read from its beginning."""
    if any(isinstance(event, Finished | Undone) for event in more):
        return workup_now(workup.book, workup.stated or workup.vehicle, (*so_far, *more), workup.by, workup.prices)
    return workup.after(more)


def before_work(book: Rulebook, vehicle: Vehicle, events: Sequence[Event]) -> Workup:
    """The case when the last finished work was done; the case now, where none was."""
    parts = _parts(events)
    return _through(book, vehicle, parts[:-1] or parts)


def finished_rounds(book: Rulebook, vehicle: Vehicle, events: Sequence[Event]) -> list[tuple[Workup, Work]]:
    """Every round of work that was done, each with the case at that time."""
    parts = _parts(events)
    done = [work for work in rounds_of(book, events) if work.finished is not None]
    return [(_through(book, vehicle, parts[:number]), work) for number, work in enumerate(done, start=1)]


def _through(
    book: Rulebook,
    vehicle: Vehicle,
    parts: Sequence[Sequence[Event]],
    by: By = "time",
    prices: Prices | None = None,
) -> Workup:
    car = known_car(vehicle, [event for part in parts for event in part])
    workup, so_far = begin(book, car if parts[1:] else vehicle, parts[0], by, prices), list(parts[0])
    for since in parts[1:]:
        done = rounds_of(book, so_far)
        before = dict(zip((c.name for c in workup.tables.causes), workup.belief.probability.tolist(), strict=True))
        tables = tables_after(book, car, before, done[-1].jobs if done else ())
        kept = [event for event in so_far if isinstance(event, CARRIED)]
        workup = AfterWork(book, car, tables, (*kept, *_not_asked_again(book, since[0]), *since), by, vehicle, prices)
        so_far += since
    return workup


def _parts(events: Sequence[Event]) -> list[tuple[Event, ...]]:
    """The same; what was taken back stays taken back, and its numbers are not given again."""
    *before, last = parted(events)
    return [*before, (*last, *(event for event in events if isinstance(event, Undone | Corrected)))]


def _not_asked_again(book: Rulebook, finished: Event) -> Iterator[Event]:
    """What the owner was asked was about the complaint before the work; it has been weighed, and can still be told."""
    for check in book.checks.values():
        if check.kind == "told" and not check.after_work and not check.codes:
            yield PassedOver(step=finished.step, check=check.name, why="not-now")


def standing_now(workup: Workup, events: Sequence[Event], case: str = "") -> ProofDoc:
    """The plan for the last round of work. events: all of the case. Raises Refused where no work is finished."""
    done = rounds_of(workup.book, events)
    if not done or done[-1].finished is None:
        raise Refused("there is no finished work to prove", "say first that the work is done")
    *earlier, (before, work) = finished_rounds(workup.book, workup.vehicle, events)
    return proof_document(workup, before, work, case, earlier)
