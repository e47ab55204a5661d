"""What driving on with a fault can do: the chance of each harm over a distance, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass

from reasoner.repair.lineage import lineage
from reasoner.rulebook.model import Risk, Rulebook


@dataclass(frozen=True)
class Harm:
    """chance: over the distance asked about."""

    risk: Risk
    chance: float

    @property
    def expected(self) -> float:
        return self.chance * self.risk.costs


def driving_on(book: Rulebook, fault: str, km: float) -> tuple[Harm, ...]:
    """Harms of driving this far with a fault; per km as likely at the end as at the beginning."""
    found = []
    for risk in book.risks.values():
        said = next((risk.given[name] for name in lineage(book, fault) if name in risk.given), None)
        if said is not None:
            found.append(Harm(risk, 1 - (1 - said.value) ** (km / risk.over)))
    return tuple(found)
