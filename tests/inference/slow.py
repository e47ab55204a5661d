"""The model of design section 3 by enumeration, in plain Python: slow, and sharing no code with the engine.

    L_e(c) = sum over s in {showing, quiet} of P(s | c, k_e) * product over answers i in e of P(o_i | c, s)
    P(c | answers) is proportional to prior(c) * product over spells of L_e(c)

An answer is (check number, weights by place or None); a spell is (condition or None, [answers]).
"""

from __future__ import annotations

from itertools import product
from math import log2, prod

from tests.support import Plain, PlainCheck

Weights = tuple[float, ...] | None
Answer = tuple[int, tuple[Weights, ...]]
SlowSpell = tuple[int | None, list[Answer]]


def row(check: PlainCheck, cause: int, place: int, showing: bool) -> tuple[float, ...]:
    """P(outcome | cause, state) at a place."""
    sees = showing or check.ever or check.provokes
    return check.given[cause][place] if sees else check.otherwise


def chance(model: Plain, cause: int, condition: int | None, brought_on: float = 0.0) -> float:
    """P(showing | cause, condition); a provocation that was answered makes it as good as sure."""
    shows = model.shows[cause]
    before = sum(shows) / len(shows) if condition is None else shows[condition]
    return before + brought_on * max(0.0, 1.0 - model.unlikeliest - before)


def brought_on(model: Plain, answers: list[Answer]) -> float:
    sure = [0.0]
    for number, weights in answers:
        if model.checks[number].provokes:
            sure += [1.0 - w[0] / sum(w) for w in weights if w is not None]
    return max(sure)


def state_chances(model: Plain, cause: int, spell: SlowSpell) -> tuple[float, float]:
    """P(answers of the spell, state | cause) for showing and for quiet."""
    condition, answers = spell
    p = chance(model, cause, condition, brought_on(model, answers))
    found = []
    for showing, total in ((True, p), (False, 1.0 - p)):
        for number, weights in answers:
            for place, w in enumerate(weights):
                if w is not None:
                    total *= sum(
                        a * b for a, b in zip(w, row(model.checks[number], cause, place, showing), strict=True)
                    )
        found.append(total)
    return found[0], found[1]


def joint(model: Plain, spells: list[SlowSpell]) -> list[float]:
    """P(cause, answers)."""
    return [
        p * prod(sum(state_chances(model, cause, spell)) for spell in spells) for cause, p in enumerate(model.prior)
    ]


def belief(model: Plain, spells: list[SlowSpell]) -> list[float]:
    found = joint(model, spells)
    return [p / sum(found) for p in found]


def showing_now(model: Plain, spells: list[SlowSpell]) -> list[float]:
    """P(the last spell is showing | cause, answers)."""
    return [a / (a + b) for a, b in (state_chances(model, c, spells[-1]) for c in range(len(model.prior)))]


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
