"""Faults expanded over a vehicle's places, with their priors."""

from __future__ import annotations

from math import comb

import pytest

from reasoner.network.graph import Cause, build_graph, causes
from reasoner.network.tables import compile_tables
from reasoner.rulebook.model import Fault, Filter
from tests.network.small import book, check, fault, says
from tests.support import a_vehicle


def expanded(*faults: Fault, layout: str = "inline 4", **fields: str) -> list[Cause]:
    return causes(list(faults), a_vehicle(layout, **fields))


def test_a_fault_of_the_engine_is_one_cause() -> None:
    (found,) = expanded(fault("a"))
    assert (found.name, found.where, found.cylinders) == ("a", "engine", frozenset({1, 2, 3, 4}))


@pytest.mark.parametrize(("layout", "count"), [("inline 4", 1), ("V 6", 2), ("V 8", 2)])
def test_a_fault_of_a_bank_is_a_cause_for_each_sensor(layout: str, count: int) -> None:
    found = expanded(fault("a", "bank"), layout=layout)
    assert [c.where for c in found] == [f"bank {n + 1}" for n in range(count)]


def test_a_bank_has_its_own_cylinders() -> None:
    one, two = expanded(fault("a", "bank"), layout="V 6")
    assert (one.cylinders, two.cylinders) == (frozenset({1, 3, 5}), frozenset({2, 4, 6}))


@pytest.mark.parametrize("layout", ["inline 3", "inline 4", "inline 6", "V 8", "flat 4"])
def test_a_fault_of_a_cylinder_is_a_cause_for_each(layout: str) -> None:
    found = expanded(fault("a", "cylinder"), layout=layout)
    assert [c.cylinders for c in found] == [frozenset({n}) for n in range(1, int(layout[-1]) + 1)]
    assert found[2].name == "a@cylinder-3"


@pytest.mark.parametrize("layout", ["inline 3", "inline 4", "V 6", "V 8"])
def test_pairs_are_all_pairs_of_cylinders(layout: str) -> None:
    cylinders = int(layout[-1])
    pairs = [c for c in expanded(fault("a", "cylinder", pairs=0.2), layout=layout) if len(c.cylinders) == 2]
    assert len(pairs) == len({c.cylinders for c in pairs}) == comb(cylinders, 2)
    assert pairs[0].where == "cylinders 1 and 2"


def test_pairs_take_their_part_of_the_share() -> None:
    found = expanded(fault("a", "cylinder", pairs=0.2), fault("b"))
    pairs = [c.prior for c in found if len(c.cylinders) == 2]
    singles = [c.prior for c in found if len(c.cylinders) == 1]
    assert sum(pairs) == pytest.approx(0.5 * 0.2)
    assert sum(singles) == pytest.approx(0.5 * 0.8)
    assert len(set(pairs)) == len(set(singles)) == 1


def test_a_fault_of_the_engine_has_no_pairs() -> None:
    assert len(expanded(fault("a", "engine", pairs=0.2))) == 1


@pytest.mark.parametrize("layout", ["inline 3", "inline 6", "V 8", "flat 4"])
def test_priors_sum_to_one(layout: str) -> None:
    found = expanded(
        fault("a", "cylinder", 3.0, pairs=0.3), fault("b", "bank", 2.0), fault("c", share=0.5), layout=layout
    )
    assert sum(c.prior for c in found) == pytest.approx(1.0)


def test_shares_are_relative() -> None:
    a, b = expanded(fault("a", share=30), fault("b", share=10))
    assert (a.prior, b.prior) == pytest.approx((0.75, 0.25))


def test_the_share_of_this_injection_counts() -> None:
    by_injection = {"port": 90, "direct": 10, "dual": 50}
    a, _ = expanded(fault("a", share=by_injection), fault("b", share=10), injection="port")
    assert a.prior == pytest.approx(0.9)


# --- filters ----------------------------------------------------------------------------------------------------------


def names(*faults: Fault, **fields: str) -> set[str]:
    graph = build_graph(book(faults), a_vehicle("inline 4", **fields))
    return {name for kind, name in graph if kind == "fault"}


DIRECT = Filter({"injection": ("direct", "dual")})
CHARGED = Filter({"charging": ("charged",)})
FAR = Filter(distance_over=160000.0)


@pytest.mark.parametrize(("injection", "there"), [("direct", True), ("dual", True), ("port", False)])
def test_a_fault_only_on_some_vehicles(injection: str, there: bool) -> None:
    assert ("a" in names(fault("a", only=DIRECT), fault("b"), injection=injection)) is there


def test_what_the_vehicle_does_not_state_rules_nothing_out() -> None:
    assert "a" in names(fault("a", only=CHARGED), fault("b"))
    assert "a" not in names(fault("a", only=CHARGED), fault("b"), charging="natural")


def test_a_fault_without_a_share_does_not_occur() -> None:
    assert names(fault("a", share={"port": 5, "direct": 0, "dual": 5}), fault("b")) == {"b"}


@pytest.mark.parametrize(
    ("distance", "prior"), [("200000 km", 0.75), ("100000 km", 0.5), ("160000 km", 0.5), (None, 0.5)]
)
def test_more_likely_needs_to_be_stated(distance: str | None, prior: float) -> None:
    fields = {} if distance is None else {"distance": distance}
    found = expanded(fault("a", more_likely=[(FAR, 3.0)]), fault("b"), **fields)
    assert found[0].prior == pytest.approx(prior)


def test_more_likely_multiplies() -> None:
    found = expanded(
        fault("a", more_likely=[(FAR, 3.0), (CHARGED, 2.0)]), fault("b"), distance="200000 km", charging="charged"
    )
    assert found[0].prior == pytest.approx(6 / 7)


def test_a_check_only_on_some_vehicles() -> None:
    rules = book([fault("a")], [check("dip", {"a": says({"odd": 0.5})}, only=DIRECT), check("look")])
    there = [c.name for c in compile_tables(rules, a_vehicle("inline 4", injection="port")).checks]
    assert there == ["look"]


def test_what_is_not_there_is_not_referred_to() -> None:
    """A check that stands for, or waits for, one that this vehicle cannot have."""
    rules = book(
        [fault("a")],
        [check("dip", only=DIRECT), check("look", stands_for=["dip"], after=["dip"])],
    )
    (look,) = compile_tables(rules, a_vehicle("inline 4", injection="port")).checks
    assert (look.stands_for, look.after) == (frozenset(), ())


# --- classes ----------------------------------------------------------------------------------------------------------


def test_causes_with_one_repair_at_one_place_are_one_class() -> None:
    rules = book(
        [fault("leak", "cylinder", repair="injector"), fault("drip", "cylinder", repair="injector"), fault("hose")]
    )
    tables = compile_tables(rules, a_vehicle())
    together = {}
    for cause, r in zip(tables.causes, tables.class_of, strict=True):
        together.setdefault(int(r), set()).add(cause.name)
    assert {"leak@cylinder-2", "drip@cylinder-2"} in together.values()
    assert len(together) == 5


def test_classes_lie_side_by_side() -> None:
    rules = book(
        [fault("a", "cylinder", repair="x"), fault("b", "bank", repair="y"), fault("c", "cylinder", repair="x")]
    )
    tables = compile_tables(rules, a_vehicle("V 6"))
    assert list(tables.class_of) == sorted(tables.class_of)
    for r, start in enumerate(tables.class_starts):
        assert tables.class_of[start] == r
        assert start == 0 or tables.class_of[start - 1] == r - 1
