"""The model of design section 3 by enumeration, in plain Python: slow, and sharing no code with the engine.

    P(c | answers) ~ prior(c) * sum over activities u of P(u) * sum over the states of all spells of
                     product over spells of P(state | c, k, u) * P(answers | c, states)

An answer is (check number, weights by place or None); a spell is (condition or None, [answers]).
"""

from __future__ import annotations

from functools import cache, lru_cache
from itertools import product
from math import exp, log2, prod, sqrt

from tests.support import Plain, PlainCheck

Weights = tuple[float, ...] | None
Answer = tuple[int, tuple[Weights, ...]]
SlowSpell = tuple[int | None, list[Answer]]


def row(check: PlainCheck, cause: int, place: int, showing: bool) -> tuple[float, ...]:
    """P(outcome | cause, state) at a place."""
    sees = showing or check.ever or check.provokes
    return check.given[cause][place] if sees else check.otherwise


def brought_on(model: Plain, answers: list[Answer]) -> float:
    sure = [0.0]
    for number, weights in answers:
        if model.checks[number].provokes:
            sure += [1.0 - w[0] / sum(w) for w in weights if w is not None]
    return max(sure)


@lru_cache
def activities(sigma: float) -> list[tuple[float, float]]:
    """(u, chance): the five points of Gauss-Hermite quadrature in closed form (roots of He5 = x^5 - 10 x^3 + 15 x)."""
    if not sigma:
        return [(0.0, 1.0)]
    near, far = sqrt(5 - sqrt(10)), sqrt(5 + sqrt(10))
    inner, outer = (7 + 2 * sqrt(10)) / 60, (7 - 2 * sqrt(10)) / 60
    return [(0.0, 8 / 15)] + [(sign * sigma * x, w) for x, w in ((near, inner), (far, outer)) for sign in (-1, 1)]


@cache
def acting(p: float, sigma: float) -> list[float]:
    """The chance of showing at each activity, its mean p: the log odds found by halving."""
    if not sigma or p in (0.0, 1.0):
        return [p] * len(activities(sigma))
    low, high = -60.0, 60.0
    for _ in range(200):
        middle = (low + high) / 2
        mean = sum(w / (1 + exp(-middle - u)) for u, w in activities(sigma))
        low, high = (middle, high) if mean < p else (low, middle)
    return [1 / (1 + exp(-low - u)) for u, _ in activities(sigma)]


def chance(model: Plain, cause: int, condition: int | None, node: int, forced: float = 0.0) -> float:
    """P(showing | cause, condition, activity); a provocation that was answered makes it as good as sure."""
    each = [acting(p, model.sigma)[node] for p in model.shows[cause]]
    before = sum(each) / len(each) if condition is None else each[condition]
    return before + forced * max(0.0, 1.0 - model.unlikeliest - before)


def lasting(row: tuple[float, ...], looks: list[Weights], again: float) -> float:
    """The likelihood of looks at one thing: two draws of a row, each look at one of the two by even chance; above 1/2
    partly one draw, below it partly a new one each time."""
    one = sum(p * prod(w[o] for w in looks if w) for o, p in enumerate(row))
    two = sum(p * q * prod((w[a] + w[b]) / 2 for w in looks if w) for a, p in enumerate(row) for b, q in enumerate(row))
    anew = prod(sum(x * y for x, y in zip(w, row, strict=True)) for w in looks if w)
    return max(0.0, 2 * again - 1) * one + 2 * min(again, 1 - again) * two + max(0.0, 1 - 2 * again) * anew


def told(model: Plain, cause: int, spells: list[SlowSpell], states: tuple[bool, ...]) -> float:
    """P(all answers | cause, states): looks with one check at one place under one row are looks at one thing."""
    things: dict[tuple[int, int, tuple[float, ...]], list[Weights]] = {}
    for (_, answers), showing in zip(spells, states, strict=True):
        for number, weights in answers:
            for place, w in enumerate(weights):
                if w is not None:
                    things.setdefault((number, place, row(model.checks[number], cause, place, showing)), []).append(w)
    found = 1.0
    nothing: dict[int, list[float]] = {}
    both: dict[int, list[float]] = {}
    for (number, _, its_row), looks in things.items():
        check = model.checks[number]
        again = model.same_again + (1 - model.same_again) / (check.weight + 1)
        if its_row == check.otherwise:
            nothing.setdefault(number, []).append(lasting(its_row, looks, again))
        elif check.together and set(check.given[cause]) == {its_row}:
            both.setdefault(number, []).append(lasting(its_row, looks, again))
        else:
            found *= lasting(its_row, looks, again)
    for number, each in nothing.items():
        check = model.checks[number]
        own = [w for (n, _, r), ws in things.items() if n == number and r == check.otherwise for w in ws if w]
        same = sum(p * prod(w[o] for w in own) for o, p in enumerate(check.otherwise))
        found *= (1 - check.alike) * prod(each) + check.alike * same
    for number, each in both.items():
        check, its_row = model.checks[number], model.checks[number].given[cause][0]
        own = [w for (n, _, r), ws in things.items() if n == number and r == its_row for w in ws if w]
        same = sum(p * prod(w[o] for w in own) for o, p in enumerate(its_row))
        found *= (1 - check.together) * prod(each) + check.together * same
    return found


def by_states(model: Plain, cause: int, spells: list[SlowSpell]) -> dict[tuple[bool, ...], float]:
    """P(states, all answers | cause)."""
    found: dict[tuple[bool, ...], float] = {}
    for states in product((True, False), repeat=len(spells)):
        answers = told(model, cause, spells, states)
        total = 0.0
        for node, (_, p) in enumerate(activities(model.sigma)):
            for (condition, given), showing in zip(spells, states, strict=True):
                q = chance(model, cause, condition, node, brought_on(model, given))
                p *= q if showing else 1 - q
            total += p
        found[states] = total * answers
    return found


def joint(model: Plain, spells: list[SlowSpell]) -> list[float]:
    """P(cause, answers)."""
    return [p * sum(by_states(model, cause, spells).values()) for cause, p in enumerate(model.prior)]


def belief(model: Plain, spells: list[SlowSpell]) -> list[float]:
    found = joint(model, spells)
    return [p / sum(found) for p in found]


def showed(model: Plain, spells: list[SlowSpell], number: int = -1) -> list[float]:
    """P(a spell was showing | cause, answers)."""
    found = []
    for cause in range(len(model.prior)):
        each = by_states(model, cause, spells)
        found.append(sum(p for states, p in each.items() if states[number]) / sum(each.values()))
    return found


def showing_now(model: Plain, spells: list[SlowSpell]) -> list[float]:
    """P(the last spell is showing | cause, answers)."""
    return showed(model, spells)


def mutual_information(pairs: dict[tuple[object, object], float]) -> float:
    """Bits, straight from the definition: sum of p(x, y) log2 (p(x, y) / (p(x) p(y)))."""
    left: dict[object, float] = {}
    right: dict[object, float] = {}
    for (x, y), p in pairs.items():
        left[x] = left.get(x, 0.0) + p
        right[y] = right.get(y, 0.0) + p
    return sum(p * log2(p / (left[x] * right[y])) for (x, y), p in pairs.items() if p > 0)


def gain(
    model: Plain, number: int, probability: list[float], shows: list[float], place: int | None = None, times: int = 1
) -> float:
    """I(repair class; outcomes), the outcomes of all places listed one by one.

    shows: P(showing | cause) for each look. times: looks, each in a spell of its own, in order.
    """
    check = model.checks[number]
    places = range(len(check.given[0])) if place is None else [place]
    one_look = list(product(range(len(check.otherwise)), repeat=len(places)))
    pairs: dict[tuple[object, object], float] = {}
    for cause, p in enumerate(probability):
        look = {
            outcome: sum(
                ps * prod(row(check, cause, q, state)[o] for q, o in zip(places, outcome, strict=True))
                for state, ps in ((True, shows[cause]), (False, 1.0 - shows[cause]))
            )
            for outcome in one_look
        }
        for sequence in product(one_look, repeat=times):
            key = (model.classes[cause], sequence)
            pairs[key] = pairs.get(key, 0.0) + p * prod(look[o] for o in sequence)
    return mutual_information(pairs)


def counted(model: Plain, spells: list[SlowSpell]) -> list[SlowSpell]:
    """Every piece of evidence once, place by place: the surer (then the later) look, and nothing that another look
    stands for: in its spell; in the whole case if it stays, or if the two checks share no condition."""
    best: dict[tuple[int, int, int], tuple[float, int, int, Weights]] = {}  # (check, place, spell or -1 if it stays)
    taken: set[tuple[int, int, int]] = set()  # (check, place, spell or -1 for all)
    order = 0
    for s, (_, answers) in enumerate(spells):
        for number, weights in answers:
            check = model.checks[number]
            looked = [place for place, w in enumerate(weights) if w is not None]
            for place in looked:
                w = weights[place]
                assert w is not None
                order += 1
                slot = (number, place, -1 if check.ever else s)
                if slot not in best or (max(w) / sum(w), order) > best[slot][:2]:
                    best[slot] = (max(w) / sum(w), order, s, w)
            for other in check.stands_for:
                theirs = model.checks[other]
                apart = bool(check.conditions and theirs.conditions) and not set(check.conditions) & set(
                    theirs.conditions
                )
                same_places = len(theirs.given[0]) == len(check.given[0])
                covered = looked if same_places else range(len(theirs.given[0])) if looked else []
                taken |= {(other, place, -1 if theirs.ever or apart else s) for place in covered}
    kept: list[SlowSpell] = [(condition, []) for condition, _ in spells]
    for (number, place, _), (_, _, s, w) in best.items():
        if (number, place, s) not in taken and (number, place, -1) not in taken:
            only = tuple(w if p == place else None for p in range(len(model.checks[number].given[0])))
            kept[s][1].append((number, only))
    return kept
