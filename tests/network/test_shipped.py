"""The shipped rules on every layout: what must hold whatever the rules say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from reasoner.network.graph import build_graph
from reasoner.network.tables import Tables, compile_tables
from reasoner.network.vehicle import LAYOUTS, VEHICLE_CHOICES
from reasoner.rulebook.model import Rulebook
from tests.shipped import book
from tests.support import a_vehicle

RULES = Path(__file__).parents[2] / "rules"


@pytest.fixture(scope="module")
def rules() -> Rulebook:
    return book()


@pytest.fixture(scope="module", params=[(lay, inj) for lay in LAYOUTS for inj in VEHICLE_CHOICES["injection"]], ids=str)
def tables(request: pytest.FixtureRequest, rules: Rulebook) -> Tables:
    layout, injection = request.param
    return compile_tables(rules, a_vehicle(layout, injection=injection))


def test_priors_are_a_distribution(tables: Tables) -> None:
    assert tables.prior.sum() == pytest.approx(1.0)
    assert tables.prior.min() > 0


def test_every_outcome_stays_possible_and_sums_to_one(tables: Tables) -> None:
    for check in tables.checks:
        assert check.rows.sum(axis=1) == pytest.approx(np.ones(len(check.rows))), check.name
        assert check.rows.min() >= tables.unlikeliest - 1e-12, check.name


def test_showing_is_never_sure(tables: Tables) -> None:
    assert tables.shows.min() >= tables.unlikeliest
    assert tables.shows.max() <= 1 - tables.unlikeliest


def test_every_condition_can_be_reached(tables: Tables) -> None:
    assert (tables.reach >= 0).all()
    assert (tables.reach.sum(axis=2) > 0).all()


def test_something_else_is_always_possible(tables: Tables, rules: Rulebook) -> None:
    (spare,) = (f.name for f in rules.faults.values() if f.anything_else)
    assert tables.prior[tables.cause_number[spare]] > 0.005


def test_every_row_says_who_said_it(tables: Tables) -> None:
    for check in tables.checks:
        assert len(check.origins) == len(check.rows)
        assert all(o.weight > 0 and o.place.line >= 1 for o in check.origins)


def test_no_cause_is_lost(rules: Rulebook) -> None:
    vehicle = a_vehicle("V 8")
    graph = build_graph(rules, vehicle)
    names = {name for kind, name in graph if kind == "cause"}
    assert names == set(compile_tables(rules, vehicle, graph).cause_number)
