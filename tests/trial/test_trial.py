"""Virtual cars through the real session: drawn as the tables say, the same for every way of choosing, and summed up."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from reasoner.inference.credible_range import perturbed
from reasoner.inference.statistics import wilson
from reasoner.network.vehicle import vehicle_from
from reasoner.rulebook.read import read_rules
from reasoner.session.workup import Workup, begin
from reasoner.trial import trial
from reasoner.trial.trial import TrialRun, TrialStep
from reasoner.trial.trialled import trialled
from reasoner.trial.virtual import World, virtual_car
from tests.shipped import LONG, book, garage

ROOT = Path(__file__).parent.parent.parent
CARS = 2000
long_form = pytest.mark.skipif(
    not LONG and not os.environ.get("REASONER_TRIAL"),
    reason="part of the long form (REASONER_TRIAL=1): a car takes half a minute",
)


@cache
def start() -> Workup:
    vehicle, mistakes = vehicle_from({"layout": "inline 4", "injection": "direct"})
    assert vehicle is not None, mistakes
    return garage().begin(vehicle)


def world() -> World:
    return World(book(), start().tables)


# ---- a virtual car ---------------------------------------------------------------------------------------------------


def near(seen: int, of: int, chance: float) -> bool:
    """Within what chance leaves open 999 times in 1000 (score interval, z = 3.3)."""
    low, high = wilson(seen, of, 3.3)
    return low - 1e-9 <= chance <= high + 1e-9


def test_causes_are_drawn_as_often_as_the_rules_say() -> None:
    tables = start().tables
    drawn = Counter(tables.faults[tables.fault_of[virtual_car(world(), 1, n).cause]] for n in range(CARS))
    chances = np.bincount(tables.fault_of, weights=tables.prior, minlength=len(tables.faults))
    for fault, chance in zip(tables.faults, chances, strict=True):
        assert near(drawn[fault], CARS, chance), fault


def test_what_it_shows_is_drawn_as_the_tables_say() -> None:
    """One cause, one check that sees the present, one condition: quiet and showing mixed as the rules have it."""
    tables = start().tables
    number = next(n for n, c in enumerate(tables.causes) if c.fault == "airflow-meter-high")
    table = tables.checks[tables.check_number["trim-load"]]
    k = tables.condition_number["load"]
    shows, place = tables.shows[number, k], 0
    expected = shows * table.rows[table.index[number, place]] + (1 - shows) * table.rows[0]
    seen = Counter[int]()
    for n in range(CARS):
        one = virtual_car(world(), 1, n)
        same = type(one)(one.world, number, one.name)
        seen[same.there(table, ("load", 0))[place]] += 1
    for outcome, chance in enumerate(expected):
        assert near(seen[outcome], CARS, chance)


def test_a_spell_is_showing_or_quiet_for_all_that_is_looked_at_in_it() -> None:
    one = virtual_car(world(), 3, 14)
    assert {one.showing(("warm-idle", 0)) for _ in range(5)} == {one.showing(("warm-idle", 0))}
    spells = {one.showing(("warm-idle", n)) for n in range(200)}
    chance = start().tables.shows[one.cause, start().tables.condition_number["warm-idle"]]
    assert spells == ({True, False} if 0.05 < chance < 0.95 else spells)


def test_the_same_car_shows_the_same_whatever_was_asked_before(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        trial, "MOST_STEPS_OF_A_CAR", trial.MOST_STEPS_OF_A_CAR if LONG else 16
    )  # the owner is asked early
    ways = (trial.by_rollout, trial.by_greed)
    for number in range(1):
        runs = [trial.run_car(start(), world(), 5, number, way) for way in ways]
        assert len({(r.fault, r.where, r.codes) for r in runs}) == 1
        told = [{(s.check, s.text) for s in r.steps if book().checks[s.check].kind == "told"} for r in runs]
        for one in told[1:]:
            shared = {c for c, _ in told[0]} & {c for c, _ in one}
            assert shared
            assert {p for p in told[0] if p[0] in shared} == {p for p in one if p[0] in shared}


def test_the_same_seed_gives_the_same_runs_and_another_gives_others() -> None:
    """By rules small enough that a car takes no time."""
    small = read_rules([ROOT / "tests" / "rulebook" / "small"])
    begun = begin(small, start().vehicle)
    cars = World(small, begun.tables)
    first, again, other = (
        [trial.run_car(begun, trial.world_of(cars, "within", seed, n), seed, n, trial.by_greed) for n in range(3)]
        for seed in (7, 7, 8)
    )
    assert first == again
    assert [r.fault for r in first] != [r.fault for r in other] or first != other


def test_perturbed_rules_keep_their_mean_and_their_floor() -> None:
    whole = start().tables
    table = whole.checks[whole.check_number["trim-load"]]
    tables = replace(whole, checks=(table,))
    drawn = np.array([perturbed(tables, seed).checks[0].rows for seed in range(400)])
    spread = drawn.std(axis=0) / len(drawn) ** 0.5
    assert (abs(drawn.mean(axis=0) - table.rows) < 4 * spread + 0.004).all()
    assert drawn.min() >= tables.unlikeliest * 0.9
    further = np.array([perturbed(tables, seed, 4.0).checks[0].rows for seed in range(400)])
    assert (further.std(axis=0) > 1.3 * drawn.std(axis=0)).mean() > 0.9


# ---- summing up ------------------------------------------------------------------------------------------------------


def step(check: str, minutes: float, bits: float) -> TrialStep:
    return TrialStep(check, "warm-idle", False, minutes, 5.0, 2.0, 0, bits, 0.5, "", "", 0.5)


def one_run(number: int, kind: str, claimed: float, right: bool, steps: tuple[TrialStep, ...] = ()) -> TrialRun:
    said = "injector-leaks" if right else "purge-valve-leaks"
    return TrialRun(
        number,
        "injector-leaks",
        "cylinder 2",
        kind,
        said,
        "cylinder 2",
        claimed,
        claimed,
        right,
        right,
        right,
        (),
        steps,
    )


def test_summed_up_by_hand() -> None:
    runs = [
        one_run(0, "settled", 0.92, True, (step("trim-idle", 10, 1.0), step("trim-load", 20, 0.0))),
        one_run(1, "settled", 0.95, False, (step("trim-idle", 10, -0.5),)),
        one_run(2, "nothing-worth", 0.4, True, (step("trim-idle", 40, 0.25),)),
        one_run(3, "place-open", 0.88, True),
    ]
    found = trialled("today", runs, book())
    assert (found.given.came, found.given.cases) == (3, 4)
    assert found.right is not None and (found.right.came, found.right.cases) == (2, 3)
    assert found.firm_wrong is not None and (found.firm_wrong.came, found.firm_wrong.cases) == (1, 3)
    assert (found.minutes, found.half, found.steps) == (20.0, 20.0, 1.0)
    assert found.claims is not None and found.claims.brier == pytest.approx((0.08**2 + 0.95**2 + 0.12**2) / 3)
    (fault,) = found.faults
    assert fault.taken_for == ((book().faults["purge-valve-leaks"].title, 1),)
    idle = next(kept for kept in found.checks if kept.check == "trim-idle")
    assert (idle.looks, idle.minutes, idle.bits) == (0.75, 15.0, 0.25)
    assert idle.rate == pytest.approx(0.75 / 60 * 15) and idle.expected == pytest.approx(1.5 / 60 * 15)


def test_no_verdict_and_no_car() -> None:
    found = trialled("today", [one_run(0, "nothing-worth", 0.3, False)], book())
    assert found.right is None and found.claims is None and found.firm_wrong is None
    with pytest.raises(ValueError, match="no car"):
        trialled("today", [], book())


# ---- what it shows, in short; the long form is `reasoner rules trial` ------------------------------------------------


@long_form
def test_verdicts_hold_on_cars_that_are_off_the_rules() -> None:
    """30 cars, each from rules of its own: what 2000 show with narrow ranges, here so far that a broken engine would
    fail."""
    runs = [drawn_run(n, trial.by_greed) for n in range(30)]
    found = trialled("greedy", runs, book())
    assert found.right is not None and found.right.came / found.right.cases > 0.8
    assert found.given.came / found.given.cases > 0.6


@long_form
def test_a_list_takes_far_longer() -> None:
    """8 of the same cars, by a list gone through from the cheapest check on."""
    listed = trial.by_list(trial.cheapest_first(start()))
    chosen, fixed = (sum(drawn_run(n, way).minutes for n in range(8)) for way in (trial.by_rollout, listed))
    assert chosen < 0.6 * fixed


def drawn_run(number: int, way: trial.Chooser) -> TrialRun:
    return trial.run_car(start(), trial.world_of(world(), "within", 11, number), 11, number, way)
