"""Files that are there whole or not at all, whatever ends the program while they are written."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from reasoner.casebook.writing import write_new, write_whole

KILLS = int(os.environ.get("REASONER_KILLS", "10"))
OLD = "old\n" * 100_000


def test_replaces_and_keeps_rights(tmp_path: Path) -> None:
    path = tmp_path / "sheet.html"
    write_whole(path, "one")
    assert path.read_text() == "one"
    path.chmod(0o640)
    write_whole(path, "two")
    assert path.read_text() == "two" and path.stat().st_mode & 0o777 == 0o640
    assert os.listdir(tmp_path) == ["sheet.html"]


def test_writes_through_a_link(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "there")
    write_whole(tmp_path / "link", "one")
    assert (tmp_path / "link").is_symlink() and (tmp_path / "there").read_text() == "one"


def test_new_never_replaces(tmp_path: Path) -> None:
    path = tmp_path / "x"
    write_new(path, b"first")
    with pytest.raises(FileExistsError):
        write_new(path, b"second")
    assert path.read_bytes() == b"first" and os.listdir(tmp_path) == ["x"]


@pytest.mark.parametrize("failing", ["write", "fsync", "replace"])
def test_a_full_disk_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str) -> None:
    path = tmp_path / "x"
    path.write_text(OLD)

    def refuse(*_: object) -> int:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, failing, refuse)
    with pytest.raises(OSError):
        write_whole(path, "new")
    monkeypatch.undo()
    assert path.read_text() == OLD and os.listdir(tmp_path) == ["x"]


def test_a_disk_without_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refuse)
    write_new(tmp_path / "x", b"one")
    with pytest.raises(FileExistsError):
        write_new(tmp_path / "x", b"two")
    assert (tmp_path / "x").read_bytes() == b"one" and os.listdir(tmp_path) == ["x"]


CHILD = """
import sys
from pathlib import Path
from reasoner.casebook.writing import write_new, write_whole
kind, path = sys.argv[1], Path(sys.argv[2])
print("begun", flush=True)
for number in range(10_000):
    if kind == "replace":
        write_whole(path, f"{number % 10}" * 400_000)
    else:
        write_new(path.with_name(f"n{number}"), f"{number % 10}".encode() * 400_000)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kills with a POSIX signal")
@pytest.mark.parametrize("kind", ["replace", "new"])
def test_killed_while_writing(tmp_path: Path, kind: str) -> None:
    for number in range(max(1, KILLS // 2)):
        path = tmp_path / "x"
        path.write_text("o" * 400_000)
        process = subprocess.Popen([sys.executable, "-c", CHILD, kind, str(path)], stdout=subprocess.PIPE)
        assert process.stdout is not None and process.stdout.readline() == b"begun\n"
        time.sleep(0.002 + 0.0007 * (number % 50))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        for name in os.listdir(tmp_path):
            if not name.startswith("."):
                data = (tmp_path / name).read_bytes()
                assert len(data) == 400_000 and len(set(data)) == 1, name
            if name != "x":
                (tmp_path / name).unlink()
