"""A case while it is worked on: one program a case, every event on disk before `append` returns, nothing rewritten."""

from __future__ import annotations

import errno
import os
import re
import stat
import sys
from collections.abc import Iterable, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType

from reasoner.casebook.casefile import (
    CASE_FORMAT,
    LARGEST_CASE,
    CaseFile,
    FileRead,
    open_regular,
    parse_case,
    read_open_case,
)
from reasoner.casebook.trouble import CasebookError, TakenError, as_casebook_error
from reasoner.casebook.writing import RawEvent, event_line, head_text, write_new
from reasoner.mistake import visible

# ---- One program a case ----------------------------------------------------------------------------------------------
# A lock of the operating system on a file beside the case.
#
# The system drops the lock with the program that holds it, however that ends, so a lock file left lying blocks
# nobody. The file says who holds it; it is removed when the lock is given back.

HELD = {errno.EAGAIN, errno.EACCES, errno.EDEADLK}  # what the system says when somebody else has the lock
FLAGS = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)

if sys.platform == "win32":
    import msvcrt

    FAR = 1 << 30  # a byte nobody reads: locked bytes cannot be read by others there

    def _claim(fd: int) -> None:
        os.lseek(fd, FAR, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        os.lseek(fd, 0, os.SEEK_SET)

else:
    import fcntl

    def _claim(fd: int) -> None:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)


@dataclass(frozen=True)
class Lock:
    """A lock that is held until `release`, or the end of the program."""

    path: Path
    fd: int

    def release(self) -> None:
        # Removed while still held, where the system allows that: else it could be the next holder's.
        if sys.platform != "win32":
            with suppress(OSError):
                os.unlink(self.path)
        with suppress(OSError):
            os.close(self.fd)
        if sys.platform == "win32":
            with suppress(OSError):  # refused where somebody has it open
                os.unlink(self.path)


def lock_case(case: Path) -> Lock:
    """The lock of a case file. Raises TakenError where another program has it, CasebookError where none can be had."""
    path = case.with_name(case.name + ".lock")
    while True:
        with as_casebook_error(case, "the case cannot be locked"):
            fd = os.open(path, FLAGS, 0o666)
        try:
            if not stat.S_ISREG(os.fstat(fd).st_mode):
                raise CasebookError("its lock is no file", f"delete {case.name}.lock", case)
            _claim_or_say(fd, case)
            if _is_still(fd, path):
                _sign(fd)
                return Lock(path, fd)
        except BaseException:
            os.close(fd)
            raise
        os.close(fd)  # its holder has just removed it


def hold(fd: int, case: Path) -> None:
    """Claim the case file itself too, until it is closed: a second name of it (a hard link) has a lock file of its own.

    Raises TakenError where another program has it under another name.
    """
    _claim_or_say(fd, case)


def _claim_or_say(fd: int, case: Path) -> None:
    try:
        _claim(fd)
    except OSError as error:
        if error.errno in HELD:
            mend = "finish there first; what was answered there is kept"
            raise TakenError(f"another program has this case open{_holder(fd)}", mend, case) from None
        mend = "keep the cases on a disk of this machine: --cases DIR"
        raise CasebookError("this disk cannot lock files", mend, case) from error


def _is_still(fd: int, path: Path) -> bool:
    """Whether the locked file is the one that others would find."""
    try:
        return os.path.samestat(os.fstat(fd), os.stat(path))
    except OSError:
        return False


def _sign(fd: int) -> None:
    """Say who holds the lock. Only for the message to others, so a full disk does not matter."""
    with suppress(OSError):
        os.ftruncate(fd, 0)
        os.write(fd, f"{os.getpid()} since {datetime.now():%Y-%m-%d %H:%M:%S}\n".encode())


def _holder(fd: int) -> str:
    found = None
    with suppress(OSError):
        os.lseek(fd, 0, os.SEEK_SET)
        found = re.fullmatch(rb"([0-9]+) since ([0-9: -]+)\n", os.read(fd, 100))
    return f" (process {found[1].decode()}, since {found[2].decode()})" if found else ""


# ---- A case while it is worked on ------------------------------------------------------------------------------------
# Every event is on disk before append returns, and nothing on disk is ever rewritten.
#
# Only what was cut off while being written is touched: a last line that is no whole event becomes a comment before
# the next event is written.

ON = os.O_RDWR | os.O_APPEND
FULL_CASE = LARGEST_CASE - 1_000_000  # bytes; the rest is room for what has to be mended, so that a case stays readable
KEPT_ASIDE = 100_000  # characters of a line that was cut off


class Journal:
    """A case open for writing, by this program alone. Made by `create` and `resume`; a context manager.

    case: what was in the file when it was opened, with notes on what had to be mended.
    """

    def __init__(self, fd: int, held: Lock, path: Path, case: CaseFile) -> None:
        self.path, self.case = path, case
        self._fd, self._lock = fd, held
        self._indent = ""
        self._end = -1  # bytes of whole lines that are known to be there
        self._spoilt = False  # more than that may be there, of an event that was not accepted

    def append(self, *events: RawEvent) -> tuple[str, ...]:
        """Keep events, all or none. They are on disk when this returns; notes on what had to be mended, usually none.

        Raises CasebookError: none of them is kept, all earlier ones are, and it may be tried again. Raises TypeError
        or ValueError for what is no plain data: mappings with text as keys, lists, text, finite numbers, booleans,
        None. Half characters (lone surrogates) are kept as U+FFFD.
        """
        written = [event_line(event) for event in events]  # nothing on disk is touched for what cannot be written
        with as_casebook_error(self.path, "the answer could not be kept"):
            self._look()
            notes = self._settle()
            data = "".join(self._indent + line for line in written).encode()
            if self._end + len(data) > FULL_CASE:
                mend = "begin a new case for what follows"
                raise CasebookError(f"the case would grow over {FULL_CASE // 1_000_000} MB", mend, self.path)
            try:
                _write(self._fd, data)
            except OSError:
                self._spoilt = True
                with suppress(OSError):
                    self._take_back()
                raise
            self._end += len(data)
        return notes

    def close(self) -> None:
        if self._fd >= 0:
            with suppress(OSError):
                os.close(self._fd)
            self._fd = -1
            self._lock.release()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def _look(self) -> None:
        """Whether the open file is still the one at the path: an editor that saves often puts a new one there."""
        if not os.path.samestat(os.stat(self.path), os.fstat(self._fd)):
            mend = "leave, and go on with the case anew: it then reads what was saved"
            raise CasebookError("another program has saved over this case", mend, self.path)

    def _take_back(self) -> None:
        os.ftruncate(self._fd, self._end)
        _flush(self._fd)
        self._spoilt = False

    def _settle(self) -> tuple[str, ...]:
        """Make the file end with a whole line. Reads it only where it is not as this program left it."""
        if self._spoilt:
            self._take_back()
        if os.fstat(self._fd).st_size == self._end:
            return ()
        return self._mend(read_open_case(self._fd, self.path))

    def _mend(self, reading: FileRead) -> tuple[str, ...]:
        note: tuple[str, ...] = ()
        if reading.torn:
            kept = _as_text(reading.torn)
            os.ftruncate(self._fd, reading.whole)
            _write(self._fd, f"{reading.indent}# torn: {kept}\n".encode() if kept else b"")
            how = "kept as a comment" if kept else "nothing in it was readable"
            note = (f"line {reading.line} was cut off while it was written, and does not count ({how})",)
        elif reading.whole < reading.size:
            _write(self._fd, b"\n")
        self._indent = reading.indent
        self._end = os.fstat(self._fd).st_size
        return note


def create(path: Path, head: Mapping[str, object], events: Iterable[RawEvent] = ()) -> Journal:
    """Begin a case in a new file, with its first events. head: case, opened, rules (text), vehicle (mapping), all
    values text.

    The format is added. The file is there whole, with all these events, or not at all. Raises TakenError where the
    file exists, CasebookError where it cannot be written.
    """
    rest = {key: value for key, value in head.items() if key != "format"}
    begun = f"format: {CASE_FORMAT}\n{head_text(rest)}" + "".join(map(event_line, events))
    data = begun.encode()
    path = path.parent.resolve() / path.name
    case, _ = parse_case(data, path)  # a head that could not be read again is not written
    with ExitStack() as undo:
        held = lock_case(path)
        undo.callback(held.release)
        with as_casebook_error(path, "the case cannot be begun"):
            write_new(path, data)
            undo.callback(_remove, path)
            fd = os.open(path, ON)
            undo.callback(os.close, fd)
            hold(fd, path)
            flush_folder(path.parent)
        journal = Journal(fd, held, path, case)
        journal._end = len(data)
        undo.pop_all()
        return journal


def resume(path: Path) -> Journal:
    """Go on with a case. Raises TakenError where another program has it open, CasebookError where it cannot be used."""
    path = Path(os.path.realpath(path))
    with ExitStack() as undo:
        os.close(open_regular(path, ON))  # no lock file beside something that is no case
        held = lock_case(path)
        undo.callback(held.release)
        fd = open_regular(path, ON)
        undo.callback(os.close, fd)
        hold(fd, path)
        reading = read_open_case(fd, path)
        journal = Journal(fd, held, path, reading.case)
        with as_casebook_error(path, "the case cannot be gone on with"):
            journal.case = replace(reading.case, notes=journal._mend(reading))
        undo.pop_all()
        return journal


def _as_text(torn: bytes) -> str:
    """What was cut off, as one line of a comment; empty where it holds nothing (a power cut can leave zero bytes)."""
    text = torn.rstrip(b"\0").decode("utf-8", errors="backslashreplace").strip()
    return visible(text, most=KEPT_ASIDE)


def _remove(path: Path) -> None:
    with suppress(OSError):
        os.unlink(path)


def _write(fd: int, data: bytes) -> None:
    """All of it, on the disk when this returns."""
    while data:
        data = data[os.write(fd, data) :]
    _flush(fd)


def _flush(fd: int) -> None:
    if sys.platform == "darwin":  # fsync there leaves it in the drive's cache
        import fcntl

        with suppress(OSError):  # not every disk can
            fcntl.fcntl(fd, fcntl.F_FULLFSYNC)
            return
    os.fsync(fd)


def flush_folder(folder: Path) -> None:
    """Put a folder's list of names on disk. Windows has no such thing, some network disks neither."""
    if sys.platform == "win32":
        return
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):
            raise
    finally:
        os.close(fd)
