"""Wear: the law, its quartiles, and what is left of it for a part that has lasted so far."""

from __future__ import annotations

from math import exp

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.repair.reckoning import any_of, goes_within, law

LASTS = (160000.0, 220000.0)


def gone_by(lasts: tuple[float, float], km: float) -> float:
    """Share of the parts that have worn out by this distance: of new ones, within it."""
    return goes_within(lasts, 0.0, km)


def test_a_quarter_is_gone_at_each_end() -> None:
    """Half of them wear out between the two distances: how the rules' `lasts` is read."""
    assert gone_by(LASTS, 160000) == pytest.approx(0.25)
    assert gone_by(LASTS, 220000) == pytest.approx(0.75)


def test_the_law_is_weibulls() -> None:
    """63.2 % are gone at the scale, whatever the shape (1 - 1/e): the property that names the scale."""
    shape, scale = law(LASTS)
    assert gone_by(LASTS, scale) == pytest.approx(1 - exp(-1))
    assert shape == pytest.approx(4.938, abs=1e-3)  # ln(ln 4 / ln(4/3)) / ln(220/160), by hand


def test_old_ones_go_sooner() -> None:
    by_age = [goes_within(LASTS, km, 20000) for km in (0, 60000, 120000, 160000, 200000)]
    assert by_age == sorted(by_age)
    assert by_age[0] < 1e-4 and by_age[-1] == pytest.approx(0.405, abs=0.005)


@given(st.floats(0, 400000), st.floats(1, 100000))
def test_given_that_it_has_lasted(driven: float, within: float) -> None:
    shape, scale = law(LASTS)
    left, later = (exp(-((km / scale) ** shape)) for km in (driven, driven + within))
    if left > 1e-9:
        assert goes_within(LASTS, driven, within) == pytest.approx(1 - later / left, abs=1e-6)


def test_any_of_three() -> None:
    assert any_of(3, 0.5) == 0.875 and any_of(0, 0.5) == 0
