"""A file written whole or not at all: beside its final name first, flushed, then renamed.

Whatever ends the program meanwhile (a kill, a full disk, a power cut), the final name holds what it held before.
rename(2) replaces a name in one step (POSIX.1-2017, rename); Python's os.replace does the same on Windows.
"""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

BESIDE = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


def write_whole(path: Path, text: str) -> None:
    """Put UTF-8 text under a name, replacing what is there. Raises OSError; the old content is then still there."""
    path = Path(os.path.realpath(path))
    if path.exists() and not path.is_file():  # a pipe or a device takes what comes; a folder refuses
        path.write_bytes(text.encode())
        return
    beside = _written(path, text.encode())
    try:
        with suppress(OSError):  # there may be none to keep, and not every disk keeps rights
            os.chmod(beside, os.stat(path).st_mode & 0o7777)
        os.replace(beside, path)
    except BaseException:
        _remove(beside)
        raise


def write_new(path: Path, data: bytes) -> None:
    """Put data under a name that must be free. Raises FileExistsError, OSError; nothing is then left of it."""
    beside = _written(path, data)
    try:
        os.link(beside, path)
    except FileExistsError:
        raise
    except OSError:  # a disk without links: a look before has to do
        if os.path.lexists(path):
            raise FileExistsError(f"{path} is there already") from None
        os.rename(beside, path)
    finally:
        _remove(beside)


def _written(path: Path, data: bytes) -> Path:
    """A flushed file in the same folder, with a name that lists of cases pass over."""
    beside = path.with_name(f".{path.name[:40]}-{secrets.token_hex(8)}")
    fd = os.open(beside, BESIDE, 0o666)
    try:
        while data:
            data = data[os.write(fd, data) :]
        os.fsync(fd)
    except BaseException:
        _remove(beside)
        raise
    finally:
        os.close(fd)
    return beside


def _remove(path: Path) -> None:
    with suppress(OSError):
        os.unlink(path)
