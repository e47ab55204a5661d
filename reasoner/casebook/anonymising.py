"""A case fit for sharing: what was seen and done stays, who and when goes.

Only what is known to be harmless is kept; any other text is left out, because a name can stand in any text. Times are
moved so that the case begins on a fixed day, and keep their distances to the minute; distance run is rounded.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from reasoner.casebook.casefile import CaseFile
from reasoner.casebook.writing import RawEvent

CLOCK_BEGINS = datetime(2000, 1, 1, 8, 0, tzinfo=UTC)
ROUND_KM = 1000

# Keys whose values are names out of the rules, places, or numbers; everything else is somebody's own words.
KEPT_FIELDS = {
    "event", "step", "check", "values", "sure", "asked", "condition", "codes", "code", "states", "complete", "why",
    "lacking", "at hand", "undone", "stamp", "kind", "cause", "probability", "state", "fault", "where", "corrected",
    "jobs", "repair", "places", "clean", "counts", "cleared", "spell", "rich",
}  # fmt: skip
DROPPED_EVENTS = {"note", "tick", "figure", "log"}  # a log's answers stay, with their spells and figures
MEASURED = {"layout", "upstream sensors", "banks", "firing order", "injection", "charging", "metering", "return line",
            "flex fuel", "gas recirculation", "fuel pump"}  # fmt: skip
# A name of the rules, a place, a code, a stamp of rules. Names of people begin with a capital.
PLAIN_TEXT = re.compile(r"[a-z0-9][a-z0-9@ -]{0,79}|[PBCU][0-9A-F]{4}")
SCANNED_VALUE = re.compile(r"[a-z0-9, -]{1,60}: [+-]?[0-9.]{1,9}( [a-zA-Z%°/]{1,6})?")  # a value off a scan tool
TELLING = re.compile(r"[A-Z0-9]{2,4}[ -]?[A-Z0-9]{2,4}[ -]?[A-Z0-9]{0,4}|\S+@\S+|\+?[0-9][0-9 /-]{5,}")


LEFT_OUT_AS_CALLED = {  # what is left out, as a person calls it
    "complaint": "the complaint", "confirmed by": "what confirmed it", "because": "a reason", "note": "a note",
    "first": "values of parts", "second": "values of parts", "old": "values of parts", "inputs": "what was typed",
    "reading": "a reading in words", "on": "a day", "km": "a mileage",
}  # fmt: skip


@dataclass(frozen=True)
class Anonymous:
    """head and events of the new case. dropped: what was left out, each kind with its count, for the person to see."""

    head: Mapping[str, Any]
    events: tuple[RawEvent, ...]
    dropped: Mapping[str, int]


def anonymous(case: CaseFile, name: str, keep_words: bool = False) -> Anonymous:
    """The case under another name.

    keep_words: complaint and confirmation stay, with what looks like a number plate, an address or a telephone number
    struck out; somebody has to read them before they are given away.
    """
    counts: dict[str, int] = {}

    def drop(what: str) -> None:
        counts[what] = counts.get(what, 0) + 1

    start = _time(case.head.get("opened")) or next((t for e in case.events if (t := _time(e.get("at")))), None)
    vehicle = {}
    for key, value in case.head["vehicle"].items():
        if _of_the_car(key, value):
            vehicle[key] = rounded(str(value)) if key == "distance" else value
        else:
            drop(f"the vehicle's {key}")
    for key in case.head:
        if key not in ("format", "case", "opened", "rules", "vehicle"):
            drop(f'"{key}" of the head')
    events = []
    for event in case.events:
        if event.get("event") in DROPPED_EVENTS:
            drop(LEFT_OUT_AS_CALLED.get(event["event"], f'an event "{event["event"]}"'))
            continue
        kept = _event(event, keep_words, drop)
        if moved := _moved(event.get("at"), start):
            kept = {"at": moved, **kept}
        events.append(kept)
    head = {"case": name, "opened": _stamp(CLOCK_BEGINS), "rules": str(case.head["rules"]), "vehicle": vehicle}
    return Anonymous(head, tuple(events), counts)


def _event(event: RawEvent, keep_words: bool, drop: Any) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in event.items():
        if key in ("complaint", "confirmed by", "because") and value:
            if keep_words:
                found[key] = TELLING.sub("...", str(value))
                continue
            drop(LEFT_OUT_AS_CALLED.get(key, f'"{key}"'))
            if key != "confirmed by":  # an event of its kind needs it
                found[key] = ""
        elif key in ("vehicle", "facts") and isinstance(value, Mapping):
            own = {k: v for k, v in value.items() if _of_the_car(k, v)}
            found[key] = {k: rounded(str(v)) if k == "distance" else v for k, v in own.items()}
        elif key == "readings" and isinstance(value, Mapping):
            found[key] = {k: v for k, v in value.items() if SCANNED_VALUE.fullmatch(f"{k}: {v}")}
        elif key in ("first", "second", "old", "inputs", "reading"):
            drop(LEFT_OUT_AS_CALLED.get(key, f'"{key}"'))
        elif key == "at":
            continue
        elif (key == "figures" and _only_figures(value)) or (key in KEPT_FIELDS and _harmless(value)):
            found[key] = value
        elif value is not None:
            drop(LEFT_OUT_AS_CALLED.get(key, f'"{key}"'))
    return found


def _of_the_car(key: str, value: Any) -> bool:
    """What says how the car is built: a word of the program's own, or something that it has or has not got."""
    return key in MEASURED or key == "distance" or (_harmless(key) and value in ("yes", "no", ""))


def _harmless(value: Any) -> bool:
    if isinstance(value, Mapping):
        return all(_harmless(k) and _harmless(v) for k, v in value.items())
    if isinstance(value, Sequence) and not isinstance(value, str):
        return all(_harmless(item) for item in value)
    return not isinstance(value, str) or not value or PLAIN_TEXT.fullmatch(value) is not None


def _only_figures(value: Any) -> bool:
    """Figures are numbers, named and measured in the rules' own words; a unit is short."""
    if not isinstance(value, Mapping) or not all(isinstance(by_name, Mapping) for by_name in value.values()):
        return False
    parts = [p for by_name in value.values() for p in by_name.values()]
    units = [p[2] for p in parts if isinstance(p, Sequence) and len(p) > 2]
    names = [name for by_name in value.values() for name in by_name]
    bare = [p if isinstance(p, Mapping) else [*p[:2], *p[3:]] if isinstance(p, Sequence) else None for p in parts]
    return all(len(str(unit)) <= 6 for unit in units) and all(map(_harmless, [*names, *bare]))


def rounded(distance: str) -> str:
    """`198321 km` as `200000 km`: a figure read off nobody's meter."""
    found = re.fullmatch(r"([0-9][0-9 ',.]*) ?(km|mi|miles)?", distance)
    if not found:
        return ""
    number = int(re.sub("[^0-9]", "", found[1]) or 0)
    return f"{ROUND_KM * round(number / ROUND_KM)} {found[2] or 'km'}"


def _time(text: object) -> datetime | None:
    try:
        found = datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)


def _moved(text: object, start: datetime | None) -> str:
    found = _time(text)
    if found is None or start is None:
        return ""
    try:
        return _stamp(CLOCK_BEGINS + timedelta(minutes=round((found - start).total_seconds() / 60)))
    except OverflowError:
        return ""


def _stamp(when: datetime) -> str:
    return when.isoformat(timespec="seconds")
