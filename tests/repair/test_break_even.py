"""Where a choice stops being the best: each flips where the break-even says, and not before."""

from __future__ import annotations

import pytest

from reasoner.repair.break_even import Hinge, _halved, hinges, varied
from reasoner.repair.choices import Choice, Stake, all_choices, expected, watch
from reasoner.session import deciding
from tests.repair.cars import answered, job, small_car, stake
from tests.repair.test_choices import ACCESS, HOUR, INJECTOR, as_plain, at_once

PARTS = (30, 110, 240, 900)
NEAR = 1e-4  # of the way from the value to the hinge


def best_and_hinges(found: Stake) -> tuple[Choice, tuple[Hinge, ...]]:
    all_of_them = all_choices(found)
    return all_of_them[0], hinges(found, all_of_them[0], all_of_them[1:])


def cheapest(found: Stake, what: str, value: float, works: dict[str, Choice]) -> str:
    """The kind that is cheapest at a value, among the work that was laid out; worked out anew."""
    moved = varied(found, next(iter(found.jobs)), what, value)
    costs = {k: expected(moved, k, choice.work) for k, choice in works.items() if k != "watch"}
    costs["watch"] = watch(moved).expected
    return min(costs, key=lambda kind: costs[kind])


CASES = {
    "one wet, old": answered(small_car(distance="198000 km"), "plugs", {3: "wet"}),
    "one wet, young": answered(small_car(distance="60000 km"), "plugs", {3: "wet"}),
    "only the hold": answered(small_car(distance="120000 km"), "hold", "falls"),
    "meter high": answered(small_car(distance="120000 km"), "meter-compared", "high", "idle"),
}

WORN = answered(answered(small_car(distance="198000 km"), "plugs", {3: "wet"}), "hold", "falls")


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("part", PARTS)
def test_each_flips_where_the_break_even_says(name: str, part: int) -> None:
    found = stake(CASES[name], part=part)
    best, hanging = best_and_hinges(found)
    works = {choice.kind: choice for choice in all_choices(found)}
    for hinge in hanging:
        step = NEAR * (hinge.at - hinge.now)
        assert cheapest(found, hinge.what, hinge.at - step, works) == best.kind, hinge
        if hinge.instead:
            assert cheapest(found, hinge.what, hinge.at + step, works) == hinge.instead, hinge
        else:  # work that was not laid out, as its cause was hardly thought of
            moved = varied(found, next(iter(found.jobs)), hinge.what, hinge.at + step)
            assert expected(moved, "", hinge.work) < expected(moved, best.kind, best.work), hinge


@pytest.mark.parametrize("name", CASES)
def test_the_nearest_comes_first_in_proportion_to_the_value(name: str) -> None:
    for part in PARTS:
        away = [abs(h.at - h.now) / h.now for h in best_and_hinges(stake(CASES[name], part=part))[1]]
        assert away == sorted(away)


@pytest.mark.parametrize("value", [0.1, 0.6, 0.95])
def test_a_chance_moves_and_all_others_in_proportion(value: float) -> None:
    found = stake(CASES["one wet, old"])
    suspect = next(iter(found.jobs))
    moved = varied(found, suspect, "chance", value)
    mends = [suspect in need for need in found.needs]
    before, after = found.chances, moved.chances
    assert sum(after) == pytest.approx(1)
    assert sum(p for p, own in zip(after, mends, strict=True) if own) == pytest.approx(value)
    others = [(b, a) for b, a, own in zip(before, after, mends, strict=True) if not own and b > 1e-6]
    assert len(others) > 1 and all(a / b == pytest.approx(others[0][1] / others[0][0]) for b, a in others)


def test_halving_ends_where_it_begins_to_hold() -> None:
    for ends in ((0.0, 1.0), (1.0, -2.0)):
        edge = ends[0] + 0.3 * (ends[1] - ends[0])
        met = _halved(lambda v, edge=edge, up=ends[1] > ends[0]: v >= edge if up else v <= edge, *ends)  # type: ignore[misc]
        assert met == pytest.approx(edge, abs=1e-6) and (met >= edge if ends[1] > ends[0] else met <= edge)


def test_there_are_hinges_of_every_kind() -> None:
    found = {
        hinge.what
        for case in (*CASES.values(), WORN)
        for part in PARTS
        for hinge in best_and_hinges(stake(case, part=part))[1]
    }
    assert found == {"part", "comeback", "hour", "access", "chance"}


def test_test_on_hangs_on_what_the_check_costs() -> None:
    """Dearer by what it saves, it is as dear as the next."""
    workup = small_car(distance="120000 km")
    look = workup.look
    assert look is not None
    test, *others = deciding.decide(workup).open
    assert test.kind == "test"
    (hinge,) = hinges(workup.outlook.stake, test, others)
    assert hinge.at - hinge.now == pytest.approx(look.saves)


def test_all_four_unless_a_part_costs_more() -> None:
    """Four of one age at 198 000 km, costly to get at: all, and one where a part is dear; the price between follows
    from the two straight lines, here read off by evaluating at two prices."""
    workup = answered(small_car(distance="198000 km"), "plugs", {3: "wet"})
    workup = answered(workup, "hold", "falls")
    found = stake(workup, access={"new-injector": 300.0}, part=100)
    by_kind = {choice.kind: choice for choice in all_choices(found)}
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


# ---- an hour, and getting there, against the enumeration -------------------------------------------------------------

ONE, ALL = (job(INJECTOR, 3),), (job(INJECTOR, 1, 2, 3, 4),)


@pytest.mark.parametrize(("what", "now"), [("hour", HOUR), ("access", ACCESS)])
@pytest.mark.parametrize("part", [20.0, 60.0, 100.0, 140.0, 240.0])
def test_labour_flips_where_the_enumeration_says(what: str, now: float, part: float) -> None:
    """Four of one age: all, unless an hour (or getting there) costs less than where listing every state of the car says
    that one and all cost the same. Shares nothing with the program but the belief and the law of wear."""
    found = stake(WORN, part=part)

    def lead(value: float) -> float:
        moved = {"hour": HOUR, "access": ACCESS, what: value}
        one, four = (at_once(found, as_plain(work), part=part, **moved).money for work in (ONE, ALL))
        return one - four

    by_kind = {choice.kind: choice for choice in all_choices(found)}
    best, other = sorted((by_kind["alone"], by_kind["all"]), key=lambda choice: choice.expected)
    assert best.kind == ("all" if lead(now) > 0 else "alone")
    hanging = {h.at > h.now: h for h in hinges(found, best, [other]) if h.what == what}
    even = 0 - now * lead(0) / (lead(now) - lead(0))  # a straight line
    assert lead(0.3 * now) == pytest.approx(0.7 * lead(0) + 0.3 * lead(now))
    if 0 < even < 5 * now:
        assert set(hanging) == {even > now}
        hinge = hanging[even > now]
        assert hinge.at == pytest.approx(even) and hinge.instead == other.kind
        assert (lead(0.99 * even) > 0) != (lead(1.01 * even) > 0)
    else:
        assert not hanging


def test_labour_is_said_in_one_plain_line() -> None:
    """With the figures that the enumeration finds."""
    compared = answered(WORN, "meter-compared", condition="idle")
    found = stake(compared, part=110.0)

    def even(what: str, now: float) -> float:
        zero, here = (
            at_once(found, as_plain(ONE), part=110.0, **{what: value}).money
            - at_once(found, as_plain(ALL), part=110.0, **{what: value}).money
            for value in (0.0, now)
        )
        return -now * zero / (here - zero)

    said = deciding.decision_document(deciding.decide(compared, found.prices)).hinges
    hour, minutes = even("hour", HOUR), round(even("access", ACCESS))
    assert f"if an hour of work costs less than {hour:.0f} (now 60): cylinder 3 alone" in said
    getting = f"less than {minutes // 60} h {minutes % 60} min (now 1 h 50 min)"
    assert f"if getting there takes {getting}: cylinder 3 alone" in said


def test_of_each_figure_only_the_nearest_is_said() -> None:
    compared = answered(WORN, "meter-compared", condition="idle")
    decision = deciding.decide(compared, stake(compared, part=240.0).prices)
    assert decision.best is not None
    found = hinges(decision.stake, decision.best, [c for c in decision.open if c is not decision.best])
    kinds = [hinge.what for hinge in found]
    assert len(kinds) > len(set(kinds))  # an injector may be cheaper or dearer ...
    assert len(deciding.decision_document(decision).hinges) == len(set(kinds))  # ... and the nearer of the two is said


@pytest.mark.parametrize("name", CASES)
def test_what_is_cheaper_already_is_no_change_on_the_way(name: str) -> None:
    """Where a risk is in the way of the cheapest, a dearer choice is the best that is open: whatever is cheaper than it
    now is none that something has to happen for."""
    found = stake(CASES[name])
    choices = all_choices(found)
    for at, best in enumerate(choices):
        cheaper = {choice.kind for choice in choices[:at] if choice.expected < best.expected - 1}
        for hinge in hinges(found, best, [c for c in choices if c is not best]):
            assert hinge.instead not in cheaper, hinge
            assert hinge.at >= 0
