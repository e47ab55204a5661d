"""Small builders for tests: plain numbers in, the engine's tables out.

A `Plain` model is written in lists and is all that the slow reference (tests/inference/slow.py) reads; `make_tables`
turns the same lists into the engine's arrays. Nothing here computes a probability.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from reasoner.inference.belief import Belief, believe
from reasoner.inference.evidence import Evidence, Spell, reported_weights
from reasoner.inference.plan import Costs, Situation
from reasoner.mistake import Place
from reasoner.network import activity
from reasoner.network.graph import Cause
from reasoner.network.tables import CheckTable, Tables, chance_of_the_same
from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.rulebook.model import Origin

Row = tuple[float, ...]


@dataclass(frozen=True)
class PlainCheck:
    """given: for each cause, for each place, a distribution over the outcomes. otherwise: with nothing to see."""

    name: str
    otherwise: Row
    given: tuple[tuple[Row, ...], ...]
    ever: bool = True
    provokes: bool = False
    conditions: tuple[int, ...] = ()
    stands_for: frozenset[int] = frozenset()
    after: tuple[int, ...] = ()
    minutes: float = 0.0
    wait: float = 0.0
    money: float = 0.0
    hazards: int = 0
    needs: frozenset[str] = frozenset()
    weight: float = 1e12
    alike: float = 0.0
    together: float = 0.0


@dataclass(frozen=True)
class Plain:
    """prior: (C,). shows: (C, K). classes: (C,), never decreasing."""

    prior: tuple[float, ...]
    checks: tuple[PlainCheck, ...]
    shows: tuple[tuple[float, ...], ...]
    classes: tuple[int, ...]
    unlikeliest: float = 0.005
    weight: float = 20.0
    sigma: float = 0.0
    same_again: float = 0.0
    reach: tuple[tuple[tuple[float, float], ...], ...] = field(default=())


def check(name: str, given: Sequence[Sequence[float]], otherwise: Sequence[float] = (), **more: object) -> PlainCheck:
    """A check on the whole engine. given: (C, m). It stays for ever unless `ever=False`."""
    rows = tuple((tuple(row),) for row in given)
    base = tuple(otherwise) or tuple([1.0 / len(given[0])] * len(given[0]))
    return PlainCheck(name, base, rows, **more)  # type: ignore[arg-type]


def yes_no(name: str, yes: Sequence[float], **more: object) -> PlainCheck:
    """A check with outcomes no, yes; `yes` is P(yes | cause)."""
    return check(name, [(1.0 - p, p) for p in yes], **more)


def plain(
    prior: Sequence[float],
    checks: Sequence[PlainCheck],
    shows: Sequence[Sequence[float]] | None = None,
    classes: Sequence[int] | None = None,
    **more: object,
) -> Plain:
    """A model whose causes always show and each have a repair of their own, unless said."""
    every = [(1.0,)] * len(prior) if shows is None else shows
    return Plain(
        tuple(prior),
        tuple(checks),
        tuple(tuple(row) for row in every),
        tuple(range(len(prior)) if classes is None else classes),
        **more,  # type: ignore[arg-type]
    )


def make_tables(model: Plain, vehicle: Vehicle | None = None) -> Tables:
    """The engine's tables of a plain model, with nothing rounded, floored or normalised on the way."""
    vehicle = a_vehicle() if vehicle is None else vehicle
    assert list(model.classes) == sorted(model.classes), "causes are sorted by class"
    count, kinds = len(model.prior), max(model.classes) + 1
    conditions = len(model.shows[0])
    everywhere = frozenset(range(1, vehicle.cylinders + 1))
    names = [f"cause-{i}" for i in range(count)]
    shown = np.array(model.shows, dtype=float)
    chances = activity.activities(model.sigma)[1]
    reach = np.array(model.reach, dtype=float) if model.reach else np.zeros((conditions + 1, conditions, 2))
    return Tables(
        vehicle=vehicle,
        causes=tuple(Cause(n, n, "engine", everywhere, p) for n, p in zip(names, model.prior, strict=True)),
        prior=np.array(model.prior),
        fault_of=np.arange(count),
        faults=tuple(names),
        class_of=np.array(model.classes),
        class_starts=np.searchsorted(model.classes, np.arange(kinds)),
        classes=tuple((f"repair-{i}", "engine") for i in range(kinds)),
        conditions=tuple(f"condition-{k}" for k in range(conditions)),
        shows=shown,
        shows_row=np.arange(count * conditions).reshape(count, conditions),
        shows_origins=(origin(model.weight),) * (count * conditions),
        sigma=model.sigma,
        acts=activity.acts(shown, model.sigma),
        nodes=np.broadcast_to(chances, (count, len(chances))),
        prior_weights=np.full(count, model.weight),
        checks=tuple(check_table(c, model.same_again) for c in model.checks),
        reach=reach,
        gates=((),) * conditions,
        condition_hazards=np.zeros(conditions, dtype=np.intp),
        condition_needs=(frozenset[str](),) * conditions,
        unlikeliest=model.unlikeliest,
    )


def plainly(tables: Tables) -> Tables:
    """The same tables for cars that do not differ in how often a fault shows, every look being news: what a library
    for Bayesian networks can be told."""
    checks = tuple(replace(c, again=np.zeros(len(c.rows)), alike=0.0, together=0.0) for c in tables.checks)
    nodes = np.ones((len(tables.prior), 1))
    return replace(tables, sigma=0.0, acts=tables.shows[..., None], nodes=nodes, checks=checks)


def check_table(check: PlainCheck, same_again: float = 0.0) -> CheckTable:
    rows: list[Row] = [check.otherwise]
    numbers: dict[Row, int] = {check.otherwise: 0}
    index = []
    for by_place in check.given:
        for row in by_place:
            if row not in numbers:
                numbers[row] = len(rows)
                rows.append(row)
        index.append([numbers[row] for row in by_place])
    places = len(check.given[0])
    return CheckTable(
        name=check.name,
        outcomes=tuple(f"outcome-{i}" for i in range(len(check.otherwise))),
        places=("engine",) if places == 1 else tuple(f"cylinder {i + 1}" for i in range(places)),
        rows=np.array(rows),
        origins=(origin(check.weight),) * len(rows),
        index=np.array(index),
        alike=check.alike,
        again=chance_of_the_same((origin(check.weight),) * len(rows), same_again),
        ever=check.ever,
        provokes=check.provokes,
        conditions=check.conditions,
        stands_for=check.stands_for,
        after=check.after,
        minutes=check.minutes,
        wait=check.wait,
        money=check.money,
        hazards=check.hazards,
        needs=check.needs,
        leaves=None,
        together=check.together,
    )


def origin(weight: float) -> Origin:
    return Origin("judgement", weight, Place("test", 1))


def a_vehicle(layout: str = "inline 4", **fields: str) -> Vehicle:
    vehicle, mistakes = vehicle_from({"layout": layout, **{k.replace("_", " "): v for k, v in fields.items()}})
    assert vehicle is not None, mistakes
    return vehicle


def seen(tables: Tables, name: str, *outcomes: int | None, right: float = 1.0, number: int = 0) -> Evidence:
    """An answer: an outcome for each place (None: not looked at), right with this chance."""
    number_of, table = tables.check_number[name], tables.checks[tables.check_number[name]]
    m = len(table.outcomes)
    assert len(outcomes) == len(table.places)
    weights = tuple(None if o is None else reported_weights(o, m, right) for o in outcomes)
    return Evidence(number_of, weights, number)


def spell(*answers: Evidence, condition: int | None = 0) -> Spell:
    return Spell(condition, answers)


def posterior(tables: Tables, *answers: Evidence, condition: int | None = 0) -> np.ndarray:
    """Belief after answers that all belong to one spell."""
    return believe(tables, (Spell(condition, answers),)).probability


def explained(tables: Tables, belief: Belief) -> np.ndarray:
    """(Q,) decibans by which each pair of causes explains the answers better than the better of the two alone."""
    fits = np.log(belief.probability) - np.log(tables.prior)
    found: np.ndarray = 10 / np.log(10) * (fits[-len(tables.pairs) :] - fits[tables.pairs].max(axis=1))
    return found


def situation(tables: Tables, spells: Sequence[Spell] = (), **more: object) -> Situation:
    """Where a case stands after these spells, with nothing marked as done."""
    belief = believe(tables, spells)
    p, showing = belief.probability, belief.showing
    here = spells[-1].condition if spells else None
    return replace(Situation(p * showing, p * (1.0 - showing), here), **more)  # type: ignore[arg-type]


# Every question costs its own minutes and nothing else; a case is settled when one class is left.
BARE = Costs(asking_minutes=0.0, waiting_counts=1.0, hazard_minutes=0.0, dominates=1.0 - 1e-9, lead=1.0)
