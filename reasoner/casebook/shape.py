"""Whether the events of a case have the shape that everything else relies on.

A file may be sound YAML and still hold an answer without an outcome, because somebody edited it. That is said here,
once, with the line; nothing further on has to fear it. Kinds of event that are not known pass, with a note: another
program may have written them, or somebody's slip of the pen.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from reasoner.casebook.casefile import CaseFile, load
from reasoner.casebook.trouble import CasebookError, visible
from reasoner.casebook.writing import Event

Test = Callable[[Any], bool]


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _text_or_none(value: Any) -> bool:
    return value is None or isinstance(value, str)


def _whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < 10**9


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12


def _yes_no(value: Any) -> bool:
    return isinstance(value, bool)


def _texts(value: Any) -> bool:
    return isinstance(value, list | tuple) and all(isinstance(item, str) for item in value)


def _place(key: Any) -> bool:
    return isinstance(key, str) and re.fullmatch("[0-9]{1,3}", key) is not None


def _outcome(value: Any) -> bool:
    if isinstance(value, Mapping):
        return bool(value) and all(_number(weight) and weight >= 0 for weight in value.values())
    return isinstance(value, str)


def _by_place(value: Any) -> bool:
    return isinstance(value, Mapping) and all(_place(k) and _outcome(v) for k, v in value.items())


def _codes(value: Any) -> bool:
    return isinstance(value, list | tuple) and all(
        isinstance(code, Mapping) and _text(code.get("code")) and _texts(code.get("states", ())) for code in value
    )


def _jobs(value: Any) -> bool:
    return isinstance(value, list | tuple) and all(
        isinstance(job, Mapping) and _text(job.get("repair")) and _texts(job.get("places")) for job in value
    )


def _figure(value: Any) -> bool:
    if isinstance(value, Mapping):
        return bool(value) and all(_text(k) and _number(v) and v >= 0 for k, v in value.items())
    if not isinstance(value, list | tuple) or len(value) not in (3, 4):
        return False
    return all(map(_number, value[:2])) and _text(value[2]) and list(value[3:]) in ([], ["times"], ["until"])


def _map_of(keys: Test, values: Test) -> Test:
    return lambda found: isinstance(found, Mapping) and all(keys(k) and values(v) for k, v in found.items())


# What each key of an event has to be, in words and as a test. A key that ends in `?` may be missing.
WORDS: dict[Test, str] = {
    _text: "text",
    _text_or_none: "text, or null",
    _whole: "a whole number",
    _number: "a number",
    _yes_no: "true or false",
    _texts: "a list of texts",
    _by_place: 'outcomes by place, such as {"3": "wet"}',
    _codes: 'a list of codes, such as [{"code": "P0172", "states": []}]',
    _jobs: 'a list of jobs, such as [{"repair": "...", "places": ["engine"]}]',
}
COUNTS, TYPED = _map_of(_text, _number), _map_of(_text, lambda value: _text(value) or _number(value))
BY_CYLINDER = _map_of(_place, _text)
FIGURES = _map_of(_place, _map_of(_text, _figure))
WORDS |= {FIGURES: 'figures by place, such as {"1": {"total fuel trim": [-26, 2, "%"]}}'}
WORDS |= {COUNTS: "names and numbers", TYPED: "names and what was typed", BY_CYLINDER: "texts by cylinder"}

SHAPES: dict[str, dict[str, Test]] = {
    "told": {"complaint": _text},
    "codes": {"codes": _codes, "complete?": _yes_no},
    "condition": {"condition": _text_or_none},
    "answer": {
        "check": _text,
        "values": _by_place,
        "sure?": _text,
        "asked?": _yes_no,
        "condition?": _text_or_none,
        "inputs?": TYPED,
        "spell?": _text,
        "figures?": FIGURES,
    },
    "log": {"file": _text, "mark": _text, "says?": _texts, "inputs?": TYPED},
    "pass": {"check": _text, "why": _text},
    "avoid": {"condition": _text},
    "tools": {"lacking?": _texts, "at hand?": _texts},
    "note": {"text": _text},
    "undo": {"undone": _whole},
    "rules": {"stamp": _text},
    "verdict": {"kind": _text, "cause": _text, "probability": _number},
    "closed": {"state": _text, "fault?": _text_or_none, "where?": _text_or_none, "confirmed by?": _text_or_none},
    "correct": {"because": _text, "corrected?": _whole, "check?": _text, "values?": _by_place, "vehicle?": TYPED},
    "work": {"jobs": _jobs, "kind?": _text},
    "tick": {"boxes": _texts, "off?": _yes_no, "steps?": TYPED},
    "figure": {"line": _whole, "figure": _text, "value": _text},
    "values": {"first?": BY_CYLINDER, "second?": BY_CYLINDER, "old?": BY_CYLINDER},
    "provoked": {"condition": _text, "clean": _yes_no},
    "drive": {"counts": COUNTS},
    "cleared": {"cleared": _yes_no},
}
KINDS = frozenset(SHAPES) | {"finished"}
EVERY: dict[str, Test] = {"event": _text, "step?": _whole, "at?": _text}


def load_sound(path: Path) -> CaseFile:
    """A case whose events have their shape, and whose vehicle is plain text. Raises CasebookError."""
    return sound(load(path))


def sound(case: CaseFile) -> CaseFile:
    """The same case. Raises CasebookError with the line of the first event that lacks its shape."""
    vehicle = case.head["vehicle"]
    for key, value in vehicle.items():
        if not isinstance(value, str):
            raise CasebookError(
                f'the vehicle\'s "{visible(str(key), 40)}" is no text', "write it on one line", case.path
            )
    for number, event in enumerate(case.events):
        if wrong := wrong_with(event):
            mend = "mend it, or put `# ` before the line to leave it out"
            raise CasebookError(wrong, mend, case.path, _line(case, number))
    strange = [number for number, event in enumerate(case.events) if event["event"] not in KINDS]
    return replace(case, notes=(*case.notes, *(_unknown(case, number) for number in strange))) if strange else case


def _unknown(case: CaseFile, number: int) -> str:
    """A note about an event of a kind that is not known, with the nearest that is."""
    from difflib import get_close_matches  # slow to load, and seldom needed

    kind = str(case.events[number]["event"])
    line, near = _line(case, number), get_close_matches(kind, KINDS, 1)
    place = f"line {line}: " if line else ""
    meant = f'; did you mean "{near[0]}"?' if near else ""
    return f'{place}"{visible(kind, 30)}" is no event that is known here, and does not count{meant}'


def wrong_with(event: Event) -> str:
    """What an event lacks, in words; empty for one that has its shape."""
    kind = event.get("event")
    wanted = {**EVERY, **SHAPES.get(kind if isinstance(kind, str) else "", {})}
    for key, test in wanted.items():
        name = key.removesuffix("?")
        if name not in event:
            if key == name:
                return f"{_called(kind)} has no `{name}`"
        elif not test(event[name]):
            return f"`{name}` of {_called(kind)} is not {WORDS[test]}"
    return ""


def _called(kind: object) -> str:
    return f'an event "{visible(kind, 30)}"' if isinstance(kind, str) else "an event"


def _line(case: CaseFile, number: int) -> int | None:
    """The line of an event, found again in the file; None where it cannot be told."""
    try:
        lines = case.path.read_text(encoding="utf-8-sig").split("\n")
    except (OSError, UnicodeDecodeError):
        return None
    start = next((i for i, line in enumerate(lines) if line.startswith("events:")), len(lines))
    items = [(i, found) for i in range(start + 1, len(lines)) if (found := re.match(r"( *)-(?:\s|$)", lines[i]))]
    own = [i + 1 for i, found in items if found[1] == items[0][1][1]]
    return own[number] if number < len(own) else None
