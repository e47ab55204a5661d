"""One program a case; the lock of a program that was killed blocks nobody."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from reasoner.casebook import journal
from reasoner.casebook.casefile import load_case
from reasoner.casebook.trouble import CasebookError, TakenError
from tests.casebook.small import ANSWER, HEAD, NOTE, write

ROOT = Path(__file__).parent.parent.parent
HOLD = """
import sys
from pathlib import Path
from reasoner.casebook import journal
kept = journal.resume(Path(sys.argv[1]))
print("open", flush=True)
sys.stdin.readline()
kept.append({"event": "note", "text": "from the other program"})
kept.close()
print("closed", flush=True)
sys.stdin.readline()
"""


def holder(path: Path) -> subprocess.Popen[str]:
    """Another program that has the case open."""
    command = [sys.executable, "-c", HOLD, str(path)]
    started = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert started.stdout and started.stdout.readline() == "open\n"
    return started


def test_two_programs_on_one_case(tmp_path: Path) -> None:
    path = write(tmp_path, ANSWER)
    with holder(path) as other:
        assert other.stdin and other.stdout
        with pytest.raises(TakenError) as refused:
            journal.resume(path)
        holds = re.compile(rf"another program has this case open \(process {other.pid}, since \d{{4}}-[-0-9: ]+\)")
        assert holds.fullmatch(refused.value.message) and refused.value.mend
        assert load_case(path).events == (ANSWER,), "reading is allowed"
        with journal.create(tmp_path / "another.yaml", HEAD):
            pass
        print(file=other.stdin, flush=True)
        assert other.stdout.readline() == "closed\n"
        with journal.resume(path) as kept:
            assert kept.case.events[1:] == ({"event": "note", "text": "from the other program"},)
            kept.append(NOTE)
        print(file=other.stdin, flush=True)
    assert len(load_case(path).events) == 3
    assert sorted(os.listdir(tmp_path)) == ["another.yaml", "kestrel.yaml"]


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX only")
def test_the_lock_of_a_killed_program_blocks_nobody(tmp_path: Path) -> None:
    path = write(tmp_path, ANSWER)
    with holder(path) as other:
        os.kill(other.pid, signal.SIGKILL)
    assert (tmp_path / "kestrel.yaml.lock").exists(), "left lying"
    with journal.resume(path) as kept:
        kept.append(NOTE)
    assert os.listdir(tmp_path) == ["kestrel.yaml"]


def test_twice_in_one_program(tmp_path: Path) -> None:
    path = write(tmp_path)
    with journal.resume(path):
        with pytest.raises(TakenError, match=f"process {os.getpid()}"):
            journal.resume(path)
        (tmp_path / "link.yaml").symlink_to(path)
        with pytest.raises(TakenError):
            journal.resume(tmp_path / "link.yaml")
    journal.resume(path).close()


def test_a_lock_file_removed_by_its_holder_meanwhile(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between our opening the file and locking it: ours would then be a lock that nobody else can see."""
    path, real = tmp_path / "a.yaml", journal._claim
    calls: list[int] = []

    def claim(fd: int) -> None:
        if not calls:
            (tmp_path / "a.yaml.lock").unlink()
        calls.append(fd)
        real(fd)

    monkeypatch.setattr(journal, "_claim", claim)
    held = journal.lock_case(path)
    assert len(calls) == 2
    with pytest.raises(TakenError):
        journal.lock_case(path)
    held.release()


@pytest.mark.parametrize("odd", ["text", "bytes", "link", "pipe", "folder"])
def test_odd_things_in_place_of_the_lock(tmp_path: Path, odd: str) -> None:
    path = write(tmp_path, ANSWER)
    place, precious = tmp_path / "kestrel.yaml.lock", tmp_path / "precious"
    precious.write_text("not to be touched")
    if odd == "text":
        place.write_text("9" * 5000)
    elif odd == "bytes":
        place.write_bytes(b"\xff\x1b[2J since \0")
    elif odd == "link":
        place.symlink_to(precious)
    elif odd == "pipe":
        os.mkfifo(place)
    elif odd == "folder":
        place.mkdir()
    if odd in ("text", "bytes"):
        journal.resume(path).close()
    else:
        with pytest.raises(CasebookError) as refused:
            journal.resume(path)
        assert refused.value.message and refused.value.mend
    assert precious.read_text() == "not to be touched"
    assert load_case(path).events == (ANSWER,)


def test_who_holds_it_is_not_needed(tmp_path: Path) -> None:
    path = write(tmp_path)
    with journal.resume(path):
        (tmp_path / "kestrel.yaml.lock").write_bytes(b"\x1b[2J")
        with pytest.raises(TakenError) as refused:
            journal.resume(path)
        assert refused.value.message == "another program has this case open"


def test_a_second_name_of_a_case_is_the_same_case(tmp_path: Path) -> None:
    """A hard link has a lock file of its own; the case itself is held too."""
    path, other = tmp_path / "a.yaml", tmp_path / "b.yaml"
    with journal.create(path, HEAD):
        os.link(path, other)
        with pytest.raises(TakenError):
            journal.resume(other)
        assert not other.with_name("b.yaml.lock").exists()
    with journal.resume(other), pytest.raises(TakenError):
        journal.resume(path)
