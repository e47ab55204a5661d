"""Trims against airflow. The algebra is derived from the mass balance; fixtures were worked out apart from this code.

Least squares and its covariance are checked against numpy.polyfit, standard errors against repeated noisy readings.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.measure.fuel import PETROL, grams_a_second
from reasoner.measure.trims import (
    TrimFit,
    TrimReading,
    Unfit,
    both,
    fit_trims,
    fuel_needed,
    leak_for,
    shapes,
    trim,
)

FLOWS = (2.5, 3, 5, 8, 12, 20, 40, 80)
RATIO = 14.6


def readings(flows: tuple[float, ...], trims: tuple[float, ...]) -> list[TrimReading]:
    return [TrimReading(m, t) for m, t in zip(flows, trims, strict=True)]


def fitted(data: list[TrimReading], **more: float) -> TrimFit:
    got = fit_trims(data, **more)
    assert isinstance(got, TrimFit), got
    return got


def test_short_and_long_together() -> None:
    """-10.94 and -20.31 %: sum -31.25, product 0.8906 x 0.7969 - 1 = -29.03 %."""
    assert both(-10.94, -20.31) == pytest.approx((-31.25, -29.03), abs=0.01)


@pytest.mark.parametrize(
    ("errors", "expected"),
    [
        ({"by_time": 0.05}, (-29, -24, -14.6, -9.1, -6.1, -3.6, -1.8, -0.9)),
        ({"share": 1.15}, (-13,) * 8),
        ({"by_time": 0.03, "share": 1.08}, (-23.6, -20.9, -15.5, -12.5, -10.8, -9.4, -8.4, -7.9)),
    ],
)
def test_forward(errors: dict[str, float], expected: tuple[float, ...]) -> None:
    assert [trim(m, ratio=RATIO, **errors) for m in FLOWS] == pytest.approx(expected, abs=0.5)


def test_by_injection() -> None:
    """1 mg too much: idle 9.8 mg, 2500 rpm without load 10.4, cruise 20, full load 32."""
    got = [trim(3, by_injection=1, injected=mf) for mf in (9.8, 10.4, 20, 32)]
    assert got == pytest.approx((-10.2, -9.6, -5.0, -3.1), abs=0.06)


def test_raising_the_idle_separates() -> None:
    """Four times the airflow, the same fuel in each injection: a leak's trim falls to a quarter, the others stay."""
    idle, raised = (3.15, 9.8), (12.6, 9.8)
    leak = [trim(m, by_time=0.05) for m, _ in (idle, raised)]
    assert leak[1] / leak[0] == pytest.approx(0.25)
    closing = [trim(m, by_injection=1, injected=mf) for m, mf in (idle, raised)]
    assert closing[1] == closing[0]
    assert fuel_needed(3.32, 700, 4) == pytest.approx(9.75, abs=0.01) and fuel_needed(12.6, 2500, 4) == pytest.approx(
        10.36, abs=0.01
    )


@pytest.mark.parametrize(
    ("flows", "trims", "share", "leak"),
    [
        ((3, 12), (-24, -6), 1.000, 3.97),
        ((3, 6, 12, 24), (-24, -12.5, -6.2, -3.0), 1.002, 3.97),
        ((3, 6, 12, 24), (-14, -14.5, -13.8, -14.2), 1.165, 0.0),
        ((3, 6, 12, 24), (-25, -16, -11.5, -9), 1.074, 3.23),
    ],
)
def test_fixtures(flows: tuple[float, ...], trims: tuple[float, ...], share: float, leak: float) -> None:
    got = fitted(readings(flows, trims), ratio=RATIO)
    assert got.share.value == pytest.approx(share, abs=6e-4)
    assert got.leak.value == pytest.approx(leak, abs=0.006)
    assert got.by_time.value == pytest.approx(leak * 0.745 / 60, abs=1e-4)
    assert got.left == len(flows) - 2 and got.misfit < 0.1 and got.by_injection is None


def test_least_squares_as_numpy_polyfit() -> None:
    flows, trims = np.array([3.0, 6, 12, 24]), np.array([-25.0, -16, -11.5, -9])
    (slope, intercept), covariance = np.polyfit(1 / flows, 1 + trims / 100, 1, cov="unscaled")
    covariance = covariance * 0.03**2
    got = fitted(readings(tuple(flows), tuple(trims)), spread=3.0, ratio=RATIO)
    assert got.share.value == pytest.approx(1 / intercept) and got.by_time.value == pytest.approx(
        -slope / intercept / RATIO
    )
    assert got.share.error == pytest.approx(np.sqrt(covariance[1, 1]) / intercept**2)
    gradient = np.array([-1 / intercept, slope / intercept**2]) / RATIO
    assert got.by_time.error == pytest.approx(float(np.sqrt(gradient @ covariance @ gradient)))


def test_standard_errors_hold_in_repetition() -> None:
    """4000 noisy sets: the scatter of what is fitted is the error that is reported, the truth lies in the middle."""
    flows = (3.0, 6.0, 12.0, 24.0)
    true = [trim(m, share=1.08, by_time=0.03) for m in flows]
    noise = np.random.default_rng(7).normal(0, 1.0, (4000, 4))
    found = [fitted(readings(flows, tuple(true + n)), spread=1.0) for n in noise]
    for name, truth in (("share", 1.08), ("by_time", 0.03)):
        values = np.array([getattr(f, name).value for f in found])
        assert values.mean() == pytest.approx(truth, rel=0.02)
        assert values.std() == pytest.approx(
            getattr(fitted(readings(flows, tuple(true)), spread=1.0), name).error, rel=0.05
        )
    assert np.mean([f.misfit for f in found]) == pytest.approx(2, rel=0.06)  # chi squared with two left


POINTS = ((3.3, 9.76), (12.6, 10.4), (20.0, 20.0), (47.0, 32.0))  # idle, 2500 rpm without load, cruise, full load


@given(st.floats(0.9, 1.3), st.floats(0, 0.06), st.floats(0, 2))
def test_all_three_terms_come_back(share: float, by_time: float, by_injection: float) -> None:
    data = [
        TrimReading(m, trim(m, share=share, by_time=by_time, by_injection=by_injection, injected=mf), mf)
        for m, mf in POINTS
    ]
    got = fitted(data)
    assert got.by_injection is not None
    assert got.share.value == pytest.approx(share, rel=1e-6)
    assert got.by_time.value == pytest.approx(by_time, abs=1e-7)
    assert got.by_injection.value == pytest.approx(by_injection, abs=1e-5)


def test_standard_errors_of_all_three_terms_hold_in_repetition() -> None:
    """1500 noisy sets: the scatter of each term is the error that is reported."""
    truth = {"share": 1.08, "by_time": 0.02, "by_injection": 0.8}
    true = [trim(m, injected=mf, **truth) for m, mf in POINTS]
    noise = np.random.default_rng(11).normal(0, 0.5, (1500, 4))

    def found(trims: np.ndarray) -> TrimFit:
        return fitted([TrimReading(m, t, mf) for (m, mf), t in zip(POINTS, trims, strict=True)], spread=0.5)

    many, one = [found(np.array(true) + n) for n in noise], found(np.array(true))
    # Of the last term exactly, by the inverse normal matrix and the gradient of -c2 / c0.
    design = np.array([[1.0, 1 / m, 1 / mf] for m, mf in POINTS])
    terms = np.linalg.lstsq(design, 1 + np.array(true) / 100, rcond=None)[0]
    gradient = np.array([terms[2] / terms[0] ** 2, 0.0, -1 / terms[0]])
    variance = 0.005**2 * gradient @ np.linalg.inv(design.T @ design) @ gradient
    assert one.by_injection is not None and one.by_injection.error == pytest.approx(float(variance**0.5), rel=1e-6)
    for name in truth:
        values = np.array([getattr(f, name).value for f in many])
        assert values.std() == pytest.approx(getattr(one, name).error, rel=0.1), name


def test_shapes_weigh_by_how_well_each_fits() -> None:
    """Two readings, by hand: y = -x T / by time, or one factor; sums of squares, and exp(-half their difference)."""
    data, spread = readings((3.0, 12.0), (-20.0, -8.0)), 2.0
    found = {s.name: s for s in shapes(data, spread=spread, ratio=RATIO)}
    x, y = np.array([RATIO / 3, RATIO / 12]), np.array([0.20, 0.08])
    leak = float(x @ y / (x @ x))
    off = {"by time": y - leak * x, "by share": y - y.mean()}
    misfits = {name: float(r @ r) / 0.02**2 for name, r in off.items()}
    for name, misfit in misfits.items():
        assert found[name].misfit == pytest.approx(misfit)
        others = sum(np.exp((misfit - m) / 2) for m in misfits.values())
        assert found[name].weight == pytest.approx(1 / others)
    assert found["by time"].size.error == pytest.approx(0.02 / float(x @ x) ** 0.5)
    assert found["by share"].size.value == pytest.approx(1 / 0.86)
    assert found["by share"].size.error == pytest.approx(0.02 / 2**0.5 / 0.86**2)  # of 1 / (1 + T)


@pytest.mark.parametrize("wrong", [{"share": 0.0}, {"ratio": -14.0}, {"injected": 0.0}])
def test_no_trim_without_air_or_fuel(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        trim(3.0, **wrong)
    with pytest.raises(ValueError, match="above 0"):
        trim(0.0)


@pytest.mark.parametrize(
    ("name", "errors", "size"),
    [
        ("by time", {"by_time": 0.04}, 0.04),
        ("by injection", {"by_injection": 1.5}, 1.5),
        ("by share", {"share": 1.2}, 1.2),
    ],
)
def test_the_shape_that_made_them_fits_best(name: str, errors: dict[str, float], size: float) -> None:
    data = [TrimReading(m, trim(m, injected=mf, **errors), mf) for m, mf in POINTS]
    best = shapes(data, spread=1.5)[0]
    assert best.name == name and best.weight > 0.9 and best.misfit < 1e-9
    assert best.size.value == pytest.approx(size) and best.size.error > 0


def test_shapes_at_one_point_cannot_be_told_apart() -> None:
    got = shapes([TrimReading(3.3, -20, 9.76)])
    assert [s.weight for s in got] == pytest.approx([1 / 3] * 3)
    assert shapes([]) == ()


@pytest.mark.parametrize(
    ("wanted", "flow", "leak"),
    [(-10, 2.5, 1.4), (-10, 12, 6.6), (-20, 3.0, 3.3), (-20, 4.0, 4.4), (-25, 3.0, 4.1), (-25, 12, 16.5)],
)
def test_leak_for_a_trim(wanted: float, flow: float, leak: float) -> None:
    assert leak_for(wanted, flow, RATIO) == pytest.approx(leak, abs=0.06)
    extra = grams_a_second(leak_for(wanted, flow))
    assert trim(flow, by_time=extra) == pytest.approx(wanted)  # the way back


def test_what_cannot_be_fitted_says_what_would() -> None:
    for data in ([], readings((3,), (-20,)), readings((3, 3.2), (-20, -20)), readings((3, 12), (-100, -101))):
        got = fit_trims(data)
        assert isinstance(got, Unfit) and got.why and got.mend


@pytest.mark.parametrize("flow", [0.0, -1.0, float("nan"), float("inf")])
def test_no_airflow_is_an_error(flow: float) -> None:
    with pytest.raises(ValueError):
        fit_trims([TrimReading(flow, -10), TrimReading(12, -5)])
    with pytest.raises(ValueError):
        shapes([TrimReading(12, float("nan"))])


def test_the_ratio_counted_with_is_that_of_petrol() -> None:
    assert PETROL.air_ratio == pytest.approx(RATIO, abs=0.005)
