"""Readings near and far from the edges of bands. Gaussian areas: Abramowitz & Stegun (1964), table 26.1."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.measure.uncertain import FLOOR, between, soften
from reasoner.rulebook.model import Band, Measure


def measure(*bands: Band, spread: float = 3.0) -> Measure:
    return Measure("trim", "%", bands, spread, None, None)


TRIM = measure(Band("rich", None, -10), Band("normal", -10, 10), Band("lean", 10, None))


@pytest.mark.parametrize(
    ("z", "area"),
    [(0, 0.5), (1, 0.8413447461), (1.96, 0.9750021049), (2, 0.9772498681), (3, 0.9986501020), (-3, 0.0013498980)],
)
def test_areas_of_the_normal_table(z: float, area: float) -> None:
    assert between(-math.inf, z, 0.0, 1.0) == pytest.approx(area, abs=1e-10)


def test_a_far_tail_keeps_its_figures() -> None:
    """Q(10) = 7.619853e-24: Abramowitz & Stegun, table 26.2 (from memory), where 1 - 1 would be 0."""
    assert between(10, math.inf, 0.0, 1.0) == pytest.approx(7.619853e-24, rel=1e-6, abs=0)
    assert between(-math.inf, -10, 0.0, 1.0) == pytest.approx(7.619853e-24, rel=1e-6, abs=0)


def test_deep_inside_a_band() -> None:
    got = soften(TRIM, -40)
    assert got == {"rich": 1.0, "normal": FLOOR, "lean": FLOOR}
    assert soften(TRIM, 0)["rich"] < 0.001


def test_on_an_edge_both_sides_weigh_alike() -> None:
    got = soften(TRIM, -10)
    assert got["rich"] == pytest.approx(got["normal"], abs=1e-9) and got["lean"] == FLOOR


def test_one_spread_beyond_the_edge() -> None:
    """0.8413 against 0.1587: table 26.1 at z = 1."""
    assert soften(TRIM, -13)["normal"] == pytest.approx(0.1586552539 / 0.8413447461, rel=1e-8)


def test_bands_of_one_outcome_count_together() -> None:
    got = soften(measure(Band("off", None, -10), Band("normal", -10, 10), Band("off", 10, None)), 0)
    assert got["off"] == pytest.approx(2 * between(10, math.inf, 0, 3) / between(-10, 10, 0, 3), rel=1e-12)


def test_without_spread_it_is_a_step() -> None:
    step = measure(Band("low", None, 5), Band("high", 5, None), spread=0.0)
    assert soften(step, 5) == {"low": FLOOR, "high": 1.0}
    assert soften(step, 4.999) == {"low": 1.0, "high": FLOOR}


def test_too_far_from_every_band_says_nothing() -> None:
    assert soften(measure(Band("a", 0, 1), Band("b", 2, 3)), 1e9) == {"a": 1.0, "b": 1.0}


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
def test_no_number_is_no_reading(number: float) -> None:
    with pytest.raises(ValueError, match="no reading"):
        soften(TRIM, number)


@given(st.floats(-1e6, 1e6), st.floats(0, 100))
def test_weights_are_weights(number: float, spread: float) -> None:
    got = soften(measure(*TRIM.bands, spread=spread), number)
    assert max(got.values()) == 1.0 and min(got.values()) >= FLOOR


@given(st.floats(-100, 100), st.floats(-100, 100))
def test_a_richer_reading_never_speaks_less_for_rich(one: float, other: float) -> None:
    low, high = sorted((one, other))
    a, b = soften(TRIM, low), soften(TRIM, high)
    assert a["rich"] / a["lean"] >= b["rich"] / b["lean"] * (1 - 1e-9)
