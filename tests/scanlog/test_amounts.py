"""Sizes of errors from trims over airflow: worked examples, the fit of typed trims, and stated errors."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.measure.trims import TrimFit, TrimReading
from reasoner.measure.trims import fit as fit_typed
from reasoner.scanlog import shapes
from reasoner.scanlog.amounts import Fits, Scale, fits
from reasoner.scanlog.shapes import Sample

STEADY = 100  # moments at each airflow


def sample(flows: list[float], trims: list[float], noise: float = 0.3, seed: int = 1) -> Sample:
    """Trims (%) at airflows (g/s), each held for a while, with noise (%)."""
    rng = np.random.default_rng(seed)
    m = np.repeat(np.array(flows), STEADY)
    y = 1 + (np.repeat(np.array(trims), STEADY) + rng.normal(0, noise, len(m))) / 100
    n = len(m)
    nothing = np.zeros((n, 0))
    none = np.zeros(n, dtype=bool)
    return Sample(y, 3.0 / m, np.ones(n), nothing, none[:0], np.full(n, np.inf), none, none.astype(np.int8))


def sized(s: Sample) -> Fits:
    _, one, _ = shapes.fit(s)
    return fits(one, True, np.arange(float(len(s))), 1.0, Scale(3.0, 1, ratio=14.6, density=0.745))


# Worked out with T = (1 - aR/m)/k - 1, R = 14.6, 0.745 kg/L, by ordinary least squares outside this program.
EXAMPLES = [
    ([3, 12], [-24, -6], 1.000, 3.97),
    ([3, 6, 12, 24], [-24, -12.5, -6.2, -3.0], 1.002, 3.97),
    ([3, 6, 12, 24], [-14, -14.5, -13.8, -14.2], 1.165, 0.0),
    ([3, 6, 12, 24], [-25, -16, -11.5, -9], 1.074, 3.23),
]


@pytest.mark.parametrize(("flows", "trims", "k", "leak"), EXAMPLES)
def test_worked_examples(flows: list[float], trims: list[float], k: float, leak: float) -> None:
    line = sized(sample(flows, trims)).showing
    assert line is not None
    assert line.leak is not None
    assert line.told_apart
    assert line.share.value == pytest.approx(k, abs=0.006)
    assert line.leak.value == pytest.approx(leak, abs=max(0.1, 0.6 * leak * (k - 1)))
    assert abs(line.leak.value - leak) < 1.96 * line.leak.error


@pytest.mark.parametrize(("flows", "trims", "k", "leak"), EXAMPLES)
def test_a_log_says_what_the_typed_trims_say(flows: list[float], trims: list[float], k: float, leak: float) -> None:
    line = sized(sample(flows, trims)).showing
    typed = fit_typed([TrimReading(m, t) for m, t in zip(flows, trims, strict=True)])
    assert isinstance(typed, TrimFit)
    assert line is not None
    assert line.by_time is not None
    assert line.share.value == pytest.approx(typed.share.value, abs=0.01)
    assert abs(line.by_time.value - typed.by_time.value) <= 0.001 + abs(typed.by_time.value * (typed.share.value - 1))


def test_at_one_airflow_nothing_is_told_apart() -> None:
    line = sized(sample([3.0, 3.2], [-20, -19])).showing
    assert line is not None
    assert not line.told_apart
    assert line.by_time is not None
    assert line.by_time.value == pytest.approx(0.195 * 3.1 / 14.6, rel=0.05), "what it would be if all were by time"
    assert line.share.value == pytest.approx(1 / 0.805, rel=0.01), "what it would be if all were by share"


def test_slow_noise_widens_the_error() -> None:
    """The same spread, once from second to second and once wandering over half a minute."""
    rng = np.random.default_rng(4)
    m = np.repeat([3.0, 12.0], 600)
    clean = 1 - 0.04 * 14.6 / m
    errors = []
    for held in (1, 30):
        noise = np.repeat(rng.normal(0, 0.015, len(m) // held), held)
        base = sample([3.0], [0.0])
        s = Sample(
            clean + noise, 3.0 / m, np.ones(len(m)), np.zeros((len(m), 0)), base.purge, np.full(len(m), np.inf),
            np.zeros(len(m), dtype=bool), np.zeros(len(m), dtype=np.int8),
        )  # fmt: skip
        line = sized(s).showing
        assert line is not None
        errors.append(line.share.error)
    assert errors[1] > 2 * errors[0]


def test_two_banks_share_the_air() -> None:
    s = sample([3, 12], [-24, -6])
    _, one, _ = shapes.fit(s)
    whole = fits(one, True, np.arange(float(len(s))), 1.0, Scale(3.0, 1)).showing
    half = fits(one, True, np.arange(float(len(s))), 1.0, Scale(3.0, 2)).showing
    assert whole is not None
    assert half is not None
    assert whole.by_time is not None
    assert half.by_time is not None
    assert half.by_time.value == pytest.approx(whole.by_time.value / 2)
