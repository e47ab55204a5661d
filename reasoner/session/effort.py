"""What the answers of a case took, by the rules' own minutes and money: the checks, and getting into each condition."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from reasoner.casebook.correcting import standing
from reasoner.casebook.events import Answered, ConditionMet
from reasoner.session.record import Given
from reasoner.session.workup import Workup


@dataclass(frozen=True)
class Spent:
    """Minutes at work, minutes of waiting on top, money for what a check uses up."""

    minutes: float = 0.0
    wait: float = 0.0
    money: float = 0.0

    def __add__(self, other: Spent) -> Spent:
        return Spent(self.minutes + other.minutes, self.wait + other.wait, self.money + other.money)


def effort_spent(workup: Workup, upto: int | None = None, only: Collection[int] | None = None) -> Spent:
    """Of all answers, of those to the event numbered `upto`, or only of some (by their numbers).

    What somebody told, or read off a list of codes, without being asked for it takes nothing: a whole story is told in
    a minute. The condition the car came in is taken as it was found. A spell in which nothing was done takes nothing.
    """
    tables = workup.tables
    total, here = Spent(), None if _came_in_one(workup) else len(tables.conditions)
    for spell, name in enumerate(workup.record.spells):
        k = tables.condition_number.get(name or "")
        own = [g for g in workup.record.given if g.spell == spell and _counts(workup, g, upto, only)]
        if own and k is not None and here is not None and not workup.book.checks[own[0].check].provokes:
            total += Spent(*map(float, tables.reach[here, k]))
        done: set[str] = set()
        for given in own:
            check = workup.book.checks[given.check]
            if check.name not in done or check.provokes:
                total += Spent(workup.book.settings.work(check), check.wait, check.money)
            done.add(check.name)
        if k is not None and (own or here is None):
            here = k
    return total


def _came_in_one(workup: Workup) -> bool:
    """Whether the first condition was said by itself, as the one the car came in, and not brought about for a check."""
    events = standing(workup.events)
    first = next((e.step for e in events if isinstance(e, ConditionMet)), None)
    return not any(isinstance(e, Answered) and e.step == first for e in events)


def _counts(workup: Workup, given: Given, upto: int | None, only: Collection[int] | None) -> bool:
    looked = given.asked or workup.book.checks[given.check].kind not in ("told", "code")
    return looked and (upto is None or given.number <= upto) and (only is None or given.number in only)
