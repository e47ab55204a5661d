"""What a list of cases needs to know of each, kept beside the cases, so that ten thousand are listed at once.

The files are what counts: each is looked at (its size, its times, its number on the disk) whenever the index is used,
and read again where anything differs, or where it was changed so shortly before it was read that another change could
have gone unnoticed. An index that is damaged, or cannot be written, costs time and nothing else.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from reasoner.casebook import store
from reasoner.casebook.correcting import standing, vehicle_fields
from reasoner.casebook.events import (
    Cleared,
    Closed,
    CodesRead,
    Concluded,
    Drove,
    Event,
    FilledIn,
    Finished,
    Noted,
    Provoked,
    PutAway,
    RulesUsed,
    Ticked,
    Told,
    ValuesTyped,
    WorkTaken,
)
from reasoner.casebook.shape import Case, load_sound
from reasoner.casebook.trouble import CasebookError
from reasoner.mistake import visible

INDEX_NAME = ".index.json"
INDEX_FORMAT = 1
WORTH = 100  # fewer cases are read anew each time
DISK_TIME_STEP = 2_000_000_000  # nanoseconds; some disks keep times to two seconds
LARGEST_INDEX = 200_000_000  # bytes of an index; ten thousand cases take about 8,000,000
LONGEST_WORDS = 2_000  # characters of words kept for finding

Stat = tuple[int, int, int, int]  # size, time of change, time of change of its entry on the disk, its number there


@dataclass(frozen=True)
class CaseRow:
    """One case in a list. state: open, settled (a verdict was the last word), or as it was closed; `damaged`.

    fault, where: as found; said: the cause of the last verdict. words: complaint, notes, confirmation, for finding.
    vehicle: its fields. trouble: one line on what is wrong with the file; all else is then empty.
    """

    name: str
    opened: str = ""
    closed: str = ""
    state: str = "open"
    fault: str = ""
    where: str = ""
    said: str = ""
    vehicle: Mapping[str, str] | None = None
    codes: tuple[str, ...] = ()
    words: str = ""
    trouble: str = ""
    notes: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """The vehicle in a few words."""
        said = self.vehicle or {}
        return said.get("name") or said.get("layout") or ""


def case_rows(folder: Path, told: Callable[[int, int], None] | None = None) -> list[CaseRow]:
    """Every case of a folder, by name; damaged ones too. told: how many of how many have been looked at.

    Raises CasebookError where the folder cannot be listed.
    """
    names = store.names(folder)
    known = _read(folder)
    found: list[CaseRow] = []
    kept: dict[str, tuple[Stat, CaseRow]] = {}
    changed = len(known) != len(names)
    for number, name in enumerate(names):
        stat = _stat(folder / (name + store.SUFFIX))
        old = known.get(name)
        if old is not None and stat is not None and old[0] == stat:
            row = old[1]
        else:
            row = row_of(folder / (name + store.SUFFIX), name)
            changed = True
            if told is not None:
                told(number + 1, len(names))
        found.append(row)
        if stat is not None:
            kept[name] = stat, row
    if changed and len(names) >= WORTH:
        _write(folder, kept)
    return found


def row_of(path: Path, name: str) -> CaseRow:
    """What the list says of one file. Never raises for what is in it."""
    try:
        return _row(name, load_sound(path))
    except CasebookError as error:
        return CaseRow(name, state="damaged", trouble=error.one_line)


def _row(name: str, case: Case) -> CaseRow:
    events = standing(case.events)
    told = [e.complaint for e in events if isinstance(e, Told)]
    noted = [e.text for e in events if isinstance(e, Noted)]
    ended = [e for e in events if isinstance(e, Closed)]
    codes = [code.code for e in events if isinstance(e, CodesRead) for code in e.codes]
    verdicts = [e.cause for e in events if isinstance(e, Concluded)]
    last = ended[-1] if ended else Closed(state="")
    return CaseRow(
        name=name,
        opened=case.opened,
        closed=last.at,
        state=_state(events),
        fault=last.fault,
        where=last.where,
        said=verdicts[-1] if verdicts else "",
        vehicle=vehicle_fields(case),
        codes=tuple(dict.fromkeys(codes)),
        words=" / ".join(filter(None, (*told, *noted, *(e.confirmed_by for e in ended))))[:LONGEST_WORDS],
        notes=case.notes,
    )


def _state(events: list[Event]) -> str:
    for event in reversed(events):
        if isinstance(event, Closed):
            return event.state
        if isinstance(event, Concluded):
            return "settled" if event.what == "settled" else "open"
        if isinstance(event, WorkTaken | Finished | Ticked | FilledIn | ValuesTyped):
            return "in work"
        if isinstance(event, Provoked | Drove | Cleared):
            return "in proof"
        if not isinstance(event, PutAway | RulesUsed | Noted):
            return "open"
    return "open"


# ---- on disk ---------------------------------------------------------------------------------------------------------


def _stat(path: Path) -> Stat | None:
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino


def _read(folder: Path) -> dict[str, tuple[Stat, CaseRow]]:
    """What the index says; nothing where there is none, or it is not one."""
    path = folder / INDEX_NAME
    try:
        if os.path.islink(path) or os.stat(path).st_size > LARGEST_INDEX:
            return {}
        data = json.loads(path.read_bytes())
        if data["format"] != INDEX_FORMAT or data["keys"] != ROW_KEYS:
            return {}
        return dict(_sound(data["cases"]))
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


ROW_KEYS = [field.name for field in fields(CaseRow)]
TEXTS = sum(field.type == "str" for field in fields(CaseRow))


def _sound(cases: Mapping[str, Any]) -> Iterator[tuple[str, tuple[Stat, CaseRow]]]:
    """Entries that look as this program writes them."""
    for name, (stat, values) in cases.items():
        said = dict(zip(ROW_KEYS, values, strict=True))
        row = CaseRow(**{**said, "codes": tuple(said["codes"]), "notes": tuple(said["notes"])})
        texts = [value for value in said.values() if isinstance(value, str)]
        inside = (*(row.vehicle or {}).values(), *row.codes, *row.notes)
        if (
            len(stat) == 4
            and all(isinstance(number, int) for number in stat)
            and row.name == name
            and len(texts) == TEXTS
            and all(isinstance(text, str) for text in inside)
        ):
            yield name, ((stat[0], stat[1], stat[2], stat[3]), row)


def _write(folder: Path, kept: Mapping[str, tuple[Stat, CaseRow]]) -> None:
    """Replace the index in one step. What changed just now is left out: it may change again within the same time."""
    with suppress(OSError):
        fd, probe = tempfile.mkstemp(prefix=INDEX_NAME, dir=folder)
        try:
            now = os.fstat(fd).st_mtime_ns
            if hasattr(os, "fchmod"):  # whoever may read the cases may read this
                os.fchmod(fd, os.stat(folder).st_mode & 0o666)
            cases = {
                name: [stat, [_plain(getattr(row, key)) for key in ROW_KEYS]]
                for name, (stat, row) in kept.items()
                if max(stat[1], stat[2]) < now - DISK_TIME_STEP
            }
            with os.fdopen(fd, "wb") as file:
                file.write(json.dumps({"format": INDEX_FORMAT, "keys": ROW_KEYS, "cases": cases}).encode())
            os.replace(probe, folder / INDEX_NAME)
        except BaseException:
            with suppress(OSError):
                os.unlink(probe)
            raise


def _plain(value: object) -> object:
    return list(value) if isinstance(value, tuple) else value


# ---- finding ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Wanted:
    """What is looked for; everything said must hold. Words are parts of words, in any order, whatever their case.

    vehicle: parts of what is said of it, with commas between (`V 8, port`). since, until: days as 2026-03-09, or the
    beginning of one (2026, 2026-03).
    """

    words: tuple[str, ...] = ()
    state: str = ""
    fault: str = ""
    vehicle: str = ""
    code: str = ""
    since: str = ""
    until: str = ""

    def fits(self, row: CaseRow) -> bool:
        if row.trouble:
            return False
        vehicle = " ".join((row.vehicle or {}).values()).lower()
        fault = f"{row.fault} {row.where} {row.said}".lower().replace("-", " ")
        text = f"{row.name} {row.words} {vehicle} {fault} {row.fault} {row.said} {' '.join(row.codes)}".lower()
        day = row.opened[:10]
        return (
            all(word.lower() in text for word in self.words)
            and (not self.state or row.state.startswith(self.state.lower()))
            and all(word in fault for word in self.fault.lower().replace("-", " ").split())
            and all(" ".join(part.split()) in vehicle for part in self.vehicle.lower().split(","))
            and (not self.code or self.code.upper() in row.codes)
            and (not self.since or day >= self.since)
            and (not self.until or day[: len(self.until)] <= self.until)
        )


def inert_row(row: CaseRow) -> CaseRow:
    """A row whose texts can do nothing to a terminal."""
    plain = {key: visible(str(getattr(row, key)), 200) for key in ROW_KEYS if isinstance(getattr(row, key), str)}
    vehicle = {visible(k, 40): visible(v, 60) for k, v in (row.vehicle or {}).items()}
    codes, notes = (tuple(visible(text, 200) for text in texts) for texts in (row.codes, row.notes))
    return replace(row, **plain, vehicle=vehicle, codes=codes, notes=notes)
