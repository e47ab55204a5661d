"""The graph as numpy tables: all that inference needs, and nothing else.

Causes are sorted by repair class, so that sums over a class are sums over a slice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import product

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from reasoner.network import activity
from reasoner.network import graph as g
from reasoner.network.activity import Array as Array
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import At, Check, Condition, Frequency, Kept, Origin, Rulebook, Sees

Index = NDArray[np.intp]

TABLES_KEPT = 8  # tables kept, each with what was worked out from them
ROW_MOVES = 0.02  # a row that differs by less from what a sound part shows says nothing; judgement


def chance_of_the_same(origins: Sequence[Origin], same_again: float) -> Array:
    """(D,) chance that a second look sees what the first one saw: as a lasting fact of this car, or because the number
    of the rules is off by the same each time. A mean that is worth w cases makes two draws alike with chance
    1 / (w + 1) (Polya's urn)."""
    wrong = 1.0 / (np.array([origin.weight for origin in origins]) + 1.0)
    return np.asarray(same_again + (1.0 - same_again) * wrong, dtype=float)


@dataclass(frozen=True, eq=False)
class CheckTable:
    """One check's outcome probabilities.

    rows: (D, m) distinct distributions over the m outcomes; row 0 is `otherwise`.
    origins: D, who says so and how many cases that is worth.
    index: (C, P) the row that holds for cause c at place p while the fault is showing.
    again: (D,) chance that a second look at the same place sees only again what the first one saw.
    alike: chance that what is seen where there is nothing to see is the same at all its places (0 with one place).
    together: the same of what is seen while the fault shows, under a cause with one row at all its places: of banks,
    and where the rules say `all alike`.
    not_rich: number of the outcome that says that it is not rich now, of a check that needs it to be; None: it needs
    nothing.
    steady: the state does not matter (`sees: ever`, or the check provokes the fault itself).
    blends: (a, b, c) where of two faults one shows outcome a and the other b, c is there.
    places: names of the P places; ("engine",) for a check on the whole engine.
    conditions: numbers of the conditions it can be done in; empty = anywhere.
    """

    name: str
    outcomes: tuple[str, ...]
    places: tuple[str, ...]
    rows: Array
    origins: tuple[Origin, ...]
    index: Index
    again: Array
    alike: float
    ever: bool
    provokes: bool
    conditions: tuple[int, ...]
    stands_for: frozenset[int]
    after: tuple[int, ...]
    minutes: float
    wait: float
    money: float
    hazards: int
    needs: frozenset[str]
    leaves: int | None
    together: float = 0.0
    not_rich: int | None = None
    blends: tuple[tuple[int, int, int], ...] = ()
    kept: Kept = field(default_factory=Kept, init=False, repr=False)

    @property
    def steady(self) -> bool:
        return self.ever or self.provokes

    @cached_property
    def patterns(self) -> tuple[Index, Index]:
        """Distinct rows of `index` (U, P) and each cause's pattern (C,); the quiet pattern is appended last."""
        kinds, of = np.unique(self.index, axis=0, return_inverse=True)
        quiet = np.zeros((1, len(self.places)), dtype=np.intp)
        return np.vstack([kinds, quiet]), of.reshape(-1)

    @property
    def joint_outcomes(self) -> int:
        """How many joint outcomes all the places have together."""
        return int(len(self.outcomes) ** len(self.places))


@dataclass(frozen=True, eq=False)
class Tables:
    """prior: (C,). shows: (C, K), chance that the cause acts in a spell of the condition, on the mean of all cars.

    sigma: how much cars differ in that; acts: (C, K, J) the same at each of J activities; nodes: (C, J) the chances of
    these (see `network.activity`).
    class_starts: where each repair class begins among the sorted causes; class_of: (C,).
    reach: (K + 1, K, 2) minutes and waiting minutes to begin a new spell of condition k from each condition
    (the last row: from a state not known).
    pairs: (Q, 2) the last Q causes are two faults at once: the numbers of the two of each (see `inference.pairs`).
    singles: the tables without these; None where there are none.
    """

    vehicle: Vehicle
    causes: tuple[g.Cause, ...]
    prior: Array
    fault_of: Index
    faults: tuple[str, ...]
    class_of: Index
    class_starts: Index
    classes: tuple[tuple[str, str], ...]
    conditions: tuple[str, ...]
    shows: Array
    shows_row: Index
    shows_origins: tuple[Origin, ...]
    sigma: float
    acts: Array
    nodes: Array
    prior_weights: Array
    checks: tuple[CheckTable, ...]
    reach: Array
    gates: tuple[tuple[int, ...], ...]
    condition_hazards: NDArray[np.intp]
    condition_needs: tuple[frozenset[str], ...]
    unlikeliest: float
    pairs: Index = field(default_factory=lambda: np.zeros((0, 2), dtype=np.intp))
    singles: Tables | None = None
    kept: Kept = field(default_factory=Kept, init=False, repr=False)

    @cached_property
    def check_number(self) -> Mapping[str, int]:
        return {check.name: i for i, check in enumerate(self.checks)}

    @cached_property
    def condition_number(self) -> Mapping[str, int]:
        return {name: i for i, name in enumerate(self.conditions)}

    @cached_property
    def stood_for_by(self) -> Mapping[int, tuple[int, ...]]:
        """By check: the checks that stand for it, whose answers take the place of its own."""
        found: dict[int, list[int]] = {}
        for number, check in enumerate(self.checks):
            for other in sorted(check.stands_for):
                found.setdefault(other, []).append(number)
        return {other: tuple(numbers) for other, numbers in found.items()}

    @cached_property
    def cause_number(self) -> Mapping[str, int]:
        return {cause.name: i for i, cause in enumerate(self.causes)}

    @cached_property
    def ways(self) -> list[list[tuple[float, float]]]:
        """`reach` as plain numbers."""
        return [[(minutes, wait) for minutes, wait in row] for row in self.reach.tolist()]

    @cached_property
    def activities(self) -> Array:
        """(J,) chances of the activities of a car of which nothing is known."""
        return activity.activities(self.sigma)[1]

    def acting(self, condition: int | None) -> Array:
        """(C, J) chance of showing at each activity; not knowing the condition, the mean over all of them."""
        found: Array = self.acts.mean(axis=1) if condition is None else self.acts[:, condition]
        return found

    def with_prior(self, prior: Sequence[float] | Array) -> Tables:
        """The same tables with other probabilities of the causes (C,), which need not add up to 1."""
        return replace(self, prior=np.array(prior) / sum(prior))


def tables_of(book: Rulebook, vehicle: Vehicle, work: Iterable[str] = ()) -> Tables:
    """The tables of a vehicle, the latest few made once: two vehicles with equal fields are one. work: the repairs done
    to it."""
    done = frozenset(work)
    key = tuple(sorted(vehicle.fields.items())), done

    def work_out() -> Tables:
        return compile_tables(book, vehicle, g.build_graph(book, vehicle, done))

    return book.kept.once("tables", key, work_out, TABLES_KEPT)


def compile_tables(book: Rulebook, vehicle: Vehicle, graph: nx.DiGraph | None = None) -> Tables:
    """Rules and a vehicle to tables, by way of the graph."""
    graph = g.build_graph(book, vehicle) if graph is None else graph

    def repair_class(cause: g.Cause) -> tuple[str, str]:
        return book.faults[cause.fault].repair, cause.where

    entries = [data["entry"] for (kind, _), data in graph.nodes(data=True) if kind == "cause"]
    found = _Causes.of(book, sorted(entries, key=repair_class))  # stable: within a class, the order written
    classes = tuple(dict.fromkeys(map(repair_class, found.causes)))
    class_of = np.array([classes.index(repair_class(c)) for c in found.causes], dtype=np.intp)

    floor = book.settings.unlikeliest
    shows, shows_row, shows_origins = _showing(book, graph, found)
    shows = np.clip(shows, floor, 1 - floor)
    sigma = book.settings.activity_varies
    chances = activity.activities(sigma)[1]
    numbers = {name: i for i, name in enumerate(n for kind, n in graph if kind == "check")}
    checks = tuple(_check(book, graph, book.checks[name], vehicle, found, numbers) for name in numbers)
    gates = tuple(tuple(numbers[n] for n in c.after if n in numbers) for c in book.conditions.values())
    hazards = np.array([_hazards(book, c.cautions) for c in book.conditions.values()], dtype=np.intp)
    return Tables(
        vehicle=vehicle,
        causes=found.causes,
        prior=found.prior,
        fault_of=found.fault_of,
        faults=found.faults,
        class_of=class_of,
        class_starts=np.searchsorted(class_of, np.arange(len(classes))),
        classes=classes,
        conditions=tuple(book.conditions),
        shows=shows,
        shows_row=shows_row,
        shows_origins=shows_origins,
        sigma=sigma,
        acts=activity.acts(shows, sigma),
        nodes=np.broadcast_to(chances, (len(shows), len(chances))),
        prior_weights=np.array([book.faults[name].origin.weight for name in found.faults]),
        checks=checks,
        reach=book.kept.once("reach", None, lambda: reach_table(tuple(book.conditions.values()))),
        gates=gates,
        condition_hazards=hazards,
        condition_needs=tuple(frozenset(c.needs) for c in book.conditions.values()),
        unlikeliest=floor,
    )


@dataclass(frozen=True, eq=False)
class _Causes:
    """The causes as tables know them: prior (C,), fault_of (C,); spare: the numbers of the faults that stand for
    anything else."""

    causes: tuple[g.Cause, ...]
    prior: Array
    faults: tuple[str, ...]
    fault_of: Index
    spare: tuple[int, ...]

    @classmethod
    def of(cls, book: Rulebook, causes: Sequence[g.Cause]) -> _Causes:
        prior = np.array([c.prior for c in causes])
        faults = tuple(dict.fromkeys(c.fault for c in causes))
        fault_of = np.array([faults.index(c.fault) for c in causes], dtype=np.intp)
        spare = tuple(i for i, name in enumerate(faults) if book.faults[name].anything_else)
        return cls(tuple(causes), prior / prior.sum(), faults, fault_of, spare)

    @cached_property
    def unknown(self) -> NDArray[np.bool_]:
        """(C,) which stand for anything else."""
        return np.isin(self.fault_of, self.spare)

    def touch(self, places: Sequence[frozenset[int]]) -> NDArray[np.bool_]:
        """(C, P) whether a cause is at a place, by the cylinders of each; all are at the whole engine (none named)."""
        key = tuple(places)
        if key not in self._touching:
            each = [[not at or not at.isdisjoint(cause.cylinders) for at in places] for cause in self.causes]
            self._touching[key] = np.array(each, dtype=bool).reshape(len(self.causes), len(places))
        return self._touching[key]

    def within(self, banks: Sequence[Sequence[int]], places: Sequence[frozenset[int]]) -> NDArray[np.bool_]:
        """(C, P) whether a place is on a bank on which a cause has a cylinder. A cause of whole banks is on all: what
        it does to the other bank it does itself."""
        sides = tuple(frozenset(bank) for bank in banks)
        key = sides, tuple(places)
        if key not in self._reaching:
            found = np.ones((len(self.causes), len(places)), dtype=bool)
            for c, cause in enumerate(self.causes):
                if not any(side <= cause.cylinders for side in sides):
                    reached = frozenset().union(*(side for side in sides if side & cause.cylinders))
                    found[c] = [bool(at & reached) for at in places]
            self._reaching[key] = found
        return self._reaching[key]

    @cached_property
    def _reaching(self) -> dict[tuple[object, ...], NDArray[np.bool_]]:
        return {}

    @cached_property
    def _touching(self) -> dict[tuple[frozenset[int], ...], NDArray[np.bool_]]:
        return {}


def _hazards(book: Rulebook, names: Sequence[str]) -> int:
    return sum(book.cautions[name].hazard for name in names)


def _showing(book: Rulebook, graph: nx.DiGraph, causes: _Causes) -> tuple[Array, Index, tuple[Origin, ...]]:
    """(C, K) showing probabilities; (C, K) the number of the parameter behind each; the parameters' origins.

    `Something not in these rules` shows as the mean of all the others: it must claim nothing of its own.
    """
    faults = causes.faults
    values = np.zeros((len(faults), len(book.conditions)))
    rows = np.zeros((len(faults), len(book.conditions)), dtype=np.intp)
    origins: dict[object, int] = {}
    found: list[Origin] = []
    for i, name in enumerate(faults):
        for k, condition in enumerate(book.conditions):
            frequency = g.showing(graph, name, condition) or book.settings.shows_unless_said
            values[i, k] = frequency.value
            key = (frequency.place, name)
            if key not in origins:
                origins[key] = len(found)
                found.append(_frequency_origin(frequency, book.faults[name].origin))
            rows[i, k] = origins[key]
    by_fault = np.bincount(causes.fault_of, weights=causes.prior, minlength=len(faults))
    rest = [i for i in range(len(faults)) if i not in causes.spare]
    for i in causes.spare:
        weights = by_fault[rest] if by_fault[rest].any() else np.ones(len(rest))
        values[i] = np.average(values[rest], axis=0, weights=weights) if rest else 0.5
    return values[causes.fault_of], rows[causes.fault_of], tuple(found)


def _frequency_origin(frequency: Frequency, default: Origin) -> Origin:
    return Origin(default.source, frequency.cases or default.weight, frequency.place, default.because)


def distribution_row(check: Check, named: Mapping[str, Frequency], base: Sequence[float], floor: float) -> list[float]:
    """One distribution over the outcomes, from what was written.

    Outcomes not named keep `base`; the first outcome takes the rest unless it is named itself. Words are rough: if
    the named ones pass 1 they are scaled down. Nothing falls below `floor`.
    """
    names = [outcome.name for outcome in check.outcomes]
    values = [named[n].value if n in named else base[i] for i, n in enumerate(names)]
    if names[0] not in named:
        values[0] = max(0.0, 1.0 - sum(values[1:]))
    total = sum(values)
    values = [v / total for v in values]
    low = [v <= floor for v in values]
    spare = 1.0 - floor * sum(low)
    high = sum(v for v, is_low in zip(values, low, strict=True) if not is_low)
    values = [floor if is_low else v * spare / high for v, is_low in zip(values, low, strict=True)]
    return values


def _check(
    book: Rulebook, graph: nx.DiGraph, check: Check, vehicle: Vehicle, causes: _Causes, numbers: Mapping[str, int]
) -> CheckTable:
    places = list(g.places(check.at, vehicle)) if check.at is not At.ENGINE else [("engine", frozenset[int]())]
    rows, origins, index = _rows(book, graph, check, causes, [cylinders for _, cylinders in places])
    if check.elsewhere_in == "bank":
        index = np.where(causes.within(vehicle.banks, [cylinders for _, cylinders in places]), index, 0)
    if causes.spare:
        rows, index = _spare_rows(rows, index, causes)
        origins += [book.faults[causes.faults[causes.spare[0]]].origin] * len(places)
    conditions = {name: i for i, name in enumerate(book.conditions)}
    outcomes = {outcome.name: i for i, outcome in enumerate(check.outcomes)}
    return CheckTable(
        name=check.name,
        outcomes=tuple(o.name for o in check.outcomes),
        places=tuple(where for where, _ in places),
        rows=rows,
        origins=tuple(origins),
        index=index,
        again=chance_of_the_same(origins, book.settings.same_again),
        alike=book.settings.same_everywhere if len(places) > 1 else 0.0,
        ever=check.sees is Sees.EVER,
        provokes=check.provokes,
        conditions=tuple(conditions[n] for n in check.conditions),
        stands_for=frozenset(numbers[n] for n in check.stands_for if n in numbers),
        after=tuple(numbers[n] for n in check.after if n in numbers),
        minutes=book.settings.work(check),
        wait=check.wait,
        money=check.money,
        hazards=_hazards(book, check.cautions),
        needs=frozenset(check.needs),
        leaves=conditions.get(check.leaves),
        together=check.all_alike
        or (book.settings.same_at_banks if check.at is At.BANK and check.sees is Sees.NOW else 0.0),
        not_rich=next((n for n, o in enumerate(check.outcomes) if o.name == check.while_rich), None),
        blends=tuple((outcomes[a], outcomes[b], outcomes[both]) for both, (a, b) in check.two_show.items()),
    )


def _rows(
    book: Rulebook, graph: nx.DiGraph, check: Check, causes: _Causes, places: Sequence[frozenset[int]]
) -> tuple[Array, list[Origin], Index]:
    """What the rules say of a check, as (rows, origins, index) of its table. places: the cylinders of each; none: the
    whole engine, which every cause touches."""
    floor = book.settings.unlikeliest
    base = distribution_row(check, check.otherwise.here, [floor] * len(check.outcomes), floor)
    rows: list[list[float]] = [base]
    origins = [check.otherwise.origin]
    known: dict[g.GraphNode, tuple[int, int]] = {}  # its rows here and elsewhere, by who speaks

    def add(who: g.GraphNode, where: str, named: Mapping[str, Frequency], origin: Origin) -> int:
        key = check.name, who, where  # the same on every car
        rows.append(book.kept.once("distributions", key, lambda: distribution_row(check, named, base, floor)))
        origins.append(origin)
        return len(rows) - 1

    by_fault = np.zeros((len(causes.faults), 2), dtype=np.intp)
    for fault, (who, statement) in g.statements_under(graph, causes.faults, check.name).items():
        if who not in known:
            there, origin = statement.elsewhere, statement.origin
            known[who] = (
                add(who, "here", statement.here, origin),
                0 if there is None else add(who, "elsewhere", there, origin),
            )
        by_fault[fault] = known[who]
    here, elsewhere = by_fault[causes.fault_of].T[..., None]
    return np.array(rows), origins, np.where(causes.touch(places), here, elsewhere)


def _spare_rows(rows: Array, index: Index, causes: _Causes) -> tuple[Array, Index]:
    """`Something not in these rules` at each place: what a sound part shows, so far as a check points at few causes,
    and the mean of those it speaks of, so far as it speaks of many. With a row more for each place.

    s, the prior share of the causes that the check speaks of there, counts for the latter by s^2 / (s^2 + (1 - s)^2):
    little where s is small, nearly all of it where s is large (judgement).
    """
    unknown = causes.unknown
    weights = np.where(unknown, 0.0, causes.prior)
    speaks = np.abs(rows - rows[0]).sum(axis=1) > ROW_MOVES
    index = index.copy()
    for p in range(index.shape[1]):
        per_row = np.bincount(index[:, p], weights=weights, minlength=len(rows))[: len(speaks)] * speaks
        share = per_row.sum() / max(weights.sum(), 1e-300)
        part = share**2 / (share**2 + (1.0 - share) ** 2)
        mean = per_row @ rows[: len(speaks)] / per_row.sum() if per_row.any() else rows[0]
        rows = np.vstack([rows, (1.0 - part) * rows[0] + part * mean])
        index[unknown, p] = len(rows) - 1
    return rows, index


def reach_table(conditions: Sequence[Condition]) -> Array:
    """(K + 1, K, 2): the least minutes and waiting minutes to get into condition k, directly or by way of others.

    Ways are compared by minutes plus waiting. The last row is for a car whose state is not known. From a condition to
    itself it is what is written for a new spell: going out and straight back in makes none.
    """
    count = len(conditions)
    names = {c.name: i for i, c in enumerate(conditions)}
    cost = np.zeros((count + 1, count, 2))
    for k, condition in enumerate(conditions):
        cost[:, k] = condition.reach.minutes, condition.reach.wait
        for name, reach in condition.came_from.items():
            cost[names[name], k] = reach.minutes, reach.wait
    for via, start, end in product(range(count), range(count + 1), range(count)):
        way = cost[start, via] + cost[via, end]
        if len({via, start, end}) == 3 and way.sum() < cost[start, end].sum():
            cost[start, end] = way
    return cost
