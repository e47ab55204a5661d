"""Joint outcomes of several places, without listing them all.

A look at eight cylinders with three outcomes has 6561 joint outcomes, and as many for each repair class. But a class
acts in few ways, and in each of them most places behave alike: among those only the number of each outcome matters,
so that some hundred cells, each standing for many joint outcomes, say the same (exactly: exchangeable places). Places
that show the same whichever way a class acts are independent of all else: they have an entropy of their own and no
cells. What all classes together give is worked out from the two halves of the places.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from math import lgamma

import numpy as np

from reasoner.inference.lasting import TINY
from reasoner.network.tables import Array, CheckTable, Index, Tables


def negative_plogp(p: Array) -> Array:
    """-p log2 p of each cell, 0 where p is 0."""
    found = np.maximum(p, TINY)
    np.log2(found, out=found)
    found *= p
    return np.negative(found, out=found)


def summed_by(index: Index, values: Array, size: int) -> Array:
    """(M, size) sums of values (M, N) by index (N,)."""
    at = index + size * np.arange(len(values))[:, None]
    return np.bincount(at.ravel(), values.ravel(), size * len(values)).reshape(-1, size).astype(float)


@dataclass(frozen=True, eq=False)
class Cells:
    """A way is a repair class with one row of `index` (or the quiet row): W of them.

    way_of: (C,) the way each cause acts in while showing. quiet_way: (R,) that of each class while quiet, or None for a
    steady check. A cell's probability is the sum over its entries of the weight of way `source` times `chance`, both
    (E,); starts: (N,) where each cell's entries begin; count: (N,) joint outcomes the cell stands for. bits: (W,)
    entropy, under each way, of the places that show the same in all ways of its class; cells are of the other places.
    first, second: (A, O1), (B, O2) outcomes of the halves of the places; halves: (W,) a * B + b for each way.
    """

    way_of: Index
    quiet_way: Index | None
    source: Index
    chance: Array
    starts: Index
    count: Array
    bits: Array
    first: Array
    second: Array
    halves: Index

    def weights(self, tables: Tables, showing: Array, quiet: Array) -> Array:
        """(M, W) probability of each way at each of M moments, from P(cause, showing) and P(cause, quiet), (M, C)."""
        if self.quiet_way is None:
            return summed_by(self.way_of, showing + quiet, len(self.halves))
        found = summed_by(self.way_of, showing, len(self.halves))
        found[:, self.quiet_way] += np.add.reduceat(quiet, tables.class_starts, axis=1)
        return found

    def outcomes(self, weights: Array) -> Array:
        """(M, O) probability of every joint outcome, last place fastest. weights: (M, W)."""
        a, b = len(self.first), len(self.second)
        found: Array = self.first.T @ summed_by(self.halves, weights, a * b).reshape(-1, a, b) @ self.second
        return found.reshape(len(weights), -1)

    def class_bits(self, weights: Array) -> Array:
        """(M,) H(R, O) in bits. weights: (M, W)."""
        cells = np.add.reduceat(weights[:, self.source] * self.chance, self.starts, axis=1)
        found: Array = negative_plogp(cells) @ self.count + weights @ self.bits
        return found


def cells(tables: Tables, check: CheckTable, place: int | None = None) -> Cells:
    """The cells of a look at all places of a check, or at one, made once: checks never change, nor what mends what."""
    return check.kept.once("cells", place, lambda: _cells(tables, check, place))


def _cells(tables: Tables, check: CheckTable, place: int | None) -> Cells:
    kinds, of = check.patterns
    kinds = kinds if place is None else kinds[:, place : place + 1]
    causes, classes = len(tables.causes), len(tables.class_starts)
    acts = list(zip(tables.class_of.tolist(), of.tolist(), strict=True))
    if not check.steady:
        acts += [(r, len(kinds) - 1) for r in range(classes)]
    ways = sorted(set(acts))
    number = {way: i for i, way in enumerate(ways)}
    way_of = np.array([number[act] for act in acts], dtype=np.intp)
    kind_of = np.array([kind for _, kind in ways])

    listed = [tuple(kind) for kind in kinds.tolist()]
    same: dict[tuple[tuple[int, ...], ...], list[list[int]]] = {}  # classes by what their ways show, place by place
    for _, group in groupby(range(len(ways)), key=lambda i: ways[i][0]):
        own = list(group)
        same.setdefault(tuple(sorted(zip(*(listed[ways[i][1]] for i in own), strict=True))), []).append(own)
    source, chance, sizes, count, bits = [], [], [], [], np.zeros(len(ways))
    for shown, alike in same.items():
        members = np.array(alike, dtype=np.intp)  # (G, K): the ways of each class
        table, many, always = _one_class(check.rows, tuple(Counter(shown).items()), members.shape[1])
        source.append(np.repeat(members, len(table), axis=0).ravel())
        chance.append(np.tile(table.ravel(), len(members)))
        sizes.append(np.full(len(members) * len(table), members.shape[1]))
        count.append(np.tile(many, len(members)))
        bits[members] = always
    half = (kinds.shape[1] + 1) // 2
    first, a = _listed(check.rows, kinds[:, :half])
    second, b = _listed(check.rows, kinds[:, half:])
    return Cells(
        way_of=way_of[:causes],
        quiet_way=None if check.steady else way_of[causes:],
        source=np.concatenate(source),
        chance=np.concatenate(chance),
        starts=np.concatenate([[0], np.cumsum(np.concatenate(sizes))[:-1]]).astype(np.intp),
        count=np.concatenate(count),
        bits=bits,
        first=first,
        second=second,
        halves=(a * len(second) + b)[kind_of],
    )


def _one_class(rows: Array, alike: Sequence[tuple[tuple[int, ...], int]], ways: int) -> tuple[Array, Array, float]:
    """Cells of one class (N, K) in each of its K ways, how many joint outcomes each stands for (N,), and the bits of
    the places that show the same in every way.

    alike: the rows that hold in each way, and the number of places where they do.
    """
    table, count, bits = np.ones((1, ways)), np.ones(1), 0.0
    for numbers, places in alike:
        if len(set(numbers)) == 1:
            bits += places * float(negative_plogp(rows[numbers[0]]).sum())
            continue
        counts, log_ways = count_patterns(rows.shape[1], places)
        step = np.prod(rows[list(numbers)][None, :, :] ** counts[:, None, :], axis=2)  # (M, K)
        table = (table[:, None, :] * step[None, :, :]).reshape(-1, ways)
        count = (count[:, None] * np.rint(np.exp(log_ways))[None, :]).ravel()
    return table, count, bits


def _listed(rows: Array, kinds: Index) -> tuple[Array, Index]:
    """(A, O) joint outcomes under each distinct row of `kinds`, last place fastest, and the row of each of them."""
    distinct, of = np.unique(kinds, axis=0, return_inverse=True)
    table = np.ones((len(distinct), 1))
    for place in range(kinds.shape[1]):
        table = (table[:, :, None] * rows[distinct[:, place]][:, None, :]).reshape(len(distinct), -1)
    return table, of.reshape(-1)


def joint_table(check: CheckTable) -> tuple[Array, Index]:
    """(U, O) joint outcomes by pattern, the quiet one last, and each cause's pattern. Made once; where O is small."""

    def work() -> tuple[Array, Index]:
        kinds, of = check.patterns
        table, row = _listed(check.rows, kinds)
        return table[row], of

    return check.kept.once("joint", None, work)


@lru_cache(maxsize=64)
def count_patterns(outcomes: int, times: int) -> tuple[Array, Array]:
    """All ways to see `outcomes` kinds in `times` looks: counts (N, outcomes), log multinomial coefficients (N,)."""

    def share(kinds: int, left: int) -> list[list[int]]:
        if kinds == 1:
            return [[left]]
        return [[n, *rest] for n in range(left + 1) for rest in share(kinds - 1, left - n)]

    rows = share(outcomes, times)
    ways = [lgamma(times + 1) - sum(lgamma(n + 1) for n in row) for row in rows]
    return np.array(rows, dtype=float), np.array(ways)
