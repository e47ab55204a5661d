"""Columns against what they can do: doubted where they cannot, left alone where they can; no finding made of it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from reasoner.scanlog.analysis import analyse
from reasoner.scanlog.columns import COOLANT, PlacedQuantity
from reasoner.scanlog.document import LogDocument
from reasoner.scanlog.plausibility import Believed, believed
from reasoner.scanlog.reading import LogTable, read_log
from reasoner.scanlog.resampling import Grid, grid
from tests.scanlog.drives import Fault, Setting, csv
from tests.scanlog.look import driven

PLAIN = Setting(minutes=(24.0,), fault=Fault())


def edited(change: Callable[[list[str], int], None], setting: Setting = PLAIN) -> bytes:
    """A drive whose rows were changed one by one. change: cells (in place) and the row's number."""
    head, *rows = csv(driven(100, setting)).decode().splitlines()
    lines = [head]
    for number, row in enumerate(rows):
        cells = row.split(",")
        change(cells, number)
        lines.append(",".join(cells))
    return ("\n".join(lines) + "\n").encode()


def at(name: str) -> int:
    head = csv(driven(100, PLAIN)).decode().split("\n", 1)[0].split(",")
    return next(i for i, cell in enumerate(head) if cell.startswith(name))


COOL, AIR, STFT = at("Engine coolant"), at("Air flow"), at("Short term")


def checked(content: bytes) -> Believed:
    table = read_log(content)
    assert isinstance(table, LogTable)
    even = grid(table)
    assert isinstance(even, Grid)
    return believed(even)


def test_a_drive_as_it_is_raises_no_doubt() -> None:
    assert checked(csv(driven(100, PLAIN))).doubts == ()


def test_a_coolant_that_falls_by_tens_of_kelvin_in_a_second_is_not_believed() -> None:
    def falls(cells: list[str], row: int) -> None:
        if 600 <= row < 720:
            cells[COOL] = str(float(cells[COOL]) - 50)

    found = checked(edited(falls))
    (doubt,) = found.doubts
    assert doubt.key == PlacedQuantity(COOLANT) and "jumps by up to 5" in doubt.said
    assert (round(doubt.start, -1), round(doubt.end, -1)) == (600, 720)
    coolant = found.grid.of(COOLANT)
    assert np.nanmin(coolant[600:720]) > 60  # what lies between
    assert found.misread[650] == pytest.approx(-50, abs=4) and found.misread[500] == 0


def test_of_two_coolants_the_one_that_warmed_up_is_the_engine_s() -> None:
    """A contact that is loose for most of the drive: it reads 45 degC for longer than it reads the truth."""

    def loose(cells: list[str], row: int) -> None:
        if 600 <= row < 900 or 960 <= row < 1380:
            cells[COOL] = "45"

    found = checked(edited(loose))
    assert np.nanmin(found.grid.of(COOLANT)[600:]) > 70
    assert found.misread[1200] < -25 and found.misread[300] == 0


def test_a_column_that_stands_still_is_not_believed() -> None:
    def freezes(cells: list[str], row: int) -> None:
        if row >= 500:
            cells[AIR] = "3.3"

    (doubt,) = checked(edited(freezes)).doubts
    assert doubt.key.quantity == "airflow" and "stands exactly still" in doubt.said
    assert doubt.start == pytest.approx(500, abs=5)


def test_a_coolant_that_never_warms() -> None:
    def stuck(cells: list[str], row: int) -> None:
        cells[COOL] = "20"

    (doubt,) = checked(edited(stuck)).doubts
    assert "while the engine warms up" in doubt.said


def test_a_defect_is_said_with_its_place_and_no_finding_is_made_of_it() -> None:
    def defects(cells: list[str], row: int) -> None:
        if row in (300, 301, 640):
            cells[COOL] = "-40"

    content = edited(defects)
    lines = content.decode().splitlines()
    gap = ("\n".join([*lines[:900], *lines[1000:]]) + "\n").encode()
    found = analyse(gap)
    assert isinstance(found, LogDocument)
    said = " ".join(found.file.defects)
    assert "jumps" in said and "from line 302" in said
    assert "nothing was recorded for 2 min" in said and "(line 901)" in said
    assert all(b.fits is not None and b.fits.best is None for b in found.banks)


def test_a_false_coolant_that_the_mixture_follows_is_a_finding() -> None:
    """The reading falls by 50 K for two minutes, three times, and the trims go to -14 % then."""

    def follows(cells: list[str], row: int) -> None:
        if any(a <= row < a + 120 for a in (500, 800, 1100)):
            cells[COOL] = str(float(cells[COOL]) - 50)
            cells[STFT] = str(float(cells[STFT]) - 14)

    found = analyse(edited(follows))
    assert isinstance(found, LogDocument)
    fits = found.banks[0].fits
    assert fits is not None and fits.best is not None
    assert fits.best.name == "with a coolant reading that cannot be"
