"""The journal: what was accepted is on disk, what was not is not, and a torn end is mended before anything follows."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import yaml

from reasoner.casebook import journal, store
from reasoner.casebook.casefile import LARGEST_CASE, load_case
from reasoner.casebook.trouble import CasebookError, TakenError
from reasoner.casebook.writing import event_line
from tests.casebook.small import ANSWER, HEAD, NOTE, write

posix = pytest.mark.skipif(sys.platform == "win32", reason="POSIX only")


def is_whole_yaml(path: Path) -> list[object]:
    """The events as PyYAML reads them from the whole file."""
    read = yaml.safe_load(path.read_bytes())
    assert {**read, "events": None} == {"format": 1, **HEAD, "events": None}
    return read["events"] or []


def test_a_case_from_beginning_to_end(tmp_path: Path) -> None:
    path = tmp_path / "kestrel.yaml"
    with journal.create(path, HEAD) as kept:
        assert kept.case.head == {"format": 1, **HEAD} and kept.case.events == ()
        assert is_whole_yaml(path) == []
        kept.append(ANSWER)
        assert is_whole_yaml(path) == [ANSWER]
        assert load_case(path).events == (ANSWER,), "reading needs no lock"
    with journal.resume(path) as kept:
        assert kept.case == load_case(path)
        kept.append(NOTE)
    assert is_whole_yaml(path) == [ANSWER, NOTE]
    assert os.listdir(tmp_path) == ["kestrel.yaml"]


def test_an_existing_file_is_never_begun_anew(tmp_path: Path) -> None:
    path = write(tmp_path, ANSWER)
    with pytest.raises(TakenError, match="there is such a file already"):
        journal.create(path, HEAD)
    assert load_case(path).events == (ANSWER,)
    link = tmp_path / "link.yaml"
    link.symlink_to(tmp_path / "elsewhere.yaml")
    with pytest.raises(TakenError):
        journal.create(link, HEAD)
    assert not (tmp_path / "elsewhere.yaml").exists()


@pytest.mark.parametrize("head", [{}, {"case": "a"}, {**HEAD, "vehicle": "car"}, {**HEAD, "events": "none"}])
def test_a_head_that_could_not_be_read_again_is_not_written(tmp_path: Path, head: dict[str, object]) -> None:
    with pytest.raises(CasebookError):
        journal.create(tmp_path / "x.yaml", head)
    assert os.listdir(tmp_path) == []


def test_one_write_and_one_flush_an_event(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path)
    done: list[str] = []

    def watch(name: str) -> None:
        real = getattr(os, name)

        def watched(*arguments: object) -> object:
            done.append(name)
            return real(*arguments)

        monkeypatch.setattr(os, name, watched)

    with journal.resume(path) as kept:
        kept.append(ANSWER)
        for name in ("write", "fsync", "read", "ftruncate"):
            watch(name)
        kept.append(NOTE)
        monkeypatch.undo()
    assert done == ["write", "fsync"]


@posix
def test_beginning_puts_file_and_folder_on_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    flushed: list[bool] = []
    real = os.fsync

    def watched(fd: int) -> None:
        flushed.append(stat.S_ISDIR(os.fstat(fd).st_mode))
        real(fd)

    monkeypatch.setattr(os, "fsync", watched)
    write(tmp_path)
    assert flushed == [False, True]


def test_an_event_that_is_no_plain_data_changes_nothing(tmp_path: Path) -> None:
    path = write(tmp_path, ANSWER)
    before = path.read_bytes()
    with journal.resume(path) as kept:
        wrong: list[Any] = [{"a": {1}}, {1: 2}, {"a": float("nan")}]
        for event in wrong:
            with pytest.raises((TypeError, ValueError)):
                kept.append(event)
        assert path.read_bytes() == before
        kept.append(NOTE)
    assert load_case(path).events == (ANSWER, NOTE)


# ---- torn ends -------------------------------------------------------------------------------------------------------

LINE = event_line({"event": "note", "text": 'öl 😀 \x85 \\ " tail'}).encode()


@pytest.mark.parametrize("length", range(len(LINE) + 1))
def test_a_last_line_cut_off_anywhere(tmp_path: Path, length: int) -> None:
    path = write(tmp_path, ANSWER)
    with path.open("ab") as file:
        file.write(LINE[:length])
    lost = {"event": "note", "text": 'öl 😀 \x85 \\ " tail'}
    whole = (ANSWER, lost) if length >= len(LINE) - 1 else (ANSWER,)
    torn = 0 < length < len(LINE) - 1
    before = load_case(path)
    assert before.events == whole and bool(before.notes) == torn
    with journal.resume(path) as kept:
        assert kept.case.events == whole and bool(kept.case.notes) == torn
        assert is_whole_yaml(path) == list(whole)
        assert kept.append(NOTE) == ()
    assert is_whole_yaml(path) == [*whole, NOTE]
    after = load_case(path)
    assert after.events == (*whole, NOTE) and after.notes == ()
    if torn:
        assert kept.case.notes[0].startswith("line 12 was cut off while it was written, and does not count (kept")
        aside = next(line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("# torn: "))
        assert aside.startswith("# torn: " + LINE[:length].decode(errors="ignore").strip())


@pytest.mark.parametrize("length", range(1, 60))
def test_a_head_cut_off_anywhere_is_refused(tmp_path: Path, length: int) -> None:
    path = write(tmp_path)
    data = path.read_bytes()
    path.write_bytes(data[:-length])
    if length == 1:  # only the line end
        assert load_case(path).events == ()
        return
    with pytest.raises(CasebookError, match="head"):
        journal.resume(path)
    assert path.read_bytes() == data[:-length]


@pytest.mark.parametrize(
    ("tail", "aside"),
    [
        (b"\0" * 4096, None),  # a power cut, on some file systems
        (b'- {"event": "n' + b"\0" * 500, '# torn: - {"event": "n'),
        (b"\xff\xfe\x00\x01", "# torn: \\xff\\xfe\\x00\\x01"),
        (b"- {\x1b[2J\r", "# torn: - {\\x1b[2J"),
        ("- {\u2028\u0085".encode(), "# torn: - {"),
        (b"- " + b"x" * 300_000 + b"\xff", "# torn: - xxx"),
    ],
)
def test_rubbish_at_the_end(tmp_path: Path, tail: bytes, aside: str | None) -> None:
    path = write(tmp_path, ANSWER)
    with path.open("ab") as file:
        file.write(tail)
    assert load_case(path).events == (ANSWER,) and load_case(path).notes
    with journal.resume(path) as kept:
        assert kept.case.notes
        kept.append(NOTE)
    assert is_whole_yaml(path) == [ANSWER, NOTE]
    lines = path.read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if line.startswith("#")] == ([] if aside is None else [lines[11]])
    assert aside is None or lines[11].startswith(aside)


def test_torn_in_an_indented_list(tmp_path: Path) -> None:
    path = write(tmp_path, ANSWER)
    path.write_bytes(path.read_bytes().replace(b"\n- ", b"\n  - ") + b'  - {"event": "no')
    with journal.resume(path) as kept:
        kept.append(NOTE)
    assert is_whole_yaml(path) == [ANSWER, NOTE]


# ---- a disk that refuses ---------------------------------------------------------------------------------------------


def refusing(kept: journal.Journal, path: Path, *reasons: str) -> None:
    """An append fails with a plain message, and the file is as it was."""
    before = path.read_bytes()
    with pytest.raises(CasebookError) as refused:
        kept.append(NOTE)
    assert any(reason in refused.value.message for reason in reasons), refused.value
    assert refused.value.message.startswith("the answer could not be kept: ") and refused.value.mend
    assert path.read_bytes() == before


@pytest.mark.parametrize("written", [0, 1, 10, 40])
@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EDQUOT, errno.EIO])
def test_disk_full_in_the_middle_of_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, written: int, error: int
) -> None:
    path, real = write(tmp_path, ANSWER), os.write

    def write_some(fd: int, data: bytes) -> int:
        if written and len(data) > len(event_line(NOTE).encode()) - written:
            return real(fd, data[:written])
        raise OSError(error, os.strerror(error))

    with journal.resume(path) as kept:
        with monkeypatch.context() as patch:
            patch.setattr(os, "write", write_some)
            refusing(kept, path, "disk is full", "share of the disk", "reports a fault")
            refusing(kept, path, "disk is full", "share of the disk", "reports a fault")
        assert kept.append(NOTE) == ()
    assert is_whole_yaml(path) == [ANSWER, NOTE]


def test_events_of_one_act_are_kept_together_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, real = write(tmp_path, ANSWER), os.write
    before = path.read_bytes()
    first = len(event_line(NOTE).encode())

    def one_line_only(fd: int, data: bytes) -> int:
        if len(data) > first:
            return real(fd, data[:first])
        raise OSError(errno.ENOSPC, "No space left on device")

    with journal.resume(path) as kept:
        with monkeypatch.context() as patch:
            patch.setattr(os, "write", one_line_only)
            with pytest.raises(CasebookError, match="the disk is full"):
                kept.append(NOTE, ANSWER)
        assert path.read_bytes() == before
        with pytest.raises(TypeError):
            kept.append(NOTE, {"a": {1}})
        assert path.read_bytes() == before
        assert kept.append(NOTE, ANSWER) == ()
    assert is_whole_yaml(path) == [ANSWER, NOTE, ANSWER]


def test_disk_that_refuses_to_flush(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written, but not known to be on disk: not accepted, so not in the file either, or it would count twice."""
    path = write(tmp_path, ANSWER)

    def fail(fd: int) -> None:
        raise OSError(errno.EIO, "I/O error")

    with journal.resume(path) as kept:
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", fail)
            refusing(kept, path, "reports a fault")
        assert kept.append(NOTE) == ()
    assert is_whole_yaml(path) == [ANSWER, NOTE]


def test_disk_that_cannot_even_take_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, real = write(tmp_path, ANSWER), os.write
    before = path.read_bytes()

    def fail(*arguments: object) -> int:
        raise OSError(errno.EIO, "I/O error")

    with journal.resume(path) as kept:
        with monkeypatch.context() as patch:
            patch.setattr(os, "write", lambda fd, data: fail() if len(data) < 50 else real(fd, data[:50]))
            patch.setattr(os, "fsync", fail)
            patch.setattr(os, "ftruncate", fail)
            for _ in range(2):
                with pytest.raises(CasebookError, match="reports a fault"):
                    kept.append(NOTE)
        assert path.read_bytes().startswith(before) and path.read_bytes() != before
        assert load_case(path).events == (ANSWER,), "a half line does not stop anybody from reading"
        assert kept.append(NOTE) == ()
    assert is_whole_yaml(path) == [ANSWER, NOTE]


@posix
def test_the_kernel_says_the_disk_is_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """/dev/full answers every write with ENOSPC (Linux man-pages, full(4))."""
    if not os.path.exists("/dev/full"):
        pytest.skip("no /dev/full here")
    path, real = write(tmp_path, ANSWER), os.write
    full = os.open("/dev/full", os.O_WRONLY)
    with journal.resume(path) as kept:
        with monkeypatch.context() as patch:
            patch.setattr(os, "write", lambda fd, data: real(full, data))
            refusing(kept, path, "the disk is full")
        kept.append(NOTE)
    os.close(full)
    assert is_whole_yaml(path) == [ANSWER, NOTE]


@posix
def test_the_kernel_writes_half_a_line(tmp_path: Path) -> None:
    """A limit on file size: the kernel takes what fits and refuses the rest (POSIX, setrlimit, RLIMIT_FSIZE)."""
    import resource

    path = write(tmp_path, ANSWER)
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    with journal.resume(path) as kept:
        resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + 20, old[1]))
        try:
            refusing(kept, path, "may not grow any further")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, old)
        kept.append(NOTE)
    assert is_whole_yaml(path) == [ANSWER, NOTE]


@contextmanager
def small_disk(folder: Path, size: str) -> Iterator[Path]:
    """A real disk of this size, in memory; only Linux lets us, and only the superuser."""
    if not sys.platform.startswith("linux") or os.geteuid() != 0 or not shutil.which("mount"):
        pytest.skip("cannot mount a small disk here")
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "small", folder], capture_output=True)
    if mounted.returncode:
        pytest.skip("cannot mount a small disk here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


@posix
def test_a_disk_really_filled(tmp_path: Path) -> None:
    with small_disk(tmp_path, "64k") as disk:
        path, accepted = disk / "x.yaml", 0
        with journal.create(path, HEAD) as kept:
            with pytest.raises(CasebookError, match="the disk is full"):
                while accepted < 1000:
                    kept.append({"event": "note", "number": accepted, "text": "x" * 777})
                    accepted += 1
            assert 50 < accepted < 100
            assert [event["number"] for event in load_case(path).events] == list(range(accepted))
            assert path.read_bytes().endswith(b"\n"), "nothing is left of the refused line"
            with pytest.raises(CasebookError, match="no case can be kept here: the disk is full"):
                store.ready(disk)
            with pytest.raises(CasebookError, match="the disk is full"):
                journal.create(disk / "another.yaml", HEAD)
            assert not (disk / "another.yaml").exists()
        with pytest.raises(CasebookError, match="the disk is full"), journal.resume(path) as kept:
            kept.append({"event": "note", "text": "x" * 5000})
        assert len(load_case(path).events) == accepted


# ---- rights ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def as_nobody(tmp_path: Path) -> Iterator[Path]:
    """A folder of one's own, worked on without the superuser's rights."""
    if sys.platform == "win32":
        pytest.skip("POSIX only")
    if os.geteuid() != 0:
        yield tmp_path
        return
    folder = Path(tempfile.mkdtemp())  # the folders above tmp_path are closed to others
    os.chown(folder, 65534, 65534)
    os.seteuid(65534)
    try:
        yield folder
    finally:
        os.seteuid(0)
        shutil.rmtree(folder)


def cannot_write_folder(folder: Path) -> None:
    folder.chmod(0o555)


def cannot_write_file(folder: Path) -> None:
    (folder / "kestrel.yaml").chmod(0o444)


def cannot_read_file(folder: Path) -> None:
    (folder / "kestrel.yaml").chmod(0)


@pytest.mark.parametrize("close", [cannot_write_folder, cannot_write_file, cannot_read_file])
def test_without_the_right_to_write(as_nobody: Path, close: Callable[[Path], None]) -> None:
    path = write(as_nobody, ANSWER)
    close(as_nobody)
    try:
        with pytest.raises(CasebookError) as refused:
            journal.resume(path)
        assert "not allowed" in refused.value.message and refused.value.mend and refused.value.path == path
        if close is cannot_write_folder:
            with pytest.raises(CasebookError, match="not allowed"):
                journal.create(as_nobody / "new.yaml", HEAD)
            with pytest.raises(CasebookError, match="no case can be kept here: not allowed"):
                store.ready(as_nobody)
            with pytest.raises(CasebookError, match="no case can be kept here: not allowed"):
                store.ready(as_nobody / "deeper" / "still")
        if close is cannot_read_file:
            assert "not allowed" in store.entries(as_nobody)[0].trouble
    finally:
        as_nobody.chmod(0o755)
        path.chmod(0o644)
    assert load_case(path).events == (ANSWER,)
    assert os.listdir(as_nobody) == ["kestrel.yaml"]


@posix
def test_rights_taken_away_while_at_work(as_nobody: Path) -> None:
    """An open file stays writable: what is answered is kept."""
    path = write(as_nobody)
    with journal.resume(path) as kept:
        path.chmod(0)
        as_nobody.chmod(0o555)
        kept.append(ANSWER)
        as_nobody.chmod(0o755)
        path.chmod(0o644)
    assert load_case(path).events == (ANSWER,)


def test_a_disk_that_can_only_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, real = write(tmp_path, ANSWER), os.open

    def read_only(name: Any, flags: int, *more: Any, **others: Any) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR):
            raise OSError(errno.EROFS, "Read-only file system")
        return real(name, flags, *more, **others)

    monkeypatch.setattr(os, "open", read_only)
    for use in (journal.resume, lambda path: journal.create(path, HEAD)):
        with pytest.raises(CasebookError, match="the disk can only be read"):
            use(path)
    assert load_case(path).events == (ANSWER,)


# ---- somebody else at the file ---------------------------------------------------------------------------------------


def test_the_folder_vanishes_and_comes_back(tmp_path: Path) -> None:
    folder = tmp_path / "cases"
    folder.mkdir()
    path = write(folder, ANSWER)
    with journal.resume(path) as kept:
        folder.rename(tmp_path / "away")
        with pytest.raises(CasebookError, match="the file or its folder is not there"):
            kept.append(NOTE)
        with pytest.raises(CasebookError, match="the file or its folder is not there"):
            journal.create(folder / "new.yaml", HEAD)
        (tmp_path / "away").rename(folder)
        assert kept.append(NOTE) == ()
    assert load_case(path).events == (ANSWER, NOTE)


def test_an_editor_puts_a_new_file_there(tmp_path: Path) -> None:
    path = write(tmp_path, ANSWER)
    with journal.resume(path) as kept:
        other = tmp_path / "saved"
        other.write_bytes(path.read_bytes() + b"# remark\n")
        other.replace(path)
        with pytest.raises(CasebookError, match="another program has saved over this case"):
            kept.append(NOTE)
    with journal.resume(path) as kept:
        kept.append(NOTE)
    assert load_case(path).events == (ANSWER, NOTE)


@pytest.mark.parametrize(
    "left", ["# a remark\n", "# a remark", '- {"event": "x"}\n', '- {"event": "x"}', '- {"ev', "\n"]
)
def test_an_editor_saves_into_the_open_file(tmp_path: Path, left: str) -> None:
    path = write(tmp_path, ANSWER)
    with journal.resume(path) as kept:
        path.open("a").write(left)
        assert bool(kept.append(NOTE)) == (left == '- {"ev')
        assert kept.append(NOTE) == ()
    between = [{"event": "x"}] if '"x"' in left else []
    assert is_whole_yaml(path) == [ANSWER, *between, NOTE, NOTE]


def test_damage_while_at_work_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = write(tmp_path, ANSWER)
    with journal.resume(path) as kept:
        with path.open("ab") as file:
            file.write(b"- {\n- {}\n")
        before = path.read_bytes()
        with pytest.raises(CasebookError) as refused:
            kept.append(NOTE)
        assert refused.value.line == 12 and path.read_bytes() == before


def test_a_case_stays_small_enough_to_be_read(tmp_path: Path) -> None:
    path = write(tmp_path)
    with journal.resume(path) as kept:
        for _ in range(6):
            kept.append({"event": "note", "text": "x" * 999_900})
        with pytest.raises(CasebookError, match="the case would grow over 7 MB"):
            kept.append({"event": "note", "text": "x" * 1_001_000})
        kept.append(NOTE)
    assert path.stat().st_size < LARGEST_CASE
    with path.open("ab") as file:
        file.write(b"- {" + b"\xff" * 900_000)
    with journal.resume(path) as kept:
        kept.append(NOTE)
    assert len(load_case(path).events) == 8


def test_after_closing_nothing_is_written(tmp_path: Path) -> None:
    path = write(tmp_path)
    kept = journal.resume(path)
    kept.close()
    kept.close()
    with pytest.raises(CasebookError):
        kept.append(NOTE)
    assert load_case(path).events == ()
