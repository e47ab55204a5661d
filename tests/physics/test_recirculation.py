"""The pipe of an exhaust gas recirculation valve at idle: how hot its wall gets with gas in it, and without.

A steel pipe of 20 mm and 1 mm wall in an engine bay of 60 degC. Exhaust gas at an idle leaves the head at 300 to 400
degC (J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, chapter 6, from memory). Inside laminar flow in the
entrance of a pipe, Nu = 1.08 (x / (D Re Pr))^(-1/3); outside free convection and radiation, together 18 W/m2K; along
the wall the long fin, exp(-sqrt(h / (k t)) x) (F. P. Incropera and others, Fundamentals of Heat and Mass Transfer,
chapters 3, 8 and 9, from memory). Gas for a trim follows from `tests.physics.engine`: what counts as air and is none.
"""

from __future__ import annotations

from math import exp, pi, sqrt

import pytest

from tests.physics.engine import IDLE
from tests.physics.said import chance, rules

BORE, WALL = 0.018, 0.001  # m
BAY, EXHAUST = 60.0, (300.0, 350.0, 400.0)  # degC
OUTSIDE = 18.0  # W/m2K
CONDUCTS = {"stainless": 16.0, "mild steel": 50.0}  # W/mK
GAS_HEAT, GAS_CONDUCTS, GAS_VISCOSITY, PRANDTL = 1100.0, 0.045, 2.9e-5, 0.7  # at 300 degC
HAND = 0.1  # m from the valve


def gas(share: float) -> float:
    """kg/s of exhaust gas that fill this share of the manifold's pressure while the engine takes its air."""
    return IDLE.air * share / (1 - share) / 1000


def inside(flow: float, along: float) -> float:
    """W/m2K from gas to wall. Bends and pulses make it more, so this is the least."""
    reynolds = 4 * flow / (pi * BORE * GAS_VISCOSITY)
    return max(3.66, 1.08 * (along / (BORE * reynolds * PRANDTL)) ** (-1 / 3)) * GAS_CONDUCTS / BORE


def wall(flow: float, exhaust: float, along: float = HAND) -> float:
    """degC of the wall where the gas has come so far, once it has settled."""
    within, without = inside(flow, along) * pi * BORE, OUTSIDE * pi * (BORE + 2 * WALL)
    lost = 1 / (1 / within + 1 / without) * along / (flow * GAS_HEAT)
    there = BAY + (exhaust - BAY) * exp(-lost)
    return (within * there + without * BAY) / (within + without)


def settles(flow: float) -> float:
    """s until a step of the wall's temperature is down to a third: 1 mm of steel, 3.9 MJ/m3K."""
    return 3.9e6 * WALL / (OUTSIDE + (inside(flow, HAND) if flow else 0.0))


@pytest.mark.parametrize("exhaust", EXHAUST)
def test_gas_enough_for_a_trim_heats_the_pipe(exhaust: float) -> None:
    """A tenth of the manifold's pressure takes 10 % of the fuel off the trim; a rich code wants 15 to 20."""
    assert wall(gas(0.10), exhaust) > 120
    assert wall(gas(0.20), exhaust) > 150


@pytest.mark.parametrize("conducts", CONDUCTS.values(), ids=CONDUCTS)
def test_a_hand_from_a_hot_valve_a_shut_pipe_is_as_its_bay(conducts: float) -> None:
    body = 160.0  # degC of the valve's body on the exhaust side
    assert (body - BAY) * exp(-sqrt(OUTSIDE / (conducts * WALL)) * HAND) < 15


def test_some_minutes_of_idling_tell_them_apart() -> None:
    """After a drive with gas in it the pipe is hot on every car: shut, it takes five minutes to fall below 120."""
    after = 250.0
    assert BAY + (after - BAY) * exp(-180 / settles(0.0)) > 120
    assert BAY + (after - BAY) * exp(-300 / settles(0.0)) < 120
    assert 60 < settles(gas(0.2)) < 200


def test_rules_say_so() -> None:
    book = rules()
    open_, sound = (chance(book, "recirculation-pipe-heat", "hot", f) for f in ("recirculation-open", "truly-rich"))
    assert open_ > 0.75 and sound < 0.06
    assert "five minutes" in book.checks["recirculation-pipe-heat"].how
