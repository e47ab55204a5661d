"""Visits: a condition is brought about once and then used, so what it costs to get there is shared by all that is worth
looking at there.

In one spell the state is the same for all looks: what they tell together is worked out over their joint outcomes, and
is less than the sum. Looks are taken in by what each tells for its own cost, as long as that makes the visit better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.inference.gain import information
from reasoner.inference.information_value import Stakes, patterns
from reasoner.inference.plan import Costs, Option, Situation, priced
from reasoner.network.tables import Array, Tables

MOST_LOOKS = 4  # of one visit that are weighed together
MOST_JOINT_IN_VISIT = 128  # and joint outcomes
EACH = 16  # joint outcomes of one look that are told apart (see `information_value.patterns`)


@dataclass(frozen=True)
class Visit:
    """Looks in one new spell, in the order they are made. bits: of all of them; cost: as `Costs` counts it, getting
    there included; saves: money (nan without stakes)."""

    looks: tuple[Option, ...]
    bits: float
    cost: float
    saves: float

    @property
    def rate(self) -> float:
        return self.bits / self.cost


def visits(
    tables: Tables,
    now: Situation,
    ways: Sequence[Option],
    costs: Costs,
    stakes: Stakes | None = None,
    least: float = 0.0,
) -> list[Visit]:
    """The best visit of each condition in which more than one look is worth making. ways: single looks with gain.
    least: a rate; those that cannot come to more are left out."""
    there: dict[int, list[tuple[float, Option]]] = {}
    for option in ways:
        check = tables.checks[option.check]
        if option.fresh and option.times == 1 and option.place is None and option.first is None:
            if option.condition is None or check.steady or (option.check, True) in now.instead:
                continue
            own = priced(tables, now, costs, Option(option.check, option.condition, False)).cost
            there.setdefault(option.condition, []).append((own, option))
    found = []
    for condition, looks in there.items():
        looks.sort(key=lambda pair: -pair[1].gain / pair[0])
        if _at_most(looks) <= least:
            continue
        best = _best(tables, now, condition, looks[: 2 * MOST_LOOKS], stakes, costs)
        if best is not None:
            found.append(best)
    return found


def _at_most(looks: Sequence[tuple[float, Option]]) -> float:
    """A rate that no visit of these can pass: what looks tell together is no more than the sum."""
    bits, spent, most = 0.0, looks[0][1].cost - looks[0][0], 0.0
    for own, option in looks[: 2 * MOST_LOOKS]:
        bits, spent = bits + option.gain, spent + own
        most = max(most, bits / spent)
    return most


def _best(
    tables: Tables,
    now: Situation,
    condition: int,
    looks: Sequence[tuple[float, Option]],
    stakes: Stakes | None,
    costs: Costs,
) -> Visit | None:
    """The best of the first look, the first two, the first three ...; None where no second makes it better."""
    shows = tables.shows[:, condition]
    probability = now.probability
    showing, quiet = np.ones((len(shows), 1)), np.ones((1, 1))
    taken: list[Option] = []
    cost, price, best = 0.0, 0.0, None
    for own, option in looks:
        by_pattern, of = patterns(tables.checks[option.check], None, EACH)
        if showing.shape[1] * by_pattern.shape[1] > MOST_JOINT_IN_VISIT or len(taken) == MOST_LOOKS:
            continue
        more, more_quiet = _joint(showing, by_pattern[of]), _joint(quiet, by_pattern[-1:])
        joint = probability[:, None] * (shows[:, None] * more + (1.0 - shows[:, None]) * more_quiet)
        bits = information(np.add.reduceat(joint, tables.class_starts, axis=0))
        spent = cost + own if taken else option.cost
        if best is not None and bits / spent <= best.rate:
            continue
        showing, quiet, cost = more, more_quiet, spent
        saves = float("nan")
        if stakes is not None:
            here = option if not taken else priced(tables, now, costs, option._replace(fresh=False))
            price += stakes.price(here, costs)
            saves = stakes.least(probability) - price - float((stakes.losses @ joint).min(axis=0).sum())
        taken.append(option)
        best = Visit(tuple(taken), bits, cost, saves)
    return best if best is not None and len(best.looks) > 1 else None


def _joint(one: Array, other: Array) -> Array:
    """(C, A * B) from (C, A) and (C, B)."""
    found: Array = (one[:, :, None] * other[:, None, :]).reshape(len(one), -1)
    return found
