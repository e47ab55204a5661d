"""Expected information of a check about the repair class, in bits: I(R;O) = H(R) + H(O) - H(R,O).

Causes that would get the same repair need not be told apart, so information is counted over repair classes: the
class-level gain of Bellala, Bhavnani & Scott's group identification. With one cause a class it is Shannon's mutual
information, as in Quinlan (1986).
"""

from __future__ import annotations

import numpy as np

from reasoner.inference.cells import cells, joint_table, negative_plogp, spread
from reasoner.network.tables import Array, CheckTable, Tables


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
    found = cells(tables, check, place)
    weights = found.weights(tables, showing, quiet)
    open_bits = class_entropy(tables, showing + quiet)
    return max(0.0, open_bits + entropy(found.outcomes(weights)) - found.class_bits(weights))


def fading(check: CheckTable, before: int, times: int = 1) -> float:
    """What is left of the gain of a look, on the mean of `times` looks, after `before` looks at the same in this case.

    The numbers of the rules are off by the same at every look. Worth w cases, each learns from what is seen: after j
    looks the means under two causes have come closer by w / (w + j), and what one more look tells of them goes, for
    small differences, with its square.
    """
    cases = sum(origin.weight for origin in check.origins) / len(check.origins)
    return sum((cases / (cases + j)) ** 2 for j in range(before, before + times)) / times


def gain_repeated(tables: Tables, check: CheckTable, probability: Array, shows: Array, times: int) -> float:
    """Expected information of `times` looks, each in a new spell, as one test with its own cost, in bits.

    Looks in different spells are independent given the cause, so the counts of each outcome say all. One look at an
    intermittent fault is worth little and five are worth much: greedy gain on single looks never sees that.
    """
    many = _repeated(tables, check, shows, times)
    return information(np.add.reduceat(probability[:, None] * many, tables.class_starts, axis=0))


def cause_bits(tables: Tables, check: CheckTable, probability: Array, shows: Array) -> float:
    """Expected information of one look in a new spell about the cause, in bits.

    Looks in different spells are independent given the cause, so what they tell about it together is never more than
    one by one, and about its repair no more than that: `gain_repeated` cannot pass `times` of this.
    """
    made: dict[tuple[str, bytes], Array] = tables.__dict__.setdefault("_single_bits", {})
    single, key = _repeated(tables, check, shows, 1), (check.name, shows.tobytes())
    if key not in made:
        made[key] = negative_plogp(single).sum(axis=1)
    return max(0.0, entropy(probability @ single) - float(probability @ made[key]))


def _repeated(tables: Tables, check: CheckTable, shows: Array, times: int) -> Array:
    """(C, N) chance of every count of outcomes, made once for the same showing chances: tables never change."""
    made: dict[tuple[str, int, bytes], Array] = tables.__dict__.setdefault("_repeated", {})
    key = check.name, times, shows.tobytes()
    if key not in made:
        table, of = joint_table(check)
        single = shows[:, None] * table[of] + (1.0 - shows[:, None]) * table[-1]
        counts, log_ways = spread(table.shape[1], times)
        with np.errstate(divide="ignore", invalid="ignore"):
            logs = np.where(single > 0, np.log(np.where(single > 0, single, 1.0)), -1e300)
        made[key] = np.exp(np.clip(logs @ counts.T, -700, 0) + log_ways)
    return made[key]
