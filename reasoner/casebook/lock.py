"""One program a case: a lock of the operating system on a file beside the case.

The system drops the lock with the program that holds it, however that ends, so a lock file left lying blocks nobody.
The file says who holds it; it is removed when the lock is given back.
"""

from __future__ import annotations

import errno
import os
import re
import stat
import sys
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from reasoner.casebook.trouble import CasebookError, TakenError, as_casebook_error

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


def take(case: Path) -> Lock:
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
