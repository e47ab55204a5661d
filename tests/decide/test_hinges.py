"""Where a choice stops being the best: each flips where the break-even says, and not before."""

from __future__ import annotations

import pytest

from reasoner.decide.choices import Choice, Stake, choices, expected, watch
from reasoner.decide.choices import test_on as best_test
from reasoner.decide.hinges import Hinge, hinges, varied
from tests.decide.cars import answered, job, small_car, stake

NEAR = 1e-4  # of the way from the value to the hinge


def best_and_hinges(found: Stake) -> tuple[Choice, tuple[Hinge, ...]]:
    all_of_them = choices(found)
    return all_of_them[0], hinges(found, all_of_them[0], all_of_them[1:])


def cheapest(found: Stake, what: str, value: float, works: dict[str, Choice]) -> str:
    """The kind that is cheapest at a value, among the work that was laid out; worked out anew, tests on included."""
    moved = varied(found, next(iter(found.jobs)), what, value)
    costs = {k: expected(moved, k, choice.work) for k, choice in works.items() if k not in ("test", "watch")}
    costs |= {c.kind: c.expected for c in (best_test(moved), watch(moved)) if c and c.kind in works}
    return min(costs, key=lambda kind: costs[kind])


CASES = {
    "one wet, old": answered(small_car(distance="198000 km"), "plugs", {3: "wet"}),
    "one wet, young": answered(small_car(distance="60000 km"), "plugs", {3: "wet"}),
    "only the hold": answered(small_car(distance="120000 km"), "hold", "falls"),
    "meter high": answered(small_car(distance="120000 km"), "meter-compared", "high", "idle"),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("part", [30, 240, 900])
def test_each_flips_where_the_break_even_says(name: str, part: int) -> None:
    found = stake(CASES[name], part=part)
    best, hanging = best_and_hinges(found)
    works = {choice.kind: choice for choice in choices(found)}
    for hinge in hanging:
        if hinge.what == "check":
            continue
        step = NEAR * (hinge.at - hinge.now)
        assert cheapest(found, hinge.what, hinge.at - step, works) == best.kind, hinge
        if hinge.instead:
            assert cheapest(found, hinge.what, hinge.at + step, works) == hinge.instead, hinge
        else:  # work that was not laid out, as its cause was hardly thought of
            moved = varied(found, next(iter(found.jobs)), hinge.what, hinge.at + step)
            assert expected(moved, "", hinge.work) < expected(moved, best.kind, best.work), hinge


def test_there_are_hinges_of_every_kind() -> None:
    found = {
        hinge.what
        for name in CASES
        for part in (30, 240, 900)
        for hinge in best_and_hinges(stake(CASES[name], part=part))[1]
    }
    assert found == {"part", "comeback", "chance", "check"}


def test_test_on_hangs_on_what_the_check_costs() -> None:
    """Dearer by the difference, it is as dear as the next: worked out from the two sums alone."""
    found = stake(CASES["only the hold"], comeback=600.0)
    best, hanging = best_and_hinges(found)
    assert best.kind == "test"
    (hinge,) = hanging
    second = min(choice.expected for choice in choices(found) if choice.kind != "test")
    assert hinge.at - hinge.now == pytest.approx(second - best.expected)


def test_all_four_unless_a_part_costs_more() -> None:
    """Four of one age at 198 000 km, costly to get at: all, and one where a part is dear; the price between follows
    from the two straight lines, here read off by evaluating at two prices."""
    workup = answered(small_car(distance="198000 km"), "plugs", {3: "wet"})
    workup = answered(workup, "hold", "falls")
    found = stake(workup, access={"new-injector": 300.0}, part=100)
    by_kind = {choice.kind: choice for choice in choices(found)}
    assert by_kind["all"].expected < by_kind["alone"].expected
    hanging = hinges(found, by_kind["all"], [by_kind["alone"]])
    hinge = next(h for h in hanging if h.what == "part")
    assert hinge.instead == "alone" and hinge.at > hinge.now

    def lead(price: float) -> float:
        moved = stake(workup, part=price, access={"new-injector": 300.0})
        return expected(moved, "alone", (job("new-injector", 3),)) - expected(
            moved, "all", (job("new-injector", 1, 2, 3, 4),)
        )

    low, high = 100.0, 1000.0
    crossing = low + (high - low) * lead(low) / (lead(low) - lead(high))
    assert hinge.at == pytest.approx(crossing)
