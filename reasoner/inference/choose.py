"""Which check next: gain per cost, and the best few followed a step further.

Never gain alone: ignoring cost is 1.8 to 2.5 times the optimum on random instances, gain per cost 1.02 to 1.07. Greedy
gain per cost in turn never sees what a check makes possible, so the best few are compared by what they lead to: by the
best rate of one step or two (rollout on the information heuristic, Tu & Pattipati, IEEE Trans. SMC-A 33:86-99, 2003,
cut short: followed to the end it is nearer still to the optimum, and takes too long for a question).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from reasoner.inference.gain import cause_bits, class_entropy, gain_at, gain_repeated, single_place_gains
from reasoner.inference.information_value import Stakes, values
from reasoner.inference.plan import (
    REPEATS,
    Batch,
    BatchedLook,
    Branch,
    Costs,
    Option,
    Situation,
    can_repeat,
    follow,
    once_each,
    priced,
    repeated_looks,
    replaced,
    settled,
    worth_asking,
)
from reasoner.inference.visits import Visit, visits
from reasoner.network.tables import Array, Tables

COMPARED = 4  # how many of the best are followed
OPTIONS_SEARCHED = 12  # how many, where no single look changes what is done
SHORTLIST = 16  # how many checks are considered after each of their outcomes
FOLLOWED = 0.95  # share of a check's outcomes that is followed; judgement
BRANCHES = 8  # and at most so many
SHOWS = 0.7  # chance from which the fault is taken to show in the present spell; judgement
NO_GAIN = 1e-9  # bits: below, rounding


def rank(
    tables: Tables,
    now: Situation,
    costs: Costs,
    compared: int = COMPARED,
    allowed: Callable[[Option], bool] = lambda option: True,
    stakes: Stakes | None = None,
) -> list[Option]:
    """Options that tell something, best first, each check once, with gain and cost.

    With stakes: those that the decision hangs on come first, and each says what it saves.
    """
    ways = _ways(tables, now, allowed, costs, stakes)
    found = _one_each(ways)
    best = found[:compared]
    if best and (len(best) > 1 or stakes):
        supply = supply_of(tables, now, found, costs, stakes) if stakes else None
        best = _looked_ahead(tables, now, best, found[:SHORTLIST], costs, supply)
        little = stakes.little if stakes else 0.0
        least = max((o.ahead for o in best if stakes is None or o.saves > little), default=0.0)
        best = _with_visits(tables, best, visits(tables, now, ways, costs, stakes, least), supply)
        if stakes and compared and not any(o.saves > little for o in (*best, *found[compared:])):
            # No single look changes what is done: look two steps ahead from more of them before that is believed.
            best += _looked_ahead(tables, now, found[compared:OPTIONS_SEARCHED], found[:SHORTLIST], costs, supply)
        known = {o.check for o in best}
        best += [o for o in _perishable(tables, now, found[compared:], costs, supply) if o.check not in known]
        best.sort(key=lambda o: _order(tables, now, o, little, stakes is not None))
    known = {o.check for o in best}
    return _gentlest_first([*best, *(o for o in found if o.check not in known)], stakes.little if stakes else 0.0)


def _with_visits(tables: Tables, best: Sequence[Option], found: Iterable[Visit], supply: Supply | None) -> list[Option]:
    """With the first look of each visit, where the visit is better than that check by itself. Looks at each place come
    first there."""
    kept = {o.check: o for o in best}
    for visit in found:
        first = next((o for o in visit.looks if len(tables.checks[o.check].places) > 1), visit.looks[0])
        saves = visit.saves
        if supply is not None:
            saves = max(saves, first.saves, supply.saves(first, visit.rate))
        option = first._replace(ahead=visit.rate, saves=saves)
        other = kept.get(option.check)
        if other is None or option.ahead > other.ahead:
            kept[option.check] = option
    return list(kept.values())


def _order(
    tables: Tables, now: Situation, option: Option, little: float, by_savings: bool
) -> tuple[bool, int, float, float]:
    """What the decision hangs on first; of that, what needs the fault to show while it shows (at each place before the
    whole engine); then what saves most, by one step, two, a visit, or by going on at the best rate of these."""
    saves = option.saves if by_savings and option.saves > little else 0.0
    return not option.saves > little, _can_wait(tables, now, option), -saves, -option.ahead


def _perishable(
    tables: Tables, now: Situation, found: Iterable[Option], costs: Costs, supply: Supply | None
) -> list[Option]:
    """Of the rest the best looks that need the fault to show, here, while it most likely does, and that are worth their
    cost: what can be asked at any time is never compared without them."""
    caught = [o for o in found if o.times == 1 and _can_wait(tables, now, o) < 2 and worth_asking(o, costs)][:COMPARED]
    rated = [o._replace(ahead=o.gain / o.cost) for o in caught]
    if supply is None:
        return rated
    return [o._replace(saves=max(o.saves, supply.saves(o, o.ahead))) for o in rated]


def _can_wait(tables: Tables, now: Situation, option: Option) -> int:
    """0, 1: a look that needs the fault to show, here, and it most likely does: at each place, at the whole engine.
    2: anything else."""
    check = tables.checks[option.check]
    if check.steady or option.fresh or float(now.showing.sum()) < SHOWS:
        return 2
    return 0 if len(check.places) > 1 else 1


def _ways(
    tables: Tables, now: Situation, allowed: Callable[[Option], bool], costs: Costs, stakes: Stakes | None
) -> list[Option]:
    """All ways to do each check (condition, repeats, place) with their gain, the best first.

    Repeats that cannot be the best way to do their check, or make it one of the best checks, are not worked out. With
    stakes, a way that saves something is better than one that does not.
    """
    choices = [o for o in once_each(tables, now, costs) if allowed(o)]
    (bits,) = _bits(tables, [(now, choices)])
    rates: dict[int, float] = {}
    for option, gained in zip(choices, bits, strict=True):
        rates[option.check] = max(rates.get(option.check, 0.0), gained / option.cost)
    open_bits, told_once = class_entropy(tables, now.probability), dict[int, dict[int | None, float]]()

    def once(option: Option) -> float:
        """Bits of which several looks can hardly pass so many times (see `cause_bits`)."""
        if option.check not in told_once:
            check = tables.checks[option.check]
            where = check.conditions or tuple(range(len(tables.conditions)))
            told = cause_bits(tables, check, now.probability, tables.shows[:, where])
            told_once[option.check] = dict(zip(where, told, strict=True))
        return told_once[option.check][option.condition]

    best = sorted(rates.values(), reverse=True)[:SHORTLIST]
    least = best[-1] if len(best) == SHORTLIST else 0.0

    def enough(option: Option) -> float:
        """Bits from which it can be one of the best, or the best way to do its check."""
        return option.cost * max(least, rates[option.check])

    several = [
        again
        for option in choices
        if can_repeat(tables, option) and min(open_bits, max(REPEATS) * once(option)) > enough(option)
        for again in repeated_looks(tables, now, costs, option)
        if min(open_bits, again.times * once(option)) > enough(again) and allowed(again)
    ]
    (many,) = _bits(tables, [(now, several)])
    ways, again = (
        [o._replace(gain=gained) for o, gained in zip(found, told, strict=True) if gained > NO_GAIN]
        for found, told in ((choices, bits), (several, many))
    )
    if stakes is not None:  # of several looks later, where they are among the best
        ways = _with_savings(tables, now, ways, costs, stakes)
    ways = [*ways, *again]
    little = stakes.little if stakes else 0.0
    if stakes is not None:  # what tells next to nothing is asked of nobody, however little it costs
        ways = [o for o in ways if o.gain >= costs.least_gain or o.saves > little]
    hangs = {o.check for o in ways if o.saves > little}  # a look that saves something may save more if repeated
    ways.sort(
        key=lambda o: (
            not (o.saves > little or (o.times > 1 and o.check in hangs)),
            -o.gain / o.cost,
            o.hazards,
            o.check,
        )
    )
    return ways


def _one_each(ways: Iterable[Option]) -> list[Option]:
    """The first way of each check."""
    found: dict[int, Option] = {}
    for option in ways:
        found.setdefault(option.check, option)
    return list(found.values())


def _with_savings(tables: Tables, now: Situation, ways: Sequence[Option], costs: Costs, stakes: Stakes) -> list[Option]:
    """The ways with what each saves by itself."""
    (worth,) = values(tables, [(now, ways)], stakes)
    return [o._replace(saves=value - stakes.price(o, costs)) for o, value in zip(ways, worth, strict=True)]


def gains(tables: Tables, now: Situation, choices: Sequence[Option]) -> list[Option]:
    """The choices with their gain."""
    return [o._replace(gain=bits) for o, bits in zip(choices, _bits(tables, [(now, choices)])[0], strict=True)]


def _bits(tables: Tables, looks: Sequence[tuple[Situation, Sequence[Option]]]) -> list[list[float]]:
    """The gain of each, situation by situation. Looks at one place, and those with the same check, are worked out
    together."""
    batch = Batch(tables)
    found: list[list[float]] = [[0.0] * len(choices) for _, choices in looks]
    for n, (now, choices) in enumerate(looks):
        for i, option in enumerate(choices):
            if option.times > 1 and option.condition is not None:
                check = tables.checks[option.check]
                found[n][i] = gain_repeated(tables, check, now.probability, option.condition, option.times)
                continue
            instead = replaced(tables, now, option)
            if instead is None:
                moment = batch.moments.of(n, now, option)
            else:
                moment = batch.moments.add(instead.showing, instead.quiet)
                found[n][i] = -instead.bits
            batch.add(option, BatchedLook(n, i, moment))
    for members, told in _told(tables, batch):
        for look, bits in zip(members, told, strict=True):
            found[look.of][look.at] = max(0.0, found[look.of][look.at] + bits)
    return found


def _told(tables: Tables, batch: Batch) -> Iterator[tuple[list[BatchedLook], list[float]]]:
    """The looks of a batch with the bits that each tells, form by form."""
    if batch.single or batch.several:
        showing, quiet = batch.moments.states
    if batch.single:
        members = [look for _, look in batch.single]
        checks = np.array([number for number, _ in batch.single])
        yield (
            members,
            single_place_gains(tables, checks, np.array([look.moment for look in members]), showing, quiet).tolist(),
        )
    for (number, place), members in batch.several.items():
        moments = np.array([look.moment for look in members])
        yield members, gain_at(tables, tables.checks[number], showing[moments], quiet[moments], place).tolist()


def _looked_ahead(
    tables: Tables,
    now: Situation,
    best: Sequence[Option],
    shortlist: Sequence[Option],
    costs: Costs,
    supply: Supply | None,
) -> list[Option]:
    """Each with its best rate of one step or two: its gain, and the expected gain of the best check after it, over the
    cost of both. Of two steps alone a cheap check would look dear where only a dear one is left after it. With a
    supply, what one step or two save."""
    return [_two_steps(tables, now, o, shortlist, costs, supply) for o in best]


def _two_steps(
    tables: Tables,
    now: Situation,
    option: Option,
    shortlist: Sequence[Option],
    costs: Costs,
    supply: Supply | None,
) -> Option:
    rate = option.gain / option.cost
    if option.times > 1:
        if supply is not None:
            (option,) = _with_savings(tables, now, [option], costs, supply.stakes)
            option = option._replace(saves=max(option.saves, supply.saves(option, rate)))
        return option._replace(ahead=rate)  # its outcomes are counts over several spells, not followed one by one
    bits, cost, saves = option.gain, option.cost, option.saves
    branches = _likely(follow(tables, now, option))
    total = sum(b.chance for b in branches)
    again = _again(tables, branches[0].then, option, shortlist, costs)  # whatever the outcome, the same can be done
    if not again:
        branches = []
    elif supply is not None:
        later = supply.stakes.after(option.check)
        prices = [later.price(o, costs) for o in again]
        worth = values(tables, [(branch.then, again) for branch in branches], later)
        most = [max(v - price for v, price in zip(own, prices, strict=True)) for own in worth]
        saves += sum(branch.chance * max(0.0, m) for branch, m in zip(branches, most, strict=True))
        branches = [branch for branch, m in zip(branches, most, strict=True) if m > later.little]
    else:
        branches = [branch for branch in branches if not settled(tables, branch.then.probability, costs)]
    gained = _bits(tables, [(branch.then, again) for branch in branches])
    for branch, own in zip(branches, gained, strict=True):
        then = max(range(len(again)), key=lambda i: own[i] / again[i].cost)
        bits += branch.chance / total * own[then]
        cost += branch.chance / total * again[then].cost
    rate = max(rate, bits / cost)
    if supply is not None:
        saves = max(saves, supply.saves(option, rate))
    return option._replace(ahead=rate, saves=saves)


@dataclass(frozen=True, eq=False)
class Supply:
    """What the looks at hand can tell of what is open, the cheapest bits first. worth: money for a bit of that, if each
    saves its share of what it saves to know all. bits, prices: (n,), of each look as far as so much is open, and money
    for a bit of it once the car is in that condition."""

    stakes: Stakes
    costs: Costs
    worth: float
    bits: Array
    prices: Array

    def saves(self, option: Option, rate: float) -> float:
        """Money saved by looking on as long as that is worth its cost. A bit costs what it costs now by this option
        (rate: bits for its cost), and more where the looks that are left are dearer."""
        own = self.stakes.price(option, self.costs) / option.cost / rate
        prices = np.maximum(self.prices, own) * self.costs.dearer
        return float(self.bits @ np.maximum(0.0, self.worth - prices))


def supply_of(tables: Tables, now: Situation, found: Sequence[Option], costs: Costs, stakes: Stakes) -> Supply:
    """Of the looks at hand, each check once."""
    opened = class_entropy(tables, now.probability)
    there = [priced(tables, now, costs, o._replace(fresh=False)) if o.fresh and o.times == 1 else o for o in found]
    bits = np.array([o.gain for o in found])
    prices = np.array([stakes.price(o, costs) for o in there]) / np.maximum(bits, NO_GAIN)
    order = np.argsort(prices)
    counted = np.diff(np.minimum(bits[order].cumsum(), opened), prepend=0.0)
    worth = stakes.open(now.probability) / opened if opened > NO_GAIN else 0.0
    return Supply(stakes, costs, worth, counted, prices[order])


def _likely(branches: Iterable[Branch]) -> list[Branch]:
    found: list[Branch] = []
    for branch in islice(branches, BRANCHES):
        found.append(branch)
        if sum(b.chance for b in found) >= FOLLOWED:
            break
    return found


def _again(tables: Tables, then: Situation, option: Option, shortlist: Sequence[Option], costs: Costs) -> list[Option]:
    """The shortlist after an outcome: each where the car is then, if it can be done there, else where it was best."""
    found = []
    for other in shortlist:
        if other.check != option.check and (other.check, None) not in then.done:
            check = tables.checks[other.check]
            stays = other.condition in (None, then.condition)
            stays |= check.steady and (not check.conditions or then.condition in check.conditions)
            where = then.condition if stays else other.condition
            found.append(priced(tables, then, costs, Option(other.check, where, not stays, other.place)))
    return found


def _gentlest_first(choices: list[Option], little: float) -> list[Option]:
    """Never a hazardous or long check first while another says as much for less."""
    if not choices:
        return choices
    top = choices[0]
    for other in choices[1:]:
        if top.saves > little and other.saves < top.saves - little:
            continue
        no_worse = other.gain >= top.gain - 1e-9 and other.cost <= top.cost and other.hazards <= top.hazards
        if no_worse and (other.cost < top.cost or other.hazards < top.hazards):
            top = other
    return [top, *(o for o in choices if o is not top)]
