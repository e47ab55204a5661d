"""Where cases live, what they are called, and how they are found again.

The folder for a user's data: XDG Base Directory Specification (freedesktop.org) on Linux and its kin;
`~/Library/Application Support` on macOS (Apple, File System Programming Guide); the known folder LocalAppData on
Windows (Microsoft, KNOWNFOLDERID).
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
import unicodedata
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from reasoner.casebook import journal
from reasoner.casebook.casefile import load_ends
from reasoner.casebook.events import Closed
from reasoner.casebook.trouble import CasebookError, TakenError, as_casebook_error
from reasoner.casebook.writing import RawEvent
from reasoner.mistake import visible

SUFFIX = ".yaml"
LONGEST_NAME = 60  # characters; at four bytes each they leave room for endings within the usual 255 bytes
NAMES_TRIED = 100  # numbers tried, where other programs begin cases at the same moment
NAMES_SHOWN = 5  # names in a message

# Not in a file name, on one system or another (Microsoft, "Naming Files, Paths, and Namespaces").
FORBIDDEN_IN_NAME = re.compile(r'[/\\:*?"<>|]')
DEVICES = re.compile(r"(?:con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(?:\..*)?", re.IGNORECASE)


@dataclass(frozen=True)
class Entry:
    """A case in a list. latest: its last events, all of them where the file is small. changed: seconds since 1970.

    trouble: one line on what is wrong; there is then no head and no event.
    """

    name: str
    path: Path
    changed: float
    head: Mapping[str, Any]
    latest: tuple[RawEvent, ...]
    notes: tuple[str, ...]
    trouble: str = ""

    @property
    def closed(self) -> bool:
        """Whether the last thing kept is how it ended."""
        return bool(self.latest) and self.latest[-1].get("event") == Closed.kind


def cases_folder(explicit: str | None, environ: Mapping[str, str], platform: str = sys.platform) -> tuple[Path, str]:
    """Where the cases are, and who said so. platform: as `sys.platform`. Raises CasebookError where nobody knows."""
    for said, why in ((explicit, "--cases"), (environ.get("REASONER_CASES"), "REASONER_CASES")):
        if said:
            return _expanded(said, environ, platform).absolute(), why
    if platform == "win32":
        data = _absolute(environ.get("LOCALAPPDATA")) or _home(environ, platform) / "AppData" / "Local"
    elif platform == "darwin":
        data = _home(environ, platform) / "Library" / "Application Support"
    else:
        data = _absolute(environ.get("XDG_DATA_HOME")) or _home(environ, platform) / ".local" / "share"
    return data / "reasoner" / "cases", "the folder for your data on this system"


def _absolute(said: str | None) -> Path | None:
    """A path from the environment; a relative one is to be ignored (XDG)."""
    return Path(said) if said and Path(said).is_absolute() else None


def _home(environ: Mapping[str, str], platform: str) -> Path:
    said = _absolute(environ.get("USERPROFILE" if platform == "win32" else "HOME"))
    try:
        return said or Path.home()
    except RuntimeError:
        raise CasebookError("your home folder is not known", "say where the cases are to be: --cases DIR") from None


def _expanded(said: str, environ: Mapping[str, str], platform: str) -> Path:
    """`~/` is for the shell to expand, and it does not in quotes."""
    return _home(environ, platform) / said[2:] if said.startswith("~/") else Path(said)


def ready(folder: Path) -> None:
    """Make the folder and write a file in it, to know before anybody types an answer. Raises CasebookError."""
    with as_casebook_error(folder, "no case can be kept here"):
        missing = [part for part in (folder, *folder.parents) if not part.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        for part in missing:
            journal.flush_folder(part.parent)
        fd, probe = tempfile.mkstemp(prefix=".probe-", dir=folder)
        try:
            os.write(fd, b"room for an answer\n" * 200)
            os.fsync(fd)
        finally:
            os.close(fd)
            with suppress(OSError):
                os.unlink(probe)


def begin_case_file(
    folder: Path, head: Mapping[str, object], today: date, name: str | None = None, events: Sequence[RawEvent] = ()
) -> journal.Journal:
    """A new case with its first events: with this name, else with the date and a number. head: as for `journal.create`,
    but for `case`.

    Raises TakenError where a given name is in use, CasebookError where it cannot be written.
    """
    ready(folder)
    if name is not None:
        name = safe_name(name)
        return journal.create(folder / (name + SUFFIX), {"case": name, **head}, events)
    used = [re.fullmatch(rf"{today}-([0-9]{{1,9}})", stem) for stem in names(folder)]
    first = 1 + max((int(found[1]) for found in used if found), default=0)
    for number in range(first, first + NAMES_TRIED):
        name = f"{today}-{number}"
        with suppress(TakenError):  # another program was quicker
            return journal.create(folder / (name + SUFFIX), {"case": name, **head}, events)
    raise CasebookError("no number is free for a new case", "give it a name", folder)


def safe_name(name: str) -> str:
    """A name somebody gave, fit for a file on any system. Raises CasebookError."""
    name = unicodedata.normalize("NFC", name).strip().removesuffix(SUFFIX)
    if not name:
        raise CasebookError("a case needs a name", "such as the date, or the customer's number")
    if len(name) > LONGEST_NAME:
        raise CasebookError(f"the name is longer than {LONGEST_NAME} characters", "choose a shorter one")
    if bad := FORBIDDEN_IN_NAME.search(name) or re.search(r"^[.~-]|[. ]$", name):
        mend = "letters, digits, spaces and dashes are fine"
        raise CasebookError(f'a name cannot have "{bad[0]}" there: "{visible(name)}"', mend)
    if not name.isprintable():
        raise CasebookError(f'the name has a character that does not show: "{visible(name)}"', "type it anew")
    if DEVICES.fullmatch(name):
        raise CasebookError(f'"{name}" means a device on some systems', "choose another name")
    return name


def find_case(folder: Path, wanted: str) -> Path:
    """A case by its name, an unambiguous beginning of it, or the path of its file. Raises CasebookError."""
    if not wanted.isprintable() or not wanted:
        raise CasebookError(f'no case is called "{visible(wanted)}"', "see the list of cases")
    if "/" in wanted or os.sep in wanted:
        return Path(wanted)  # reading it tells whether it is a case
    wanted_name = unicodedata.normalize("NFC", wanted).removesuffix(SUFFIX)
    there = names(folder)
    shown = {unicodedata.normalize("NFC", name): name for name in there}
    if wanted_name in shown:
        return folder / (shown[wanted_name] + SUFFIX)
    if wanted.endswith(SUFFIX) and os.path.exists(wanted):
        return Path(wanted)
    near = [name for name in shown if name.startswith(wanted_name)]
    if len(near) == 1:
        return folder / (shown[near[0]] + SUFFIX)
    if near:
        raise CasebookError(f'several cases begin with "{wanted}"', f"say more: {_some(near)}", folder)
    from difflib import get_close_matches  # slow to load, and seldom needed

    close = get_close_matches(wanted_name, shown, NAMES_SHOWN)
    mend = f"did you mean {_some(close)}?" if close else f"there are: {_some(there)}" if there else "there are none yet"
    raise CasebookError(f'no case is called "{wanted}"', mend, folder)


def entries(folder: Path) -> tuple[Entry, ...]:
    """All cases of a folder, by name; damaged ones too, with what is wrong. None where there is no folder yet."""
    return tuple(_entry(folder / (name + SUFFIX)) for name in names(folder))


def newest(folder: Path) -> Entry | None:
    """The case that was worked on last; None where there is none."""
    paths = [folder / (name + SUFFIX) for name in names(folder)]
    dated = []
    for path in paths:
        with suppress(OSError):  # gone meanwhile
            dated.append((os.stat(path).st_mtime, path))
    return _entry(max(dated)[1]) if dated else None


def _entry(path: Path) -> Entry:
    changed = 0.0
    try:
        with as_casebook_error(path, "the case cannot be opened"):
            changed = os.stat(path).st_mtime
        case = load_ends(path)
        return Entry(path.stem, path, changed, case.head, case.events, case.notes)
    except CasebookError as error:
        return Entry(path.stem, path, changed, {}, (), (), error.one_line)


def names(folder: Path) -> list[str]:
    """Names of the files that may be cases, numbers in order of size. Raises CasebookError."""
    try:
        with as_casebook_error(folder, "the cases cannot be listed"):
            found = [name.removesuffix(SUFFIX) for name in os.listdir(folder) if name.endswith(SUFFIX)]
    except CasebookError as error:
        if isinstance(error.__cause__, FileNotFoundError):
            return []
        raise
    return sorted((name for name in found if name and not name.startswith(".")), key=_by_number)


def _by_number(name: str) -> tuple[list[tuple[int, int, str]], str]:
    parts = re.findall("[0-9]+|[^0-9]+", name)
    return [(0, int(part), "") if part[0] in "0123456789" else (1, 0, part) for part in parts], name


def _some(names: list[str]) -> str:
    more = f" and {len(names) - NAMES_SHOWN} more" if len(names) > NAMES_SHOWN else ""
    return ", ".join(visible(name) for name in names[:NAMES_SHOWN]) + more
