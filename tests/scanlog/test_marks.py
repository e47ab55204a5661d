"""Drives of the second engine, read blind: a few of them here, all of them by `python -m tests.scanlog.marks`."""

from __future__ import annotations

import pytest

from tests.scanlog.cases import alike, car
from tests.scanlog.marks import mark
from tests.scanlog.second_drives import SPECS, make

SOUND = [s for s in SPECS if s.family == "healthy"][:12:4]
PLAIN = {"meter-scale", "injector-scale", "charge-leak", "fuel-restriction", "purge-vapour"}
FAULTY = list({s.family: s for s in reversed(SPECS) if s.family in PLAIN}.values())


@pytest.mark.parametrize("spec", SOUND, ids=lambda s: str(s.seed))
def test_no_fault_is_named_on_a_sound_engine(spec) -> None:  # type: ignore[no-untyped-def]
    assert not mark(make(spec)[0]).alarm


def test_what_the_tables_cannot_tell_apart() -> None:
    """Of two faults that bring fuel at a steady rate the trims show the same; misfires by cylinder part them, and a
    wrong share shows otherwise at the trims themselves."""
    port = next(e for spec in SPECS if not (e := make(spec)[0].truth.engine).direct)
    tables = car(port, None).tables
    cause = {c.fault: i for i, c in reversed(list(enumerate(tables.causes)))}
    trims, misfires = (tables.check_number[name] for name in ("trim-cruise", "misfires-watched"))
    leak, other = cause["port-injector-leaks"], cause["regulator-diaphragm"]
    assert alike(tables, leak, other, [trims]) and not alike(tables, leak, other, [trims, misfires])
    assert not alike(tables, leak, cause["regulator-high"], [trims])


def test_most_faults_are_told_by_family_and_bank() -> None:
    """All are read by `marks`, where one in six is not told; of five at most one."""
    right = [mark(make(spec)[0]) for spec in FAULTY]
    assert sum(m.family and m.bank for m in right) >= len(right) - 1, [m.said for m in right if not m.family]
