"""The probability of each cause given all the answers.

Under each cause the car has an activity (`network.activity`), and what a check shows there lasts (`inference.lasting`).
Given both, spells are independent but for looks at the same thing in several of them:

    P(answers | c, u) = product over spells alone of sum over s of P(s | c, k, u) * P(answers | c, s)
                      * sum over states of the spells that share a look of P(states | c, k, u) * P(answers | c, states)
    P(c | answers) is proportional to prior(c) * sum over u of P(u) * P(answers | c, u)

Exact, so that neither the order of answers nor that of spells matters, and what is expected of a look is, on the mean,
what is believed already. Of spells that share looks only how many of each kind were showing is kept apart; beyond
`WIDTH` such cases the likeliest are kept, and each cause is given back what was cut off of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from reasoner.inference.evidence import Spell, counted, forced, provoked
from reasoner.inference.lasting import TINY, likelihood, placed
from reasoner.network.tables import Array, Index, Tables

if TYPE_CHECKING:
    from reasoner.inference.pairs import Pairs

WIDTH = 512  # cases of spells that share looks; judgement: a tenth of a second
KEPT = 64  # beliefs kept, the latest ones
WEIGHED = 4096  # looks kept with what they tell, a few kB each


class Contradiction(ValueError):
    """The answers are impossible under every cause. Cannot happen while no outcome has probability 0."""


@dataclass(frozen=True, eq=False)
class Looks:
    """Looks at one check: in which spells, and how likely each outcome made each (L, P, m), 1 where not looked at."""

    check: int
    spells: tuple[int, ...]
    weights: Array


@dataclass(frozen=True, eq=False)
class LinkedSpells:
    """Spells that share looks. groups: spells with the same shared looks. shared: by check, its looks, one a group
    (`spells` of it are numbers of groups)."""

    groups: tuple[tuple[int, ...], ...]
    shared: tuple[Looks, ...]

    def times(self, looks: Looks, cases: Index) -> tuple[Array, Array, Index]:
        """(S', L) how often each look was made while showing, and quiet, in the distinct cases; and (S,) which of those
        holds in each of `cases` (S, G)."""
        own = list(looks.spells)
        distinct, of = np.unique(cases[:, own], axis=0, return_inverse=True)
        sizes = np.array([len(self.groups[g]) for g in own])
        return distinct.astype(float), (sizes - distinct).astype(float), of.reshape(-1)


@dataclass(frozen=True, eq=False)
class SortedAnswers:
    """The answers sorted by what hangs on what. spells: as counted. steady: looks to which the state does not matter.
    alone: looks at what was looked at in one spell only. parts: the rest. scale: log of what was divided out of the
    weights of answers."""

    spells: tuple[Spell, ...]
    steady: tuple[Looks, ...]
    alone: tuple[Looks, ...]
    parts: tuple[LinkedSpells, ...]
    scale: float

    @cached_property
    def telling(self) -> frozenset[int]:
        """Spells in which something was seen that hangs on the state."""
        parts = (n for part in self.parts for group in part.groups for n in group)
        return frozenset((*(n for looks in self.alone for n in looks.spells), *parts))


@dataclass(frozen=True, eq=False)
class Joint:
    """What is known of a part. cases: (S, G) how many of each group were showing. share: (C, J, S) chance of each case
    under each cause and activity. each: (C, J) chances of showing, spell by spell, by what was seen in it alone."""

    part: LinkedSpells
    cases: Index
    share: Array
    each: tuple[tuple[Array, ...], ...]


@dataclass(frozen=True, eq=False)
class Belief:
    """probability: (C,). showing: (C,), P(the present spell is showing | cause, answers).

    log_evidence: natural logarithm of P(answers). spells: as counted. nodes: (C, J), P(activity | cause, answers).
    pairs: of the causes that are two at once, which come last, what holds of them in place of `nodes`, `single` and
    `joints`; None where no pairs are weighed.
    """

    probability: Array
    showing: Array
    log_evidence: float
    spells: tuple[Spell, ...]
    nodes: Array
    case: SortedAnswers
    single: tuple[Array, ...]
    joints: tuple[Joint, ...]
    pairs: Pairs | None = None

    def showed(self, number: int) -> Array:
        """(C,) P(a spell was showing | cause, answers); of a pair, at least one of the two."""
        found: Array = (self.nodes * self._state(number)).sum(axis=1)
        if self.pairs is not None:
            either = 1.0 - self.pairs.showed(number)[:, -1]
            found[-len(either) :] = either
        return found

    def _state(self, number: int) -> Array:
        """(C, J) the same, given the activity too."""
        for joint in self.joints:
            for g, group in enumerate(joint.part.groups):
                if number in group:
                    return _of_one(joint, g, group.index(number))
        return self.single[number]


def believe(tables: Tables, spells: Sequence[Spell]) -> Belief:
    """Belief after all answers of all spells. The last spell is the present one.

    Raises Contradiction when no cause allows the answers.
    """
    key = tuple(spells)
    return tables.kept.once("believed", key, lambda: _believe(tables, sorted_out(tables, key)), KEPT)


# ---- what hangs on what ----------------------------------------------------------------------------------------------


def sorted_out(tables: Tables, spells: Sequence[Spell]) -> SortedAnswers:
    """The answers, each piece of evidence once, by what hangs on what."""
    spells = counted(tables, spells)
    where: dict[int, list[int]] = {}
    given: dict[tuple[int, int], Array] = {}
    scale = 0.0
    for n, spell in enumerate(spells):
        for answer in spell.answers:
            where.setdefault(answer.check, []).append(n)
            given[answer.check, n], lost = _weights(len(tables.checks[answer.check].outcomes), answer.weights)
            scale += lost

    def looks(check: int, numbers: Sequence[int]) -> Looks:
        return Looks(check, tuple(numbers), np.stack([given[check, n] for n in numbers]))

    numbers = sorted(where)
    steady = [looks(c, where[c]) for c in numbers if tables.checks[c].steady]
    alone = [looks(c, where[c]) for c in numbers if not tables.checks[c].steady and len(where[c]) == 1]
    shared = [c for c in numbers if not tables.checks[c].steady and len(where[c]) > 1]
    parts = []
    for linked in _linked([where[c] for c in shared]):
        checks = [c for c in shared if where[c][0] in linked]
        parts.append(_part(sorted(linked), checks, given, len(spells) - 1))
    return SortedAnswers(spells, tuple(steady), tuple(alone), tuple(parts), scale)


@lru_cache(maxsize=WEIGHED)
def _weights(outcomes: int, weights: tuple[tuple[float, ...] | None, ...]) -> tuple[Array, float]:
    """(P, m) with 1 for what was not looked at, the largest of each place 1; and the log of what was divided out."""
    found = np.ones((len(weights), outcomes))
    scale = 0.0
    for place, own in enumerate(weights):
        if own is not None:
            found[place] = np.array(own) / max(own)
            scale += float(np.log(max(own)))
    return found, scale


def _linked(sets: Sequence[Sequence[int]]) -> list[set[int]]:
    """Sets that share members, put together."""
    found: list[set[int]] = []
    for members in sets:
        own = set(members)
        for other in [o for o in found if o & own]:
            found.remove(other)
            own |= other
        found.append(own)
    return found


def _part(
    numbers: Sequence[int], checks: Sequence[int], given: dict[tuple[int, int], Array], present: int
) -> LinkedSpells:
    """Spells with the same shared looks make a group; the present one is always a group of its own."""
    kinds: dict[tuple[object, ...], list[int]] = {}
    for n in numbers:
        content = tuple((c, given[c, n].tobytes()) for c in checks if (c, n) in given)
        kinds.setdefault((content, n == present), []).append(n)
    groups = [tuple(kinds[key]) for key in sorted(kinds)]
    shared = []
    for c in checks:
        own = tuple(g for g, group in enumerate(groups) if (c, group[0]) in given)
        shared.append(Looks(c, own, np.stack([given[c, groups[g][0]] for g in own])))
    return LinkedSpells(tuple(groups), tuple(shared))


# ---- the sums --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Numbers:
    """What the rules say, or many draws of it along leading axes (...). rows: (..., D, m) of the checks in question.
    acts: (..., C, J) of the conditions in question (None: not known); spells of others are left out. nodes: (J,)."""

    rows: dict[int, Array]
    acts: dict[int | None, Array]
    nodes: Array


def _believe(tables: Tables, case: SortedAnswers) -> Belief:
    checks = tables.checks
    used = {looks.check for looks in (*case.steady, *case.alone, *(s for p in case.parts for s in p.shared))}
    conditions = {spell.condition for spell in case.spells}
    numbers = Numbers({c: checks[c].rows for c in used}, {k: tables.acting(k) for k in conditions}, tables.activities)
    single, log = by_activity(tables, case, numbers)
    joints = []
    for part in case.parts:
        cases, lost = _cases(tables, part, single, numbers, log)
        share, more = weigh_part(tables, part, single, numbers, cases)
        joints.append(Joint(part, cases, share, tuple(tuple(single[n] for n in group) for group in part.groups)))
        log = log + more + lost[:, None]
    with np.errstate(divide="ignore"):
        by_cause = np.log(tables.prior) + log_sum(log)
        pairs = _pairs(tables, case)
        if pairs is not None:
            by_cause[-len(pairs.log) :] = np.log(tables.prior[-len(pairs.log) :]) + pairs.log
    peak = by_cause.max()
    if not np.isfinite(peak):
        raise Contradiction("no cause allows these answers together")
    weights = np.exp(by_cause - peak)
    total = weights.sum()
    nodes = _nodes(log, numbers)
    found = Belief(
        weights / total,
        np.zeros(0),
        float(peak + np.log(total) + case.scale),
        case.spells,
        nodes,
        case,
        single,
        tuple(joints),
        pairs,
    )
    showing = found.showed(len(case.spells) - 1) if case.spells else (nodes * tables.acting(None)).sum(axis=1)
    object.__setattr__(found, "showing", np.where(found.probability > 0, showing, 0.0))
    return found


def _pairs(tables: Tables, case: SortedAnswers) -> Pairs | None:
    if not len(tables.pairs):
        return None
    from reasoner.inference.pairs import pair_sums  # needed now and then

    return pair_sums(tables, case)


def _nodes(log: Array, numbers: Numbers) -> Array:
    """(C, J) chances of the activities from their logs; those of any car for a cause that cannot be."""
    weights = np.exp(log - np.maximum(log.max(axis=1, keepdims=True), -1e300))
    total = weights.sum(axis=1, keepdims=True)
    found: Array = np.where(total > 0, weights / np.maximum(total, TINY), numbers.nodes)
    return found


def by_activity(tables: Tables, case: SortedAnswers, numbers: Numbers) -> tuple[tuple[Array, ...], Array]:
    """For each spell (..., C, J), the chance that it was showing by what was looked at in no other; and (..., C, J) the
    log likelihood of all that is not in a part, with the log chance of the activity."""
    log: Array = np.log(numbers.nodes)
    steady: Array | float = 0.0
    for looks in case.steady:
        steady = steady + of_steady(tables, looks, numbers.rows[looks.check])
    if case.steady:
        log = log + np.asarray(steady)[..., None]
    told: dict[int, Array] = {}
    for looks in case.alone:
        both = of_alone(tables, looks, numbers.rows[looks.check])
        told[looks.spells[0]] = told.get(looks.spells[0], 0.0) + both
    single = []
    for n, spell in enumerate(case.spells):
        if spell.condition not in numbers.acts:
            single.append(np.zeros(0))
            continue
        acts = forced(tables, numbers.acts[spell.condition], provoked(tables, spell))
        if n in told:
            with np.errstate(divide="ignore"):
                shown, hidden = np.log(acts) + told[n][..., 0, None], np.log1p(-acts) + told[n][..., 1, None]
            either = np.logaddexp(shown, hidden)
            acts = np.exp(shown - np.maximum(either, -1e300))
            log = log + either
        single.append(acts)
    shape = len(tables.prior), len(numbers.nodes)
    return tuple(single), np.broadcast_to(log, np.broadcast_shapes(log.shape, shape))


def _once_for_all(work: Callable[[Tables, Looks, Array], Array]) -> Callable[[Tables, Looks, Array], Array]:
    """Worked out once for the tables as they are: a case weighs the same looks again at every question, and for every
    outcome that is foreseen. Draws of the rules have rows of their own, and are not kept."""

    def kept(tables: Tables, looks: Looks, rows: Array) -> Array:
        if rows is not tables.checks[looks.check].rows:
            return work(tables, looks, rows)
        key = work.__name__, looks.check, len(looks.spells), looks.weights.tobytes()
        return tables.kept.once("weighed", key, lambda: work(tables, looks, rows), WEIGHED)

    return kept


@_once_for_all
def of_steady(tables: Tables, looks: Looks, rows: Array) -> Array:
    """(..., C) log likelihood of looks to which the state does not matter."""
    check = tables.checks[looks.check]
    if len(looks.spells) == 1 and not (check.alike or check.together):
        found = _once(rows, looks.weights[0], check.index)
    else:
        ones = np.ones((1, len(looks.spells)))
        found = likelihood(check, looks.weights, ones, 0 * ones, rows)[..., check.patterns[1], 0]
    return found


@_once_for_all
def of_alone(tables: Tables, looks: Looks, rows: Array) -> Array:
    """(..., C, 2) log likelihood of a look, showing and quiet."""
    check = tables.checks[looks.check]
    index = check.index
    if check.alike or check.together:
        states = np.array([[1.0], [0.0]])
        return likelihood(check, looks.weights, states, 1.0 - states, rows)[..., check.patterns[1], :]
    found = _once(rows, looks.weights[0], index)
    quiet = _once(rows, looks.weights[0], np.zeros((1, index.shape[1]), dtype=np.intp))
    return np.stack(np.broadcast_arrays(found, quiet), axis=-1)


def _once(rows: Array, weights: Array, index: Index) -> Array:
    """(..., C) log likelihood of one look at all places. index: (C, P)."""
    with np.errstate(divide="ignore"):
        by_row = np.log(rows @ weights.T)  # (..., D, P)
    return placed(by_row[..., :, None, :], index)[..., 0]


def weigh_part(
    tables: Tables, part: LinkedSpells, single: Sequence[Array], numbers: Numbers, cases: Index
) -> tuple[Array, Array]:
    """(..., C, J, S) chance of each case under each cause and activity, and (..., C, J) the log likelihood of the looks
    that the spells of a part share."""
    chance: Array | None = None
    for g, group in enumerate(part.groups):
        own = _how_many([single[n] for n in group])[..., cases[:, g]]
        chance = own if chance is None else chance * own
    assert chance is not None
    told = sum_of_looks(tables, part, numbers, cases)  # (..., C, S)
    peak = np.maximum(told.max(axis=-1, keepdims=True), -1e300)
    weights = chance * np.exp(told - peak)[..., :, None, :]
    total = weights.sum(axis=-1)
    with np.errstate(divide="ignore"):
        log = np.log(total) + peak
    return weights / np.maximum(total, TINY)[..., None], log


def sum_of_looks(tables: Tables, part: LinkedSpells, numbers: Numbers, cases: Index) -> Array:
    """(..., C, S) log likelihood of all shared looks in each case."""
    found: Array | float = 0.0
    for looks in part.shared:
        check = tables.checks[looks.check]
        showing, quiet, of = part.times(looks, cases)
        by_pattern = _kept(tables, looks, showing, quiet, numbers.rows[looks.check])
        found = found + by_pattern[..., check.patterns[1], :][..., of]
    assert not isinstance(found, float)
    return found


def _kept(tables: Tables, looks: Looks, showing: Array, quiet: Array, rows: Array) -> Array:
    """(..., U, S), kept for the rules as they are: from one answer to the next most looks are the same."""
    check = tables.checks[looks.check]
    if rows is not check.rows:
        return likelihood(check, looks.weights, showing, quiet, rows)
    key = looks.check, looks.weights.tobytes(), showing.tobytes(), quiet.tobytes()
    return tables.kept.once("looks", key, lambda: likelihood(check, looks.weights, showing, quiet), 8 * KEPT)


def _how_many(each: Sequence[Array]) -> Array:
    """(..., C, J, n + 1) chance that so many of n spells are showing."""
    found = np.ones((*each[0].shape, 1))
    for chance in each:
        more = np.zeros((*found.shape[:-1], found.shape[-1] + 1))
        more[..., :-1] = found * (1.0 - chance)[..., None]
        more[..., 1:] += found * chance[..., None]
        found = more
    return found


def _cases(
    tables: Tables, part: LinkedSpells, single: Sequence[Array], numbers: Numbers, log: Array
) -> tuple[Index, Array]:
    """(S, G) cases, and (C,) log of what was given back. All of them, or the likeliest where they are too many: group
    after group, by sqrt(P(cause)) * P(case | cause), summed."""
    sizes = [len(group) for group in part.groups]
    lost = np.zeros(len(tables.prior))
    if np.prod([n + 1 for n in sizes], dtype=float) <= WIDTH:
        return np.indices([n + 1 for n in sizes]).reshape(len(sizes), -1).T, lost
    cases = np.zeros((1, 0), dtype=np.intp)
    for g, size in enumerate(sizes):
        cases = np.column_stack([np.repeat(cases, size + 1, axis=0), np.tile(np.arange(size + 1), len(cases))])
        if len(cases) > WIDTH:
            begun = first_groups(part, g + 1)
            share, more = weigh_part(tables, begun, single, numbers, cases)
            by_case = np.einsum("cj,cjs->cs", _nodes(log + more, numbers), share)
            p = normal(np.log(np.maximum(tables.prior, TINY)) + log_sum(log + more))
            best = np.sort(np.argsort(-(np.sqrt(p) @ by_case), kind="stable")[:WIDTH])
            cases = cases[best]
            lost -= np.log(np.maximum(by_case[:, best].sum(axis=1), TINY))
    return cases, lost


def first_groups(part: LinkedSpells, groups: int) -> LinkedSpells:
    """A part with its first groups only."""
    shared = []
    for looks in part.shared:
        own = tuple(g for g in looks.spells if g < groups)
        if own:
            shared.append(Looks(looks.check, own, looks.weights[: len(own)]))
    return LinkedSpells(part.groups[:groups], tuple(shared))


def _of_one(joint: Joint, group: int, member: int) -> Array:
    """(C, J) chance that one spell of a group was showing."""
    each = joint.each[group]
    shown = joint.cases[:, group]
    if len(each) == 1:
        found: Array = joint.share @ (shown == 1).astype(float)
        return found
    rest, all_ = _how_many([*each[:member], *each[member + 1 :]]), _how_many(each)
    padded = np.concatenate([np.zeros((*rest.shape[:-1], 1)), rest], axis=-1)
    ratio = each[member][..., None] * padded / np.maximum(all_, TINY)
    found = (joint.share * ratio[..., shown]).sum(axis=-1)
    return found


def log_sum(log: Array) -> Array:
    """Log of the sum over the last axis of exp."""
    peak = np.maximum(log.max(axis=-1, keepdims=True), -1e300)
    with np.errstate(divide="ignore"):
        found: Array = np.log(np.exp(log - peak).sum(axis=-1)) + peak[..., 0]
    return found


# ---- sums over causes ------------------------------------------------------------------------------------------------


def normal(log: Array) -> Array:
    """Probabilities from their logarithms, which are right but for a constant."""
    weights = np.exp(log - log.max())
    found: Array = weights / weights.sum()
    return found


def by_class(tables: Tables, probability: Array) -> Array:
    """Probability of each repair class (R,)."""
    return np.add.reduceat(probability, tables.class_starts)


def by_fault(tables: Tables, probability: Array) -> Array:
    """Probability of each fault, whatever its place (F,)."""
    return np.bincount(tables.fault_of, weights=probability, minlength=len(tables.faults)).astype(float)


def by_cylinder(tables: Tables, probability: Array) -> Array:
    """Probability that a cause sits at each cylinder, among causes that do not touch the whole engine or bank."""
    found = np.zeros(tables.vehicle.cylinders)
    for i, cause in enumerate(tables.causes):
        places = {n for each in cause.each if each.where.startswith("cylinder") for n in each.cylinders}
        for cylinder in places:
            found[cylinder - 1] += probability[i]
    return found


def ordered(chances: Array, count: int) -> list[int]:
    """Numbers of the `count` largest, largest first; ties in the order of the tables."""
    return [int(i) for i in np.argsort(-chances, kind="stable")[:count]]


def leader(tables: Tables, probability: Array, *, repair_class: int | None = None, fault: int | None = None) -> int:
    """The likeliest cause of a repair class, or of a fault, or of all."""
    own = np.ones(len(probability), dtype=bool)
    if repair_class is not None:
        own &= tables.class_of == repair_class
    if fault is not None:
        own &= tables.fault_of == fault
    return int(np.where(own, probability, -1.0).argmax())
