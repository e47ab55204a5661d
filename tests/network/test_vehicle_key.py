"""Vehicles that share tables have the same tables."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from reasoner.network.tables import Tables, compile_tables
from reasoner.network.vehicle import Vehicle, limits, vehicle_from, vehicle_key
from tests.shipped import book, thinned


def car(**fields: str) -> Vehicle:
    found, mistakes = vehicle_from({key.replace("_", " "): value for key, value in fields.items()})
    assert found is not None, mistakes
    return found


def equal(one: Tables, other: Tables) -> bool:
    numbers = [(one.prior, other.prior), (one.shows, other.shows), (one.class_of, other.class_of)]
    pairs = list(zip(one.checks, other.checks, strict=False))
    numbers += [(a.rows, b.rows) for a, b in pairs] + [(a.index, b.index) for a, b in pairs]
    return (
        [c.name for c in one.checks] == [c.name for c in other.checks]
        and [c.name for c in one.causes] == [c.name for c in other.causes]
        and all(np.array_equal(a, b) for a, b in numbers)
    )


BASES = [{"layout": "inline 4", "injection": "direct"}, {"layout": "V 6", "injection": "port"}]


@pytest.mark.parametrize("base", BASES, ids=lambda b: b["layout"])
def test_between_two_limits_the_tables_are_the_same(base: dict[str, str]) -> None:
    ends = [0.0, *limits(book()), 400_000.0]
    assert len(ends) > 4
    made = []
    for low, high in thinned(list(pairwise(ends)), 3, BASES.index(base)):
        near = [car(**base, distance=f"{low + part * (high - low):.0f} km") for part in (0.25, 0.75)]
        assert vehicle_key(limits(book()), near[0]) == vehicle_key(limits(book()), near[1])
        one, other = (compile_tables(book(), vehicle) for vehicle in near)
        assert equal(one, other)
        made.append(one)
    assert sum(not equal(a, b) for a, b in pairwise(made)) > 0  # the limits do matter


def test_a_distance_on_a_limit_is_a_kind_of_its_own() -> None:
    limit = limits(book())[0]
    keys = {vehicle_key(limits(book()), car(distance=f"{limit + more:.0f} km")) for more in (-1000, 0, 1000)}
    assert len(keys) == 3


@pytest.mark.parametrize(
    "other",
    [
        {"injection": "port"},
        {"layout": "inline 6"},
        {"upstream_sensors": "2"},
        {"charging": "charged"},
        {"return_line": "yes"},
        {"distance": "100 km"},
    ],
    ids=lambda o: next(iter(o)),
)
def test_what_the_rules_look_at_parts_kinds(other: dict[str, str]) -> None:
    assert vehicle_key(limits(book()), car()) != vehicle_key(limits(book()), car(**other))


def test_name_and_firing_order_part_nothing() -> None:
    plain = car()
    assert vehicle_key((), plain) == vehicle_key((), replace(plain, title="Something else", fields={}))
