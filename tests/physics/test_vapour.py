"""Vapour drawn in through purge valve and breather hose: how much of it moves the trim, and how long it lasts.

Petrol vapour of 65 g/mol (light ends, from memory), ideal gas at 25 degC, stoichiometry as in `engine`.
"""

from __future__ import annotations

from math import exp

import pytest

from tests.physics.engine import CRUISE, IDLE, LOAD, STOICHIOMETRIC, Point
from tests.physics.said import chance, rules, shows

GAS, KELVIN, KPA = 8.314, 298.15, 101.325
VAPOUR, AIR = 65.0, 28.965  # g/mol


def moles_a_second(litres_a_minute: float) -> float:
    return litres_a_minute / 60 * KPA / (GAS * KELVIN)


def purge_trim(litres_a_minute: float, vapour: float, point: Point) -> float:
    """What the loop takes away (negative) for so much purge of so much vapour by volume: fuel in, air in too."""
    moles = moles_a_second(litres_a_minute)
    fuel, air = moles * vapour * VAPOUR, moles * (1 - vapour) * AIR
    return (air - STOICHIOMETRIC * fuel) / point.air


def neutral() -> float:
    """The share of vapour at which purge neither adds nor takes."""
    return AIR / (AIR + STOICHIOMETRIC * VAPOUR)


def test_purge_is_neutral_at_three_per_cent_and_lean_below() -> None:
    assert neutral() == pytest.approx(0.03, abs=0.002)
    assert purge_trim(10, 0.02, IDLE) > 0 > purge_trim(10, 0.05, IDLE)
    book = rules()
    assert chance(book, "code-lean-too", "present", "purge-vapour") > chance(book, "code-lean-too", "present")


def test_the_figure_that_the_rules_print() -> None:
    """10 L/min at 20 % takes the trim to about -38 % at 3 g/s of air."""
    assert purge_trim(10, 0.20, Point("", 3.0, 32, 700)) == pytest.approx(-0.38, abs=0.04)
    assert "-38 % at 3 g/s" in rules().families["purge-vapour"].origin.because


def test_idle_is_where_it_shows_and_load_where_it_does_not() -> None:
    """A valve that leaks passes the same at any speed: the manifold is below half the air's pressure."""
    idle, cruise, load = (purge_trim(10, 0.10, p) for p in (IDLE, CRUISE, LOAD))
    assert idle < 3 * cruise < 0 and load > -0.02
    book = rules()
    for fault in ("purge-valve-leaks", "canister-loaded", "hose-routed-wrong"):
        assert shows(book, fault, "warm-idle") >= shows(book, fault, "load")
        assert chance(book, "trim-idle", "rich", fault) > chance(book, "trim-load", "rich", fault)
        assert chance(book, "doing-what", "idle", fault) > chance(book, "doing-what", "idle")


def test_a_full_tank_s_vapour_is_purged_within_a_drive() -> None:
    """A litre canister holds about 60 g. Swept by purge, it gives off ever less (first-order, from memory): at 10 L/min
    and 30 % vapour at first, the trim at idle is normal again after some minutes to half an hour."""
    stored, flow = 60.0, moles_a_second(10)
    vapour, swept = 0.30, 0.0  # swept: seconds
    grams_at_first = vapour * flow * VAPOUR
    while purge_trim(10, vapour, IDLE) < -0.10:
        swept += 1.0
        vapour = 0.30 * exp(-grams_at_first * swept / stored)
    assert 5 * 60 < swept < 60 * 60
    book = rules()
    assert shows(book, "purge-vapour", "after-refuelling") == max(
        shows(book, "purge-vapour", c) for c in book.conditions if c not in ("engine-off", "cold-soaked", "hot-soak")
    )
    assert chance(book, "happens-after-refuelling", "yes", "purge-vapour") > 4 * chance(
        book, "happens-after-refuelling", "yes"
    )
    assert chance(book, "recovers-by-itself", "minutes", "purge-vapour") > chance(book, "recovers-by-itself", "minutes")


def test_oil_full_of_fuel_is_rich_for_an_hour_and_then_no_more() -> None:
    """5 % in 4.5 L of oil is 0.17 kg; boiled off in an hour it is 0.047 g/s: -21 % at idle, -4 % at cruise."""
    fuel = 0.05 * 4.5 * 0.745 * 1000
    rate = fuel / 3600
    idle, cruise = (-STOICHIOMETRIC * rate / p.air for p in (IDLE, CRUISE))
    assert idle == pytest.approx(-0.21, abs=0.02) and cruise > -0.05
    book = rules()
    assert shows(book, "crankcase-vapour", "warm-idle") > shows(book, "crankcase-vapour", "load")
    assert shows(book, "crankcase-vapour", "warm-idle") > shows(book, "crankcase-vapour", "cold-start")
    assert chance(book, "long-run-helps", "yes", "oil-diluted") > 3 * chance(book, "long-run-helps", "yes")
    assert chance(book, "freeze-frame", "idle", "crankcase-vapour") > chance(book, "freeze-frame", "idle")
    late = chance(book, "freeze-frame-start", "later", "crankcase-vapour")
    assert late > chance(book, "freeze-frame-start", "hot-start", "crankcase-vapour")


def test_oil_drawn_in_burns_as_fuel_but_blue() -> None:
    """A litre of oil in 1000 km at 60 km/h is 0.014 g/s; burnt, it asks for as much air as petrol would: -6 % at idle.

    So a car with a rich code burns three times that, at a steady rate; smoke and level tell it."""
    rate = 860.0 / (1000 / 60 * 3600)
    assert -STOICHIOMETRIC * rate / IDLE.air == pytest.approx(-0.06, abs=0.02)
    book = rules()
    assert chance(book, "code-rich", "present", "oil-drawn-in") < chance(
        book, "code-rich", "present", "crankcase-vapour"
    )
    assert chance(book, "smoke", "blue", "oil-drawn-in") > 5 * chance(book, "smoke", "blue")
    assert -STOICHIOMETRIC * 3 * rate / IDLE.air < -0.17 and -STOICHIOMETRIC * 3 * rate / CRUISE.air > -0.06
    assert chance(book, "trims-by-airflow", "fades", "oil-drawn-in") > 5 * chance(
        book, "trims-by-airflow", "flat", "oil-drawn-in"
    )
    assert shows(book, "oil-drawn-in", "warm-idle") > shows(book, "oil-drawn-in", "load")
