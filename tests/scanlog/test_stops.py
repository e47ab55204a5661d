"""What a log says where trims cannot follow: stops, and lambda that shows what is missing."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.scanlog import shapes
from reasoner.scanlog.analysis import Engine, analyse
from reasoner.scanlog.document import BankFacts, LogDocument
from reasoner.scanlog.words import bank_says

RATIO, LEAK, STOP = 14.6, 0.09, -25.0  # g of air to g of fuel; g/s; % of short-term trim
PETROL = 0.745  # kg/L, EN 228


def log(lambdas: bool, seed: int = 1) -> bytes:
    """Half a minute of idle and a minute of road in turn, 24 min; the leak is there from minute 8 to 16.

    1 + T = 1 - R a / m as far as the stop; lambda what is left of it: air / (R (base (1 + T) + a)).
    """
    rng = np.random.default_rng(seed)
    t = np.arange(24 * 60)
    road = t % 90 >= 30
    air = np.where(road, 14.0, 3.2) + rng.normal(0, 0.05, len(t))
    base = air / RATIO
    leak = np.where((t >= 480) & (t < 960), LEAK, 0.0)
    trim = np.maximum(STOP / 100, -leak / base + rng.normal(0, 0.008, len(t)))
    trim = np.round(trim * 128) / 128
    lam = base / (base * (1 + trim) + leak) if lambdas else np.ones(len(t))
    rows = ["time (s),engine speed (rpm),coolant (°C),airflow (g/s),short-term trim bank 1 (%),fuel system 1 status"]
    rows[0] += ",lambda bank 1" if lambdas else ""
    for i in range(len(t)):
        end = f",{lam[i]:.3f}" if lambdas else ""
        rows.append(f"{t[i]},{2000 if road[i] else 700},90,{air[i]:.2f},{100 * trim[i]:.2f},2{end}")
    return "\n".join(rows).encode()


def bank(content: bytes) -> BankFacts:
    found = analyse(content, "log.csv", None, Engine(2.0, 4))
    assert isinstance(found, LogDocument)
    return found.banks[0]


@pytest.mark.parametrize("lambdas", [True, False])
def test_a_leak_beyond_the_stop(lambdas: bool) -> None:
    """At idle it takes -41 %: trims show 0.055 g/s of it. Lambda tells the rest; so do the airflows at
    which the trim is off its stop."""
    facts = bank(log(lambdas))
    assert facts.switching
    assert [(round(s.start, -1), round(s.end, -1)) for s in facts.spells] == [(480, 960)]
    assert facts.fits is not None
    assert facts.fits.amount is not None
    assert abs(facts.fits.amount.value - LEAK) < 1.96 * facts.fits.amount.error
    assert facts.fits.amount.error < 0.21 * LEAK  # three seconds of trims tell one thing at most
    assert facts.at_stop == pytest.approx(0 if lambdas else 105, abs=25)
    assert any("at its stop" in line for line in bank_says(facts)) is not lambdas


def test_how_many_moments_are_worth_one_goes_by_the_gaps() -> None:
    """Against the sum of r^|ti - tj| over their number, of an AR(1) series of which three in four are missing."""
    rng = np.random.default_rng(3)
    r, n = 0.8, 24_000
    noise = rng.normal(0, np.sqrt(1 - r**2), n)
    series = np.zeros(n)
    for i in range(1, n):
        series[i] = r * series[i - 1] + noise[i]
    t = np.flatnonzero(rng.random(n // 20).repeat(20) < 0.25).astype(float)  # in stretches of twenty
    gap = np.diff(t, prepend=t[:1])
    worth = shapes.thinning(0.01 * series[t.astype(int)], gap)
    exact = (r ** np.abs(t[:, None] - t[None])).sum() / len(t)
    assert worth == pytest.approx(exact, rel=0.1)
    assert worth < 0.9 * (1 + r) / (1 - r)
