"""What of a plan of proof is still missing: counts over drives, and what has to come together in one drive."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from reasoner.rulebook.model import Proof

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
