"""What was seen, as numbers: answers in spells, and which of them count."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from reasoner.network.tables import Array, CheckTable, Tables


@dataclass(frozen=True)
class Evidence:
    """One answer. weights: for each place, the likelihood weight of each outcome (None: not looked at).

    A certain answer has weight 1 at one outcome and 0 at the others; an unsure one spreads it (virtual evidence,
    Pearl 1988, section 2.2.2). Only ratios matter.
    """

    check: int
    weights: tuple[tuple[float, ...] | None, ...]
    number: int = 0


@dataclass(frozen=True)
class Spell:
    """Observations made in one condition without a break. condition None: the car's state was not known."""

    condition: int | None
    answers: tuple[Evidence, ...] = ()


def reported_weights(outcome: int, count: int, right: float) -> tuple[float, ...]:
    """Weights of a reported outcome, when what was reported is what was there with chance `right`."""
    rest = (1.0 - right) / (count - 1) if count > 1 else 0.0
    return tuple(right if i == outcome else rest for i in range(count))


@lru_cache(maxsize=16)
def as_reported(tables: Tables, right: float) -> Tables:
    """The tables of what will be reported, where that is what was there with chance `right`.

    What a check is worth hangs on what is said of it: a rare outcome that everybody misreports now and then is no
    proof.
    """
    checks = []
    for check in tables.checks:
        wrong = (1.0 - right) / max(1, len(check.outcomes) - 1)
        checks.append(replace(check, rows=check.rows * (right - wrong) + wrong))
    return replace(tables, checks=tuple(checks))


def counted(tables: Tables, spells: Sequence[Spell]) -> tuple[Spell, ...]:
    """Spells with every piece of evidence counted once.

    - Of several looks at the same place with the same check, in the same spell (`ever`: in the case), the surer counts;
      of equally sure ones the later.
    - What another answer stands for is dropped: in the same spell; in the whole case where it could not have been
      given in that spell (a trim curve stands for the trims read off in several conditions) or stays for ever. Between
      checks of the same places, place by place: what was not looked at again still counts.
    """
    everywhere: set[tuple[int, int]] = set()  # (check, place) that another answer stands for
    in_spell: list[set[tuple[int, int]]] = []
    for spell in spells:
        here: set[tuple[int, int]] = set()
        in_spell.append(here)
        for answer in spell.answers:
            check = tables.checks[answer.check]
            for number in check.stands_for:
                other = tables.checks[number]
                far = reaches_far(check, other)
                (everywhere if far else here).update((number, place) for place in _covers(check, answer, other))
    return tuple(
        Spell(spell.condition, tuple(_without(spell.answers, everywhere | here)))
        for spell, here in zip(_merged(tables, spells), in_spell, strict=True)
    )


def _merged(tables: Tables, spells: Sequence[Spell]) -> list[Spell]:
    """Each check at most once in a spell, and `ever` checks once in the case, where they were first answered."""
    found: list[list[Evidence]] = []
    ever: dict[int, tuple[list[Evidence], int]] = {}
    for spell in spells:
        here: list[Evidence] = []
        found.append(here)
        known: dict[int, tuple[list[Evidence], int]] = {}
        for answer in spell.answers:
            entries = ever if tables.checks[answer.check].ever else known
            if answer.check in entries:
                where, i = entries[answer.check]
                where[i] = _better(where[i], answer)
            else:
                entries[answer.check] = here, len(here)
                here.append(answer)
    return [Spell(spell.condition, tuple(here)) for spell, here in zip(spells, found, strict=True)]


def reaches_far(check: CheckTable, other: CheckTable) -> bool:
    """Whether a check stands for another one in the whole case, and not only in its own spell."""
    share = not check.conditions or not other.conditions or set(check.conditions) & set(other.conditions)
    return other.ever or not share


def would_replace(tables: Tables, spells: Sequence[Spell], number: int, fresh: bool) -> list[tuple[int, Evidence]]:
    """Answers, each with the number of its spell, that a check would take the place of.

    fresh: it would be made in a new spell, else in the last of these.
    """
    check, last = tables.checks[number], len(spells) - 1
    return [
        (i, answer)
        for i, answer in answers_of(spells)
        if answer.check in check.stands_for
        and ((i == last and not fresh) or reaches_far(check, tables.checks[answer.check]))
    ]


def without(spells: Sequence[Spell], answers: Sequence[tuple[int, Evidence]]) -> tuple[Spell, ...]:
    """The spells without some answers."""
    gone = [(i, id(answer)) for i, answer in answers]
    return tuple(
        Spell(spell.condition, tuple(a for a in spell.answers if (i, id(a)) not in gone))
        for i, spell in enumerate(spells)
    )


def _covers(check: CheckTable, answer: Evidence, other: CheckTable) -> Sequence[int]:
    """The places of `other` about which nothing is left to say once this answer is there."""
    looked = [place for place, weights in enumerate(answer.weights) if weights is not None]
    if check.places == other.places:
        return looked
    return range(len(other.places)) if looked else ()


def _without(answers: Iterable[Evidence], dropped: set[tuple[int, int]]) -> Iterator[Evidence]:
    for answer in answers:
        kept = tuple(None if (answer.check, p) in dropped else w for p, w in enumerate(answer.weights))
        if kept == answer.weights:
            yield answer
        elif any(weights is not None for weights in kept):
            yield Evidence(answer.check, kept, answer.number)


def _better(one: Evidence, other: Evidence) -> Evidence:
    """Two looks as one: at each place the surer."""
    earlier, later = (other, one) if other.number < one.number else (one, other)
    pairs = zip(earlier.weights, later.weights, strict=True)
    weights = tuple(a if b is None or (a is not None and _sureness(a) > _sureness(b)) else b for a, b in pairs)
    return earlier if weights == earlier.weights else Evidence(later.check, weights, later.number)


def _sureness(weights: Sequence[float]) -> float:
    return max(weights) / sum(weights)


def answer_likelihood(check: CheckTable, answer: Evidence) -> tuple[Array, float]:
    """P(answer | cause, showing) for every cause (C,), and P(answer | quiet), which is the same for all."""
    showing: Array = np.ones(len(check.index))
    quiet = 1.0
    for place, weights in enumerate(answer.weights):
        if weights is not None:
            by_row = check.rows @ np.array(weights)
            showing = showing * by_row[check.index[:, place]]
            quiet *= float(by_row[0])
    return showing, quiet


def provoked(tables: Tables, spell: Spell) -> float:
    """How sure it is that a provoking check brought the fault on in this spell: 0 if none was done."""
    most = 0.0
    for answer in spell.answers:
        if tables.checks[answer.check].provokes:
            for weights in answer.weights:
                if weights is not None and sum(weights) > 0:
                    most = max(most, 1.0 - weights[0] / sum(weights))
    return most


def chance_showing(tables: Tables, condition: int | None, brought_on: float = 0.0) -> Array:
    """P(showing | cause) before any answer of the spell (C,). Not knowing the condition, the mean over all of them."""
    before: Array = tables.shows.mean(axis=1) if condition is None else tables.shows[:, condition]
    return forced(tables, before, brought_on)


def forced(tables: Tables, before: Array, brought_on: float) -> Array:
    """(C,) the chance of showing, where with so much certainty a check has brought the fault on."""
    return before + brought_on * np.maximum(0.0, (1.0 - tables.unlikeliest) - before)


def answers_of(spells: Iterable[Spell]) -> list[tuple[int, Evidence]]:
    """Every answer with the number of its spell, in order."""
    return [(i, answer) for i, spell in enumerate(spells) for answer in spell.answers]
