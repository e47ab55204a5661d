"""What a choice hinges on: how far a price or a chance may move before another choice is cheaper.

The expected cost of a piece of work is a straight line in each price, in what an hour costs, in the minutes it takes
to get there, and in the chance of the suspect, so its crossing with another follows exactly. `Watch` bends downwards
only (it takes the least of such lines), so it can be cheaper than a line only beyond one point on either side, found by
halving.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from reasoner.inference.information_value import expected_losses
from reasoner.repair.choices import Choice, Stake, expected, watch
from reasoner.repair.jobs import Job, access

FARTHEST = 5.0  # a price is followed up to so many times what it is
HALVINGS = 26
BENT = ("test", "watch")
NO_DIFFERENCE = 1e-9


@dataclass(frozen=True)
class Hinge:
    """what: part, comeback, hour, access (minutes to get there), chance, check. now: the value; at: where `instead`
    becomes the cheapest, a kind of choice; empty: work that is none of the choices now."""

    what: str
    now: float
    at: float
    instead: str
    work: tuple[Job, ...] = ()


def hinges(stake: Stake, best: Choice, others: Sequence[Choice]) -> tuple[Hinge, ...]:
    """Where the cheapest choice stops being it, the nearest first (in proportion to the value)."""
    if best.kind == "test":
        rival = min(others, key=lambda choice: choice.expected, default=None)
        return (Hinge("check", best.now, best.now + rival.expected - best.expected, rival.kind),) if rival else ()
    if best.kind == "watch":
        return ()
    suspect = next(iter(stake.jobs), None)
    if suspect is None:
        return ()
    works = {choice.kind: choice.work for choice in (best, *others)}
    found = []
    for what, (now, low, high) in _ranges(stake, suspect).items():
        for end in (low, high):
            hinge = _towards(stake, suspect, what, now, end, best.kind, works)
            found += [hinge] if hinge else []
    return tuple(sorted(found, key=lambda h: abs(h.at - h.now) / max(h.now, NO_DIFFERENCE)))


def _ranges(stake: Stake, suspect: Job) -> dict[str, tuple[float, float, float]]:
    """What may move: its value, and how far down and up."""
    prices, repair = stake.prices, stake.book.repairs[suspect.repair]
    values = {"comeback": prices.comeback, "hour": prices.hour}
    if repair.part:
        values["part"] = prices.parts[repair.part]
    if repair.each_more:  # else there is nothing that a second place would save
        values["access"] = access(stake.book, prices, suspect.repair)
    found = {what: (value, 0.0, FARTHEST * value) for what, value in values.items()}
    return {**found, "chance": (stake.jobs[suspect], 0.0, 1.0)}


def varied(stake: Stake, suspect: Job, what: str, value: float) -> Stake:
    """The same acts with one value changed; of the chance, all others change in proportion."""
    stake = replace(stake, acts_held=stake.acts)
    if what == "chance":
        now = stake.jobs[suspect]
        others = (1 - value) / (1 - now) if now < 1 else 0.0
        factors = [value / now if suspect in need else others for need in stake.needs]
        moved = replace(stake.now, showing=stake.now.showing * factors, quiet=stake.now.quiet * factors)
        return replace(stake, now=moved)
    if what == "part":
        part = stake.book.repairs[suspect.repair].part
        return replace(stake, prices=replace(stake.prices, parts={**stake.prices.parts, part: value}))
    if what == "access":
        return replace(stake, prices=replace(stake.prices, access={**stake.prices.access, suspect.repair: value}))
    return replace(stake, prices=replace(stake.prices, **{what: value}))  # type: ignore[arg-type]


def _towards(
    stake: Stake, suspect: Job, what: str, now: float, end: float, best: str, works: Mapping[str, tuple[Job, ...]]
) -> Hinge | None:
    """The first crossing on the way from the present value to one end."""
    if now == end:
        return None
    ends = [varied(stake, suspect, what, value) for value in (now, end)]
    own = [expected(each, best, works[best]) for each in ends]
    rivals = {kind: work for kind, work in works.items() if kind not in (best, *BENT)}
    lines = [(kind, work, [expected(each, kind, work) for each in ends]) for kind, work in rivals.items()]
    if what == "chance":  # where the suspect is less likely, work for something that is hardly thought of now
        others = [expected_losses(stake.table, each.chances) for each in ends]
        lines += [("", act[1], list(pair)) for act, *pair in zip(stake.acts, *others, strict=True) if not act[0]]
    at, instead = end, ""
    done: tuple[Job, ...] = ()
    for kind, work, line in lines:
        lead, left = line[0] - own[0], line[1] - own[1]
        # One that is cheaper already, and yet not chosen (a risk is in its way), is no change on the way there.
        changes = left < -NO_DIFFERENCE <= lead
        crossing = now + (end - now) * max(0.0, lead) / (max(0.0, lead) - left) if changes else end
        if work != works[best] and abs(crossing - now) < abs(at - now):
            at, instead, done = crossing, kind, work
    tables = [stake.table, stake.table if what == "chance" else ends[1].table]

    def bent(value: float) -> str:
        """Whether watching, which is no straight line, is cheaper than the choice at this value: its kind, or empty."""
        share = (value - now) / (end - now)
        table = (1 - share) * tables[0] + share * tables[1]  # it is a straight line too
        moved = replace(varied(stake, suspect, what, value), table_held=table)
        line = (1 - share) * own[0] + share * own[1]
        return "watch" if "watch" in works and watch(moved).expected < line - NO_DIFFERENCE else ""

    if bent(at) and not bent(now):  # where watching is cheaper already, that it is so there is no change on the way
        at = _halved(lambda value: bool(bent(value)), now, at)
        instead, done = bent(at), ()
    return Hinge(what, now, at, instead, done) if instead or done else None


def _halved(holds: Callable[[float], bool], low: float, high: float) -> float:
    """Where something begins to hold that does not at one end and does at the other."""
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high
