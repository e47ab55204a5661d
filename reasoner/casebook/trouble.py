"""What can go wrong with a case on disk, as one message for a person: where, what, and what would mend it."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from reasoner.mistake import Refused as Refused
from reasoner.mistake import visible

# What the system says, in plain words, and what would mend it.
SYSTEM_REASONS: dict[int, tuple[str, str]] = {
    errno.ENOSPC: ("the disk is full", "make room on the disk, then go on"),
    errno.EDQUOT: ("your share of the disk is used up", "make room on the disk, then go on"),
    errno.EFBIG: ("the file may not grow any further", "raise the limit for file sizes, or begin a new case"),
    errno.EROFS: ("the disk can only be read", "choose another folder with --cases DIR"),
    errno.EACCES: ("not allowed", "ask for the right to write there, or choose another folder with --cases DIR"),
    errno.EPERM: ("not allowed", "ask for the right to write there, or choose another folder with --cases DIR"),
    errno.ENOENT: (
        "the file or its folder is not there",
        "look whether it was moved or renamed, or its disk unplugged",
    ),
    errno.ESTALE: ("its disk has gone", "connect the disk again, then go on"),
    errno.ENODEV: ("its disk has gone", "connect the disk again, then go on"),
    errno.EIO: ("the disk reports a fault", "copy the cases to another disk"),
    errno.EEXIST: ("there is such a file already", "choose another name"),
    errno.ENOTDIR: ("a part of the path is a file, not a folder", "choose another folder with --cases DIR"),
    errno.EISDIR: ("it is a folder, not a file", "name a case file"),
    errno.ENAMETOOLONG: ("the name is too long", "choose a shorter name"),
    errno.ELOOP: ("its links lead round in a circle", "remove the link"),
}


class CasebookError(Exception):
    """A case cannot be read or kept. `line` counts from 1; None = not about one line."""

    def __init__(self, message: str, mend: str = "", path: Path | None = None, line: int | None = None) -> None:
        super().__init__(message)
        self.message, self.mend, self.path, self.line = message, mend, path, line

    @property
    def one_line(self) -> str:
        """Where and what, without what would mend it."""
        place = [visible(str(self.path))] if self.path else []
        return ":".join([*place, str(self.line)] if self.line else place) + (": " if place else "") + self.message

    def __str__(self) -> str:
        return f"{self.one_line}\n   {self.mend}" if self.mend else self.one_line


class TakenError(CasebookError):
    """Another program has this case open, or the name is in use."""


@contextmanager
def as_casebook_error(path: Path, doing: str) -> Iterator[None]:
    """Turn what the system refuses into a CasebookError. doing: what failed, such as "the case cannot be opened"."""
    try:
        yield
    except OSError as error:
        spoken = (error.strerror or str(error)).lower()
        reason, mend = SYSTEM_REASONS.get(error.errno or 0, (spoken, "try another folder with --cases DIR"))
        kind = TakenError if isinstance(error, FileExistsError) else CasebookError
        raise kind(f"{doing}: {reason}", mend, path) from error
