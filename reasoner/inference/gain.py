"""Expected information of a check about the repair class, in bits: I(R;O) = H(R) + H(O) - H(R,O).

Causes that would get the same repair need not be told apart, so information is counted over repair classes: the
class-level gain of Bellala, Bhavnani & Scott's group identification. With one cause a class it is Shannon's mutual
information, as in Quinlan (1986).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import comb

import numpy as np

from reasoner.inference.exchangeable import cells, count_patterns, joint_table, negative_plogp
from reasoner.network.tables import Array, CheckTable, Index, Tables


def entropy(probability: Array) -> float:
    """Bits of a distribution (any shape, summing to 1)."""
    return float(negative_plogp(probability).sum())


def class_entropy(tables: Tables, probability: Array) -> float:
    """Bits still open about the repair class."""
    return entropy(np.add.reduceat(probability, tables.class_starts))


def information(joint: Array) -> float:
    """I(R;O) in bits from P(class, outcome), shape (R, O), summing to 1."""
    return max(0.0, entropy(joint.sum(axis=0)) + entropy(joint.sum(axis=1)) - entropy(joint))


def marks(check: CheckTable, outcome: int, place: int | None) -> list[tuple[int, int]]:
    """(place, outcome at it) of a joint outcome by its number."""
    if place is not None:
        return [(place, outcome)]
    shape = (len(check.outcomes),) * len(check.places)
    return [(p, int(o)) for p, o in enumerate(np.unravel_index(outcome, shape))]


def gain(tables: Tables, check: CheckTable, showing: Array, quiet: Array, place: int | None = None) -> float:
    """Expected information of one look, in bits, given P(cause, showing) and P(cause, quiet), each (C,).

    place None: the joint outcomes of all places, exactly; else the outcome at that place only.
    """
    return float(gain_at(tables, check, showing[None], quiet[None], place)[0])


def gain_at(tables: Tables, check: CheckTable, showing: Array, quiet: Array, place: int | None = None) -> Array:
    """(M,) the same at each of M moments. showing, quiet: (M, C)."""
    of = cells(tables, check, place)
    weights = of.weights(tables, showing, quiet)
    open_bits = negative_plogp(np.add.reduceat(showing + quiet, tables.class_starts, axis=1)).sum(axis=1)
    told = open_bits + negative_plogp(of.outcomes(weights)).sum(axis=1) - of.class_bits(weights)
    found: Array = np.maximum(0.0, told)
    return found


def gain_repeated(tables: Tables, check: CheckTable, probability: Array, condition: int, times: int) -> float:
    """Expected information, in bits, of `times` looks as one test, each in a new spell of a condition.

    One look at an intermittent fault is worth little and five are worth more: greedy gain on single looks never sees
    that. Nor are five worth five times one: they are looks at one car (see `repeated`).
    """
    many = repeated(tables, check, condition, times)
    return information(np.add.reduceat(probability[:, None] * many, tables.class_starts, axis=0))


def cause_bits(tables: Tables, check: CheckTable, probability: Array, shows: Array) -> list[float]:
    """Expected information of one look in a new spell about the cause, in bits, for each column of shows (C, K): the
    chance that each cause shows in the spell.

    What several looks tell about the repair hardly passes so many times this.
    """
    table, of = joint_table(check)
    chance = shows.T[..., None]
    single = chance * table[of] + (1.0 - chance) * table[-1]  # (K, C, O)
    seen = negative_plogp(probability @ single).sum(axis=-1) - negative_plogp(single).sum(axis=-1) @ probability
    found: list[float] = np.maximum(0.0, seen).tolist()
    return found


def repeated(tables: Tables, check: CheckTable, condition: int, times: int) -> Array:
    """(C, N) chance of every count of outcomes in `times` looks, each in a new spell of a condition.

    How many of the spells are showing hangs on the car's activity; what is seen in those, and in the quiet ones, lasts
    (`inference.lasting`; the outcomes of several places together as one).
    """
    q = tables.acts[:, condition]
    shown = np.arange(times + 1)
    ways = np.array([comb(times, n) for n in shown])
    by_node = q[..., None] ** shown * (1.0 - q[..., None]) ** (times - shown) * ways
    chance = np.einsum("cj,cjs->cs", tables.nodes, by_node)
    by_pattern, of = _by_number_showing(check, times), check.patterns[1]
    found = np.empty((len(of), by_pattern.shape[2]))
    for pattern, by_number in enumerate(by_pattern):
        own = of == pattern
        found[own] = chance[own] @ by_number
    return found


def _by_number_showing(check: CheckTable, times: int) -> Array:
    """(U, times + 1, N) chance of every count under each pattern, when so many of the spells are showing; made once."""
    return check.kept.once("by number showing", times, lambda: _worked_out(check, times))


def _worked_out(check: CheckTable, times: int) -> Array:
    table, _ = joint_table(check)
    again = _again(check)
    parts = []
    for shown, (order, starts) in enumerate(_splits(table.shape[1], times)):
        on = _counts(table[:-1], again[:-1], shown)
        off = _counts(table[-1:], again[-1:], times - shown)[0]
        pairs = (on[:, :, None] * off).reshape(len(on), -1)
        parts.append(np.add.reduceat(pairs[:, order], starts, axis=1))
    found = np.stack(parts, axis=1)
    found[~check.patterns[0][:-1].any(axis=1)] = _counts(table[-1:], again[-1:], times)  # nothing hangs on the state
    return found


def _again(check: CheckTable) -> Array:
    """(U,) chance that a second look sees what the first did, for each pattern, the quiet one last: the least over its
    places."""
    found: Array = np.min([check.again[row] for row in check.patterns[0].T], axis=0)
    return found


def _counts(table: Array, again: Array, times: int) -> Array:
    """(U, N) chance of the counts in looks at what lasts. table: (U, O); see `inference.lasting`."""
    counts, log_ways = count_patterns(table.shape[1], times)
    kinds = np.count_nonzero(counts, axis=1)
    ways = np.exp(log_ways)
    if times == 0:
        return np.ones((len(table), 1))
    one = table @ (counts == times).T  # all looks alike
    two = (
        np.where(kinds == 2, 2.0 * np.exp(np.log(np.maximum(table, 1e-300)) @ (counts > 0).T), 0.0) * ways / 2.0**times
    )
    two = two + np.where(kinds == 1, one**2 + 2.0 * one * (1.0 - one) / 2.0**times, 0.0)
    found: Array = (
        np.maximum(0.0, 2.0 * again - 1.0)[:, None] * one + 2.0 * np.minimum(again, 1.0 - again)[:, None] * two
    )
    if (again < 0.5).any():
        anew = np.exp(np.log(np.maximum(table, 1e-300)) @ counts.T + log_ways)
        found = found + np.maximum(0.0, 1.0 - 2.0 * again)[:, None] * anew
    return found


@lru_cache(maxsize=32)
def _splits(outcomes: int, times: int) -> tuple[tuple[Index, Index], ...]:
    """For every number of spells that are showing: the order (N1 * N0) in which pairs of counts, of the two kinds of
    spell, that add up to the same stand together, and (N,) where each sum begins. Every sum has some."""
    total = {tuple(row): i for i, row in enumerate(count_patterns(outcomes, times)[0])}
    found = []
    for shown in range(times + 1):
        one, other = count_patterns(outcomes, shown)[0], count_patterns(outcomes, times - shown)[0]
        sums = np.array([total[tuple(a + b)] for a in one for b in other])
        order = np.argsort(sums, kind="stable")
        found.append((order, np.searchsorted(sums[order], np.arange(len(total)))))
    return tuple(found)


# ---- many looks with checks of a single place, worked out together ---------------------------------------------------


def single_place_gains(tables: Tables, checks: Index, at: Index, showing: Array, quiet: Array) -> Array:
    """(N,) gain in bits of N looks with checks of a single place, look i at the moment `at[i]`.

    showing, quiet: (K, C), P(cause, showing) and P(cause, quiet) at each of the moments.
    """
    stack, moments = stacked(tables), len(showing)
    sizes = stack.sizes[checks]
    begin = np.cumsum(sizes) - sizes
    rows = np.arange(int(sizes.sum())) + np.repeat(stack.first[checks] - begin, sizes)
    # A check that the state does not matter to sees the fault at any moment: moments K to 2 K.
    moment = np.repeat(at, sizes) + moments * stack.steady[rows]
    either = showing + quiet
    seen = stack.showing[rows] * np.concatenate([showing, either])[moment]
    by_class = np.add.reduceat(seen, tables.class_starts, axis=1)
    unseen = np.add.reduceat(quiet, tables.class_starts, axis=1)
    by_class += stack.quiet[rows] * np.concatenate([unseen, np.zeros_like(unseen)])[moment]
    by_row = negative_plogp(by_class.sum(axis=1)) - negative_plogp(by_class).sum(axis=1)
    open_bits = negative_plogp(np.add.reduceat(either, tables.class_starts, axis=1)).sum(axis=1)
    found: Array = np.maximum(0.0, np.add.reduceat(by_row, begin) + open_bits[at])
    return found


@dataclass(frozen=True, eq=False)
class Stack:
    """All checks with a single place on top of one another.

    showing: (N, C) outcome probabilities while showing; quiet: (N, 1) while quiet; steady: (N,), 1 where the state does
    not matter. first, sizes: (T,) where each check begins among the N rows and how many it has; checks: which have any.
    """

    showing: Array
    quiet: Array
    steady: Index
    first: Index
    sizes: Index
    checks: Index


def stacked(tables: Tables) -> Stack:
    """The stack of these tables, made once: tables never change."""
    return tables.kept.once("stack", None, lambda: _stacked(tables))


def _stacked(tables: Tables) -> Stack:
    sizes = np.array([len(c.outcomes) if len(c.places) == 1 else 0 for c in tables.checks])
    picked = [c for c in tables.checks if len(c.places) == 1]
    return Stack(
        np.vstack([c.rows[c.index[:, 0]].T for c in picked]),
        np.concatenate([c.rows[0] for c in picked])[:, None],
        np.repeat([int(c.steady) for c in picked], [len(c.outcomes) for c in picked]),
        np.cumsum(sizes) - sizes,
        sizes,
        np.flatnonzero(sizes),
    )
