"""The belief with the rules' own uncertainty counted in.

Every number of the rules is worth so many observed cases (its weight). A number that is used once in a case counts by
its mean, and so it does in the plain belief. One that is used again and again (the same check in several spells, or at
several places; the same condition several times) is wrong by the same each time: its uses are not independent, and the
plain belief grows too firm on them. Here such a number learns from the case as it goes: what was seen counts as so
many cases more, under each cause for itself (Dirichlet and Beta distributions, independent rows: Spiegelhalter &
Lauritzen 1990), by the chance that the fault was showing. Where that chance is 0 or 1 this is the exact average over
all that the number may be; between, it is the usual approximation (of a mixture by its expected counts).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from reasoner.inference.belief import normal
from reasoner.inference.evidence import Evidence, Spell, answer_likelihood, chance_showing, counted, provoked, together
from reasoner.network.tables import Array, CheckTable, Index, Tables


def firm_belief(tables: Tables, spells: Sequence[Spell]) -> Array:
    """(C,) probability of each cause after all answers, averaged over what the rules' numbers may be."""
    spells = counted(tables, spells)
    looks = Counter(a.check for s in spells for a in s.answers for w in a.weights if w is not None)
    rows = {number: _Rows(tables.checks[number]) for number, times in looks.items() if times > 1}
    shows = _Shows(tables)
    with np.errstate(divide="ignore"):
        log = np.log(tables.prior)
    for spell in spells:
        each = [
            rows[a.check].likelihood(a) if a.check in rows else answer_likelihood(tables.checks[a.check], a)
            for a in spell.answers
        ]
        showing, quiet = together(tables, spell, each, shows.chance(spell.condition))
        either = showing + quiet
        with np.errstate(divide="ignore"):
            log = log + np.log(either)
        acted = np.divide(showing, either, out=np.zeros_like(either), where=either > 0)
        for answer in spell.answers:
            if answer.check in rows:
                rows[answer.check].learn(answer, acted)
        if spell.answers and not provoked(tables, spell):
            shows.learn(spell.condition, acted)
    return normal(log)


class _Rows:
    """A check's distributions under each cause, and what was seen of them. seen: (C, D, m) cases."""

    def __init__(self, check: CheckTable) -> None:
        self.check = check
        self.cases = np.array([origin.weight for origin in check.origins])
        self.seen = np.zeros((len(check.index), *check.rows.shape))
        self.causes = np.arange(len(check.index))

    def _mean(self, seen: Array, row: Index) -> Array:
        """(C, m) what is expected of the row that holds for each cause, after what was seen."""
        had = seen[self.causes, row]
        cases = self.cases[row][:, None]
        found: Array = (cases * self.check.rows[row] + had) / (cases + had.sum(axis=1, keepdims=True))
        return found

    def likelihood(self, answer: Evidence) -> tuple[Array, Array]:
        """P(answer | cause, showing) and P(answer | cause, quiet), each (C,): its places one after the other."""
        return self._go(answer, self.check.index), self._go(answer, np.zeros_like(self.check.index))

    def _go(self, answer: Evidence, index: Index) -> Array:
        seen, found = self.seen.copy(), np.ones(len(index))
        for place, weights in enumerate(answer.weights):
            if weights is not None:
                row = index[:, place]
                each = self._mean(seen, row) * np.array(weights)
                found = found * each.sum(axis=1)
                seen[self.causes, row] += _shares(each)
        return found

    def learn(self, answer: Evidence, acted: Array) -> None:
        """Count an answer, by the chance that the fault was showing (C,)."""
        parts = [(self.check.index, np.ones(len(acted)))]
        if not self.check.steady:
            parts = [(self.check.index, acted), (np.zeros_like(self.check.index), 1.0 - acted)]
        for place, weights in enumerate(answer.weights):
            if weights is not None:
                for index, share in parts:
                    each = self._mean(self.seen, index[:, place]) * np.array(weights)
                    self.seen[self.causes, index[:, place]] += share[:, None] * _shares(each)


def _shares(weights: Array) -> Array:
    """(C, m) each row made to add up to 1; one that is nothing stays so."""
    total = weights.sum(axis=1, keepdims=True)
    found: Array = np.divide(weights, total, out=np.zeros_like(weights), where=total > 0)
    return found


class _Shows:
    """How often each cause shows in each condition, and what was seen of it. showed, spells: (C, K) cases."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self.cases = np.array([origin.weight for origin in tables.shows_origins])[tables.shows_row]
        self.showed, self.spells = np.zeros_like(tables.shows), np.zeros_like(tables.shows)

    def chance(self, condition: int | None) -> Array:
        """(C,) that a cause shows in a new spell."""
        if condition is None:
            return chance_showing(self.tables, None)
        shows, cases = self.tables.shows[:, condition], self.cases[:, condition]
        found: Array = (cases * shows + self.showed[:, condition]) / (cases + self.spells[:, condition])
        return found

    def learn(self, condition: int | None, acted: Array) -> None:
        """Count a spell, in every condition that the same number of the rules speaks for."""
        if condition is None:
            return
        row, shows = self.tables.shows_row, self.tables.shows
        same = (row == row[:, [condition]]) & (shows == shows[:, [condition]])
        self.showed += same * acted[:, None]
        self.spells += same
