"""Every check of the rules has an observer, and every observer speaks in outcomes of its check."""

from __future__ import annotations

from pathlib import Path

import pytest

from reasoner.rulebook.model import Check
from tests.model.bench import MEANS, Bench
from tests.model.breakages import BREAKAGES, CANNOT
from tests.model.car import PROFILES, Acts, Broken, Car, Profile, own_car
from tests.model.fleet import named_cars
from tests.model.observers import OBSERVERS, PENDING
from tests.model.play import start, truth, where
from tests.model.weeks import simulate
from tests.shipped import book

ROOT = Path(__file__).parents[2]


def asked() -> list[Check]:
    """Checks of a diagnosis that are made on the car: codes are read off in one go, and what work brought in comes
    after it."""
    return [c for c in book().checks.values() if not c.codes and not c.after_work]


def test_every_check_has_an_observer() -> None:
    assert {c.name for c in asked()} - set(OBSERVERS) - PENDING == set()
    assert not PENDING & set(OBSERVERS), "observed by now: take them out of PENDING"


def test_every_observer_has_a_check() -> None:
    assert set(OBSERVERS) - set(book().checks) == set()


def test_every_condition_is_known() -> None:
    assert set(book().conditions) - set(MEANS) == set()


def test_every_fault_is_a_car_or_there_is_a_reason() -> None:
    called = {name for b in BREAKAGES for name in b.called}
    faults = {f.name for f in book().faults.values() if not f.after_work and not f.anything_else}
    assert faults - called - set(CANNOT) == set()
    assert set(CANNOT) <= set(book().faults)


def test_every_named_car_has_a_cause_of_the_rules() -> None:
    for car, _ in named_cars():
        workup = start(book(), car.profile)
        fault = truth(book(), car)
        if not book().faults[fault].anything_else:
            assert any(c.fault == fault and c.where == where(car) for c in workup.tables.causes), car.name


@pytest.mark.parametrize("number", range(0, len(BREAKAGES), 3))
def test_observers_speak_in_outcomes_of_their_check(number: int) -> None:
    """Of every third named car (all of them: a third more with each of the shop's kinds of car)."""
    car, past = named_cars()[number]
    tables = start(book(), car.profile).tables
    for check in asked():
        if check.name not in OBSERVERS or check.name not in tables.check_number:
            continue
        for condition in check.conditions or ("warm-idle", "engine-off"):
            there = OBSERVERS[check.name](Bench(car, past, condition, check=check.name))
            _holds(check, there, car)


def _holds(check: Check, there: object, car: Car) -> None:
    if there is None:
        return
    places = {"engine": {0}, "bank": set(range(1, 1 + len(car.profile.banks)))}
    allowed = places.get(str(check.at), set(range(1, 1 + car.profile.cylinders)))
    found = there if isinstance(there, dict) else {0: there}
    assert set(found) == allowed, (check.name, found)
    for value in found.values():
        if isinstance(value, str):
            assert value in {o.name for o in check.outcomes}, (check.name, value)
        else:
            assert check.measure is not None and check.measure.allows(value), (check.name, value)


@pytest.mark.parametrize("profile", PROFILES[::2], ids=lambda p: p.name)
def test_a_sound_car_shows_nothing_on_the_bench(profile: Profile) -> None:
    """After weeks of use every outcome of these is the one a sound car shows (the first), slips apart."""
    car = own_car("sound", profile, "", Broken(), Acts(), "sound/bench")
    past = simulate(car, days=14)
    for name, condition in (
        ("trims-by-airflow", "warm-idle"),
        ("trim-follows-purge", "warm-idle"),
        ("exhaust-gas", "warm-idle"),
        ("plugs-after-open-loop", "open-loop-idle"),
        ("plugs-as-found", "engine-off"),
        ("overrun-watched", "overrun"),
        ("balance-test", "warm-idle"),
        ("misfires-watched", "load"),
        ("canister-weight", "engine-off"),
        ("purge-valve-holds-vacuum", "warm-idle"),
    ):
        there = OBSERVERS[name](Bench(car, past, condition, check=name))
        first = book().checks[name].outcomes[0].name
        assert there is not None and set(there.values() if isinstance(there, dict) else [there]) == {first}, name
