"""Where a case stands: everything that can be done now, what each costs, what is missing for it, and so what is best.

One decision: the loop asks on while a look is worth more than the best of these, and what it then says is the same that
`decide` recommends.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

from reasoner.inference.information_value import Stakes, stakes_of
from reasoner.inference.plan import Option
from reasoner.repair.choices import (
    Choice,
    Stake,
    Works,
    after_watching,
    all_choices,
    at_once,
    doubt,
    first_of,
    freely,
    goes_away,
    known,
    test_on,
)
from reasoner.repair.guards import Guards, Known, Missing, missing_for_watching


@dataclass(frozen=True, eq=False)
class Outlook:
    """bare: rules, tables, belief and prices, with no doubts in it. known: what the answers say by themselves."""

    bare: Stake
    known: Known

    @cached_property
    def guards(self) -> Guards:
        return Guards(self.bare, self.known)

    def missing(self, work: Works) -> tuple[Missing, ...]:
        """What should be known before some work, and is not."""
        return tuple(dict.fromkeys(item for job in work for item in self.guards.missing(job)))

    @cached_property
    def stake(self) -> Stake:
        return replace(self.bare, doubts=self._doubts)

    def _doubts(self, work: Works) -> float:
        if work not in self._known_doubts:
            self._known_doubts[work] = self._doubt(self.missing(work))
        return self._known_doubts[work]

    @cached_property
    def _known_doubts(self) -> dict[Works, float]:
        return {}

    def _doubt(self, items: Iterable[Missing]) -> float:
        """Chance that a work is in vain for what is missing. Unlikely things that nobody has excluded add up; that the
        part itself was not looked at counts once, however many ways there are to say so."""
        after = self.bare.book.settings.afterwards
        kinds = [item.kind for item in items]
        open_ends = after.excluded_below * kinds.count("excluded")
        return open_ends + after.never_looked_at * any(kind != "excluded" for kind in kinds)

    @cached_property
    def stakes(self) -> Stakes:
        """What hangs on the belief, as the planner reads it."""
        stake, numbers = self.stake, self.stake.tables.check_number
        closes: dict[int, list[float]] = {}
        for x, (kind, acted) in enumerate(stake.acts):
            work = at_once(kind, acted)
            items = self.missing(work)
            for name in dict.fromkeys(name for item in items for name in item.checks):
                left = self._doubt(item for item in items if name not in item.checks)
                off = closes.setdefault(numbers[name], [0.0] * len(stake.acts))
                off[x] = (1.0 - left / self._doubt(items)) * doubt(stake, work) * _settles(items, name)
        firsts = [first_of(stake, work) for work in freely(stake)]
        if not self.too_dangerous and any(goes_away(stake, cause) for cause in range(len(stake.needs))):
            firsts.append(after_watching(stake))
        return stakes_of(stake.table, known(stake), closes, firsts, stake.prices.hour)

    @cached_property
    def too_dangerous(self) -> tuple[Missing, ...]:
        """Risks that are too high for driving on and watching."""
        return missing_for_watching(self.bare)

    def choices(self, look: Option | None) -> tuple[Choice, ...]:
        """Everything that can be done now, the cheapest first; `look`: what the case would go on with."""
        found = all_choices(self.stake)
        if look is not None:
            found += (test_on(self.stake, look, self.stakes.least(self.stake.now.probability) - look.saves),)
        return tuple(sorted(found, key=lambda choice: choice.expected))


def _settles(items: Iterable[Missing], check: str) -> float:
    """How likely an answer to a check settles something of what is missing: where it has to speak for the part, an
    answer that does not leaves the doubt."""
    own = [item for item in items if check in item.checks]
    return max(item.speak[item.checks.index(check)] if item.speak else 1.0 for item in own)
