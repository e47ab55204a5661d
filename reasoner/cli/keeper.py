"""A case that is worked on: its events go to disk, flushed, before anything else happens."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from reasoner.casebook import store
from reasoner.casebook.events import Event, RulesUsed, event_as_written
from reasoner.casebook.journal import Journal, resume
from reasoner.casebook.shape import Case, sound
from reasoner.history.trace import vehicle_of
from reasoner.inference.plan import By
from reasoner.network.vehicle import Vehicle
from reasoner.repair.prices import Prices
from reasoner.rulebook.model import Rulebook
from reasoner.session.record import Record
from reasoner.session.workup import Workup, begin


def now() -> str:
    """The time as it goes into a case: UTC, to the second (ISO 8601)."""
    return datetime.now(UTC).isoformat(timespec="seconds")


class Keeper:
    """The journal of a case, the case as it was opened and as it is now. A context manager; closing gives the lock
    back."""

    def __init__(self, journal: Journal, case: Case, workup: Workup) -> None:
        self.journal, self.case, self.workup = journal, case, workup
        self.notes: list[str] = list(case.notes)

    def keep(self, events: Sequence[Event]) -> Workup:
        """Events on disk, all or none, then the case with them. Raises CasebookError; what was kept before stays."""
        if events:
            self.notes += self.journal.append(*(event_as_written(event, now()) for event in events))
        self.workup = self.workup.after(events)
        return self.workup

    def __enter__(self) -> Keeper:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.journal.close()


def new_case(
    folder: Path, name: str | None, book: Rulebook, vehicle: Vehicle, by: By = "time", prices: Prices | None = None
) -> Keeper:
    """Begin a case, under a name or under the date and a number. Raises CasebookError."""
    head = {"opened": now(), "rules": book.stamp, "vehicle": dict(vehicle.fields)}
    journal = store.begin_case_file(folder, head, datetime.now(UTC).date(), name)
    return Keeper(journal, sound(journal.case), begin(book, vehicle, by=by, prices=prices))


def open_case(path: Path, book: Rulebook, by: By = "time", prices: Prices | None = None) -> Keeper:
    """Go on with a case, under today's rules. Raises CasebookError."""
    from reasoner.session import after_work  # what follows a verdict: slow to load, and a new case has none

    with ExitStack() as undo:
        journal = resume(path)
        undo.callback(journal.close)
        case = sound(journal.case)
        workup = after_work.workup_now(book, vehicle_of(case), case.events, by, prices)
        undo.pop_all()
    keeper = Keeper(journal, case, workup)
    stamps = workup.record.stamps or (case.rules,)
    if stamps[-1] != book.stamp:
        keeper.notes.append("the rules have changed since; all answers are weighed anew with today's")
        keeper.keep([RulesUsed(step=workup.record.steps, stamp=book.stamp)])
    keeper.notes += not_weighed(workup.record)
    return keeper


def not_weighed(record: Record) -> list[str]:
    """A note on answers that these rules or this vehicle have no place for; none where there are none."""
    unread = record.unread
    return (
        [f"answers to what these rules or this vehicle do not have are kept but not weighed: {', '.join(unread)}"]
        if unread
        else []
    )
