"""A log as it comes out of a workshop: everything at once that can happen to a file, and what it says all the same."""

from __future__ import annotations

import random

import pytest

from reasoner.scanlog.analysis import Engine, analyse
from reasoner.scanlog.conditions import RULE_NAMES
from reasoner.scanlog.document import LogDocument
from tests.scanlog.drives import Fault, Setting, csv
from tests.scanlog.look import driven

SETTING = Setting(minutes=(40.0,), fault=Fault(leak=0.08, when=((900.0, 1400.0), (1700.0, 2100.0))))


def mangled(seed: int) -> bytes:
    """A byte-order mark, decimal commas, a gap, a second header, blanks, noise, a clock set back, a torn end."""
    chance = random.Random(seed)
    header, *lines = csv(driven(seed, SETTING), separator=";", comma=True).decode().splitlines()
    whole = lines[:400] + lines[620:1200] + [header] + lines[1200:1500] + [""]
    for line in lines[1500:1900]:
        time, *cells = line.split(";")
        whole.append(";".join([time, *("" if chance.random() < 0.2 else c for c in cells)]))
    whole.append("battery was off here")
    for line in lines[1900:-1]:
        time, *cells = line.split(";")
        whole.append(";".join([f"{float(time.replace(',', '.')) - 1900:.1f}".replace(".", ","), *cells]))
    return b"\xef\xbb\xbf" + "\r\n".join([header, *whole, lines[-1][:40]]).encode()


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_what_happened_to_the_file_changes_little_of_what_it_says(seed: int) -> None:
    found = analyse(mangled(seed), "log.csv", None, Engine(2.0, 4), RULE_NAMES)
    assert isinstance(found, LogDocument)
    (bank,) = found.banks
    assert bank.switching and bank.kind == "rich"
    assert bank.fits is not None and bank.fits.amount is not None
    assert abs(bank.fits.amount.value - 0.08) <= 2 * bank.fits.amount.error
    assert bank.fits.shapes[0].name == "by time"


def test_what_was_passed_over_is_said() -> None:
    found = analyse(mangled(3), "log.csv", None, Engine(2.0, 4), RULE_NAMES)
    assert isinstance(found, LogDocument)
    assert found.file.rows > 2100
    notes = " ".join(found.file.defects)
    assert "header is repeated" in notes and "clock starts anew" in notes
    reasons = " ".join(why for why, _ in found.file.refused.counts)
    assert "breaks off" in reasons and sum(n for _, n in found.file.refused.counts) <= 3
    assert any(one.line and "battery was off" in one.stood for one in found.file.refused.first)
