"""Cases begun from drives of the second engine, as `reasoner diagnose --log` does: where the right cause stands.

`python -m tests.scanlog.cases` prints a line a drive of the frozen set and the sums; `--fresh SEED ...` of drives made
anew. Right are the causes that do to the trims what the truth does, and those that the drive's columns cannot tell from
them: by the truth (`Truth.alike`), or by the rules' own tables, where every check that the log answers shows the same
under both (`alike`). The rules are of rich engines: drives whose trims only go up are left out.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from reasoner.network.tables import ROW_MOVES, Tables
from reasoner.network.vehicle import vehicle_from
from reasoner.session import logged
from reasoner.session.acts import Refused
from reasoner.session.workup import Workup, begin
from tests.scanlog.marks import wanted
from tests.scanlog.second_drives import Drive, Truth
from tests.scanlog.second_engine import Engine
from tests.shipped import book

# What the rules call each family: of faults (`acts as`), or faults by name.
CALLED = {
    "injector-leak": {"fuel-by-time"},
    "rail-scale": {"scale-error", "pressure-error"},
    "meter-scale": {"scale-error", "pressure-error"},
    "injector-scale": {"scale-error", "pressure-error"},
    "meter-high": {"load-only", "airflow-meter-high", "airflow-meter-intermittent"},
    "charge-leak": {"load-only"},
    "exhaust-restriction": {"load-only"},
    "purge-vapour": {"purge-vapour"},
    "oil-vapour": {"crankcase-vapour"},
    "coolant-cold": {"warm-up-only"},
    "misfire": {"misfire-look-alike"},
}
NOT_NAMED = ("not-in-these-rules", "nothing-wrong")
MOST = 0.3  # of belief that a named cause of a sound engine may have


@dataclass(frozen=True)
class Standing:
    """One case. rank: of the best right cause, 0 = not judged, 1 = first; strict: the same without what only the tables
    call alike. first: the likeliest cause named, and belief in it. given: answers that the log came to."""

    name: str
    rank: int
    strict: int
    right: float
    first: tuple[str, float]
    given: int


def called(t: Truth) -> set[str]:
    """Families and faults of the rules that are right."""
    found: set[str] = set()
    for family in (t.family, *t.alike):
        if family == "sensor-shift":  # a sensor that reads lean has the loop add fuel
            found |= {"false-lean" if t.trim > 0 else "false-rich"}
        found |= CALLED.get(family, set())
    return found


def judged(t: Truth) -> bool:
    """Whether the engine is one that the rules are about: its fuel is taken back, or its sensor has it run rich."""
    return bool(t.visible) and t.felt != 0 and (t.trim < 0 or t.family in ("sensor-shift", "misfire"))


def car(e: Engine, litres: float | None) -> Workup:
    """A case of this engine with nothing known yet."""
    layout = f"V {e.cylinders}" if e.banks == 2 else f"inline {e.cylinders}"
    fields = {
        "layout": layout if layout != "inline 8" else "V 8",
        "injection": "direct" if e.direct else "port",
        "charging": "charged" if e.charged else "natural",
        "metering": "airflow" if e.metering == "flow" else "pressure",
    }
    fields |= {"displacement": f"{litres:g} L"} if litres else {}
    vehicle, mistakes = vehicle_from(fields)
    assert vehicle is not None, mistakes
    return begin(book(), vehicle)


def alike(tables: Tables, one: int, other: int, checks: Iterable[int]) -> bool:
    """Whether two causes show the same at each of these checks, everywhere, while they show: rows that differ by less
    than what says nothing (`MOVES`)."""
    seen = (tables.checks[c] for c in checks)
    return all(np.abs(c.rows[c.index[one]] - c.rows[c.index[other]]).max() < ROW_MOVES for c in seen)


def standing(d: Drive) -> Standing:
    """Where the right cause stands once the log is taken in."""
    workup = car(d.truth.engine, d.options.get("litres"))
    given = 0
    try:
        events = logged.take_log(workup, d.csv.encode(), f"{d.name}.csv")
        workup, given = workup.after(events), len(events) - 1
    except Refused:
        pass
    right, faults = called(d.truth), workup.book.faults
    by_fault: dict[str, float] = {}
    for cause, share in zip(workup.tables.causes, workup.belief.probability.tolist(), strict=True):
        by_fault[cause.fault] = by_fault.get(cause.fault, 0.0) + share
    ranked = sorted(((p, f) for f, p in by_fault.items() if f not in NOT_NAMED), reverse=True)
    hits = [i for i, (_, f) in enumerate(ranked, 1) if right & {f, *faults[f].acts_as}]
    share = sum(ranked[i - 1][0] for i in hits)
    strict = hits[0] if hits and judged(d.truth) else 0
    rank = next((i for i, (_, f) in enumerate(ranked[:strict], 1) if _alike_to(workup, f, right)), strict)
    return Standing(d.name, rank, strict, share, (ranked[0][1], ranked[0][0]), given)


def _alike_to(workup: Workup, fault: str, right: set[str]) -> bool:
    """Whether the likeliest cause of a fault is alike to one that is right, by all that was answered."""
    tables, faults = workup.tables, workup.book.faults
    asked = {tables.check_number[g.check] for g in workup.record.given if g.check in tables.check_number}
    own = [i for i, c in enumerate(tables.causes) if c.fault == fault]
    likeliest = max(own, key=lambda i: float(workup.belief.probability[i]))
    hits = [i for i, c in enumerate(tables.causes) if right & {c.fault, *faults[c.fault].acts_as}]
    return bool(asked) and any(alike(tables, likeliest, i, asked) for i in hits)


def main() -> None:
    """Every case, then the sums."""
    kept, sums_alone = wanted(__doc__)
    found = [(d, standing(d)) for d in kept if judged(d.truth) or d.truth.family == "healthy"]
    for d, s in found if not sums_alone else ():
        t = d.truth
        where = f"bank {t.bank}" if t.bank else "all"
        print(
            f"{s.name} {t.family} {where} felt {t.felt:+.1f} -> rank {s.rank or '-'} ({s.strict or '-'}) "
            f"right {s.right:.2f}, "
            f"first {s.first[0]} {s.first[1]:.2f}, {s.given} answers"
        )
    faulty = [s for _, s in found if s.rank]
    sound = [s for d, s in found if d.truth.family == "healthy"]
    first = sum(s.rank == 1 for s in faulty)
    print(f"right cause first: {sum(s.strict == 1 for s in faulty)}, first three {sum(s.strict <= 3 for s in faulty)}")
    print(f"right cause, or one the columns cannot tell from it, first: {first} of {len(faulty)}")
    print(f"  within the first three: {sum(s.rank <= 3 for s in faulty)} of {len(faulty)}")
    print(f"largest cause of a sound engine: {max((s.first[1] for s in sound), default=0):.2f}")
    print(f"sound engines with a cause above {MOST}: {sum(s.first[1] > MOST for s in sound)} of {len(sound)}")


if __name__ == "__main__":
    sys.exit(main())
