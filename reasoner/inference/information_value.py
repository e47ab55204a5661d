"""What a look is worth for what is done afterwards: the expected value of its outcome, in whatever losses count.

The value of information of Howard ("Information Value Theory", IEEE Trans. SSC 2:22-26, 1966): the least expected loss
now, less the mean over the outcomes of the least expected loss when the outcome is known.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from reasoner.inference.exchangeable import joint_table
from reasoner.inference.gain import repeated, stacked
from reasoner.inference.plan import Batch, BatchedLook, Costs, Option, Situation, state_chances
from reasoner.network.tables import Array, CheckTable, Index, Tables

JOINT_TOLD_APART = 81  # joint outcomes of several places up to which each is told apart
ODD = 1  # beyond that: as many places at most may differ from the first outcome; all others are taken together


@dataclass(frozen=True, eq=False)
class Stakes:
    """What hangs on the belief. losses: (X, C), money of each act under each cause.

    known: (C,) the loss where the cause is known. closes: by check, (X,) what an answer to it takes off each act's
    loss, on the mean: a doubt that nobody has looked at. hour: money for an hour at work.
    """

    losses: Array
    known: Array
    closes: Mapping[int, Array] = field(default_factory=dict)
    hour: float = 60.0

    @property
    def little(self) -> float:
        """What saves less money than this is not worth a question: a minute of work."""
        return self.hour / 60.0

    def least(self, probability: Array) -> float:
        """Expected loss of the best act. probability: (C,)."""
        return float((self.losses @ probability).min())

    def open(self, probability: Array) -> float:
        """What it would save to know the cause, instead of the best act now. probability: (C,)."""
        return self.least(probability) - float(self.known @ probability)

    def price(self, option: Option, costs: Costs) -> float:
        """Money that a look costs: work, the part of the waiting that counts, and what it uses up."""
        minutes = costs.asking_minutes + option.minutes + costs.waiting(option.wait) - option.due
        return option.money + option.tries * minutes / 60.0 * self.hour

    def losses_after(self, check: int) -> Array:
        """(X, C) the losses once this check is answered."""
        off = self.closes.get(check)
        return self.losses if off is None else self.losses - off[:, None]

    def after(self, check: int) -> Stakes:
        """These stakes once this check is answered."""
        off = self.closes.get(check)
        if off is None:
            return self
        closes = {n: np.maximum(0.0, other - off) for n, other in self.closes.items() if n != check}
        return replace(self, losses=self.losses_after(check), closes=closes)


@dataclass(frozen=True)
class First:
    """Something done before any act. costs, stays: (C,), what it costs under each cause, and the chance that the cause
    is still there afterwards."""

    costs: Sequence[float]
    stays: Sequence[float]


def stakes_of(
    losses: Array,
    known: Sequence[float],
    closes: Mapping[int, Sequence[float]],
    firsts: Sequence[First],
    hour: float,
) -> Stakes:
    """Stakes of acts (X, C) now, and of each of them after each of what may be done first. What a check takes off an
    act counts there as much as is sure."""
    after = [np.array(first.costs) + np.array(first.stays) * losses for first in firsts]
    sure = np.array([1.0, *(min(first.stays) for first in firsts)])
    off = {check: np.outer(sure, less).ravel() for check, less in closes.items()}
    every = np.vstack([losses, *after])
    return Stakes(every, np.minimum(every.min(axis=0), known), off, hour)


def loss_table(losses: Sequence[Array]) -> Array:
    """(X, C): the loss of each course under each cause."""
    return np.array(losses, dtype=float)


def by_cause(values: Sequence[float]) -> Array:
    """(C,) a value for each cause."""
    return np.array(values, dtype=float)


def mean(values: Array | Sequence[float], chances: Array) -> float:
    """Expected value. values, chances: (C,)."""
    return float(np.dot(values, chances))


def expected_losses(losses: Array, weights: Sequence[float]) -> list[float]:
    """(X,) losses of the courses, weighted by cause. losses: (X, C); weights: (C,)."""
    found: list[float] = (losses @ np.array(weights)).tolist()
    return found


def least_after(tables: Tables, now: Situation, option: Option, losses: Array) -> float:
    """Expected loss when the outcome of a check is known before one of several courses is taken. losses: (X, C)."""
    if option.times > 1:
        return float(_by_counts(tables, now, option, losses).min(axis=0).sum())
    showing, quiet = state_chances(tables, now, option)
    return _least(losses, _joint(tables.checks[option.check], option.place, showing[None], quiet[None]))[0]


def values(tables: Tables, looks: Sequence[tuple[Situation, Sequence[Option]]], stakes: Stakes) -> list[list[float]]:
    """Money that the outcome of each look is worth, situation by situation: the loss of the best act now, less that of
    the best act once the outcome is known. Looks at one place, and those with the same check, are worked out together.
    """
    batch = Batch(tables)
    after: list[list[float]] = [[0.0] * len(choices) for _, choices in looks]
    for n, (now, choices) in enumerate(looks):
        for i, option in enumerate(choices):
            if option.times > 1:
                after[n][i] = least_after(tables, now, option, stakes.losses_after(option.check))
            else:
                batch.add(option, BatchedLook(n, i, batch.moments.of(n, now, option)))
    for members, losses in _losses(tables, batch, stakes):
        for look, loss in zip(members, losses, strict=True):
            after[look.of][look.at] = loss
    least = [stakes.least(now.probability) for now, _ in looks]
    return [[now - loss for loss in own] for now, own in zip(least, after, strict=True)]


def _losses(tables: Tables, batch: Batch, stakes: Stakes) -> Iterator[tuple[list[BatchedLook], list[float]]]:
    """The looks of a batch with the expected loss after each, form by form."""
    if batch.single or batch.several:
        showing, quiet = batch.moments.states
    if batch.single:
        members = [look for _, look in batch.single]
        checks, at = np.array([number for number, _ in batch.single]), np.array([look.moment for look in members])
        yield members, _at_one_place(tables, checks, at, showing, quiet, stakes)
    for (number, place), members in batch.several.items():
        moments, losses = np.array([look.moment for look in members]), stakes.losses_after(number)
        yield members, _least(losses, _joint(tables.checks[number], place, showing[moments], quiet[moments]))


def _at_one_place(
    tables: Tables, checks: Index, at: Index, showing: Array, quiet: Array, stakes: Stakes
) -> list[float]:
    """Expected loss after each of several looks with checks of a single place, look i at the moment `at[i]`. showing,
    quiet: (M, C)."""
    stack, moments = stacked(tables), len(showing)
    sizes = stack.sizes[checks]
    begin = np.cumsum(sizes) - sizes
    rows = np.arange(int(sizes.sum())) + np.repeat(stack.first[checks] - begin, sizes)
    # A check that the state does not matter to sees the fault at any moment: moments M to 2 M.
    moment = np.repeat(at, sizes) + moments * stack.steady[rows]
    weights = stack.showing[rows] * np.concatenate([showing, showing + quiet])[moment]
    by_act = weights @ stakes.losses.T
    unseen = np.concatenate([quiet, np.zeros_like(quiet)])
    by_act += stack.quiet[rows] * (unseen @ stakes.losses.T)[moment]
    closing = np.array([check in stakes.closes for check in checks.tolist()])
    if closing.any():
        closed = np.repeat(closing, sizes)
        off = np.repeat([stakes.closes[check] for check in checks[closing].tolist()], sizes[closing], axis=0)
        chance = weights[closed].sum(axis=1) + stack.quiet[rows[closed], 0] * unseen.sum(axis=1)[moment[closed]]
        by_act[closed] -= off * chance[:, None]
    found: list[float] = np.add.reduceat(by_act.min(axis=1), begin).tolist()
    return found


def _joint(check: CheckTable, place: int | None, showing: Array, quiet: Array) -> Array:
    """(C, M, O) chance of each cause with each joint outcome, at each of M moments. showing, quiet: (M, C)."""
    by_pattern, of = patterns(check, place)
    seen = showing + quiet if check.steady else showing
    joint: Array = by_pattern[of][:, None, :] * seen.T[..., None]
    if not check.steady:
        joint += quiet.T[..., None] * by_pattern[-1]
    return joint


def _least(losses: Array, joint: Array) -> list[float]:
    """Expected loss at each moment, when the outcome is known. losses: (X, C); joint: (C, M, O)."""
    by_act = (losses @ joint.reshape(len(joint), -1)).reshape(len(losses), *joint.shape[1:])
    found: list[float] = by_act.min(axis=0).sum(axis=1).tolist()
    return found


def _by_counts(tables: Tables, now: Situation, option: Option, losses: Array) -> Array:
    """(X, O): loss of each course times the chance of each count of the outcomes over several looks, each in a new
    spell of the condition."""
    assert option.condition is not None  # repeats are done in new spells of a condition
    many = repeated(tables, tables.checks[option.check], option.condition, option.times)
    found: Array = (losses * now.probability) @ many
    return found


def patterns(check: CheckTable, place: int | None, most: int = JOINT_TOLD_APART) -> tuple[Array, Index]:
    """(U, O) joint outcomes by pattern, the quiet one last, and each cause's pattern; made once.

    Of more than `most` joint outcomes those with several odd places are one: less is known, so a look is never thought
    to be worth more than it is.
    """
    return check.kept.once("by place", (place, most), lambda: _patterns(check, place, most))


def _patterns(check: CheckTable, place: int | None, most: int) -> tuple[Array, Index]:
    if place is None:
        table, of = joint_table(check)
        return _few_odd(check, table, most), of
    rows, of = np.unique(check.index[:, place], return_inverse=True)
    return np.vstack([check.rows[rows], check.rows[:1]]), of.reshape(-1)


def _few_odd(check: CheckTable, table: Array, most: int) -> Array:
    """(U, O') the joint outcomes (U, O) with those of many odd places as one."""
    if table.shape[1] <= most:
        return table
    digits = np.array(np.unravel_index(np.arange(table.shape[1]), (len(check.outcomes),) * len(check.places)))
    few = (digits > 0).sum(axis=0) <= ODD
    return np.hstack([table[:, few], table[:, ~few].sum(axis=1, keepdims=True)])
