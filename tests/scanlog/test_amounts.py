"""Sizes of errors from trims over airflow: worked examples, the fit of typed trims, and stated errors."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.measure.trims import TrimFit, TrimReading
from reasoner.measure.trims import fit_trims as fit_typed
from reasoner.scanlog import shapes
from reasoner.scanlog.amounts import AirScale, Fits, size_families
from reasoner.scanlog.moments import Looked
from reasoner.scanlog.shapes import LOAD, NONE, SHARE, TIME, Sample

STEADY = 100  # moments at each airflow


def looked(m: np.ndarray, y: np.ndarray) -> Looked:
    """Moments a second apart, of trims at airflows."""
    high = float(np.percentile(m, 95))
    none = np.zeros(len(m), dtype=bool)
    columns = {"share": np.ones(len(m))}
    if m.max() >= 1.5 * m.min():
        columns |= {"time": m.min() / m, "load": (m - m.min()) / (high - m.min())}
    s = Sample(y, np.column_stack(list(columns.values())), tuple(columns), m / m.min(), np.ones(len(m)), none,
               none.astype(np.int8))  # fmt: skip
    return Looked(s, np.arange(len(m)), m, float(m.min()), 0.0, "time" in columns)


def sample(flows: list[float], trims: list[float], noise: float = 0.3, seed: int = 1) -> Looked:
    """Trims (%) at airflows (g/s), each held for a while, with noise (%)."""
    rng = np.random.default_rng(seed)
    m = np.repeat(np.array(flows, dtype=float), STEADY)
    return looked(m, 1 + (np.repeat(np.array(trims), STEADY) + rng.normal(0, noise, len(m))) / 100)


def sized(seen: Looked, banks: int = 1) -> Fits:
    _, one, _ = shapes.fit_states(seen.sample)
    ranked = shapes.families(one)
    shows = np.full(len(seen.flow), ranked[0].name != NONE)
    return size_families(one, ranked, seen, shows, 1.0, AirScale(banks, 0.0, 14.6, 0.745))


# Worked out with T = (1 - aR/m)/k - 1, R = 14.6, 0.745 kg/L, by ordinary least squares outside this program; one error
# at a time. Leaks in mL/min.
LEAKS = [([3, 12], [-24, -6], 3.97), ([3, 6, 12, 24], [-24, -12.5, -6.2, -3.0], 3.97)]


@pytest.mark.parametrize(("flows", "trims", "leak"), LEAKS)
def test_leaks_worked_out_by_hand(flows: list[float], trims: list[float], leak: float) -> None:
    found = sized(sample(flows, trims))
    assert found.best is not None and found.best.name == TIME
    assert found.amount is not None
    size = AirScale(1, 0.0, 14.6, 0.745).leak(found.amount)
    assert size.value == pytest.approx(leak, rel=0.12)  # what a sound engine's zero may take or add
    assert abs(size.value - leak) < 1.96 * size.error


@pytest.mark.parametrize(("flows", "trims", "leak"), LEAKS)
def test_a_log_says_what_the_typed_trims_say(flows: list[float], trims: list[float], leak: float) -> None:
    found = sized(sample(flows, trims))
    typed = fit_typed([TrimReading(m, t) for m, t in zip(flows, trims, strict=True)])
    assert isinstance(typed, TrimFit)
    assert found.amount is not None
    assert found.amount.value == pytest.approx(typed.by_time.value, abs=2 * found.amount.error)


def test_a_wrong_scale_worked_out_by_hand() -> None:
    """-14 % at every airflow is fuel times 1/0.86."""
    found = sized(sample([3, 6, 12, 24], [-14, -14.5, -13.8, -14.2]))
    assert found.best is not None and found.best.name == SHARE
    assert found.amount is not None
    assert found.amount.value == pytest.approx(1 / 0.86, abs=0.02)
    assert abs(found.amount.value - 1 / 0.86) < 1.96 * found.amount.error


@pytest.mark.parametrize("sign", [-1, 1])
def test_what_grows_with_airflow(sign: int) -> None:
    """Nothing at idle, 20 % at the highest airflow, either way."""
    flows = [3, 6, 12, 24, 48]
    found = sized(sample(flows, [sign * 20 * (m - 3) / 45 for m in flows]))
    assert found.best is not None and found.best.name == LOAD
    assert found.amount is not None
    assert found.amount.value == pytest.approx(20 * sign, abs=2.5)


def test_at_one_airflow_nothing_is_told_apart() -> None:
    found = sized(sample([3.0, 3.2], [-20, -19]))
    assert found.shapes == () and found.best is None
    assert found.showing is not None and found.showing.at_idle is not None
    assert found.showing.at_idle.value == pytest.approx(-19.5, abs=1)  # what was read is said all the same


def test_slow_noise_widens_the_error() -> None:
    """The same spread, once from second to second and once wandering over half a minute."""
    rng = np.random.default_rng(4)
    m = np.repeat([3.0, 6.0, 12.0, 24.0], 300)
    clean = 1 - 0.04 * 14.6 / m
    errors = []
    for held in (1, 30):
        noise = np.repeat(rng.normal(0, 0.015, len(m) // held), held)
        seen = looked(m, clean + noise)
        _, one, _ = shapes.fit_states(seen.sample)
        load = seen.sample.where("load")[0]  # told by the trims alone: no engine has a zero of its own there
        errors.append(float(np.sqrt(shapes.families(one)[0].cov[load, load])))
    assert errors[1] > 1.5 * errors[0]


def test_two_banks_share_the_air() -> None:
    seen = sample([3, 12], [-24, -6])
    whole, half = sized(seen).amount, sized(seen, 2).amount
    assert whole is not None and half is not None
    assert half.value == pytest.approx(whole.value / 2)


def test_no_fault_within_its_own_error() -> None:
    assert sized(sample([3, 6, 12, 24], [-2, -1.5, -1, -1])).best is None
