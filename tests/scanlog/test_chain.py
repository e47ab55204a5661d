"""The chain of two states against every path written out (brute force), and against plain step-by-step recursion."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from reasoner.scanlog.chain import Rates, moves, smooth


def every_path(log_likelihood: np.ndarray, gap: np.ndarray, rates: Rates) -> tuple[list[float], float]:
    """Posterior of each moment and the evidence, by adding up all 2**n paths."""
    steps = moves(gap, rates)
    n, total, showing = len(gap), 0.0, [0.0] * len(gap)
    for path in itertools.product((0, 1), repeat=n):
        p = (1 - rates.showing, rates.showing)[path[0]]
        for i in range(1, n):
            p *= steps[i][path[i - 1]][path[i]]
        p *= math.exp(sum(log_likelihood[i][s] for i, s in enumerate(path)))
        total += p
        for i, s in enumerate(path):
            showing[i] += p * s
    return [s / total for s in showing], math.log(total)


@pytest.mark.parametrize("n", [1, 2, 3, 7, 12])
def test_against_every_path(n: int) -> None:
    rng = np.random.default_rng(n)
    log_likelihood, gap = rng.normal(0, 2, (n, 2)), rng.uniform(0.5, 40, n)
    rates = Rates(0.02, 0.05)
    found = smooth(log_likelihood, gap, rates)
    showing, evidence = every_path(log_likelihood, gap, rates)
    assert found.showing == pytest.approx(showing, abs=1e-9)
    assert found.evidence == pytest.approx(evidence, abs=1e-9)


def test_against_plain_recursion_on_a_long_chain() -> None:
    rng = np.random.default_rng(3)
    n = 5003
    log_likelihood, gap, rates = rng.normal(0, 40, (n, 2)), rng.uniform(0.5, 3, n), Rates(0.003, 0.01)
    steps = moves(gap, rates)
    scaled = np.exp(log_likelihood - log_likelihood.max(axis=1, keepdims=True))
    forward, backward = np.zeros((n, 2)), np.ones((n, 2))
    forward[0] = np.array([1 - rates.showing, rates.showing]) * scaled[0]
    forward[0] /= forward[0].sum()
    for i in range(1, n):
        forward[i] = forward[i - 1] @ steps[i] * scaled[i]
        forward[i] /= forward[i].sum()
    for i in range(n - 2, -1, -1):
        backward[i] = steps[i + 1] @ (scaled[i + 1] * backward[i + 1])
        backward[i] /= backward[i].sum()
    both = forward * backward
    found = smooth(log_likelihood, gap, rates)
    assert found.showing == pytest.approx(both[:, 1] / both.sum(axis=1), abs=1e-9)


def test_changes_in_continuous_time() -> None:
    """Two gaps one after the other are one gap of their sum; after a long one the state is forgotten."""
    rates = Rates(0.01, 0.03)
    three = moves(np.array([5.0, 20.0, 25.0]), rates)
    assert three[0] @ three[1] == pytest.approx(three[2], abs=1e-12)
    assert moves(np.array([1e5]), rates)[0] == pytest.approx(np.array([[0.75, 0.25], [0.75, 0.25]]))


def test_expected_changes_and_time_add_up() -> None:
    n = 400
    log_likelihood = np.zeros((n, 2))
    log_likelihood[:, 1] = np.where((np.arange(n) // 100) % 2 == 1, 9.0, -9.0)
    found = smooth(log_likelihood, np.ones(n), Rates(0.01, 0.01))
    assert found.came == pytest.approx(2, abs=0.01)
    assert found.went == pytest.approx(1, abs=0.01)
    assert found.quiet_seconds + found.showing_seconds == pytest.approx(n - 1)


def test_nothing_seen_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing"):
        smooth(np.zeros((0, 2)), np.zeros(0), Rates(0.1, 0.1))
