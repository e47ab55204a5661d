"""What the spells of a case say about the numbers behind the tables, once the cause is known: expected counts.

One step of expectation maximisation (A. P. Dempster, N. M. Laird, D. B. Rubin, "Maximum likelihood from incomplete data
via the EM algorithm", J. R. Statist. Soc. B 39:1-38, 1977): the state of a spell and the outcome behind an unsure
answer are not known, so each counts as far as it is probable.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Spell, provoked
from reasoner.network.tables import Array, Tables

CheckRow = tuple[int, int]  # a check, and one of its distributions


@dataclass(frozen=True)
class Counts:
    """rows: cases of each outcome of a distribution. shows: by condition, spells in which it was showing, and quiet."""

    rows: Mapping[CheckRow, tuple[float, ...]]
    shows: Mapping[int, tuple[float, float]]


def counts(tables: Tables, spells: Sequence[Spell], cause: int) -> Counts:
    """Expected counts under a cause.

    A steady answer counts towards what is said of it under the cause; another as far as the fault was showing, given
    all answers, and towards row 0 as far as it was quiet. A look at several places of one distribution is one case, not
    several; n looks at the same place, of which a second sees with chance `again` only what the first saw, are
    n / (1 + (n - 1) again) cases (the design effect of L. Kish, Survey Sampling, 1965; from memory). A spell counts
    towards showing where something was seen in it that hangs on that, in a condition that is known and was not forced.
    """
    rows: dict[CheckRow, Array] = {}
    shows: dict[int, Array] = {}
    belief = believe(tables, spells)
    places = ((a.check, p) for s in belief.spells for a in s.answers for p, w in enumerate(a.weights) if w is not None)
    looks = Counter(places)
    for n, spell in enumerate(belief.spells):
        shown = float(belief.showed(n)[cause])
        for answer in spell.answers:
            table = tables.checks[answer.check]
            looked = [
                (int(table.index[cause, p]), p, np.array(w)) for p, w in enumerate(answer.weights) if w is not None
            ]
            times = Counter(row for row, _, _ in looked)
            for row, place, weights in looked:
                part = 1.0 / times[row] / (1.0 + (looks[answer.check, place] - 1) * float(table.again[row]))
                for number, share in (
                    [(row, part)] if table.steady else [(row, part * shown), (0, part * (1.0 - shown))]
                ):
                    seen = table.rows[number] * weights
                    key = answer.check, number
                    rows[key] = rows.get(key, 0.0) + share * seen / seen.sum()
        if spell.condition is not None and n in belief.case.telling and not provoked(tables, spell):
            shows[spell.condition] = shows.get(spell.condition, 0.0) + np.array((shown, 1.0 - shown))
    return Counts(
        {key: tuple(found.tolist()) for key, found in rows.items()},
        {condition: (float(found[0]), float(found[1])) for condition, found in shows.items()},
    )


def seen_showing(tables: Tables, spells: Sequence[Spell]) -> list[tuple[int, Array]]:
    """For every spell of a known condition in which something was seen that hangs on the state, and in which nothing
    brought the fault on: the condition, and P(showing | cause, all answers), (C,)."""
    belief = believe(tables, spells)
    return [
        (spell.condition, belief.showed(n))
        for n, spell in enumerate(belief.spells)
        if spell.condition is not None and n in belief.case.telling and not provoked(tables, spell)
    ]
