"""Two faults at once: pairs of causes, weighed beside single ones where no single one explains what was seen.

Each of the two has an activity and, in every spell, a state of its own. While only one of them shows, a check shows
what it shows under that one alone; while both do, see `shown_together`. So with s, t for the states of the two

    P(answers | pair) = sum over u, v of P(u) P(v) * sum over states of all spells of
                        product over spells of P(s | first, k, u) P(t | second, k, v) * P(answers | pair, states)

exact up to `PAIR_WIDTH` cases of spells that share looks, as in `belief`, and a beam beyond. A pair is first as likely
as its two shares, multiplied, make it (`with_pairs`). Pairs are weighed where the two explain the answers better than
the better one of them alone by as many decibans as the rules ask for, and come to more than `LEAST_PAIR`.
That is a Bayes factor: it measures how badly the answers fit any single cause of the two. The conflict of the answers
(`inference.weight`) says as much only in all, nothing of who would resolve it, and takes two beliefs an answer.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from reasoner.inference import belief as one
from reasoner.inference.belief import Belief, LinkedSpells, Looks, SortedAnswers
from reasoner.inference.evidence import Spell, forced, provoked
from reasoner.inference.lasting import TINY, looks_likelihood, one_draw
from reasoner.network.graph import Cause
from reasoner.network.tables import Array, CheckTable, Index, Tables
from reasoner.rulebook.model import AND

PAIRED_WITH = 12  # single causes one of which is in a pair
TRIED = 12  # pairs worked out exactly, of those that look best
PAIRS_WEIGHED = 6  # and weighed
LEAST_PAIR = 0.01  # a pair less likely than this is not; judgement
SLACK = 3.0  # decibans by which a look at a pair from afar may be off
PAIR_WIDTH = 128  # cases of spells that share looks
# Spells of one kind that share looks. With more no pair is weighed: the cost grows by the cube of them, and to cut each
# kind by itself before the kinds are joined, which would be cheap, is off by some ten decibans.
MOST_ALIKE = 10
PAIR_LOOKS_KEPT = 512  # looks kept with what they tell of pairs
PAIR_TABLES_KEPT = 16  # tables with pairs, the latest ones
BOTH, FIRST, SECOND, NEITHER = range(4)  # what shows
DECIBANS = 10.0 / np.log(10.0)


Blend = tuple[int, int, int]  # where one of two faults shows the first outcome and the other the second: the third


def shown_together(sound: Array, one: Array, other: Array, blends: Sequence[Blend] = ()) -> Array:
    """What a check shows while two faults show at one place. sound, one, other, and what is found: (..., m).

    Each fault takes its effect or does not, whatever the other does. Under one alone a row is a mixture: with chance
    1 - e of what is sound, with chance e of the effect f, where 1 - e is as large as the row allows. So

        with neither effect  sound          with one  f of that one
        with both            either f, as often as the other; but so far as each makes the other's effect unlikelier
                             than it is with nothing there, they cancel: sound;
                             and where the rules say what the two outcomes are together (`blends`): that one

    For two outcomes, both faults making the second likelier, that is the noisy-or with what is sound as its leak
    (Pearl, Probabilistic Reasoning in Intelligent Systems, 1988, 4.3.2; from memory). Likelihood ratios multiplied
    would do for rich and lean too, but make of two that seldom show something (5 % each, 0.5 % when sound) one that
    shows it in every third car: faults that explain little would explain much together.
    """
    first, f = _effect(sound, one)
    second, g = _effect(sound, other)
    with np.errstate(divide="ignore", invalid="ignore"):
        less, more = (np.where(sound > 0, np.maximum(0.0, 1.0 - row / sound), 0.0) for row in (other, one))
    cancel = ((f * less).sum(axis=-1) * (g * more).sum(axis=-1))[..., None]
    both = (f + g) / 2.0
    for a, b, together in blends:
        met = f[..., a] * g[..., b] + f[..., b] * g[..., a]
        both[..., together] += met
        both[..., a] -= met / 2.0
        both[..., b] -= met / 2.0
    both = (1.0 - cancel) * both + cancel * sound
    found = (1 - first) * (1 - second) * sound + first * (1 - second) * f + (1 - first) * second * g
    shown: Array = found + first * second * both
    return shown


def _effect(sound: Array, row: Array) -> tuple[Array, Array]:
    """(..., 1) the chance that it takes effect, and (..., m) what is then seen."""
    with np.errstate(divide="ignore", invalid="ignore"):
        none = np.where(sound > 0, row / sound, np.inf).min(axis=-1, keepdims=True)
    takes = np.maximum(0.0, 1.0 - none)
    return takes, np.where(takes > 1e-12, np.maximum(0.0, row - none * sound) / np.maximum(takes, 1e-12), sound)


# ---- tables ----------------------------------------------------------------------------------------------------------


def with_pairs(tables: Tables, pairs: Sequence[tuple[int, int]], share: float, checks: Collection[int] = ()) -> Tables:
    """The tables with these pairs of causes as causes of their own, after all others.

    share: of cars that have two faults. A pair has 2 * share * the product of its two chances, over what makes all add
    up to 1: all pairs there might be then have about that share. checks: only these are made to know of pairs (none:
    all of them). `shows` and `acts` are those of at least one of the two.
    """
    ordered = [tuple(sorted(pair, key=lambda c: (tables.fault_of[c], c))) for pair in pairs]
    keys = [tuple(AND.join(tables.classes[tables.class_of[c]][i] for c in pair) for i in (0, 1)) for pair in ordered]
    order = sorted(range(len(ordered)), key=lambda q: (keys[q], ordered[q]))
    index = np.array([ordered[q] for q in order], dtype=np.intp).reshape(-1, 2)
    first, second = index.T
    prior = np.concatenate([tables.prior, 2.0 * share * tables.prior[first] * tables.prior[second]])
    prior /= prior.sum()
    causes = [
        _as_one(tables.causes[a], tables.causes[b], p)
        for (a, b), p in zip(index, prior[len(tables.prior) :], strict=True)
    ]
    named = list(dict.fromkeys(cause.fault for cause in causes))
    of_fault = [len(tables.faults) + named.index(cause.fault) for cause in causes]
    members = {cause.fault: pair for cause, pair in zip(causes, index, strict=True)}
    kinds = list(dict.fromkeys((keys[q][0], keys[q][1]) for q in order))
    class_of = [len(tables.classes) + kinds.index((keys[q][0], keys[q][1])) for q in order]
    starts = len(tables.prior) + np.array([class_of.index(len(tables.classes) + k) for k in range(len(kinds))], int)
    weights = [min(tables.prior_weights[tables.fault_of[c]] for c in members[name]) for name in named]
    made = [
        _knows(check, index, tables.unlikeliest) if not checks or n in checks else check
        for n, check in enumerate(tables.checks)
    ]

    def either(chances: Array) -> Array:
        return np.concatenate([chances, 1.0 - (1.0 - chances[first]) * (1.0 - chances[second])])

    return replace(
        tables,
        causes=(*tables.causes, *causes),
        prior=prior,
        fault_of=np.concatenate([tables.fault_of, np.array(of_fault, dtype=np.intp)]),
        faults=(*tables.faults, *named),
        class_of=np.concatenate([tables.class_of, np.array(class_of, dtype=np.intp)]),
        class_starts=np.concatenate([tables.class_starts, starts.astype(np.intp)]),
        classes=(*tables.classes, *kinds),
        shows=either(tables.shows),
        shows_row=np.concatenate([tables.shows_row, tables.shows_row[first]]),
        acts=either(tables.acts),
        nodes=np.concatenate([tables.nodes, tables.nodes[first]]),
        prior_weights=np.concatenate([tables.prior_weights, np.array(weights)]),
        checks=tuple(made),
        pairs=index,
        singles=tables,
    )


def _as_one(a: Cause, b: Cause, prior: float) -> Cause:
    places = {a.where, b.where}
    return Cause(
        name=f"{a.name}{AND}{b.name}",
        fault=f"{a.fault}{AND}{b.fault}",
        where=a.where if places == {"engine"} else f"{a.where}{AND}{b.where}",
        cylinders=a.cylinders | b.cylinders,
        prior=float(prior),
        members=(a, b),
    )


def _knows(check: CheckTable, pairs: Index, floor: float) -> CheckTable:
    """The check with what pairs show while both do. Where one of the two has nothing to show, the other's row."""
    one, other = check.index[pairs[:, 0]], check.index[pairs[:, 1]]
    index = np.where(one == 0, other, one)
    both = (one > 0) & (other > 0)
    rows, origins, again = check.rows, check.origins, check.again
    if both.any():
        kinds, of = np.unique(np.sort(np.stack([one[both], other[both]]), axis=0), axis=1, return_inverse=True)
        more = np.maximum(shown_together(rows[0], rows[kinds[0]], rows[kinds[1]], check.blends), floor)
        index[both] = len(rows) + of.reshape(-1)
        rows = np.vstack([rows, more / more.sum(axis=1, keepdims=True)])
        origins = (*origins, *(origins[k] for k in kinds[0]))
        again = np.concatenate([again, (again[kinds[0]] + again[kinds[1]]) / 2.0])
    return replace(check, rows=rows, origins=origins, again=again, index=np.concatenate([check.index, index]))


# ---- the sums --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class SharedLooks:
    """Of a part: states: by group and spell in it, (Q, J, J, 4) chances by what was seen in that spell alone; counts:
    by group, (M, 4) how many of its spells show what; cases: (S, G), a row of `counts` for each group; share:
    (Q, J, J, S)."""

    part: LinkedSpells
    states: tuple[tuple[Array, ...], ...]
    counts: tuple[Index, ...]
    cases: Index
    share: Array


@dataclass(frozen=True, eq=False)
class Pairs:
    """log: (Q,), of P(answers | pair). nodes: (Q, J, J), P(activities | pair, answers). states: by spell, (Q, J, J, 4)
    what shows, by what was seen in that spell alone; shared: parts of spells that share looks."""

    log: Array
    nodes: Array
    states: tuple[Array, ...]
    shared: tuple[SharedLooks, ...]

    def showed(self, number: int) -> Array:
        """(Q, 4) what a spell was showing."""
        found: Array = np.einsum("qij,qijs->qs", self.nodes, self._state(number))
        return found

    def _state(self, number: int) -> Array:
        for shared in self.shared:
            for g, group in enumerate(shared.part.groups):
                if number in group:
                    return _of_one(shared, g, group.index(number))
        return self.states[number]


def pair_sums(tables: Tables, case: SortedAnswers) -> Pairs:
    """What the answers say of the pairs."""
    first, second = tables.pairs.T
    own = np.arange(len(tables.prior) - len(first), len(tables.prior))
    node = np.log(tables.activities)
    log = np.broadcast_to(node[:, None] + node, (len(own), len(node), len(node))).copy()
    for looks in case.steady:
        log += one.of_steady(tables, looks, tables.checks[looks.check].rows)[own, None, None]
    told: dict[int, Array] = {}
    for looks in case.alone:
        both = one.of_alone(tables, looks, tables.checks[looks.check].rows)
        more = np.stack([both[own, 0], both[first, 0], both[second, 0], both[own, 1]], axis=-1)
        told[looks.spells[0]] = told.get(looks.spells[0], 0.0) + more
    states = []
    for n, spell in enumerate(case.spells):
        acts = forced(tables, tables.acting(spell.condition), provoked(tables, spell))
        state = _both_states(acts[first][:, :, None], acts[second][:, None, :])
        if n in told:
            peak = np.maximum(told[n].max(axis=-1, keepdims=True), -1e300)
            state = state * np.exp(told[n] - peak)[:, None, None, :]
            total = np.maximum(state.sum(axis=-1, keepdims=True), TINY)
            state, log = state / total, log + np.log(total[..., 0]) + peak[:, None]
        states.append(state)
    shared = []
    for part in case.parts:
        found, more = _shared(tables, part, states, log)
        shared.append(found)
        log = log + more
    flat = log.reshape(len(own), -1)
    total = one.log_sum(flat)
    nodes = np.exp(log - np.maximum(total, -1e300)[:, None, None])
    return Pairs(total, nodes, tuple(states), tuple(shared))


def _both_states(one: Array, other: Array) -> Array:
    """(..., 4) from the chances (...) that each shows."""
    return np.stack([one * other, one * (1.0 - other), (1.0 - one) * other, (1.0 - one) * (1.0 - other)], axis=-1)


def _shared(tables: Tables, part: LinkedSpells, states: Sequence[Array], log: Array) -> tuple[SharedLooks, Array]:
    """A part, and (Q, J, J) the log likelihood of the looks its spells share."""
    own = tuple(tuple(states[n] for n in group) for group in part.groups)
    counts, chances = zip(*(_how_many(group) for group in own), strict=True)
    cases, chance = np.zeros((1, 0), dtype=np.intp), np.ones((*own[0][0].shape[:-1], 1))
    lost = np.zeros(len(log))
    begun = LinkedSpells(part.groups[:0], ())
    for g, (numbers, each) in enumerate(zip(counts, chances, strict=True)):
        many = len(numbers)
        cases = np.column_stack([np.repeat(cases, many, axis=0), np.tile(np.arange(many), len(cases))])
        chance = (chance[..., :, None] * each[..., None, :]).reshape(*chance.shape[:-1], -1)
        begun = one.first_groups(part, g + 1)
        if len(cases) > PAIR_WIDTH:
            weights, _, nodes = _weighed(tables, begun, counts, cases, chance, log)
            by_case = np.einsum("qij,qijs->qs", nodes, weights)
            best = np.sort(np.argsort(-np.sqrt(by_case).sum(axis=0), kind="stable")[:PAIR_WIDTH])
            cases, chance = cases[best], chance[..., best]
            lost -= np.log(np.maximum(by_case[:, best].sum(axis=1), TINY))
    weights, more, _ = _weighed(tables, begun, counts, cases, chance, log)
    return SharedLooks(part, own, tuple(counts), cases, weights), more + lost[:, None, None]


def _weighed(
    tables: Tables, part: LinkedSpells, counts: Sequence[Index], cases: Index, chance: Array, log: Array
) -> tuple[Array, Array, Array]:
    """(Q, J, J, S) chance of each case, (Q, J, J) log likelihood, and (Q, J, J) chances of the activities."""
    told = np.zeros((len(log), len(cases)))
    for looks in part.shared:
        kinds, of = np.unique(cases[:, list(looks.spells)], axis=0, return_inverse=True)
        times = np.stack([counts[g][kinds[:, i]] for i, g in enumerate(looks.spells)], axis=1)  # (S', L, 4)
        told += _kept_looks(tables, looks, times.astype(float))[:, of.reshape(-1)]
    peak = np.maximum(told.max(axis=-1, keepdims=True), -1e300)
    weights = chance * np.exp(told - peak)[:, None, None, :]
    total = np.maximum(weights.sum(axis=-1), TINY)
    more = np.log(total) + peak[..., None]
    flat = (log + more).reshape(len(log), -1)
    nodes = np.exp(flat - one.log_sum(flat)[:, None]).reshape(log.shape)
    return weights / total[..., None], more, nodes


def _kept_looks(tables: Tables, looks: Looks, times: Array) -> Array:
    """`_looks`, kept: from one answer to the next, and of what is foreseen, most looks are the same."""
    key = looks.check, looks.weights.tobytes(), times.tobytes()
    return tables.kept.once(
        "looks of pairs", key, lambda: _looks(tables.checks[looks.check], tables.pairs, looks, times), PAIR_LOOKS_KEPT
    )


def _how_many(each: Sequence[Array]) -> tuple[Index, Array]:
    """(M, 4) in how many of n spells what shows, and (Q, J, J, M) the chance of that."""
    size = len(each) + 1
    found = np.zeros((*each[0].shape[:-1], size, size, size))
    found[..., 0, 0, 0] = 1.0
    for state in each:
        more = found * state[..., NEITHER, None, None, None]
        more[..., 1:, :, :] += found[..., :-1, :, :] * state[..., BOTH, None, None, None]
        more[..., :, 1:, :] += found[..., :, :-1, :] * state[..., FIRST, None, None, None]
        more[..., :, :, 1:] += found[..., :, :, :-1] * state[..., SECOND, None, None, None]
        found = more
    counts = np.array([(a, b, c) for a, b, c in product(range(size), repeat=3) if a + b + c < size], dtype=np.intp)
    chances: Array = found[..., counts[:, 0], counts[:, 1], counts[:, 2]]
    return np.column_stack([counts, len(each) - counts.sum(axis=1)]), chances


def _of_one(shared: SharedLooks, group: int, member: int) -> Array:
    """(Q, J, J, 4) what one spell of a group was showing."""
    each, counts = shared.states[group], shared.counts[group]
    if len(each) == 1:
        found: Array = np.einsum("qijs,sr->qijr", shared.share, counts[shared.cases[:, group]].astype(float))
        return found
    by_count = np.zeros((*shared.share.shape[:-1], len(counts)))
    for m in range(len(counts)):
        by_count[..., m] = shared.share[..., shared.cases[:, group] == m].sum(axis=-1)
    numbers, rest = _how_many([*each[:member], *each[member + 1 :]])
    place = {tuple(row): m for m, row in enumerate(numbers.tolist())}
    _, all_ = _how_many(each)
    shown = np.zeros((*shared.share.shape[:-1], 4))
    for m, row in enumerate(counts.tolist()):
        for r in range(4):
            less = place.get(tuple(n - (i == r) for i, n in enumerate(row)))
            if less is not None:
                ratio = each[member][..., r] * rest[..., less] / np.maximum(all_[..., m], TINY)
                shown[..., r] += by_count[..., m] * ratio
    return shown


def _looks(check: CheckTable, pairs: Index, looks: Looks, times: Array) -> Array:
    """(Q, S) log likelihood of all looks at a check. times: (S, L, 4) how often each was made while what showed.

    What shows the same row is one thing, whichever of the two shows it, as in `lasting.likelihood`; banks are one draw
    (`shown_together`) where the same of the two shows the same at each, whatever the other does.
    """
    both, first, second = check.index[-len(pairs) :], check.index[pairs[:, 0]], check.index[pairs[:, 1]]
    every = times.sum(axis=-1)
    on = times[..., BOTH] + times[..., FIRST], times[..., BOTH] + times[..., SECOND]
    only = times[..., FIRST], times[..., SECOND]
    two = (first > 0) & (second > 0)
    alike = two & (first == second)
    found = np.zeros((len(pairs), len(times)))
    for where, index, made in (
        ((first > 0) & ~two, first, on[0]),
        ((second > 0) & ~two, second, on[1]),
        (two, both, times[..., BOTH]),
        (two & ~alike, first, only[0]),
        (two & ~alike, second, only[1]),
        (alike, first, only[0] + only[1]),
    ):
        if where.any():
            used, at = np.unique(index[where], return_inverse=True)
            by_row = looks_likelihood(check.rows[used], check.again[used], looks.weights, made).log  # (D', S, P)
            which, place = np.nonzero(where)
            part = np.zeros(found.shape)
            np.add.at(part, which, by_row[at.reshape(-1), :, place])
            alone = where.all(axis=1) & (index == index[:, :1]).all(axis=1)  # the same at all places
            if check.together and alone.any():
                each = np.tensordot(made, np.log(np.maximum(looks.weights, TINY)), 1).sum(axis=1)  # (S, m)
                same = one_draw(check.rows[index[alone, 0]], each)
                part[alone] = np.logaddexp(np.log1p(-check.together) + part[alone], np.log(check.together) + same)
            found += part
    kind = np.where(two, 3, np.where(second > 0, 2, np.where(first > 0, 1, 0)))  # (Q, P) what is left to row 0
    left = np.stack([every, every - on[0], every - on[1], times[..., NEITHER]])  # (4, S, L)
    row, again = check.rows[:1], check.again[:1]
    off = np.stack([looks_likelihood(row, again, looks.weights, made).log[0] for made in left])  # (4, S, P)
    places = np.arange(kind.shape[1])
    nothing = off[kind, :, places].sum(axis=1)
    if check.alike:
        logs = np.einsum("ksl,lpm->kspm", left, np.log(np.maximum(looks.weights, TINY)))
        each = logs[kind, :, places].sum(axis=1)  # (Q, S, m)
        peak = each.max(axis=-1)
        with np.errstate(divide="ignore"):
            same = np.log(np.exp(each - peak[..., None]) @ row[0]) + peak
        nothing = np.logaddexp(np.log1p(-check.alike) + nothing, np.log(check.alike) + same)
    total: Array = found + nothing
    return total


# ---- which pairs are weighed -----------------------------------------------------------------------------------------


def tables_with_pairs(tables: Tables, spells: Sequence[Spell], share: float, least: float) -> Tables:
    """The tables with the pairs that explain the answers better than either of the two alone by `least` decibans; the
    tables as they are, where none does, where `share` (of cars with two faults) is 0, or where the same look was made
    more often than anybody does."""
    if not share:
        return tables
    belief = one.believe(tables, spells)
    if any(len(group) > MOST_ALIKE for part in belief.case.parts for group in part.groups):
        return tables
    tried = _from_afar(tables, belief, share, least - SLACK)
    if not tried:
        return tables
    used = {answer.check for spell in belief.spells for answer in spell.answers}
    trial = _kept(tables, tried, share, used)
    better, chances = _tried(tables, belief, trial)
    enough = (better >= least) & (chances >= LEAST_PAIR)
    best = [q for q in np.argsort(-chances, kind="stable") if enough[q]][:PAIRS_WEIGHED]
    kept = sorted(tuple(int(c) for c in trial.pairs[q]) for q in best)
    return _kept(tables, kept, share) if kept else tables


def _tried(tables: Tables, belief: Belief, trial: Tables) -> tuple[Array, Array]:
    """(Q,) decibans by which each pair of `trial` explains the answers better than the better of the two alone, and
    (Q,) how likely it is. belief: in single causes, which are not weighed again."""
    with np.errstate(divide="ignore"):
        singles = np.log(belief.probability) + belief.log_evidence - belief.case.scale
        fits = singles - np.log(np.maximum(tables.prior, TINY))
        both = pair_sums(trial, belief.case).log
        scale = np.log(trial.prior[: len(tables.prior)].sum())  # of a prior that all share
        weights = np.log(trial.prior[len(tables.prior) :]) - scale + both
    better = DECIBANS * (both - fits[trial.pairs].max(axis=1))
    return better, np.exp(weights - np.logaddexp(one.log_sum(weights), one.log_sum(singles)))


def _kept(tables: Tables, pairs: Sequence[tuple[int, ...]], share: float, checks: Collection[int] = ()) -> Tables:
    key = tuple(pairs), share, frozenset(checks)
    return tables.kept.once(
        "paired",
        key,
        lambda: with_pairs(tables, [(pair[0], pair[1]) for pair in pairs], share, checks),
        PAIR_TABLES_KEPT,
    )


def _from_afar(tables: Tables, belief: Belief, share: float, least: float) -> list[tuple[int, int]]:
    """Pairs that may explain so much more, looks taken one by one: what speaks for one of the two counts as it does
    there, what speaks against both counts twice, and where the rules say what two faults show together, that counts if
    it says more."""
    fits = _one_by_one(tables, belief.case)
    if len(fits) < 2:
        return []
    may = np.array([not cause.alone for cause in tables.causes]) & (tables.prior > 0)
    lead = np.argsort(-np.where(may, belief.probability, -1.0), kind="stable")[:PAIRED_WITH]
    both = np.zeros((len(lead), len(may)))
    for fit, met in fits:
        own = fit[lead, None]
        each = np.where((own < 0) & (fit < 0), own + fit, np.maximum(own, fit))
        both += each if met is None else np.maximum(each, met[lead])
    all_ = np.array([fit for fit, _ in fits]).sum(axis=0)
    more = DECIBANS * (both - np.maximum(all_[lead, None], all_))
    other = (tables.fault_of[lead, None] != tables.fault_of) & (tables.class_of[lead, None] != tables.class_of)
    rows, columns = np.nonzero((more >= least) & other & may & may[lead, None])
    if not len(rows):
        return []
    with np.errstate(divide="ignore"):
        prior = np.log(tables.prior)
    chance = both[rows, columns] + prior[lead[rows]] + prior[columns] + np.log(2.0 * share)
    chance -= one.log_sum(all_ + prior)
    found: dict[tuple[int, int], None] = {}
    for i in np.argsort(-chance, kind="stable"):
        if chance[i] < np.log(LEAST_PAIR) - SLACK / DECIBANS:
            break
        a, b = int(lead[rows[i]]), int(columns[i])
        found[min(a, b), max(a, b)] = None
        if len(found) == TRIED:
            break
    return sorted(found)


def _one_by_one(tables: Tables, case: SortedAnswers) -> list[tuple[Array, Array | None]]:
    """Of each look by itself, (C,) the log of how much likelier it is under each cause than with nothing to see; many
    looks at the same thing count as two. And (C, C) the same under two causes at once, where the rules say what two
    show together."""
    found: list[tuple[Array, Array | None]] = []
    shared = [looks for part in case.parts for looks in part.shared]
    spells = {id(looks): [part.groups[g] for g in looks.spells] for part in case.parts for looks in part.shared}
    for looks in (*case.steady, *case.alone, *shared):
        where = spells.get(id(looks), [(n,) for n in looks.spells])
        part = min(1.0, 2.0 / sum(map(len, where)))
        for i, group in enumerate(where):
            single = Looks(looks.check, (0,), looks.weights[i : i + 1])
            both = one.of_alone(tables, single, tables.checks[looks.check].rows)
            more = both[:, 0] - both[:, 1]
            if tables.checks[looks.check].steady:
                found += [(part * more, None)] * len(group)
                continue
            for n in group:
                condition = case.spells[n].condition
                shows = tables.shows.mean(axis=1) if condition is None else tables.shows[:, condition]
                met = _met(tables.checks[looks.check], single.weights[0, 0], shows)
                found.append((part * np.log1p(shows * np.expm1(more)), met))
    return found


def _met(check: CheckTable, weights: Array, shows: Array) -> Array | None:
    """(C, C) the log of how much likelier a look at the whole engine is with two causes than with nothing to see, where
    both may show. weights: (m,); shows: (C,)."""
    if not check.blends or len(check.places) > 1:
        return None
    one, other = check.rows[:, None], check.rows[None, :]
    more = shown_together(check.rows[0], one, other, check.blends) @ weights / (check.rows[0] @ weights)
    own = check.index[:, 0]
    met: Array = np.log1p(np.outer(shows, shows) * (more[own[:, None], own] - 1.0))
    return met


# ---- what the planner reads ------------------------------------------------------------------------------------------


def on_the_mean(tables: Tables, belief: Belief, expected: Tables) -> Tables:
    """Expected tables in which each pair is one cause again, for gains alone: it shows when either of the two does, and
    a check then shows what the two show on the mean over the conditions it is made in, by the rules."""
    sums, (first, second) = belief.pairs, tables.pairs.T
    assert sums is not None
    count = len(first)
    quiet = 1.0 - tables.acts
    shows = expected.shows.copy()
    shows[-count:] = 1.0 - np.einsum("qij,qki,qkj->qk", sums.nodes, quiet[first], quiet[second])
    known: dict[int, tuple[CheckTable, CheckTable]] = tables.kept.shelf("mixed")
    checks = []
    for check in expected.checks:
        kept = known.get(id(check))  # of checks that were not looked at: the same from question to question
        if kept is None or kept[0] is not check:
            if len(known) > 2 * len(expected.checks):
                known.clear()
            kept = known[id(check)] = check, check if check.steady else _mixed(check, tables)
        checks.append(kept[1])
    return replace(expected, shows=shows, checks=tuple(checks))


def _mixed(check: CheckTable, tables: Tables) -> CheckTable:
    pairs = tables.pairs
    index = np.stack([check.index[-len(pairs) :], check.index[pairs[:, 0]], check.index[pairs[:, 1]]])  # (3, Q, P)
    differ = (index != index[:1]).any(axis=0)
    if not differ.any():
        return check
    here = tables.shows[:, list(check.conditions) or slice(None)]
    mix = _both_states(here[pairs[:, 0]], here[pairs[:, 1]])[..., :NEITHER].mean(axis=1)  # (Q, 3)
    mix /= np.maximum(mix.sum(axis=1, keepdims=True), TINY)
    which, place = np.nonzero(differ)
    more = np.einsum("nr,rnm->nm", mix[which], check.rows[index[:, which, place]])
    at = check.index.copy()
    at[len(at) - len(pairs) + which, place] = len(check.rows) + np.arange(len(more))
    origins, again = (*check.origins, *(check.origins[:1] * len(more))), np.repeat(check.again[:1], len(more))
    return replace(
        check, rows=np.vstack([check.rows, more]), origins=origins, again=np.append(check.again, again), index=at
    )
