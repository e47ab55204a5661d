"""The index is quick, and never trusted over the files."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from reasoner.casebook import index
from reasoner.casebook.index import CaseRow, Wanted, case_rows, inert_row, row_of
from tests.shipped import ROOT

OLD = 1_600_000_000  # seconds; long before the index is written


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with cases that were not changed just now, small enough to be read at once, but indexed all the same."""
    monkeypatch.setattr(index, "WORTH", 1)
    monkeypatch.setattr(
        index, "DISK_TIME_STEP", -(10**18)
    )  # the time an entry was changed cannot be set, so it is not waited for
    for path in (ROOT / "cases").glob("*.yaml"):
        shutil.copy(path, tmp_path)
    return tmp_path


class Reads:
    """Counts the files that are really read."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.names: list[str] = []
        real = index.row_of

        def counted(path: Path, name: str) -> CaseRow:
            self.names.append(name)
            return real(path, name)

        monkeypatch.setattr(index, "row_of", counted)

    def of(self, folder: Path) -> list[str]:
        self.names.clear()
        case_rows(folder)
        return list(self.names)


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> Reads:
    return Reads(monkeypatch)


def test_what_is_in_a_row() -> None:
    row = row_of(ROOT / "cases" / "three-pot-after-the-injector.yaml", "three-pot")
    assert (row.state, row.fault, row.where) == ("proven", "injector-seal-scored", "cylinder 2")
    assert row.said == "injector-seal-scored@cylinder-2"
    assert row.vehicle and row.vehicle["layout"] == "inline 3"
    assert row.codes == ("P0172", "P0302") or set(row.codes) == {"P0172", "P0302"}
    assert "Brought back" in row.words and "Lumpy" in row.words and "quiet on four cold starts" in row.words
    assert row.title == "City car, one-litre turbo three"


def test_files_are_read_once(shop: Path, reads: Reads) -> None:
    fresh = [row_of(path, path.stem) for path in sorted(shop.glob("*.yaml"))]
    assert len(reads.of(shop)) == len(fresh)
    assert reads.of(shop) == []
    assert sorted(case_rows(shop), key=lambda r: r.name) == fresh


def test_whatever_happens_to_a_file_is_seen(shop: Path, reads: Reads) -> None:
    case_rows(shop)
    changed = shop / "six-bank-two.yaml"
    text = changed.read_text(encoding="utf-8")
    changed.write_text(text + '- {"event": "note", "step": 60, "text": "came back"}\n', encoding="utf-8")
    assert reads.of(shop) == ["six-bank-two"]
    assert any("came back" in row.words for row in case_rows(shop))
    (shop / "six-bank-two.yaml").unlink()
    assert reads.of(shop) == [] and "six-bank-two" not in {row.name for row in case_rows(shop)}
    shutil.copy(ROOT / "cases" / "six-bank-two.yaml", shop / "another.yaml")
    assert reads.of(shop) == ["another"]


def test_a_file_of_the_same_size_and_time_is_read_all_the_same(shop: Path, reads: Reads) -> None:
    """Put in place of the old one with its times: its number on the disk, or its time of change there, is another."""
    path = shop / "six-bank-two.yaml"
    old = path.stat()
    case_rows(shop)
    other = shop / "new"
    other.write_text(path.read_text(encoding="utf-8").replace("Second bank only", "Second bonk only"), encoding="utf-8")
    os.replace(other, path)
    os.utime(path, ns=(old.st_atime_ns, old.st_mtime_ns))
    assert path.stat().st_size == old.st_size and path.stat().st_mtime_ns == old.st_mtime_ns
    assert reads.of(shop) == ["six-bank-two"]


def test_what_was_changed_just_now_is_not_trusted(shop: Path, reads: Reads, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(index, "DISK_TIME_STEP", 10**12)
    every = len(reads.of(shop))
    assert len(reads.of(shop)) == every > 10


@pytest.mark.parametrize(
    "damage",
    [
        b"",
        b"{",
        b"[]",
        b'{"format": 1}',
        b'{"format": 2, "keys": [], "cases": {}}',
        b"\xff\xfe",
        b'{"format": 1, "keys": KEYS, "cases": {"six-bank-two": [[1, 2, 3], []]}}',
        b'{"format": 1, "keys": KEYS, "cases": []}',
        b"[" * 100_000,
    ],
)
def test_a_damaged_index_costs_time_and_nothing_else(shop: Path, damage: bytes) -> None:
    whole = case_rows(shop)
    (shop / index.INDEX_NAME).write_bytes(damage.replace(b"KEYS", json.dumps(index.ROW_KEYS).encode()))
    assert case_rows(shop) == whole
    assert case_rows(shop) == whole


def test_a_forged_row_is_read_anew(shop: Path) -> None:
    whole = case_rows(shop)
    data = json.loads((shop / index.INDEX_NAME).read_text())
    values = data["cases"]["six-bank-two"][1]
    for forged in (7, ["x"], None):
        values[index.ROW_KEYS.index("state")] = forged
        (shop / index.INDEX_NAME).write_text(json.dumps(data))
        assert case_rows(shop) == whole


def test_no_index_where_none_can_be_written(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(index.tempfile, "mkstemp", full)
    assert len(case_rows(shop)) > 10
    assert not (shop / index.INDEX_NAME).exists()


def test_few_cases_need_none(tmp_path: Path) -> None:
    shutil.copy(ROOT / "cases" / "six-bank-two.yaml", tmp_path)
    assert len(case_rows(tmp_path)) == 1
    assert not (tmp_path / index.INDEX_NAME).exists()


def test_damaged_files_have_a_row_with_one_line(shop: Path) -> None:
    (shop / "broken.yaml").write_text("<<<<<<< ours\n", encoding="utf-8")
    for _ in range(2):
        (row,) = [row for row in case_rows(shop) if row.name == "broken"]
        assert row.state == "damaged" and "\n" not in row.trouble and "merged" in row.trouble


def test_hostile_text_is_shown_harmless() -> None:
    row = inert_row(CaseRow("x\x1b[2J", words="\x07", vehicle={"name": "\u202edrow"}, codes=("\x1b",), trouble="a\nb"))
    assert "\x1b" not in repr(row).replace("\\x1b", "") and "\u202e" not in row.title and "\n" not in row.trouble


FOUND = CaseRow(
    name="2026-03-09-1",
    opened="2026-03-09T08:10:00+00:00",
    state="proven",
    fault="injector-leaks",
    where="cylinder 3",
    said="injector-leaks@cylinder-3",
    vehicle={"name": "Estate, two-litre turbo", "layout": "inline 4", "injection": "direct"},
    codes=("P0172",),
    words="Shakes after shopping",
)


@pytest.mark.parametrize(
    "wanted",
    [
        Wanted(),
        Wanted(("shakes", "SHOPPING")),
        Wanted(("injector",)),
        Wanted(state="prov"),
        Wanted(fault="injector leaks"),
        Wanted(fault="injector-leaks cylinder 3"),
        Wanted(vehicle="estate, inline 4"),
        Wanted(code="p0172"),
        Wanted(since="2026-03", until="2026-03"),
        Wanted(since="2026-03-09", until="2026-03-09"),
        Wanted(until="2026"),
    ],
)
def test_found(wanted: Wanted) -> None:
    assert wanted.fits(FOUND)


@pytest.mark.parametrize(
    "wanted",
    [
        Wanted(("shakes", "idle")),
        Wanted(state="open"),
        Wanted(fault="purge"),
        Wanted(vehicle="V 6"),
        Wanted(code="P0175"),
        Wanted(since="2026-04"),
        Wanted(until="2026-02"),
        Wanted(until="2025"),
    ],
)
def test_not_found(wanted: Wanted) -> None:
    assert not wanted.fits(FOUND)


def test_damaged_ones_are_never_found() -> None:
    assert not Wanted().fits(CaseRow("x", trouble="damaged"))
