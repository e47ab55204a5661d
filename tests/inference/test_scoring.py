"""Scores against published data and against exact fractions."""

from __future__ import annotations

import random

import pytest

from reasoner.inference.statistics import Group, score, score_groups

# D. S. Wilks, Statistical Methods in the Atmospheric Sciences, Table 7.3 (12-24 h probability-of-precipitation
# forecasts), as given in the data of the R package `verification`: forecast, observed frequency, share of forecasts.
WILKS = [
    (0.0, 0.006, 0.4112), (0.05, 0.019, 0.0671), (0.1, 0.059, 0.1833), (0.2, 0.15, 0.0986), (0.3, 0.277, 0.0616),
    (0.4, 0.377, 0.0366), (0.5, 0.511, 0.0303), (0.6, 0.587, 0.0275), (0.7, 0.723, 0.0245), (0.8, 0.779, 0.022),
    (0.9, 0.934, 0.017), (1.0, 0.933, 0.0203),
]  # fmt: skip


def test_murphy_1973_on_the_table_of_wilks() -> None:
    """The parts were recomputed from that table independently of this program; the rate .162 is printed with it."""
    found = score_groups([Group(*row) for row in WILKS])
    assert found.rate == pytest.approx(0.162, abs=5e-4)
    assert found.rate == pytest.approx(0.1615034, abs=5e-7)
    assert found.reliability == pytest.approx(0.000828, abs=5e-7)
    assert found.resolution == pytest.approx(0.062787, abs=5e-7)
    assert found.uncertainty == pytest.approx(0.135420, abs=5e-7)
    assert found.brier == pytest.approx(0.073461, abs=5e-7)
    assert found.calibration_error == pytest.approx(0.022906, abs=5e-7)


def test_ten_forecasts_in_exact_fractions() -> None:
    forecasts = [0.1] * 5 + [0.5] * 4 + [0.9]
    true = [bool(y) for y in (0, 0, 0, 0, 1, 1, 1, 0, 0, 1)]
    found = score(forecasts, true, bins=None)
    assert found.brier == pytest.approx(93 / 500)
    assert found.reliability == pytest.approx(3 / 500)
    assert found.resolution == pytest.approx(3 / 50)
    assert found.uncertainty == pytest.approx(6 / 25)
    assert found.calibration_error == pytest.approx(3 / 50)


@pytest.mark.parametrize("seed", range(20))
def test_by_distinct_value_the_decomposition_is_exact(seed: int) -> None:
    dice = random.Random(seed)
    forecasts = [dice.choice([0.0, 0.2, 0.5, 0.7, 0.95, 1.0]) for _ in range(50)]
    true = [dice.random() < f for f in forecasts]
    found = score(forecasts, true, bins=None)
    assert found.brier == pytest.approx(found.reliability - found.resolution + found.uncertainty)


def test_binned_the_brier_score_is_that_of_the_forecasts_as_made() -> None:
    found = score([0.91, 0.99, 0.93], [True, False, True])
    assert found.brier == pytest.approx((0.09**2 + 0.99**2 + 0.07**2) / 3)
    assert len(found.groups) == 1 and found.groups[0].weight == 3
    assert found.calibration_error == pytest.approx(abs((0.91 + 0.99 + 0.93) / 3 - 2 / 3))


def test_certain_forecasts_have_a_bin() -> None:
    found = score([1.0, 0.0], [True, False])
    assert found.brier == 0 and found.calibration_error == 0


def test_nothing_forecast_is_no_score() -> None:
    with pytest.raises(ValueError, match="no forecast"):
        score([], [])
