"""Random small models and answers, the same for the same seed."""

from __future__ import annotations

import random
from dataclasses import replace

from reasoner.inference.evidence import Evidence, Spell, reported_weights
from tests.inference.slow import SlowSpell
from tests.support import Plain, PlainCheck


def distribution(rng: random.Random, outcomes: int) -> tuple[float, ...]:
    drawn = [rng.uniform(0.02, 1.0) for _ in range(outcomes)]
    return tuple(x / sum(drawn) for x in drawn)


def random_check(rng: random.Random, name: str, causes: int, places: int | None = None, **more: object) -> PlainCheck:
    """A look at one to three places. Half the causes behave at each place like one of two kinds, as rules do."""
    places = rng.choice((1, 1, 2, 3)) if places is None else places
    outcomes = rng.choice((2, 3))
    otherwise = distribution(rng, outcomes)
    kinds = [otherwise, *(distribution(rng, outcomes) for _ in range(3))]
    given = tuple(tuple(rng.choice(kinds) for _ in range(places)) for _ in range(causes))
    return PlainCheck(name, otherwise, given, **more)  # type: ignore[arg-type]


def random_model(seed: int, causes: int = 7, checks: int = 5, conditions: int = 3) -> Plain:
    """Checks of every kind: now, ever, provoking; at one place and at several; bound to conditions or not."""
    rng = random.Random(seed)
    prior = [rng.uniform(0.01, 1.0) for _ in range(causes)]
    kinds = [rng.choice(("now", "now", "ever", "provokes")) for _ in range(checks)]
    bound = [rng.choice(((), (), (0,), (1, 2))) for _ in range(checks)]
    return Plain(
        prior=tuple(p / sum(prior) for p in prior),
        checks=tuple(
            random_check(rng, f"check-{i}", causes, ever=kind == "ever", provokes=kind == "provokes", conditions=where)
            for i, (kind, where) in enumerate(zip(kinds, bound, strict=True))
        ),
        shows=tuple(tuple(rng.uniform(0.01, 0.99) for _ in range(conditions)) for _ in range(causes)),
        classes=tuple(sorted([0, 1, 2, 3, *(rng.randrange(4) for _ in range(causes - 4))])),
    )


def random_weights(rng: random.Random, check: PlainCheck) -> tuple[tuple[float, ...] | None, ...]:
    """One answer: sure or not, at all its places or only some."""
    m = len(check.otherwise)
    found: list[tuple[float, ...] | None] = []
    for _ in check.given[0]:
        looked = rng.random() < 0.8
        found.append(reported_weights(rng.randrange(m), m, rng.choice((1.0, 0.98, 0.8, 0.6))) if looked else None)
    return tuple(found)


def random_spells(seed: int, model: Plain) -> list[SlowSpell]:
    """One to four spells, some in a condition not known, each check at most once in a spell, `ever` once in all."""
    rng = random.Random(seed + 1000)
    used: set[int] = set()
    spells: list[SlowSpell] = []
    for _ in range(rng.randint(1, 4)):
        answers = []
        for number in rng.sample(range(len(model.checks)), rng.randint(0, 4)):
            if number in used:
                continue
            if model.checks[number].ever:
                used.add(number)
            answers.append((number, random_weights(rng, model.checks[number])))
        spells.append((rng.choice((None, 0, 1, 2)), answers))
    return spells


def as_spells(spells: list[SlowSpell]) -> tuple[Spell, ...]:
    """The same spells as the engine takes them."""
    return tuple(Spell(condition, tuple(Evidence(n, w) for n, w in answers)) for condition, answers in spells)


def with_echoes(seed: int) -> tuple[Plain, list[SlowSpell]]:
    """A model whose checks stand for some of those before them, and spells in which the same is looked at again."""
    rng = random.Random(seed + 2000)
    model = random_model(seed)
    checks = []
    for number, check in enumerate(model.checks):
        others = frozenset(n for n in range(number) if rng.random() < 0.3)
        checks.append(replace(check, stands_for=others, provokes=False))
    model = replace(model, checks=tuple(checks))
    spells: list[SlowSpell] = []
    for _ in range(rng.randint(1, 4)):
        numbers = [rng.randrange(len(checks)) for _ in range(rng.randint(0, 6))]
        spells.append((rng.choice((None, 0, 1, 2)), [(n, random_weights(rng, checks[n])) for n in numbers]))
    return model, spells
