"""A look that was made several times gives way to one that was never made and is worth nearly as much."""

from __future__ import annotations

import pytest

from reasoner.inference.plan import Option
from reasoner.session import acts
from reasoner.session.workup import NEARLY, Workup
from tests.repair.cars import answered
from tests.shipped import car, garage


def looked(times: int) -> Workup:
    workup = garage().begin(car(injection="port"))
    for _ in range(times):
        workup = answered(workup, "hot-restart-misfire", dict.fromkeys(range(1, 5), "even"), "hot-restart")
    return workup.after(acts.change_condition(workup, "warm-idle"))


def options(workup: Workup, *saves: tuple[str, float]) -> list[Option]:
    """saves: by the name of a check, what a look saves; best first."""
    number = workup.tables.check_number
    return [Option(number[name], None, True, saves=worth) for name, worth in saves]


@pytest.mark.parametrize(
    ("times", "worth", "first"),
    [(1, 99.0, "hot-restart-misfire"), (2, 99.0, "plugs-as-found"), (3, 81.0, "plugs-as-found"),
     (3, 100 * NEARLY - 1, "hot-restart-misfire")],
)  # fmt: skip
def test_what_was_never_looked_at_comes_first_where_it_is_worth_nearly_as_much(
    times: int, worth: float, first: str
) -> None:
    workup = looked(times)
    ranked = options(workup, ("hot-restart-misfire", 100.0), ("plugs-as-found", worth), ("trim-cruise", 1.0))
    found = workup._new_before_again(ranked)
    assert found[0].check == workup.tables.check_number[first]
    assert sorted(o.check for o in found) == sorted(o.check for o in ranked)


def test_not_while_it_shows_and_not_where_nothing_is_proposed() -> None:
    workup = looked(3)
    workup = workup.after(acts.say_rich(workup, True))
    ranked = options(workup, ("hot-restart-misfire", 100.0), ("plugs-as-found", 99.0))
    assert workup._new_before_again(ranked) == ranked
    assert looked(2)._new_before_again([]) == []
