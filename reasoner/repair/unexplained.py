"""What a cause leaves unexplained of what was read, looked at and tested. It may have a cause of its own: a second
fault is not to be forgotten because the first is settled, nor after it was mended.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

from reasoner.inference.weight import fits_best, likelier
from reasoner.repair.standing import Standing

SELDOM_IF_SOUND = 0.06  # what one sound car in sixteen shows, or fewer, is a sign of something; judgement
BRINGS_ABOUT = 1.1  # times as likely as on a sound car: a fault of which no more is said does not bring it about
FAR_LIKELIER = 5.0  # so many times likelier another fault must make it to be named as not explained; judgement


@dataclass(frozen=True)
class Unexplained:
    """An answer that nothing in question brings about. at: which of the answers given. suspect: the number of the
    likeliest cause, as far as one knows beforehand, of those that make it far likelier."""

    at: int
    check: str
    suspect: int


def unexplained(case: Standing, causes: Collection[int]) -> Iterator[Unexplained]:
    """Looks at the car, each check once, that are no likelier under any of these causes than on a sound car, though
    some other makes them far likelier. What a sound car shows now and then proves nothing, so it must be seldom."""
    tables, told = case.tables, set[str]()
    if not causes:
        return
    for at, given in enumerate(case.record.given):
        number = tables.check_number.get(given.check)
        if number is None or given.check in told or case.book.checks[given.check].kind in ("told", "code"):
            continue
        table = tables.checks[number]
        engine = table.places == ("engine",)
        for place, weights in given.values.items():
            which = table.outcomes.index(max(weights, key=lambda name: weights[name]))
            at_place = 0 if engine else place - 1
            others = fits_best(tables, table, at_place, which, FAR_LIKELIER)
            brought = max(likelier(table, at_place, which)[list(causes)])
            if table.rows[0, which] <= SELDOM_IF_SOUND and others is not None and brought <= BRINGS_ABOUT:
                told.add(given.check)
                yield Unexplained(at, given.check, others)
                break
