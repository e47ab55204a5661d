"""The door of the casebook: events as written in a file become those of `events`, or are refused with their line.

A file may be sound YAML and still hold an answer without an outcome, because somebody edited it. That is said here,
once; nothing further on has to fear it. Kinds of event that are not known pass, with a note: another program may have
written them, or somebody's slip of the pen.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from reasoner.casebook import events as kinds
from reasoner.casebook.casefile import CaseFile, load_case
from reasoner.casebook.events import KEY_OF_FIELD, Event
from reasoner.casebook.trouble import CasebookError
from reasoner.casebook.writing import RawEvent
from reasoner.mistake import Refused, visible

Reader = Callable[
    [Any], object
]  # a value read from a file -> the value that is used; raises _Odd where it is malformed


class _Odd(ValueError):
    pass


@dataclass(frozen=True)
class Case:
    """A case whose events have their shape. name, opened, rules: of the head of its file. vehicle: as first said."""

    path: Path
    vehicle: Mapping[str, str]
    events: tuple[Event, ...] = ()
    name: str = ""
    opened: str = ""
    rules: str = ""
    notes: tuple[str, ...] = ()


# ---- what a value has to be ------------------------------------------------------------------------------------------


def _need(fits: bool) -> None:
    if not fits:
        raise _Odd


def _text(value: Any) -> str:
    _need(isinstance(value, str))
    return str(value)


def _text_or_none(value: Any) -> str | None:
    return None if value is None else _text(value)


def _text_or_nothing(value: Any) -> str:
    return "" if value is None else _text(value)


def _anything(value: Any) -> str:
    return str(value)


def day_typed(said: str) -> str:
    """A day as it is kept, such as 2026-03-28; "" where none was said. Raises Refused for what is no day."""
    try:
        return date.fromisoformat(said).isoformat() if said else ""
    except ValueError:
        raise Refused(f'"{said[:24]}" is no day', "such as 2026-03-28") from None


def _day(value: Any) -> str:
    text = _text(value)
    try:
        return day_typed(text)
    except Refused:
        _need(False)
        raise


def _whole(value: Any) -> int:
    _need(isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 10**9)
    return int(value)


def _number(value: Any) -> float:
    _need(isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12)
    return float(value)


def _weight(value: Any) -> float:
    _need(_number(value) >= 0)
    return float(value)


def _yes_no(value: Any) -> bool:
    _need(isinstance(value, bool))
    return bool(value)


def _yes_no_or_none(value: Any) -> bool | None:
    return None if value is None else _yes_no(value)


def _texts(value: Any) -> tuple[str, ...]:
    _need(isinstance(value, list | tuple))
    return tuple(_text(item) for item in value)


def _map_of(keys: Reader, values: Reader, least: int = 0) -> Reader:
    def read(value: Any) -> object:
        _need(isinstance(value, Mapping) and len(value) >= least)
        return {keys(k): values(v) for k, v in value.items()}

    return read


def _place(key: Any) -> int:
    _need(isinstance(key, str) and re.fullmatch("[0-9]{1,3}", key) is not None)
    return int(key)


def _place_text(key: Any) -> str:
    return str(_place(key))


def _typed(value: Any) -> str:
    """What somebody typed; a number that was not put in quotes is what they typed too."""
    if not isinstance(value, str):
        _number(value)
    return str(value)


OUTCOME_WEIGHTS = _map_of(_text, _weight, least=1)


def _outcome(value: Any) -> object:
    return OUTCOME_WEIGHTS(value) if isinstance(value, Mapping) else _text(value)


def _codes(value: Any) -> tuple[kinds.CodeRead, ...]:
    _need(isinstance(value, list | tuple) and all(isinstance(code, Mapping) for code in value))
    return tuple(kinds.CodeRead(_text(code.get("code")), _texts(code.get("states", ()))) for code in value)


def _jobs(value: Any) -> tuple[kinds.JobTaken, ...]:
    _need(isinstance(value, list | tuple) and all(isinstance(job, Mapping) for job in value))
    return tuple(kinds.JobTaken(_text(job.get("repair")), _texts(job.get("places"))) for job in value)


def _figure(value: Any) -> object:
    if isinstance(value, Mapping):
        return OUTCOME_WEIGHTS(value)
    _need(isinstance(value, list | tuple) and len(value) in (3, 4) and list(value[3:]) in ([], ["times"], ["until"]))
    return [_number(value[0]), _number(value[1]), *map(_text, value[2:])]


BY_PLACE, BY_CYLINDER = _map_of(_place, _outcome), _map_of(_place, _text)
COUNTS, TYPED = _map_of(_text, _number), _map_of(_text, _typed)
FIGURES = _map_of(_place_text, _map_of(_text, _figure))
READER_WORDS: dict[Reader, str] = {
    _text: "text",
    _text_or_none: "text, or null",
    _text_or_nothing: "text, or null",
    _whole: "a whole number",
    _number: "a number",
    _yes_no: "true or false",
    _yes_no_or_none: "true or false",
    _texts: "a list of texts",
    BY_PLACE: 'outcomes by place, such as {"3": "wet"}',
    _codes: 'a list of codes, such as [{"code": "P0172", "states": []}]',
    _jobs: 'a list of jobs, such as [{"repair": "...", "places": ["engine"]}]',
    FIGURES: 'figures by place, such as {"1": {"total fuel trim": [-26, 2, "%"]}}',
    COUNTS: "names and numbers",
    TYPED: "names and what was typed",
    BY_CYLINDER: "texts by cylinder",
}

# Each kind of event, and what each of its keys has to be. A key that ends in `?` may be missing.
Keys = Mapping[str, Reader]
ANSWER: Keys = {"sure?": _text, "reading?": _anything, "inputs?": TYPED, "figures?": FIGURES}
TYPES: tuple[tuple[type[Event], Keys], ...] = (
    (kinds.Told, {"complaint": _text}),
    (kinds.CodesRead, {"codes": _codes, "complete?": _yes_no}),
    (kinds.ConditionMet, {"condition": _text_or_none, "spell?": _text}),
    (
        kinds.Answered,
        {"check": _text, "values": BY_PLACE, "asked?": _yes_no, "condition?": _text_or_none, "spell?": _text, **ANSWER},
    ),
    (kinds.LogTaken, {"file": _text, "mark": _text, "says?": _texts, "inputs?": TYPED}),
    (kinds.PassedOver, {"check": _text, "why": _text}),
    (kinds.Avoided, {"condition": _text}),
    (kinds.ToolsSaid, {"lacking?": _texts, "at hand?": _texts}),
    (kinds.FactsTold, {"facts": TYPED}),
    (kinds.RichSeen, {"rich": _yes_no_or_none}),
    (
        kinds.ReadingsTaken,
        {"condition": _text_or_none, "rich?": _yes_no_or_none, "readings": TYPED, "spell?": _text},
    ),
    (kinds.Noted, {"text": _text}),
    (kinds.Undone, {"undone": _whole, "because?": _anything}),
    (kinds.RulesUsed, {"stamp": _text}),
    (kinds.Concluded, {"kind": _text, "cause": _text, "probability": _number}),
    (kinds.PutAway, {}),
    (
        kinds.Closed,
        {"state": _text, "fault?": _text_or_nothing, "where?": _text_or_nothing, "confirmed by?": _text_or_nothing},
    ),
    (
        kinds.Corrected,
        {"because": _text, "corrected?": _whole, "check?": _text, "values?": BY_PLACE, "vehicle?": TYPED, **ANSWER},
    ),
    (kinds.WorkTaken, {"jobs": _jobs, "kind?": _text}),
    (kinds.Ticked, {"boxes": _texts, "off?": _yes_no, "steps?": TYPED}),
    (kinds.FilledIn, {"line": _whole, "figure": _text, "value": _text}),
    (kinds.ValuesTyped, {"first?": BY_CYLINDER, "second?": BY_CYLINDER, "old?": BY_CYLINDER}),
    (kinds.Finished, {}),
    (kinds.Provoked, {"condition": _text, "clean": _yes_no, "made so?": _yes_no, "on?": _day}),
    (kinds.Drove, {"counts": COUNTS}),
    (kinds.Cleared, {"cleared": _yes_no, "on?": _day, "km?": _whole}),
)
EVENT_SHAPES: dict[str, Keys] = {kind.kind: keys for kind, keys in TYPES}
EVENT_KINDS: dict[str, type[Event]] = {kind.kind: kind for kind, _ in TYPES}
EVERY_KIND: Keys = {"event": _text, "step?": _whole, "at?": _text}
FIELD_OF_KEY = {key: name for name, key in KEY_OF_FIELD.items()}


# ---- a case ----------------------------------------------------------------------------------------------------------


def load_sound(path: Path) -> Case:
    """A case whose events have their shape, and whose vehicle is plain text. Raises CasebookError."""
    return sound(load_case(path))


def sound(file: CaseFile) -> Case:
    """The case in a file. Raises CasebookError with the line of the first event that lacks its shape."""
    vehicle = file.head["vehicle"]
    for key, value in vehicle.items():
        if not isinstance(value, str):
            raise CasebookError(
                f'the vehicle\'s "{visible(str(key), 40)}" is no text', "write it on one line", file.path
            )
    events = []
    for number, raw in enumerate(file.events):
        try:
            events.append(read_event(raw))
        except ValueError as error:
            mend = "mend it, or put `# ` before the line to leave it out"
            raise CasebookError(str(error), mend, file.path, _line(file, number)) from None
    strange = tuple(_unknown(file, n, e.called) for n, e in enumerate(events) if isinstance(e, kinds.Unknown))
    name, opened, rules = (str(file.head[key]) for key in ("case", "opened", "rules"))
    return Case(file.path, dict(vehicle), tuple(events), name, opened, rules, (*file.notes, *strange))


def _unknown(file: CaseFile, number: int, kind: str) -> str:
    """A note about an event of a kind that is not known, with the nearest that is."""
    from difflib import get_close_matches  # slow to load, and seldom needed

    line, near = _line(file, number), get_close_matches(kind, EVENT_KINDS, 1)
    place = f"line {line}: " if line else ""
    meant = f'; did you mean "{near[0]}"?' if near else ""
    return f'{place}"{visible(kind, 30)}" is no event that is known here, and does not count{meant}'


def read_event(raw: RawEvent) -> Event:
    """An event as one of the types of `events`. Raises ValueError, which says in words what it lacks."""
    kind = raw.get("event")
    found: dict[str, Any] = {}
    for key, reader in {**EVERY_KIND, **EVENT_SHAPES.get(kind if isinstance(kind, str) else "", {})}.items():
        name = key.removesuffix("?")
        if name in raw:
            try:
                found[FIELD_OF_KEY.get(name, name)] = reader(raw[name])
            except _Odd:
                raise ValueError(f"`{name}` of {_called(kind)} is not {READER_WORDS[reader]}") from None
        elif key == name:
            raise ValueError(f"{_called(kind)} has no `{name}`")
    called = found.pop("event")
    if called not in EVENT_KINDS:
        return kinds.Unknown(called=called, **found)
    if called == kinds.Answered.kind:
        found["apart"] = "condition" in raw
    return EVENT_KINDS[called](**found)


def _called(kind: object) -> str:
    return f'an event "{visible(kind, 30)}"' if isinstance(kind, str) else "an event"


def _line(file: CaseFile, number: int) -> int | None:
    """The line of an event, found again in the file; None where it cannot be told."""
    try:
        lines = file.path.read_text(encoding="utf-8-sig").split("\n")
    except (OSError, UnicodeDecodeError):
        return None
    start = next((i for i, line in enumerate(lines) if line.startswith("events:")), len(lines))
    items = [(i, found) for i in range(start + 1, len(lines)) if (found := re.match(r"( *)-(?:\s|$)", lines[i]))]
    own = [i + 1 for i, found in items if found[1] == items[0][1][1]]
    return own[number] if number < len(own) else None
