"""When the answers fit no cause well: the conflict measure, and the answers that disagree.

conf(e) = log2( product of P(e_i) / P(e) ), positive when the answers are less likely together than apart
(F. V. Jensen, B. Chamberlain, T. Nordahl & F. Jensen, "Analysis in HUGIN of data conflict", UAI 1990). A rare but
real cause explains a conflict away: conf(e, c) < 0 for that cause.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Evidence, Spell, answers_of
from reasoner.network.tables import Tables


@dataclass(frozen=True)
class Surprise:
    """bits: the conflict of all answers. explained: the leading cause makes them fit after all.

    disagreeing: the answers whose removal takes most of the conflict away, with the bits each takes.
    """

    bits: float
    explained: bool
    disagreeing: tuple[tuple[Evidence, float], ...]


def conflict(parts: Sequence[float], together: float) -> float:
    """conf(e) in bits from the probability of each finding alone and of all together."""
    return float(np.sum(np.log2(parts)) - np.log2(together))


def surprise(tables: Tables, spells: Sequence[Spell]) -> Surprise:
    """How ill the answers fit together, and which ones are to blame."""
    full = believe(tables, spells)
    spells = full.spells
    answers = answers_of(spells)
    if len(answers) < 2:
        return Surprise(0.0, False, ())
    alone = {id(a): believe(tables, _only(spells, s, a)) for s, a in answers}
    logs = sum(b.log_evidence for b in alone.values())
    bits = (logs - full.log_evidence) / np.log(2)

    lead = int(full.probability.argmax())
    # conf(e, c) = log product P(e_i) P(c) / P(e, c): the leading cause taken as one more finding.
    with_lead = bits + np.log2(tables.prior[lead] / full.probability[lead])
    blame = []
    for s, answer in answers:
        rest = tuple(
            Spell(sp.condition, tuple(a for a in sp.answers if a is not answer)) if i == s else sp
            for i, sp in enumerate(spells)
        )
        without = (logs - alone[id(answer)].log_evidence - believe(tables, rest).log_evidence) / np.log(2)
        blame.append((answer, float(bits - without)))
    blame.sort(key=lambda pair: -pair[1])
    return Surprise(float(bits), bool(with_lead < 0), tuple(pair for pair in blame if pair[1] > 1.0)[:3])


def _only(spells: Sequence[Spell], number: int, answer: Evidence) -> tuple[Spell, ...]:
    return (Spell(spells[number].condition, (answer,)),)
