"""What can be done next and what it costs: a check in a condition, in the present spell, in a new one that must
first be brought about, or repeated over several new ones; and where each outcome would lead.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

import numpy as np

from reasoner.inference.evidence import Evidence, answer_likelihood, chance_showing, reported_weights
from reasoner.inference.exchangeable import cells
from reasoner.inference.gain import gain, marks
from reasoner.network.tables import Array, CheckTable, Tables

By = Literal["time", "money", "gain"]
REPEATS = (3, 5)
MOST_REPEATED_OUTCOMES = 9  # joint outcomes beyond which repeated looks are not enumerated


@dataclass(frozen=True)
class Costs:
    """What counts as cost. See `Settings` of the rules for meaning and source."""

    by: By = "time"
    asking_minutes: float = 1.0
    waiting_counts: float = 0.15
    hazard_minutes: float = 15.0
    hour_costs: float = 60.0
    least_gain: float = 0.02
    dominates: float = 0.9
    lead: float = 4.0
    waiting_most: float = 20.0
    dearer: float = 1.5

    def waiting(self, minutes: float) -> float:
        """What of a wait counts: a share of its minutes, and never more than leaving the car costs."""
        return min(self.waiting_counts * minutes, self.waiting_most)


class Option(NamedTuple):
    """A check in a condition. fresh: a new spell is begun for it. place: at that place only (provoking checks).

    first: a check that has to be done before (its evidence would be destroyed), or None.
    minutes: work, set-up included; wait: waiting; cost: as `Costs` counts it. gain: bits. ahead: what ranked it among
    the best few (see `choose`). saves: money that it is expected to save, against acting now (nan: not worked out).
    due: minutes of the trip that are spent whatever is chosen (see `Situation.named`); the cost is without them.
    tries: looks that one answer takes, as what could not be told elsewhere is as hard to tell here.
    """

    check: int
    condition: int | None
    fresh: bool
    place: int | None = None
    times: int = 1
    first: int | None = None
    minutes: float = 0.0
    wait: float = 0.0
    money: float = 0.0
    hazards: int = 0
    cost: float = 0.0
    gain: float = 0.0
    ahead: float = float("nan")
    saves: float = float("nan")
    due: float = 0.0
    tries: int = 1


@dataclass(frozen=True, eq=False)
class Instead:
    """Answers that a check would take the place of, as another reading of the same thing.

    showing, quiet: as in `Situation`, without those answers. bits: what they were expected to tell by themselves. The
    check tells what it would tell without them, less that: of the same thing nothing is learned twice.
    """

    showing: Array
    quiet: Array
    bits: float


@dataclass(frozen=True, eq=False)
class Situation:
    """Where the case stands. showing, quiet: (C,), P(cause and state of the present spell | answers).

    done: (check, place) asked in the present spell, or ever for checks that see for ever (place None: all places).
    unclear: (check, condition) that could not be told. barred: checks that cannot be done (no tool, not now).
    avoided: conditions that cannot be brought about. lacking: tools not at hand.
    instead: by (check, in a new spell): what it would take the place of.
    answered: checks answered or passed over at any time (opens gates). visited: conditions that have had a spell: a
    new one has to be brought about in full, as going out and straight back in makes none. named: conditions in which
    it happens, as the owner or a freeze frame says, and in which nobody has looked: that is done on any car, so what it
    costs to get there is no reason against it.
    """

    showing: Array
    quiet: Array
    condition: int | None
    done: frozenset[tuple[int, int | None]] = frozenset()
    unclear: frozenset[tuple[int, int | None]] = frozenset()
    barred: frozenset[int] = frozenset()
    avoided: frozenset[int] = frozenset()
    lacking: frozenset[str] = frozenset()
    answered: frozenset[int] = frozenset()
    visited: frozenset[int] = frozenset()
    instead: Mapping[tuple[int, bool], Instead] = field(default_factory=dict)
    named: frozenset[int] = frozenset()

    @property
    def probability(self) -> Array:
        return self.showing + self.quiet


def options(tables: Tables, now: Situation, costs: Costs) -> list[Option]:
    """Every check that can be done next, with its cost and without its gain."""
    once = once_each(tables, now, costs)
    return [*once, *(again for option in once for again in repeated_looks(tables, now, costs, option))]


def once_each(tables: Tables, now: Situation, costs: Costs) -> list[Option]:
    """The same, each look made once."""
    found = []
    for number, check in enumerate(tables.checks):
        done = (number, None) in now.done
        if number in now.barred or check.needs & now.lacking or (done and check.steady):
            continue
        for condition, fresh in _where(tables, check, now):
            if (number, condition) in now.unclear or (done and not fresh):
                continue
            if fresh and condition is not None and _out_of_reach(tables, now, condition):
                continue
            for place in _which(check, number, now):
                found.append(priced(tables, now, costs, Option(number, condition, fresh, place)))
    return found


def repeated_looks(tables: Tables, now: Situation, costs: Costs, option: Option) -> Iterator[Option]:
    """The same look several times, each in a new spell."""
    if can_repeat(tables, option):
        for times in REPEATS:
            yield priced(tables, now, costs, Option(option.check, option.condition, True, None, times))


def can_repeat(tables: Tables, option: Option) -> bool:
    """Whether the same look in several new spells can be reckoned with."""
    check = tables.checks[option.check]
    return option.fresh and not check.steady and option.place is None and check.joint_outcomes <= MOST_REPEATED_OUTCOMES


def _out_of_reach(tables: Tables, now: Situation, condition: int) -> bool:
    return condition in now.avoided or bool(tables.condition_needs[condition] & now.lacking)


def _where(tables: Tables, check: CheckTable, now: Situation) -> Iterator[tuple[int | None, bool]]:
    here = now.condition
    fits_here = not check.conditions or here in check.conditions
    if check.steady:
        # The state of the spell does not matter: the nearest condition will do.
        if fits_here:
            yield here, False
        else:
            from_here = tables.reach[len(tables.conditions) if here is None else here]
            yield min(check.conditions, key=lambda k: float(from_here[k].sum())), True
        return
    if fits_here:
        yield here, False
    for condition in check.conditions or range(len(tables.conditions)):
        yield condition, True


def _which(check: CheckTable, number: int, now: Situation) -> Iterator[int | None]:
    """A provoking check is done place by place; any other looks at all places at once."""
    if not check.provokes or len(check.places) == 1:
        yield None
        return
    for place in range(len(check.places)):
        if (number, place) not in now.done:
            yield place


def priced(tables: Tables, now: Situation, costs: Costs, option: Option) -> Option:
    """The option with its minutes, money, hazards and cost from where the case stands, gates included."""
    check = tables.checks[option.check]
    minutes, wait, hazards, money = check.minutes, check.wait, check.hazards, check.money
    first, due = _first(tables, now, check.after), 0.0
    if option.fresh and option.condition is not None:
        reach = tables.ways
        there = reach[_start(tables, now, option.condition)][option.condition]
        if option.condition in now.named:
            due = there[0] + costs.waiting(wait + there[1]) - costs.waiting(wait)
        minutes += there[0]
        wait += there[1]
        hazards += int(tables.condition_hazards[option.condition])
        if first is None:
            first = _first(tables, now, tables.gates[option.condition])
        if option.times > 1:
            again = reach[option.condition][option.condition]
            minutes += (option.times - 1) * (check.minutes + again[0])
            wait += (option.times - 1) * (check.wait + again[1])
            money *= option.times
    if first is not None:
        minutes += tables.checks[first].minutes
        hazards += tables.checks[first].hazards
    ready = check.provokes and option.check in now.answered  # done at another place before: no more to get ready for
    danger = 0.0 if ready else costs.hazard_minutes * min(hazards, 2)
    tries = 1 if check.steady else 1 + sum(number == option.check for number, _ in now.unclear)
    work = tries * (costs.asking_minutes + minutes + costs.waiting(wait) - due + danger)
    cost = work if costs.by == "time" else 1.0 if costs.by == "gain" else money + work / 60.0 * costs.hour_costs
    return Option(
        option.check,
        option.condition,
        option.fresh,
        option.place,
        option.times,
        first,
        minutes,
        wait,
        money,
        hazards,
        cost,
        due=due,
        tries=tries,
    )


def _first(tables: Tables, now: Situation, gates: Iterable[int]) -> int | None:
    """What has to be done before: not what is known, nor what there is no tool for."""
    for n in gates:
        if n not in now.answered and not tables.checks[n].needs & now.lacking:
            return n
    return None


def _start(tables: Tables, now: Situation, condition: int) -> int:
    """The row of the reach table that holds for a new spell of a condition."""
    if now.condition is None or (condition in now.visited and condition != now.condition):
        return len(tables.conditions)
    return now.condition


def state_chances(tables: Tables, now: Situation, option: Option) -> tuple[Array, Array]:
    """P(cause, showing) and P(cause, quiet) at the moment of the look."""
    if not option.fresh or option.condition is None:
        return now.showing, now.quiet
    probability, shows = now.probability, tables.shows[:, option.condition]
    return probability * shows, probability * (1.0 - shows)


class Moments:
    """When looks are made: each with P(cause, showing) and P(cause, quiet), once for all looks made at that moment."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self._known: dict[tuple[object, ...], int] = {}
        self._states: list[tuple[Array, Array]] = []

    def of(self, number: int, now: Situation, option: Option) -> int:
        """The number of the moment. number: of the situation among those that are looked at together."""
        key = number, option.condition if option.fresh else None
        if key not in self._known:
            self._known[key] = self.add(*state_chances(self._tables, now, option))
        return self._known[key]

    def add(self, showing: Array, quiet: Array) -> int:
        """One more moment, and its number."""
        self._states.append((showing, quiet))
        return len(self._states) - 1

    @property
    def states(self) -> tuple[Array, Array]:
        """(M, C) showing, and quiet."""
        showing, quiet = zip(*self._states, strict=True)
        return np.array(showing), np.array(quiet)


@dataclass(frozen=True)
class BatchedLook:
    """Where a look stands among those worked out together: of which situation, its place there, and its moment."""

    of: int
    at: int
    moment: int


class Batch:
    """Looks of several situations, sorted so that what has one form is worked out at once. single: the looks at a
    single place, each with its check's number; several: those at several places, by check and place."""

    def __init__(self, tables: Tables) -> None:
        self.moments = Moments(tables)
        self.single: list[tuple[int, BatchedLook]] = []
        self.several: dict[tuple[int, int | None], list[BatchedLook]] = {}
        self._checks = tables.checks

    def add(self, option: Option, look: BatchedLook) -> None:
        """One more look."""
        if len(self._checks[option.check].places) == 1:
            self.single.append((option.check, look))
        else:
            self.several.setdefault((option.check, option.place), []).append(look)


def replaced(tables: Tables, now: Situation, option: Option) -> Instead | None:
    """What the look would take the place of, with the states at the moment of the look; None where nothing is."""
    found = now.instead.get((option.check, option.fresh))
    if found is None or not option.fresh or option.condition is None:
        return found
    probability, shows = found.showing + found.quiet, tables.shows[:, option.condition]
    return Instead(probability * shows, probability * (1.0 - shows), found.bits)


def settled(tables: Tables, probability: Array, costs: Costs) -> bool:
    """One repair class dominates: by its probability and by its lead over the next."""
    return dominates(np.add.reduceat(probability, tables.class_starts), costs)


def dominates(chances: Array, costs: Costs) -> bool:
    """Whether the largest chance is large enough, and far enough ahead of the next."""
    ordered = np.sort(chances)[::-1]
    second = ordered[1] if len(ordered) > 1 else 0.0
    return bool(ordered[0] >= costs.dominates and ordered[0] >= costs.lead * second)


def worth_asking(option: Option, costs: Costs) -> bool:
    """Whether a check is worth its cost: at least `least_gain` bits, and that much per quarter of an hour."""
    if costs.by == "gain":
        return option.gain >= costs.least_gain
    return option.gain >= costs.least_gain * max(1.0, option.cost / 15.0)


@dataclass(frozen=True, eq=False)
class Branch:
    """One joint outcome (its number, last place fastest) with its chance, and the situation after it."""

    chance: float
    outcome: int
    then: Situation


def follow(tables: Tables, now: Situation, option: Option) -> Iterator[Branch]:
    """The joint outcomes of one look, the likeliest first."""
    check = tables.checks[option.check]
    showing, quiet = state_chances(tables, now, option)
    instead = replaced(tables, now, option)
    before = (showing, quiet) if instead is None else (instead.showing, instead.quiet)
    finer = tables.stood_for_by.get(option.check, ())
    told = gain(tables, check, *before, option.place) if finer else 0.0
    found = cells(tables, check, option.place)
    chance = found.outcomes(found.weights(tables, showing[None], quiet[None]))[0]
    condition = option.condition if option.fresh else now.condition
    begins = option.fresh or check.provokes or check.leaves is not None  # a new spell, now or right after
    kept = frozenset(pair for pair in now.done if tables.checks[pair[0]].steady) if begins else now.done
    after = replace(
        now,
        condition=condition if check.leaves is None else check.leaves,
        done=kept | {(option.check, option.place), *((other, None) for other in check.stands_for)},
        answered=now.answered | {option.check},
        visited=now.visited if condition is None else now.visited | {condition},
        named=now.named - {condition},
        instead={(other, False): Instead(*before, told) for other in finer},
    )
    for outcome in np.argsort(-chance, kind="stable"):
        if chance[outcome] <= 0:
            return
        weights: list[tuple[float, ...] | None] = [None] * len(check.places)
        for place, o in marks(check, int(outcome), option.place):
            weights[place] = reported_weights(o, len(check.outcomes), 1.0)
        if_showing, if_quiet = answer_likelihood(check, Evidence(option.check, tuple(weights)))
        then_showing = before[0] * if_showing
        then_quiet = before[1] * (if_showing if check.steady else if_quiet)
        total = then_showing.sum() + then_quiet.sum()
        then_showing, then_quiet = then_showing / total, then_quiet / total
        if check.provokes or check.leaves is not None:  # what comes next is seen in a state of its own
            either = then_showing + then_quiet
            brought_on = check.leaves is None and outcome > 0  # where it leaves nothing, it provokes
            shows = chance_showing(tables, after.condition, float(brought_on))
            then_showing, then_quiet = either * shows, either * (1.0 - shows)
        yield Branch(float(chance[outcome]), int(outcome), replace(after, showing=then_showing, quiet=then_quiet))
