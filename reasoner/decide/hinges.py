"""What a choice hinges on: how far a price or a chance may move before another choice is cheaper.

The expected cost of a piece of work is a straight line in each price and in the chance of the suspect, so its crossing
with another follows exactly. `Test on` bends downwards only (it is the least of such lines for each outcome), so it can
be cheaper than a line only beyond one point on either side, found by halving.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from reasoner.decide.choices import Choice, Stake, expected, test_on
from reasoner.decide.jobs import Job

FAR = 5.0  # a price is followed up to so many times what it is
HALVINGS = 26
NOTHING = 1e-9


@dataclass(frozen=True)
class Hinge:
    """what: part, comeback, chance, check. now: the value; at: where `instead` becomes the cheapest."""

    what: str
    now: float
    at: float
    instead: str


def hinges(stake: Stake, best: Choice, others: Sequence[Choice]) -> tuple[Hinge, ...]:
    """Where the cheapest choice stops being it, the nearest first (in proportion to the value)."""
    if best.kind == "test":
        rival = min(others, key=lambda choice: choice.expected, default=None)
        return (Hinge("check", best.now, best.now + rival.expected - best.expected, rival.kind),) if rival else ()
    suspect = next(iter(stake.jobs), None)
    if suspect is None:
        return ()
    works = {choice.kind: choice.work for choice in (best, *others)}
    found = []
    for what, (now, low, high) in _ranges(stake, suspect).items():
        for end in (low, high):
            hinge = _towards(stake, suspect, what, now, end, best.kind, works)
            found += [hinge] if hinge else []
    return tuple(sorted(found, key=lambda h: abs(h.at - h.now) / max(h.now, NOTHING)))


def _ranges(stake: Stake, suspect: Job) -> dict[str, tuple[float, float, float]]:
    """What may move: its value, and how far down and up."""
    prices = stake.prices
    values = {"comeback": prices.comeback}
    if part := stake.book.repairs[suspect.repair].part:
        values["part"] = prices.parts[part]
    found = {what: (value, 0.0, FAR * value) for what, value in values.items()}
    return {**found, "chance": (stake.jobs[suspect], 0.0, 1.0)}


def varied(stake: Stake, suspect: Job, what: str, value: float) -> Stake:
    """The same with one value changed; of the chance, all others change in proportion."""
    if what == "chance":
        now = stake.jobs[suspect]
        others = (1 - value) / (1 - now) if now < 1 else 0.0
        factors = [value / now if need == suspect else others for need in stake.needs]
        moved = replace(stake.now, showing=stake.now.showing * factors, quiet=stake.now.quiet * factors)
        return replace(stake, now=moved)
    if what == "part":
        part = stake.book.repairs[suspect.repair].part
        return replace(stake, prices=replace(stake.prices, parts={**stake.prices.parts, part: value}))
    return replace(stake, prices=replace(stake.prices, **{what: value}))  # type: ignore[arg-type]


def _towards(
    stake: Stake, suspect: Job, what: str, now: float, end: float, best: str, works: Mapping[str, tuple[Job, ...]]
) -> Hinge | None:
    """The first crossing on the way from the present value to one end."""
    if now == end:
        return None
    ends = [varied(stake, suspect, what, value) for value in (now, end)]
    lines = {kind: [expected(each, kind, work) for each in ends] for kind, work in works.items() if kind != "test"}
    at, instead = end, ""
    for kind, line in lines.items():
        lead, left = (other - own for other, own in zip(line, lines[best], strict=True))
        crossing = now + (end - now) * lead / (lead - left) if left < -NOTHING else end
        if kind != best and abs(crossing - now) < abs(at - now):
            at, instead = crossing, kind
    if "test" in works:
        tables = [stake.table, stake.table if what == "chance" else ends[1].table]

        def test_leads(value: float) -> bool:
            """Whether testing on is cheaper than the choice at this value."""
            share = (value - now) / (end - now)
            test = test_on(varied(stake, suspect, what, value), (1 - share) * tables[0] + share * tables[1])
            own = (1 - share) * lines[best][0] + share * lines[best][1]
            return test is not None and test.expected < own - NOTHING

        if test_leads(at):
            at, instead = _halved(test_leads, now, at), "test"
    return Hinge(what, now, at, instead) if instead else None


def _halved(holds: Callable[[float], bool], low: float, high: float) -> float:
    """Where something begins to hold that does not at one end and does at the other."""
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high
