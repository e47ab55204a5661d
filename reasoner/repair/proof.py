"""When an intermittent fault may count as gone: how many clean provocations it takes, and what they say.

No sign of it in n provocations, each of which would show it with chance p, has the probability (1 - p) ** n while it is
still there. n >= ln(1 - C) / ln(1 - p) makes that 1 - C or less. What none in n says about p is the rule of three: with
95 % confidence p is at most about 3 / n, exactly 1 - 0.05 ** (1 / n) (J. A. Hanley, A. Lippman-Hand, "If nothing goes
wrong, is everything all right?", JAMA 249:1743-1745, 1983). How often it used to show is itself known only so well, so
p is a Beta distribution here, and the chance that the fault is still there follows after each clean provocation.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, lgamma

from reasoner.rulebook.model import Afterwards, Proof


def upper_bound(clean: int, confidence: float = 0.95) -> float:
    """The largest chance of showing that none in `clean` provocations still allows, with this confidence."""
    return float(1 - (1 - confidence) ** (1 / clean))


@dataclass(frozen=True)
class Shows:
    """How often a fault shows in a provocation: Beta(showed, quiet), in observed and supposed cases."""

    showed: float
    quiet: float

    @property
    def mean(self) -> float:
        return self.showed / (self.showed + self.quiet)

    def all_clean(self, times: int) -> float:
        """Chance of no sign in so many provocations, while the fault is still there."""
        a, b, n = self.showed, self.quiet, times
        return exp(lgamma(b + n) - lgamma(b) + lgamma(a + b) - lgamma(a + b + n))


def shows_from(frequency: float, weight: float, showed: float = 0.0, quiet: float = 0.0) -> Shows:
    """From a frequency of the rules, worth `weight` cases, and what was seen before the repair."""
    return Shows(frequency * weight + showed, (1 - frequency) * weight + quiet)


def still_there(shows: Shows, clean: int, before: float) -> float:
    """Chance that the fault is still there after so many clean provocations. before: the chance with none."""
    left = before * shows.all_clean(clean)
    return left / (left + 1 - before)


def needed(shows: Shows, numbers: Afterwards) -> int | None:
    """Clean provocations until the chance that it is still there is small enough; None where nobody does so many."""
    most = int(numbers.most_provocations)
    enough = (n for n in range(most + 1) if still_there(shows, n, numbers.proof_begins_at) < numbers.proof_below)
    return next(enough, None)


@dataclass(frozen=True)
class Provocation:
    """How to prove it in one condition. minutes, wait: of one provocation. needed: None where it cannot be reached."""

    condition: str
    shows: Shows
    needed: int | None
    minutes: float
    wait: float

    def effort(self, waiting_counts: float) -> float:
        """Minutes that all of them take; infinite where they are never enough."""
        one = self.minutes + waiting_counts * self.wait
        return float("inf") if self.needed is None else self.needed * one


def best_provocation(ways: list[Provocation], waiting_counts: float) -> Provocation | None:
    """The condition that proves it in the least time; where none can, the one in which it showed most."""
    return min(ways, key=lambda way: (way.effort(waiting_counts), -way.shows.mean), default=None)


# ---- what of it is still missing -------------------------------------------------------------------------------------


ONE_DRIVE, IN_A_ROW = "one drive", "in a row"
Drive = Mapping[str, float]  # name of a proof -> what this drive brought, in its unit


@dataclass(frozen=True)
class Tally:
    """One thing that is counted. have: so far (in one drive: in the best of them). missing: 0 where it is enough."""

    proof: Proof
    have: float

    @property
    def missing(self) -> float:
        return max(0.0, (self.proof.least or 0.0) - self.have)


def tally(proofs: Iterable[Proof], drives: Sequence[Drive]) -> tuple[Tally, ...]:
    """Where each count stands. What counts in one drive must be met in the same drive by all of them together."""
    counted = [proof for proof in proofs if proof.least is not None]
    together = [proof for proof in counted if proof.counts == ONE_DRIVE]
    best = max(drives, key=lambda drive: _met(together, drive), default={})
    return tuple(Tally(p, best.get(p.name, 0.0) if p.counts == ONE_DRIVE else _added_up(p, drives)) for p in counted)


def _added_up(proof: Proof, drives: Sequence[Drive]) -> float:
    """Over all drives that say something of it; in a row: since the last one that says 0."""
    said = [drive[proof.name] for drive in drives if proof.name in drive]
    failed = max((n for n, count in enumerate(said) if not count), default=-1) if proof.counts == IN_A_ROW else -1
    return sum(said[failed + 1 :])


def _met(together: Sequence[Proof], drive: Drive) -> tuple[int, float]:
    """How good a drive was: how much of it was met, then how much of the rest."""
    parts = [min(1.0, drive.get(proof.name, 0.0) / proof.least) if proof.least else 1.0 for proof in together]
    return sum(part == 1.0 for part in parts), sum(parts)
