"""How well drives of the second engine are read: family, bank, amount, spells, false alarms, coverage of intervals.

`python -m tests.scanlog.marks` prints one line a drive of the frozen set and the sums; `--fresh SEED ...` of drives
made anew, `--sums` the sums alone. Families are matched by what trims can tell: a rail, a meter and injectors off by a
share are one shape; the sign must be right. A family that the columns of a drive cannot tell from the true one
(`Truth.alike`) counts as right.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.measure.fuel import PETROL
from reasoner.scanlog.amounts import SizedFamily
from reasoner.scanlog.analysis import Engine, analyse
from reasoner.scanlog.conditions import RULE_NAMES
from reasoner.scanlog.document import BankFacts, LogDocument
from reasoner.scanlog.shapes import COLD, INJECTION, LOAD, MISREAD, MIXED, NONE, OIL, PURGED, SENSED, SHARE, TIME
from tests.scanlog.second_drives import Drive, Truth, drives, fresh

SHAPES = {
    "healthy": {NONE},
    "injector-leak": {TIME, MIXED},
    "air-leak": {TIME, MIXED},
    "rail-scale": {SHARE},
    "meter-scale": {SHARE},
    "injector-scale": {SHARE},
    "sensor-shift": {SENSED},
    "meter-high": {LOAD},
    "charge-leak": {LOAD},
    "exhaust-restriction": {LOAD},
    "fuel-restriction": {LOAD},
    "purge-vapour": {PURGED},
    "oil-vapour": {OIL},
    "coolant-cold": {COLD, MISREAD},
    "sensor-slow": {NONE},
    "misfire": {NONE, SHARE, TIME, INJECTION},
}
CLOSE = {PURGED: 0.40, OIL: 0.40, SHARE: 3.0}  # of an amount; a share in points; else 25 %
SCALES = ("rail-scale", "meter-scale", "injector-scale")
AT_TOP = ("meter-high", "exhaust-restriction", "fuel-restriction")  # held against the trim at high airflow


@dataclass(frozen=True)
class Mark:
    """One drive. family, bank: right. amount, inside: right, and whether its 95 % range holds the truth; None where
    there is nothing to compare. overlap: of spells, None where it always showed or never. alarm: named on a sound car.
    """

    name: str
    family: bool
    bank: bool
    amount: bool | None
    inside: bool | None
    overlap: float | None
    alarm: bool
    said: str


def mark(d: Drive) -> Mark:
    """One drive read and held against its truth."""
    engine = Engine(d.options.get("litres"), int(d.options["cylinders"]) if "cylinders" in d.options else None)
    found = analyse(d.csv.encode(), d.name, None, engine, RULE_NAMES)
    t = d.truth
    if not isinstance(found, LogDocument):
        return Mark(d.name, t.family == "healthy", True, None, None, None, False, found.why)
    best = {b.number: (b.fits.best if b.fits is not None else None) for b in found.banks}
    wanted = set().union(*(SHAPES[f] for f in (t.family, *t.alike)))
    hit = [n for n, s in best.items() if (s.name if s else NONE) in wanted and _same_way(s, t)]
    hurt = [t.bank] if t.bank is not None else list(best)
    quiet = t.felt == 0.0 or not t.visible  # nothing to be seen of it in this log
    family = bool(set(hit) & set(hurt)) or (quiet and all(s is None for s in best.values()))
    others = [s for n, s in best.items() if n not in hurt and s is not None]
    bank = not others and (t.bank is None or len(best) < 2 or best.get(t.bank) is not None or NONE in wanted)
    amount = inside = None
    shape = best.get(hurt[0]) if hurt else None
    pair = _compared(t, shape, max(1, len(best))) if family and not quiet and shape is not None else None
    if pair is not None:
        value, error, truth = pair
        close = CLOSE.get(shape.name, 0.25) if shape is not None else 0.25
        amount = abs(value - truth) <= close * (1 if close > 1 else abs(truth))
        inside = abs(value - truth) <= 1.96 * error
    says = " | ".join(f"{n}: {_short(b)}" for n, b in ((b.number, b) for b in found.banks))
    return Mark(
        d.name, family, bank, amount, inside, _overlap(d, found), t.family == "healthy" and any(best.values()), says
    )


def _same_way(shape: SizedFamily | None, t: Truth) -> bool:
    return shape is None or t.trim == 0 or shape.at_most.value * t.trim > 0


def _compared(t: Truth, shape: SizedFamily, banks: int) -> tuple[float, float, float] | None:
    """(what is said, its standard error, the truth) in one measure; None where the two are not of one kind."""
    size = shape.size
    if t.family in AT_TOP and shape.name == LOAD:
        if not shape.at or not t.over_air:
            return None
        flows, trims = zip(*t.over_air, strict=True)
        return shape.at_most.value, shape.at_most.error, float(np.interp(shape.at, flows, trims))
    if size is None:
        return None
    if t.family == "meter-scale" and t.engine.metering == "pressure" and shape.name == SHARE:
        return 100 * (size.value - 1), 100 * size.error, 100 * (1 / (1 + t.felt / 100) - 1)  # more than on the pressure
    if t.family in SCALES and shape.name == SHARE:
        return 100 * (size.value - 1), 100 * size.error, t.amount
    if t.family == "sensor-shift" and shape.name == SENSED:
        return size.value, size.error, t.amount
    if t.family == "injector-leak" and shape.name == TIME:
        return size.value, size.error, t.amount
    if (t.family, shape.name) in (("purge-vapour", PURGED), ("oil-vapour", OIL)):
        return size.value * banks, size.error * banks, t.amount
    if t.family == "air-leak" and shape.name == TIME:
        grams = -banks * PETROL.air_ratio
        return size.value * grams, abs(size.error * grams), t.amount
    return None


def _short(b: BankFacts) -> str:
    if b.fits is None:
        return b.why
    best = b.fits.shapes[0] if b.fits.shapes else None
    if best is None:
        return f"not told, {len(b.spells)} spells"
    size = f"{best.size.value:.3g}+-{best.size.error:.2g}{best.unit}" if best.size else f"{best.at_most.value:.0f}%"
    return f"{best.name} {best.weight:.2f} {size}, {len(b.spells)} spells"


def _overlap(d: Drive, found: LogDocument) -> float | None:
    """Intersection over union of when it acts and when it is said to show; moments in which it acts and cannot be seen
    are left out. None where it acts all the time, or where what acts is no state that comes and goes."""
    spans = [s for b in found.banks if d.truth.bank in (None, b.number) for s in b.spells]
    t = d.truth
    if not t.visible or t.family in ("healthy", "purge-vapour", "oil-vapour", "coolant-cold", "sensor-slow", "misfire"):
        return None
    end = max([b for _, b in t.spells] + [s.end for s in spans])
    at = np.arange(0.0, end, 1.0)

    def within(spells: Sequence[tuple[float, float]]) -> np.ndarray:
        return np.logical_or.reduce([(at >= a) & (at < b) for a, b in spells] or [np.zeros(len(at), dtype=bool)])

    acts, seen, said = within(t.spells), within(t.visible), within([(s.start, s.end) for s in spans])
    if acts.mean() > 0.9:
        return None
    counts = seen | ~acts
    return float((seen & said).sum() / max(1, ((seen | said) & counts).sum()))


def sums(marks: Sequence[tuple[Drive, Mark]]) -> dict[str, str]:
    """Counts over all."""
    single = [(d, m) for d, m in marks if d.truth.family != "healthy"]
    sound = [m for d, m in marks if d.truth.family == "healthy"]

    def of(values: Sequence[bool | None]) -> str:
        known = [v for v in values if v is not None]
        return f"{sum(map(bool, known))} of {len(known)}"

    return {
        "family and bank right": of([m.family and m.bank for _, m in single]),
        "amount close": of([m.amount for _, m in single]),
        "truth within the 95 % range": of([m.inside for _, m in single]),
        "spells overlap by 0.7": of([None if m.overlap is None else m.overlap >= 0.7 for _, m in single]),
        "named on a sound engine": of([m.alarm for m in sound]),
    }


def line(d: Drive, m: Mark) -> str:
    """One drive and what was said of it."""
    t = d.truth
    place = f"bank {t.bank}" if t.bank is not None else "all"
    seen = "" if t.visible else " (not to be seen)"
    overlap = "" if m.overlap is None else f" overlap {m.overlap:.2f}"
    flags = "".join("ok " if ok else "NO " for ok in (m.family, m.bank))
    extra = "" if m.amount is None else f" amount {'ok' if m.amount else 'NO'} inside {'ok' if m.inside else 'NO'}"
    air = "air" if "airflow" in t.columns else "map" if "pressure" in t.columns else "no air"
    amount = f"{t.amount:.3g} {t.unit} felt {t.felt:+.1f}{seen} [{air}]"
    return f"{d.name} {flags}{t.family} {place} {amount} -> {m.said}{overlap}{extra}"


def wanted(about: str | None) -> tuple[list[Drive], bool]:
    """The drives that the command line asks for, and whether only their sums."""
    wants = argparse.ArgumentParser(description=about)
    wants.add_argument("--fresh", nargs="+", type=int, metavar="SEED", help="drives made anew instead of the frozen")
    wants.add_argument("--sums", action="store_true", help="the sums alone")
    said = wants.parse_args()
    return [d for seed in said.fresh for d in fresh(seed)] if said.fresh else list(drives()), said.sums


def main() -> None:
    """Every drive, then the sums."""
    kept, sums_alone = wanted(__doc__)
    marks = [(d, mark(d)) for d in kept]
    for d, m in marks if not sums_alone else ():
        print(line(d, m))
    for name, count in sums(marks).items():
        print(f"{name}: {count}")


if __name__ == "__main__":
    sys.exit(main())
