"""Lambda from exhaust gas: Brettschneider 1979, a worked example step by step, and chemistry from the other side."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.measure.fuel import OXYGEN_IN_AIR, Fuel, exhaust, lambda_of
from reasoner.measure.uncertain import Estimate

PLAIN = Fuel(1.85)
E10 = Fuel(1.93, 0.033)


def test_worked_example() -> None:
    """CO 2.5, CO2 13.4, HC 250 ppm, O2 0.3, Hcv 1.85, Ocv 0, by hand:

    numerator 13.4 + 1.25 + 0.3 = 14.950, and 0.4625 x 3.5 / 3.68657 x 15.9 = 6.982, together 21.932;
    denominator 1.4625 x (15.9 + 0.15) = 23.473.
    """
    assert lambda_of(2.5, 13.4, 250, 0.3, fuel=PLAIN).value == pytest.approx(21.932 / 23.473, abs=5e-5)


@pytest.mark.parametrize(
    ("co", "co2", "hc", "o2", "plain", "e10", "twelve"),
    [  # recomputed from the formula, apart from this code
        (0.05, 15.2, 10, 0.10, 1.003, 1.003, 1.002),
        (0.3, 15.0, 100, 0.3, 1.001, 1.001, 0.997),
        (1.0, 14.4, 150, 0.3, 0.979, 0.979, 0.974),
        (2.5, 13.4, 250, 0.3, 0.934, 0.934, 0.926),
        (5.0, 11.6, 500, 0.4, 0.863, 0.862, 0.848),
        (0.1, 13.6, 80, 2.0, 1.093, 1.093, 1.089),
        (0.5, 12.5, 1800, 3.0, 1.054, 1.053, 0.978),
        (0.04, 13.5, 9, 2.4, 1.119, 1.119, 1.119),
    ],
)
def test_table(co: float, co2: float, hc: float, o2: float, plain: float, e10: float, twelve: float) -> None:
    assert lambda_of(co, co2, hc, o2, fuel=PLAIN).value == pytest.approx(plain, abs=6e-4)
    assert lambda_of(co, co2, hc, o2, fuel=E10).value == pytest.approx(e10, abs=6e-4)
    assert lambda_of(co, co2, hc, o2, fuel=PLAIN, carbon=12).value == pytest.approx(twelve, abs=6e-4)


@pytest.mark.parametrize(
    ("excess", "co2", "co", "o2"),
    [  # recomputed by an equilibrium program with K = 3.5, y = 1.87
        (0.80, 10.29, 7.59, 0),
        (0.90, 12.84, 3.68, 0),
        (0.95, 14.08, 1.81, 0),
        (0.97, 14.57, 1.08, 0),
        (0.98, 14.82, 0.71, 0),
        (1.00, 15.30, 0, 0),
        (1.05, 14.52, 0, 1.07),
        (1.10, 13.82, 0, 2.03),
    ],
)
def test_exhaust_of_a_lambda(excess: float, co2: float, co: float, o2: float) -> None:
    got = exhaust(excess)
    assert (got["co2"], got["co"], got["o2"]) == pytest.approx((co2, co, o2), abs=0.006)


@given(st.floats(0.6, 3.0), st.floats(1.7, 2.8), st.floats(0, 0.4))
def test_there_and_back(excess: float, hydrogen: float, oxygen: float) -> None:
    """Gas made by balance and equilibrium gives its lambda back, for any fuel."""
    fuel = Fuel(hydrogen, oxygen)
    gas = exhaust(excess, fuel)
    if gas["co2"] > 0.5:
        assert lambda_of(gas["co"], gas["co2"], 0, gas["o2"], fuel=fuel).value == pytest.approx(excess, rel=1e-9)


@given(st.floats(0.7, 2.0))
def test_nothing_is_lost(excess: float) -> None:
    """Atom balance of CH1.87: with the carbon known, the oxygen and nitrogen must be those of the air."""
    gas = exhaust(excess, Fuel(1.87))
    carbon = gas["co2"] + gas["co"]
    water = 1.87 / 2 * carbon - gas["h2"]
    oxygen = gas["co2"] + gas["co"] / 2 + gas["o2"] + water / 2
    assert oxygen / gas["n2"] == pytest.approx(OXYGEN_IN_AIR / (1 - OXYGEN_IN_AIR), rel=1e-9)
    assert sum(gas.values()) == pytest.approx(100)
    if excess < 0.999:
        assert gas["co"] * water / (gas["co2"] * gas["h2"]) == pytest.approx(3.5, rel=1e-6)


def test_rule_of_a_third_of_a_percent_of_co() -> None:
    """Engine-out CO rises by some 0.36 % for each per cent of richness (recomputed)."""
    assert (exhaust(0.95)["co"] - exhaust(0.97)["co"]) / 2 == pytest.approx(0.36, abs=0.02)


def test_error_of_lambda() -> None:
    """By hand, dLambda/dO2 = 1/((1+Hcv/4)(CO2+CO)) = 1/(1.4625 x 15.3): 0.1 % of O2 moves it by 0.0045."""
    got = lambda_of(0.3, 15.0, 0, Estimate(0.3, 0.1), fuel=PLAIN)
    assert got.error == pytest.approx(0.1 / (1.4625 * 15.3), rel=1e-6)
    wider = lambda_of(Estimate(0.3, 0.03), Estimate(15.0, 0.3), Estimate(100, 10), Estimate(0.3, 0.1), fuel=PLAIN)
    assert got.error < wider.error < 2 * got.error


def test_nitric_oxide_counts_half_as_oxygen() -> None:
    """2000 ppm are 0.2 %, half of it 0.1 % of O2: the formula's NO/2."""
    assert lambda_of(0.3, 15.0, 0, 0.3, 2000).value == pytest.approx(lambda_of(0.3, 15.0, 0, 0.4).value, rel=1e-12)


def test_no_exhaust_gas() -> None:
    with pytest.raises(ValueError, match="CO2"):
        lambda_of(0, 0, 0, 20.9)
    with pytest.raises(ValueError, match="lambda"):
        exhaust(0.5)
    for end in (0.6, 3.0):
        assert exhaust(end)["n2"] > 0
    with pytest.raises(ValueError):
        exhaust(3.05)
    assert lambda_of(-0.01, 15.0, -2, -0.02).value == lambda_of(0, 15.0, 0, 0).value  # a gauge's zero wanders
