"""Facts of the trade that the shipped rules must reproduce.

Where no source is named, it is `common practice, no source`: experience of the trade, for which no citable standard
or published figure was found.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from reasoner.inference.belief import believe, by_cylinder, by_fault
from reasoner.inference.weight import weigh
from reasoner.network.vehicle import vehicle_from
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from reasoner.session import acts
from reasoner.session.workup import Workup, begin

RULES = Path(__file__).parent.parent / "rules"


@lru_cache
def book() -> Rulebook:
    return read_rules([RULES])


def car(**fields: str) -> Workup:
    vehicle, mistakes = vehicle_from({k.replace("_", " "): v for k, v in fields.items()})
    assert vehicle is not None, mistakes
    return begin(book(), vehicle)


def direct_four() -> Workup:
    return car(layout="inline 4", injection="direct", charging="charged", metering="airflow", distance="200000 km")


def acting_as(workup: Workup, family: str) -> np.ndarray:
    """Which causes act as a family, by the rules."""
    faults = {f.name for f in workup.book.faults.values() if family in f.acts_as}
    return np.array([c.fault in faults for c in workup.tables.causes])


def with_codes(workup: Workup, *codes: str) -> Workup:
    return workup.after(acts.list_codes(workup, [(code, ["pending", "permanent"]) for code in codes]))


def test_recurring_rich_code_alone_makes_an_injector_the_leading_fault() -> None:
    """Common practice, no source: a bank-wide rich code that comes back, no companion code, direct-injected four at
    about 200 000 km."""
    workup = with_codes(direct_four(), "P0172")
    injector = acting_as(workup, "injector-fault")
    chances = by_fault(workup.tables, workup.belief.probability)
    assert workup.tables.faults[int(chances.argmax())] in {
        c.fault for c, i in zip(workup.tables.causes, injector, strict=True) if i
    }


def test_about_nine_in_ten_once_airflow_and_purge_are_excluded() -> None:
    """Common practice, no source. Excluded means excluded: those causes are struck out."""
    workup = with_codes(direct_four(), "P0172")
    injector = acting_as(workup, "injector-fault")
    struck = acting_as(workup, "purge-vapour") | np.array(
        [c.fault.startswith("airflow-meter") for c in workup.tables.causes]
    )
    prior = np.where(struck, 0.0, workup.tables.prior)
    found = believe(workup.tables, workup.spells, prior / prior.sum()).probability
    assert 0.85 <= found[injector].sum() <= 0.95


def test_young_car_does_not_accuse_the_injector() -> None:
    """The same code at 30 000 km: wear is what makes an injector likely."""
    workup = with_codes(car(injection="direct", charging="charged", distance="30000 km"), "P0172")
    assert workup.belief.probability[acting_as(workup, "injector-fault")].sum() < 0.6


def test_one_sensor_for_all_four_names_no_cylinder() -> None:
    """With one upstream sensor for all four, the code alone cannot favour a cylinder."""
    workup = with_codes(direct_four(), "P0172")
    chances = by_cylinder(workup.tables, workup.belief.probability)
    assert np.allclose(chances, chances[0])


def test_two_sensors_on_a_six_halve_the_cylinders() -> None:
    """Each sensor of a six watches three cylinders: a code of one bank leaves those three."""
    workup = with_codes(car(layout="inline 6", upstream_sensors="2", distance="200000 km"), "P0172")
    chances = by_cylinder(workup.tables, workup.belief.probability)
    first, second = chances[:3].sum(), chances[3:].sum()
    assert first > 0.85 * (first + second)
    assert np.allclose(chances[:3], chances[0])


PLUGS_PULLED_BACK, PLUGS_CLEARED = "plugs-as-found", "plugs-after-clearing"


def odds_of(workup: Workup, fault: str, cylinder: int) -> float:
    """How far the last answer moved a fault at a cylinder, in decibans."""
    number = workup.tables.cause_number[f"{fault}@cylinder-{cylinder}"]
    return float(weigh(workup.tables, workup.spells)[-1].decibans[number])


def test_plugs_say_little_once_fuel_was_pulled_back_and_more_after_a_cleared_idle() -> None:
    """Common practice, no source: by the time anyone looks the plugs have cleaned themselves; a minute's idle after
    clearing, then shut off, makes them say more."""
    start = with_codes(direct_four(), "P0172")
    found = start.after(acts.answer(start, PLUGS_PULLED_BACK, {1: "same", 2: "same", 3: "sooty", 4: "same"}))
    cleared = start.after(acts.change_condition(start, "cleared-idle"))
    cleared = cleared.after(acts.answer(cleared, PLUGS_CLEARED, {1: "same", 2: "same", 3: "sooty", 4: "same"}))
    little, more = odds_of(found, "injector-leaks", 3), odds_of(cleared, "injector-leaks", 3)
    assert 0 < little < more
    assert more > 1.5 * little


def test_clean_plugs_as_found_hardly_clear_the_injectors() -> None:
    start = with_codes(direct_four(), "P0172")
    injector = acting_as(start, "injector-fault")
    found = start.after(acts.answer(start, PLUGS_PULLED_BACK, dict.fromkeys(range(1, 5), "same")))
    before, after = (w.belief.probability[injector].sum() for w in (start, found))
    assert after > 0.8 * before


def test_hot_air_on_one_injector_can_bring_the_fault_on() -> None:
    """Common practice, no source: about half a minute of hot air on one injector. It then names the cylinder."""
    start = with_codes(direct_four(), "P0172")
    came_on = book().checks["heat-on-injector"].outcomes[1].name
    hot = start.after(acts.change_condition(start, "warm-idle"))
    hot = hot.after(acts.answer(hot, "heat-on-injector", {3: came_on}))
    chances = by_cylinder(hot.tables, hot.belief.probability)
    assert chances.argmax() == 2
    assert chances[2] > 0.6
    assert float(hot.belief.showing @ hot.belief.probability) > 0.9  # and it is known to be showing now


@pytest.mark.parametrize("check", ["rail-hold-hot", "low-side-hold"])
def test_a_failed_hold_test_is_sensitive_not_specific(check: str) -> None:
    """A high-pressure hold test is about a hundred times more sensitive than trims and 1 K of cooling looks like a
    leak of 0.6 to 0.9 MPa (computed from fluid properties); pump check and relief valves share the sign. So failing
    alone must not settle on an injector."""
    start = car(injection="direct", distance="30000 km")
    entry = book().checks[check]
    failed = start.after(acts.change_condition(start, entry.conditions[0] if entry.conditions else None))
    failed = failed.after(acts.answer(failed, check, {0: entry.outcomes[-1].name}))
    assert not failed.settled
    assert not failed.fault_settled


def test_one_clean_hot_restart_hardly_exonerates_and_many_do() -> None:
    """The consequence of intermittency, on the shipped rules."""
    workup = with_codes(direct_four(), "P0172")
    number = workup.tables.cause_number["injector-leaks-after-soak@cylinder-3"]
    entry = book().checks["hot-restart-watched"]
    place = 0 if entry.at == "engine" else 1
    chances = [workup.belief.probability[number]]
    for _ in range(6):
        workup = workup.after(acts.change_condition(workup, "hot-restart"))
        workup = workup.after(acts.answer(workup, "hot-restart-watched", {place: entry.outcomes[0].name}))
        chances.append(workup.belief.probability[number])
    assert chances[1] > 0.4 * chances[0]
    assert chances[6] < 0.25 * chances[0]
    assert all(a > b for a, b in pairwise(chances))
