"""A chain of moments, each quiet or showing: what each moment tells about every other.

Two-state hidden Markov chain in continuous time, forward and backward (L. R. Rabiner, Proc. IEEE 77:257-286, 1989; in
secondary texts). Its 2 x 2 matrices are multiplied in blocks side by side, so that a long log costs numpy steps in
proportion to the square root of its length."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reasoner.scanlog.numerals import Array

SCALED_EVERY = 8  # products after which they are scaled: in so many nothing gets too small for a double
LONGEST_BETWEEN_MOMENTS = 30.0  # s between moments beyond which a change between them is not counted; judgement


@dataclass(frozen=True)
class Rates:
    """Changes a second: from quiet to showing, and back."""

    on: float
    off: float

    @property
    def showing(self) -> float:
        """Share of time it shows in the long run."""
        return self.on / (self.on + self.off)


@dataclass(frozen=True)
class Smoothed:
    """showing: (n,) probability at each moment, given all. evidence: log-likelihood of everything.

    came, went: expected number of changes to showing and back, seconds quiet and showing that they were counted over.
    """

    showing: Array
    evidence: float
    came: float
    went: float
    quiet_seconds: float
    showing_seconds: float


def moves(gap: Array, rates: Rates) -> Array:
    """(n, 2, 2): probability of each state after `gap` seconds, given each before; state 0 is quiet."""
    kept = np.exp(-(rates.on + rates.off) * gap)
    share = rates.showing
    a = np.empty((len(gap), 2, 2))
    a[:, 0, 1] = share * (1 - kept)
    a[:, 0, 0] = 1 - a[:, 0, 1]
    a[:, 1, 0] = (1 - share) * (1 - kept)
    a[:, 1, 1] = 1 - a[:, 1, 0]
    return a


def smooth(log_likelihood: Array, gap: Array, rates: Rates) -> Smoothed:
    """log_likelihood: (n, 2) of what was seen, quiet and showing. gap: (n,) s since the moment before; the first is
    not used. Raises ValueError without a moment."""
    n = len(gap)
    if not n:
        raise ValueError("nothing was seen")
    top = log_likelihood.max(axis=1)
    likelihood = np.exp(log_likelihood - top[:, None])
    steps = moves(gap, rates) * likelihood[:, None, :]
    start = np.array([1 - rates.showing, rates.showing])
    steps[0] = start * likelihood[0]  # whatever comes before the first moment
    forward, log_sum = _products(steps, np.array([0.5, 0.5]))
    backward = np.ones((n, 2))
    if n > 1:
        backward[:-1] = _products(steps[:0:-1].transpose(0, 2, 1), np.ones(2))[0][::-1]
    both = forward * backward
    showing = both[:, 1] / both.sum(axis=1)
    pair = forward[:-1, :, None] * steps[1:] * backward[1:, None, :]
    pair /= np.maximum(pair.sum(axis=(1, 2), keepdims=True), 1e-300)
    near = gap[1:] <= LONGEST_BETWEEN_MOMENTS
    before = pair.sum(axis=2) * gap[1:, None]
    return Smoothed(
        showing,
        float(log_sum + top.sum()),
        float(pair[near, 0, 1].sum()),
        float(pair[near, 1, 0].sum()),
        float(before[near, 0].sum()),
        float(before[near, 1].sum()),
    )


def _products(steps: Array, start: Array) -> tuple[Array, float]:
    """start @ steps[0] @ ... @ steps[i] for every i, each scaled to a sum of 1; log of the last one's unscaled sum."""
    n = len(steps)
    length = max(1, int(np.sqrt(n)))
    blocks = -(-n // length)
    flat = np.empty((blocks * length, 2, 2))
    flat[:n] = steps
    flat[n:] = np.eye(2)
    padded = flat.reshape(blocks, length, 2, 2)
    logs = np.zeros(blocks)
    for j in range(1, length):
        padded[:, j] = padded[:, j - 1] @ padded[:, j]
        if j % SCALED_EVERY:
            continue
        total = padded[:, j].sum(axis=(1, 2))
        padded[:, j : j + 1] /= np.maximum(total, 1e-300)[:, None, None, None]
        logs += np.log(np.maximum(total, 1e-300))
    carried = np.empty((blocks, 2))
    now, log_sum = start, 0.0
    for b in range(blocks):
        carried[b] = now
        now = now @ padded[b, -1]
        total = max(float(now.sum()), 1e-300)
        now = now / total
        log_sum += float(np.log(total)) + float(logs[b])
    each = np.einsum("bi,bjik->bjk", carried, padded).reshape(-1, 2)[:n]
    each /= np.maximum(each.sum(axis=1, keepdims=True), 1e-300)
    return each, log_sum
