"""What speaks against a cause, whatever speaks for it: for excluding things, which a belief alone does not do. And what
could speak for one.

A belief that a cause is unlikely may only say that another fits better. Excluded is what was looked for and not seen.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from reasoner.inference.evidence import Spell, answer_likelihood, chance_showing, counted, provoked
from reasoner.network.tables import Array, CheckTable, Tables


def spoken_against(tables: Tables, spells: Sequence[Spell], checks: Collection[int]) -> Array:
    """(C,), 1 and less: how much less likely the answers to these checks are under a cause than with nothing to see,
    over all answers of which that is so. An answer counts as far as the fault was showing, by all that was seen in the
    spell."""
    found: Array = np.ones(len(tables.causes))
    for spell in counted(tables, spells):
        for_it, against = np.ones(len(found)), np.ones(len(found))
        for answer in spell.answers:
            showing, quiet = answer_likelihood(tables.checks[answer.check], answer)
            less = np.minimum(1.0, showing / quiet) if answer.check in checks else np.ones(len(found))
            if tables.checks[answer.check].steady:
                found = found * less
            else:
                for_it, against = for_it * np.maximum(1.0, showing / quiet), against * less
        shows = chance_showing(tables, spell.condition, provoked(tables, spell))
        shows = shows * for_it / (shows * for_it + 1.0 - shows)
        found = found * (shows * against + 1.0 - shows)
    return found


def can_speak_against(tables: Tables, check: int, causes: Sequence[int]) -> float:
    """By how much less likely these causes make it that a look finds what it finds with nothing to see (a factor, 1 and
    less; mean over the causes as they are before any answer), in the condition in which they show most often."""
    table, own = tables.checks[check], list(causes)
    usual = int(table.rows[0].argmax())
    seen = np.prod(table.rows[table.index[own], usual] / table.rows[0, usual], axis=1)
    if not table.steady:
        here = list(table.conditions) or list(range(len(tables.conditions)))
        shows = tables.shows[own][:, here].max(axis=1)
        seen = shows * seen + 1.0 - shows
    return float(np.minimum(1.0, seen) @ tables.prior[own] / tables.prior[own].sum())


def chance_to_speak_for(tables: Tables, check: int, causes: Sequence[int], enough: float) -> Array:
    """(len(causes),): the chance, under each of these causes, that a look finds at one place at least what it makes
    `enough` times likelier than with nothing to see, in the condition in which it shows most often."""
    table, own = tables.checks[check], list(causes)
    telling = np.where(table.rows >= enough * table.rows[0], table.rows, 0.0).sum(axis=1)
    found: Array = 1.0 - np.prod(1.0 - telling[table.index[own]], axis=1)
    if not table.steady:
        here = list(table.conditions) or list(range(len(tables.conditions)))
        found = found * tables.shows[own][:, here].max(axis=1)
    return found


def likelier(table: CheckTable, place: int, outcome: int) -> Array:
    """(C,): how many times likelier each cause, while it shows, makes an outcome at a place than a sound car does."""
    found: Array = table.rows[table.index[:, place], outcome] / table.rows[0, outcome]
    return found
