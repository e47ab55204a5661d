"""What single answers say: how far each moved each cause (its weight of evidence), which disagree with the rest
(surprise), what speaks against a cause whatever speaks for it, and how belief moved from answer to answer.

Weight is in decibans: ten times the common logarithm of the factor on the odds (A. Turing, "The Applications of
Probability to Cryptography", c. 1941, arXiv:1505.04714; I. J. Good, "Weighing Evidence", 1950). About one deciban is
the smallest change a person perceives.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from reasoner.inference.belief import believe
from reasoner.inference.evidence import (
    Evidence,
    Spell,
    answers_of,
    chance_showing,
    counted,
    provoked,
    without,
)
from reasoner.inference.pairs import tables_with_pairs, with_pairs
from reasoner.network.tables import Array, CheckTable, Tables


@dataclass(frozen=True, eq=False)
class Weight:
    """decibans: (C,), the change in the log odds of each cause when this answer is added to all the others."""

    answer: Evidence
    spell: int
    decibans: Array


def decibans(factor: float) -> float:
    """Decibans of a factor on the odds."""
    return 10.0 * float(np.log10(factor))


def log_odds(probability: Array) -> Array:
    """Ten times the common logarithm of p / (1 - p); the others are summed, not subtracted, so that nothing cancels."""
    before, after = np.cumsum(probability), np.cumsum(probability[::-1])[::-1]
    others = np.append(0.0, before[:-1]) + np.append(after[1:], 0.0)
    tiny = np.finfo(float).tiny
    found: Array = 10.0 * (np.log10(np.maximum(probability, tiny)) - np.log10(np.maximum(others, tiny)))
    return found


def weigh_answers(tables: Tables, spells: Sequence[Spell]) -> tuple[Weight, ...]:
    """Each answer's weight for and against each cause, all the other answers given.

    Order does not matter: an answer weighs what the odds lose when it is taken out.
    """
    full = believe(tables, spells)
    with_all = log_odds(full.probability)
    return tuple(
        Weight(answer, n, with_all - log_odds(believe(tables, without(full.spells, [(n, answer)])).probability))
        for n, answer in answers_of(full.spells)
    )


def believed_without(tables: Tables, spells: Sequence[Spell], checks: Collection[int]) -> Array:
    """(C,) what would be believed without any answer of these checks."""
    rest = [Spell(s.condition, tuple(a for a in s.answers if a.check not in checks)) for s in spells]
    return believe(tables, rest).probability


def decibans_moved(now: Array, before: Array, causes: Sequence[int]) -> float:
    """Decibans by which the odds of these causes, taken together, are higher now. now, before: (C,).

    Of several answers at once that is not the sum of their weights: of three looks that say the same, each is worth
    little beside the other two. Nor is it the weight for one of the causes: what speaks for all four injectors alike
    moves none of them against the others.
    """

    def odds(probability: Array) -> float:
        own = list(causes)
        ours, others = float(probability[own].sum()), float(np.delete(probability, own).sum())
        tiny = float(np.finfo(float).tiny)
        return decibans(max(ours, tiny)) - decibans(max(others, tiny))

    return odds(now) - odds(before)


# ---- surprise --------------------------------------------------------------------------------------------------------
# When the answers fit no cause well: the conflict measure, and the answers that disagree.
#
# conf(e) = log2( product of P(e_i) / P(e) ), positive when the answers are less likely together than apart
# (F. V. Jensen, B. Chamberlain, T. Nordahl & F. Jensen, "Analysis in HUGIN of data conflict", UAI 1990). A rare but
# real cause explains a conflict away: conf(e, c) < 0 for that cause.


@dataclass(frozen=True)
class Surprise:
    """bits: the conflict of all answers. explained: the leading cause makes them fit after all.

    disagreeing: the answers whose removal takes most of the conflict away, with the bits each takes.
    """

    bits: float
    explained: bool
    disagreeing: tuple[tuple[Evidence, float], ...]


def conflict(parts: Sequence[float], together: float) -> float:
    """conf(e) in bits from the probability of each finding alone and of all together."""
    return float(np.sum(np.log2(parts)) - np.log2(together))


def surprise(tables: Tables, spells: Sequence[Spell]) -> Surprise:
    """How ill the answers fit together, and which ones are to blame."""
    full = believe(tables, spells)
    spells = full.spells
    answers = answers_of(spells)
    if len(answers) < 2:
        return Surprise(0.0, False, ())
    alone = {id(a): believe(tables, _only(spells, s, a)) for s, a in answers}
    logs = sum(b.log_evidence for b in alone.values())
    bits = (logs - full.log_evidence) / np.log(2)

    lead = int(full.probability.argmax())
    # conf(e, c) = log product P(e_i) P(c) / P(e, c): the leading cause taken as one more finding.
    with_lead = bits + np.log2(tables.prior[lead] / full.probability[lead])
    blame = []
    for s, answer in answers:
        rest = tuple(
            Spell(sp.condition, tuple(a for a in sp.answers if a is not answer)) if i == s else sp
            for i, sp in enumerate(spells)
        )
        without = (logs - alone[id(answer)].log_evidence - believe(tables, rest).log_evidence) / np.log(2)
        blame.append((answer, float(bits - without)))
    blame.sort(key=lambda pair: -pair[1])
    return Surprise(float(bits), bool(with_lead < 0), tuple(pair for pair in blame if pair[1] > 1.0)[:3])


def _only(spells: Sequence[Spell], number: int, answer: Evidence) -> tuple[Spell, ...]:
    return (Spell(spells[number].condition, (answer,)),)


# ---- what speaks against a cause -------------------------------------------------------------------------------------
# For excluding things, which a belief alone does not do: that a cause is unlikely may only say that another fits
# better. Excluded is what was looked for and not seen. And what could speak for a cause.


def spoken_against(tables: Tables, spells: Sequence[Spell], checks: Collection[int]) -> Array:
    """(C,), 1 and less: how much less likely the answers to these checks are under a cause than with nothing to see,
    over all answers of which that is so. An answer counts as far as the fault was showing, by all that was seen in the
    spell.

    Of a check that needs it to be rich now, a rich answer says that it is rich, so the cause, if it is this one, must
    be showing. And it says how it is rich, which is held against how it is rich on the mean over all causes.
    """
    found: Array = np.ones(len(tables.causes))
    for spell in counted(tables, spells):
        for_it, against = np.ones(len(found)), np.ones(len(found))
        for answer in spell.answers:
            table = tables.checks[answer.check]
            rich, how = (_ratio(table, held, answer) for held in _rich_and_how(tables, answer.check))
            less = np.minimum(1.0, how) if answer.check in checks else np.ones(len(found))
            if table.steady:
                found = found * less
            else:
                for_it, against = for_it * np.maximum(1.0, rich * how), against * less
        shows = chance_showing(tables, spell.condition, provoked(tables, spell))
        shows = shows * for_it / (shows * for_it + 1.0 - shows)
        found = found * (shows * against + 1.0 - shows)
    return found


class Held(NamedTuple):
    """Chances of a check's outcomes (D, m) under each of its rows, and those (m,) that they are held against."""

    rows: Array
    against: Array


def _ratio(table: CheckTable, held: Held, answer: Evidence) -> Array:
    """(C,) how many times as likely an answer is under each cause as it is under what that is held against."""
    found: Array = np.ones(len(table.index))
    for place, weights in enumerate(answer.weights):
        if weights is not None:
            under, against = (part @ np.array(weights) for part in held)
            found = found * (under / against)[table.index[:, place]]
    return found


def _rich_and_how(tables: Tables, check: int) -> tuple[Held, Held]:
    """Of a check that needs it to be rich, a rich outcome in two factors: the chance that it is rich, held against a
    sound car; and the chance of this outcome while it is rich, held against the mean over all causes. The outcome that
    it is not rich is in the factor of how, held against a sound car. A check that does not need it to be rich has its
    own rows there, and ones for whether it is rich."""
    table = tables.checks[check]
    if table.not_rich is None:
        return Held(np.ones_like(table.rows), np.ones(table.rows.shape[1])), Held(table.rows, table.rows[0])
    return tables.kept.once("rich and how", check, lambda: _split(table, tables.prior, table.not_rich or 0))


def _split(table: CheckTable, prior: Array, not_rich: int) -> tuple[Held, Held]:
    rich = np.repeat(1.0 - table.rows[:, [not_rich]], table.rows.shape[1], axis=1)
    rich[:, not_rich] = 1.0
    mean = prior @ table.rows[table.index].mean(axis=1) / prior.sum()
    usual = mean / (1.0 - mean[not_rich])
    usual[not_rich] = table.rows[0, not_rich]
    return Held(rich, rich[0]), Held(table.rows / rich, usual)


def findings_against(tables: Tables, check: int, causes: Sequence[int], enough: float) -> tuple[int, ...]:
    """The outcomes, seen at all places, that are usual and make these causes less likely by `enough`, a factor (mean
    over the causes, as likely as they are before any answer). Usual is what is found most often with nothing to see,
    looked at in the condition in which the causes show most often; and, of a check that needs it to be rich, what is
    found most often while it is rich."""
    table, own = tables.checks[check], list(causes)
    prior = tables.prior[own] / tables.prior[own].sum()
    usual = int(table.rows[0].argmax())
    seen = np.prod(table.rows[table.index[own], usual] / table.rows[0, usual], axis=1)
    if not table.steady:
        here = list(table.conditions) or list(range(len(tables.conditions)))
        shows = tables.shows[own][:, here].max(axis=1)
        seen = shows * seen + 1.0 - shows
    found = [usual] if np.minimum(1.0, seen) @ prior <= enough else []
    if table.not_rich is not None:
        rows, against = _rich_and_how(tables, check)[1]
        usual = max((o for o in range(len(against)) if o != table.not_rich), key=against.__getitem__)
        seen = np.prod(rows[table.index[own], usual] / against[usual], axis=1)
        found += [usual] if np.minimum(1.0, seen) @ prior <= enough else []
    return tuple(found)


def moments_ahead(tables: Tables, probability: Array, showing: Array, quiet: Array) -> tuple[Array, Array]:
    """(1 + K, C) twice: P(cause and showing) and P(cause and quiet), now as given (C,) and in a new spell of each
    condition."""
    shows = probability * tables.shows.T
    return np.vstack([showing, shows]), np.vstack([quiet, probability - shows])


def chances_to_find(tables: Tables, check: int, outcomes: Sequence[int], showing: Array, quiet: Array) -> Array:
    """(M,): the chance at each of some moments that a look then finds one of these outcomes at all places. showing,
    quiet: (M, C), P(cause and state)."""
    seen = tuple(outcomes)
    there, away = tables.kept.once("seen everywhere", (check, seen), lambda: _everywhere(tables.checks[check], seen))
    found: Array = showing @ there + quiet @ away
    return found


def _everywhere(table: CheckTable, outcomes: Sequence[int]) -> tuple[Array, Array]:
    """(C,) twice: the chance that a look finds one of these outcomes at all places, while it is showing and while it
    is not."""
    there: Array = np.prod(table.rows[table.index][:, :, list(outcomes)], axis=1).sum(axis=1)
    if table.steady:
        return there, there
    return there, np.full(len(there), (table.rows[0, list(outcomes)] ** len(table.places)).sum())


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


def fits_best(tables: Tables, table: CheckTable, place: int, outcome: int, times: float) -> int | None:
    """The likeliest cause, as far as one knows beforehand, of those that make an outcome so many times likelier than a
    sound car does; None where none does. Single causes only."""
    more = likelier(table, place, outcome)
    single = np.array([not cause.members for cause in tables.causes])
    fits = np.where(single & (more >= times), more * tables.prior, 0.0)
    return int(fits.argmax()) if fits.any() else None


def likelier(table: CheckTable, place: int, outcome: int) -> Array:
    """(C,): how many times likelier each cause, while it shows, makes an outcome at a place than a sound car does."""
    found: Array = table.rows[table.index[:, place], outcome] / table.rows[0, outcome]
    return found


# ---- how belief moved ------------------------------------------------------------------------------------------------
# After each of many prefixes of the same answers.


@dataclass(frozen=True, eq=False)
class Moved:
    """tables: with every pair of causes that was weighed after any prefix. before, beliefs: (C,), 0 for a pair where it
    was not weighed."""

    tables: Tables
    before: Array
    beliefs: tuple[Array, ...]


def belief_moved(tables: Tables, prefixes: Iterable[Sequence[Spell]], share: float, least: float) -> Moved:
    """How belief moved, pairs of causes weighed where asked for. share, least: as in `tables_with_pairs`."""
    each = [(tables_with_pairs(tables, spells, share, least), spells) for spells in prefixes]
    found = [believe(own, spells).probability for own, spells in each]
    pairs = sorted({(int(a), int(b)) for own, _ in each for a, b in own.pairs})
    if not pairs:
        return Moved(tables, tables.prior, tuple(found))
    whole, many = with_pairs(tables, pairs, share), len(tables.prior)
    before = np.zeros(len(whole.prior))
    before[:many] = tables.prior
    beliefs = []
    for (own, _), p in zip(each, found, strict=True):
        belief = np.zeros(len(whole.prior))
        belief[[whole.cause_number[cause.name] for cause in own.causes]] = p
        beliefs.append(belief)
    return Moved(whole, before, tuple(beliefs))
