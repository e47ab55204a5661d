"""Where cases live, how they are named, found and listed."""

from __future__ import annotations

import os
import sys
import threading
import time
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.casebook import journal, store
from reasoner.casebook.casefile import WINDOW, load_case
from reasoner.casebook.trouble import CasebookError, TakenError
from tests.casebook.small import ANSWER, HEAD, NOTE, write

TODAY = date(2026, 11, 25)
REST = {key: value for key, value in HEAD.items() if key != "case"}
SYSTEM = "the folder for your data on this system"

# Defaults as in the XDG Base Directory Specification; Apple, File System Programming Guide; Microsoft, KNOWNFOLDERID.
WHERE = [
    ("/c", {"REASONER_CASES": "/e", "XDG_DATA_HOME": "/x"}, "linux", "/c", "--cases"),
    (None, {"REASONER_CASES": "/e", "XDG_DATA_HOME": "/x"}, "linux", "/e", "REASONER_CASES"),
    (None, {"REASONER_CASES": "/e"}, "darwin", "/e", "REASONER_CASES"),
    (None, {"REASONER_CASES": "", "XDG_DATA_HOME": "/x"}, "linux", "/x/reasoner/cases", SYSTEM),
    ("", {"XDG_DATA_HOME": "/x"}, "freebsd14", "/x/reasoner/cases", SYSTEM),
    (None, {"HOME": "/h"}, "linux", "/h/.local/share/reasoner/cases", SYSTEM),
    (None, {"HOME": "/h", "XDG_DATA_HOME": ""}, "linux", "/h/.local/share/reasoner/cases", SYSTEM),
    (None, {"HOME": "/h", "XDG_DATA_HOME": "x/y"}, "linux", "/h/.local/share/reasoner/cases", SYSTEM),
    (None, {"HOME": "/h", "XDG_DATA_HOME": "/x"}, "darwin", "/h/Library/Application Support/reasoner/cases", SYSTEM),
    (None, {"LOCALAPPDATA": "/l", "HOME": "/h"}, "win32", "/l/reasoner/cases", SYSTEM),
    (None, {"USERPROFILE": "/u", "HOME": "/h"}, "win32", "/u/AppData/Local/reasoner/cases", SYSTEM),
    ("~/shop", {"HOME": "/h"}, "linux", "/h/shop", "--cases"),
    (None, {"HOME": "/h", "REASONER_CASES": "~/shop"}, "linux", "/h/shop", "REASONER_CASES"),
]


@pytest.mark.skipif(sys.platform == "win32", reason="paths as on POSIX")
@pytest.mark.parametrize(("explicit", "environ", "platform", "where", "why"), WHERE)
def test_where_cases_live(explicit: str | None, environ: dict[str, str], platform: str, where: str, why: str) -> None:
    assert store.cases_folder(explicit, environ, platform) == (Path(where), why)


def test_a_relative_folder_is_made_absolute(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert store.cases_folder("shop", {}) == (tmp_path / "shop", "--cases")


def test_no_home(monkeypatch: pytest.MonkeyPatch) -> None:
    def unknown() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", unknown)
    with pytest.raises(CasebookError, match="home folder is not known"):
        store.cases_folder(None, {}, "linux")


def test_ready_makes_the_folder_and_leaves_nothing(tmp_path: Path) -> None:
    store.ready(tmp_path / "a" / "b")
    store.ready(tmp_path / "a" / "b")
    assert os.listdir(tmp_path / "a" / "b") == []
    (tmp_path / "file").touch()
    for path in (tmp_path / "file", tmp_path / "file" / "deeper"):
        with pytest.raises(CasebookError, match="no case can be kept here"):
            store.ready(path)


# ---- names -----------------------------------------------------------------------------------------------------------


def test_names_by_date_count_on(tmp_path: Path) -> None:
    folder = tmp_path / "cases"
    for number in (1, 2):
        with store.begin_case_file(folder, REST, TODAY) as kept:
            assert kept.path.name == f"2026-11-25-{number}.yaml"
            assert kept.case.head == {"format": 1, **HEAD, "case": f"2026-11-25-{number}"}
            kept.append(ANSWER)
    (folder / "2026-11-25-9.yaml").touch()
    (folder / "2026-11-25-9-left.yaml").touch()
    (folder / "2026-11-25-1.yaml").unlink()
    with store.begin_case_file(folder, REST, TODAY) as kept:
        assert kept.path.name == "2026-11-25-10.yaml"
    with store.begin_case_file(folder, REST, date(2026, 11, 26)) as kept:
        assert kept.path.name == "2026-11-26-1.yaml"


def test_two_programs_begin_at_the_same_moment(tmp_path: Path) -> None:
    begun: list[journal.Journal] = []
    threads = [
        threading.Thread(target=lambda: begun.append(store.begin_case_file(tmp_path, REST, TODAY))) for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    names = {kept.path.name for kept in begun}
    for kept in begun:
        kept.close()
    assert len(names) == 8 and {entry.trouble for entry in store.entries(tmp_path)} == {""}


def test_a_given_name(tmp_path: Path) -> None:
    with store.begin_case_file(tmp_path, REST, TODAY, "Kästner, blue one") as kept:
        assert kept.path == tmp_path / "Kästner, blue one.yaml"
        assert kept.case.head["case"] == "Kästner, blue one"
    with pytest.raises(TakenError, match="there is such a file already"):
        store.begin_case_file(
            tmp_path, REST, TODAY, "Ka\u0308stner, blue one.yaml"
        )  # typed another way, and with the ending


UNSAFE = ["", " ", ".yaml", ".hidden", "..", "a/b", "a\\b", "/etc/x", "../x", "c:x", "a*", "a?", "a|b", '"', "<a>"]
UNSAFE += ["a\nb", "a\x1bb", "a\x00b", "a\u2028b", "a\u202eb", "\udc80", "x" * 61, "-rf", "~x", "end."]
UNSAFE += ["con", "NUL", "com1.txt", "lpt¹"]


@pytest.mark.parametrize("name", UNSAFE)
def test_names_that_are_not_safe(tmp_path: Path, name: str) -> None:
    with pytest.raises(CasebookError) as refused:
        store.begin_case_file(tmp_path / "cases", REST, TODAY, name)
    assert refused.value.mend and str(refused.value).replace("\n", "").isprintable()
    assert os.listdir(tmp_path) in ([], ["cases"]) and not any(files for _, _, files in os.walk(tmp_path))


@given(st.text(max_size=80))
def test_a_safe_name_stays_in_its_folder(name: str) -> None:
    try:
        safe = store.safe_name(name)
    except CasebookError as error:
        assert error.message.isprintable() and error.mend
    else:
        path = Path("folder") / f"{safe}.yaml"
        assert path.parent == Path("folder") and path.stem == safe and safe.isprintable()
        assert len(f"{safe}.yaml.lock".encode()) <= 255  # the usual limit (POSIX, NAME_MAX on Linux)
        assert store.safe_name(safe) == safe


# ---- finding ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    for name in ("2026-11-24-1", "2026-11-25-1", "2026-11-25-10", "2026-11-25-2", "blue", "blue van", "Kästner"):
        write(tmp_path, ANSWER, name=name)
    (tmp_path / "notes.txt").touch()
    (tmp_path / ".hidden.yaml").touch()
    (tmp_path / "blue.yaml.lock").touch()
    return tmp_path


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        ("2026-11-25-1", "2026-11-25-1"),
        ("2026-11-25-10", "2026-11-25-10"),
        ("2026-11-24", "2026-11-24-1"),
        ("blue", "blue"),
        ("blue ", "blue van"),
        ("blue.yaml", "blue"),
        ("Käs", "Kästner"),
        ("Ka\u0308st", "Kästner"),
    ],
)
def test_find(shop: Path, wanted: str, found: str) -> None:
    assert store.find_case(shop, wanted) == shop / f"{found}.yaml"


@pytest.mark.parametrize(
    ("wanted", "message", "mend"),
    [
        ("2026-11-25", 'several cases begin with "2026-11-25"', "2026-11-25-1, 2026-11-25-2, 2026-11-25-10"),
        ("bleu van", 'no case is called "bleu van"', "did you mean blue van"),
        (
            "zzz",
            'no case is called "zzz"',
            "there are: 2026-11-24-1, 2026-11-25-1, 2026-11-25-2, 2026-11-25-10, Kästner",
        ),
        (".hidden", 'no case is called ".hidden"', "there are"),
        ("", 'no case is called ""', "see the list of cases"),
        ("a\x1b[2J", 'no case is called "a\\x1b[2J"', "see the list of cases"),
        ("a\0b", 'no case is called "a\\x00b"', "see the list of cases"),
    ],
)
def test_find_nothing(shop: Path, wanted: str, message: str, mend: str) -> None:
    with pytest.raises(CasebookError) as refused:
        store.find_case(shop, wanted)
    assert refused.value.message == message and mend in refused.value.mend


def test_find_by_path(shop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    path = write(elsewhere, NOTE, name="sent")
    assert store.find_case(shop, str(path)) == path
    assert load_case(store.find_case(shop, "./sent.yaml")).events == (NOTE,)
    assert load_case(store.find_case(shop, "sent.yaml")).events == (NOTE,)
    with pytest.raises(CasebookError, match="no case is called"):
        store.find_case(tmp_path / "nowhere", "sent")
    with pytest.raises(CasebookError, match="not there"):
        load_case(store.find_case(shop, "./gone.yaml"))


# ---- listing ---------------------------------------------------------------------------------------------------------


def test_the_list(shop: Path) -> None:
    (shop / "broken.yaml").write_text("- {\n")
    (shop / "folder.yaml").mkdir()
    os.mkfifo(shop / "pipe.yaml")
    torn = shop / "blue van.yaml"
    torn.open("ab").write(b'- {"event": "no')
    listed = store.entries(shop)
    names = "2026-11-24-1, 2026-11-25-1, 2026-11-25-2, 2026-11-25-10, Kästner, blue, blue van, broken, folder, pipe"
    assert [entry.name for entry in listed] == names.split(", ")
    good = {entry.name: entry for entry in listed if not entry.trouble}
    assert len(good) == 7
    for entry in good.values():
        assert entry.head == {"format": 1, **HEAD} and entry.latest == (ANSWER,)
        assert abs(entry.changed - time.time()) < 60
    assert [name for name, entry in good.items() if entry.notes] == ["blue van"]
    assert all("\n" not in entry.trouble and str(entry.path) in entry.trouble for entry in listed if entry.trouble)


def test_the_one_worked_on_last(shop: Path) -> None:
    os.utime(shop / "blue.yaml", (2e9, 2e9))
    newest = store.newest(shop)
    assert newest is not None and newest.name == "blue" and newest.latest == (ANSWER,)


def test_no_folder_yet(tmp_path: Path) -> None:
    assert store.newest(tmp_path / "none") is None
    assert store.entries(tmp_path / "none") == ()
    (tmp_path / "file").touch()
    with pytest.raises(CasebookError, match="the cases cannot be listed"):
        store.entries(tmp_path / "file")


@pytest.mark.parametrize("indented", [False, True])
def test_a_large_case_is_listed_from_its_ends(tmp_path: Path, indented: bool) -> None:
    path = tmp_path / "large.yaml"
    with journal.create(path, HEAD) as kept:
        for number in range(400):
            kept.append({"event": "note", "number": number, "text": "ü" * 300})
    if indented:
        path.write_bytes(path.read_bytes().replace(b"\n- ", b"\n  - "))
    whole = load_case(path).events
    (entry,) = store.entries(tmp_path)
    assert path.stat().st_size > 2 * WINDOW
    assert entry.head == load_case(path).head and entry.trouble == "" and entry.notes == ()
    assert entry.latest == whole[-len(entry.latest) :] and len(entry.latest) > 50
    assert (len(entry.latest) < len(whole)) != indented
    with path.open("ab") as file:
        file.write(b"- {\n- {}\n")
    (entry,) = store.entries(tmp_path)
    assert f"{path}:{1 + path.read_bytes().count(10) - 2}: " in entry.trouble


def test_a_long_list(tmp_path: Path) -> None:
    """Three hundred cases of a hundred events; `tests/bench/bench_limits.py` times it."""
    path = tmp_path / "0.yaml"
    with journal.create(path, HEAD) as kept:
        for number in range(100):
            kept.append({**ANSWER, "step": number})
    for number in range(1, 300):
        os.link(path, tmp_path / f"{number}.yaml")
    listed = store.entries(tmp_path)
    assert len(listed) == 300 and all(len(entry.latest) == 100 for entry in listed)
