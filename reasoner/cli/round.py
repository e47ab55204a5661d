"""A case with work on it, open for writing: what is kept goes to disk, and the case is read anew with it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import click

from reasoner.casebook import store
from reasoner.casebook.events import KEPT_BESIDE, Event, event_as_written
from reasoner.casebook.shape import Case
from reasoner.cli import caseroom, exits, keeper
from reasoner.cli.keeper import Keeper
from reasoner.cli.say import say
from reasoner.history.trace import vehicle_of
from reasoner.repair import rounds
from reasoner.repair.jobs import Work
from reasoner.repair.prices import Prices
from reasoner.rulebook.model import Rulebook
from reasoner.session import after_work
from reasoner.session.acts import Refused
from reasoner.session.record import standing
from reasoner.session.workup import Workup

_T = TypeVar("_T")


class Round:
    """events: all of the case, in order. workup: the case now. work: the present round of work, if any.

    kept: where more is kept; None where the case is only looked at.
    """

    def __init__(self, case: Case, workup: Workup, kept: Keeper | None) -> None:
        self.name, self.book = case.path.stem, workup.book
        self.events: list[Event] = list(case.events)
        self.workup, self.kept = workup, kept

    @property
    def work(self) -> Work | None:
        found = rounds.rounds_of(self.book, self.events)
        return found[-1] if found else None

    def keep(self, events: Sequence[Event]) -> None:
        if not events:
            return
        if self.kept is None:
            raise TypeError("a case that is only looked at keeps nothing")
        self.kept.keep(events)
        self.workup = after_work.gone_on(self.workup, self.events, events)
        self.events += events

    def before(self) -> Workup:
        return after_work.before_work(self.book, self.workup.vehicle, self.events)


def on_case(
    case: str,
    cases_dir: str | None,
    book: Rulebook,
    tells: bool,
    do: Callable[[Round], _T],
    prices: Prices | None = None,
) -> _T:
    """Open a case, do something on it, and close it. Ends the program with a message where it cannot be done.

    tells: something is to be kept. A case that is only looked at is not written to, nor taken from who has it open.
    """
    try:
        with caseroom.refusing():
            if not tells:
                found = caseroom.one(cases_dir, case)
                workup = after_work.workup_now(book, vehicle_of(found), found.events, prices=prices)
                _note([*found.notes, *keeper.not_weighed(workup.record)])
                return do(Round(found, workup, None))
            path = store.find_case(caseroom.folder_in_use(cases_dir)[0], case)
            with keeper.open_case(path, book, prices=prices) as kept:
                _note(kept.notes)
                return do(Round(kept.case, kept.workup, kept))
    except Refused as refused:
        say(f"Error: {refused.message}" + (f"\n   {refused.mend}" if refused.mend else ""), err=True)
        raise click.exceptions.Exit(exits.PROBLEMS) from None


def _note(notes: Sequence[str]) -> None:
    for note in notes:
        say(f"Note: {note}.", err=True)


def take_back_told(on: Round) -> None:
    """Take back the last thing told, and say what it was."""
    [back] = rounds.take_last_back(on.events)
    own = (event for event in standing(on.events) if not isinstance(event, KEPT_BESIDE))
    undone = [event for event in own if event.step == back.undone]
    on.keep([back])
    for event in undone:
        said = event_as_written(event)
        told = [str(said[key]) for key in ("check", "boxes", "figure", "condition", "counts", "state") if key in said]
        say(f"Taken back: {', '.join([event.kind, *told])}.", err=True)


def by_number(text: str) -> dict[int, str]:
    """`1=A7K2, 3=B4C1` as numbers with texts."""
    found: dict[int, str] = {}
    for part in filter(None, (p.strip() for p in text.split(","))):
        number, equals, value = part.partition("=")
        if not equals or not number.strip().isdecimal():
            raise click.BadParameter(f'"{part}" is not written as 3=VALUE')
        found[int(number)] = value.strip()
    return found


def by_name(text: str) -> dict[str, float]:
    """`engine-running=700, idling-on=40` as names with numbers."""
    found: dict[str, float] = {}
    for part in filter(None, (p.strip() for p in text.split(","))):
        name, _, value = part.partition("=")
        try:
            found[name.strip()] = float(value)
        except ValueError:
            raise click.BadParameter(f'"{part}" is not written as name=number') from None
    return found
