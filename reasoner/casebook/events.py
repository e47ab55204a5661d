"""What a case is made of: one type for each kind of event, and how an event is written down.

`shape` reads them from a file; everything above the casebook knows events only as these types. Acts of one step are
taken back together. An event of a kind that is not known is kept as it is, and counts for nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, field, fields
from typing import Any, ClassVar

# An outcome, or how well each outcome fits.
OutcomeSeen = str | Mapping[str, float]
# Figures of one place by name: value, standard error, unit, and its scale if that is not plain; or chances of kinds.
Figures = Mapping[str, Sequence[float | str] | Mapping[str, float]]


def unless_default(default: Any) -> Any:
    """A field that is written only where it says something. default: what it is where nothing is written."""
    return field(default=default, metadata={"left out": True})


def left_out_map() -> Any:
    """A field of a mapping that is written only where it holds something."""
    return field(default_factory=dict, metadata={"left out": True})


@dataclass(frozen=True, kw_only=True)
class Event:
    """step: from 1; 0 = none was given, so that it cannot be taken back. at: when it was kept ("" = not said)."""

    kind: ClassVar[str] = ""
    step: int = 0
    at: str = field(default="", compare=False)


@dataclass(frozen=True, kw_only=True)
class Told(Event):
    """What the customer complains of."""

    kind: ClassVar[str] = "told"
    complaint: str


@dataclass(frozen=True)
class CodeRead:
    """A code off the reader, and in which states it stood there."""

    code: str
    states: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CodesRead(Event):
    """complete: whether everything stored was listed."""

    kind: ClassVar[str] = "codes"
    codes: tuple[CodeRead, ...]
    complete: bool = True


@dataclass(frozen=True, kw_only=True)
class ConditionMet(Event):
    """The car is in a condition (None: not known which): a new spell begins. spell: or it goes on with the one that
    bears this name, of which was told before."""

    kind: ClassVar[str] = "condition"
    condition: str | None
    spell: str = unless_default("")


@dataclass(frozen=True, kw_only=True)
class Answered(Event):
    """values: outcome, or weights of outcomes, by place (0 = engine). reading, inputs: as typed; from inputs the values
    are worked out again. figures: by place, with their errors; weighed again.

    apart: seen at another time, in `condition`, in a spell of its own; answers with the same `spell` were seen
    together.
    """

    kind: ClassVar[str] = "answer"
    check: str
    values: Mapping[int, OutcomeSeen]
    sure: str = "sure"
    reading: str = unless_default("")
    inputs: Mapping[str, str] = left_out_map()
    figures: Mapping[str, Figures] = left_out_map()
    asked: bool = unless_default(False)
    condition: str | None = None
    spell: str = unless_default("")
    apart: bool = False


@dataclass(frozen=True, kw_only=True)
class LogTaken(Event):
    """A scan log; what it answers is in answers of the same step. mark: of its bytes."""

    kind: ClassVar[str] = "log"
    file: str
    mark: str
    says: tuple[str, ...] = ()
    inputs: Mapping[str, str] = left_out_map()


@dataclass(frozen=True, kw_only=True)
class PassedOver(Event):
    """why: cant-tell, no-tool or not-now."""

    kind: ClassVar[str] = "pass"
    check: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Avoided(Event):
    """A condition that cannot be brought about."""

    kind: ClassVar[str] = "avoid"
    condition: str


@dataclass(frozen=True, kw_only=True)
class ToolsSaid(Event):
    """Tools that are not there, and tools that are."""

    kind: ClassVar[str] = "tools"
    lacking: tuple[str, ...] = ()
    at_hand: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class FactsTold(Event):
    """What became known of the car: properties of the vehicle with their values; "" = asked, and not known."""

    kind: ClassVar[str] = "facts"
    facts: Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class RichSeen(Event):
    """Whether it is rich now: true of the whole spell; None: nobody can tell. Not weighed: what is looked at is."""

    kind: ClassVar[str] = "rich"
    rich: bool | None


@dataclass(frozen=True, kw_only=True)
class ReadingsTaken(Event):
    """Live values read in one go, by name, each with its unit; what they answer is in answers of the same step.

    rich: whether it was rich then (None: not known). spell: where it is not the present one, as of answers; then in
    `condition`.
    """

    kind: ClassVar[str] = "readings"
    condition: str | None
    rich: bool | None = unless_default(None)
    readings: Mapping[str, str]
    spell: str = unless_default("")


@dataclass(frozen=True, kw_only=True)
class Noted(Event):
    """A remark of whoever works on the car."""

    kind: ClassVar[str] = "note"
    text: str


@dataclass(frozen=True, kw_only=True)
class Undone(Event):
    """A step taken back."""

    kind: ClassVar[str] = "undo"
    undone: int
    because: str = unless_default("")


@dataclass(frozen=True, kw_only=True)
class RulesUsed(Event):
    """The rules the following answers are weighed with."""

    kind: ClassVar[str] = "rules"
    stamp: str


@dataclass(frozen=True, kw_only=True)
class Concluded(Event):
    """What was concluded."""

    kind: ClassVar[str] = "verdict"
    what: str  # written as `kind`
    cause: str
    probability: float


@dataclass(frozen=True, kw_only=True)
class PutAway(Event):
    """The case was left for now, to be gone on with later."""

    kind: ClassVar[str] = "stop"


@dataclass(frozen=True, kw_only=True)
class Closed(Event):
    """How it ended, and the true cause as found ("" = none)."""

    kind: ClassVar[str] = "closed"
    state: str
    fault: str = ""
    where: str = ""
    confirmed_by: str = ""


@dataclass(frozen=True, kw_only=True)
class Corrected(Event):
    """What was put right afterwards: the answer to `check` in the step `corrected`, or keys of the vehicle."""

    kind: ClassVar[str] = "correct"
    corrected: int = unless_default(0)
    check: str = unless_default("")
    values: Mapping[int, OutcomeSeen] = left_out_map()
    sure: str = unless_default("")
    reading: str = unless_default("")
    inputs: Mapping[str, str] = left_out_map()
    figures: Mapping[str, Figures] = left_out_map()
    vehicle: Mapping[str, str] = left_out_map()
    because: str


@dataclass(frozen=True)
class JobTaken:
    """A repair at places."""

    repair: str
    places: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class WorkTaken(Event):
    """A choice is taken; a sheet begins. what: the kind of choice."""

    kind: ClassVar[str] = "work"
    what: str = ""  # written as `kind`
    jobs: tuple[JobTaken, ...]


@dataclass(frozen=True, kw_only=True)
class Ticked(Event):
    """Boxes of the sheet. steps: by number, what the step said then; None: not kept. off: a mark is taken away."""

    kind: ClassVar[str] = "tick"
    boxes: tuple[str, ...]
    steps: Mapping[str, str] | None = unless_default(None)
    off: bool = unless_default(False)


@dataclass(frozen=True, kw_only=True)
class FilledIn(Event):
    """A blank of the sheet, filled in with the maker's own."""

    kind: ClassVar[str] = "figure"
    line: int
    figure: str
    value: str


@dataclass(frozen=True, kw_only=True)
class ValuesTyped(Event):
    """Calibration values by cylinder, as typed in twice, and as stored before; an empty one takes one away."""

    kind: ClassVar[str] = "values"
    first: Mapping[int, str] = left_out_map()
    second: Mapping[int, str] = left_out_map()
    old: Mapping[int, str] = left_out_map()


@dataclass(frozen=True, kw_only=True)
class Finished(Event):
    """The work is done; what is answered from here is about the car after it."""

    kind: ClassVar[str] = "finished"


@dataclass(frozen=True, kw_only=True)
class Provoked(Event):
    """clean: whether nothing was to be seen. made_so: it was made as the rules ask of a try, in the weather that it was
    told of or on oil that is not fresh. on: the day it was made, such as 2026-03-28 ("": the day it was kept)."""

    kind: ClassVar[str] = "provoked"
    condition: str
    clean: bool
    made_so: bool = unless_default(False)
    on: str = unless_default("")


@dataclass(frozen=True, kw_only=True)
class Drove(Event):
    """What one drive brought, by the names of what is counted."""

    kind: ClassVar[str] = "drive"
    counts: Mapping[str, float]


@dataclass(frozen=True, kw_only=True)
class Cleared(Event):
    """Whether codes were cleared after the work. on: the day ("": the day it was kept). km: what the odometer read."""

    kind: ClassVar[str] = "cleared"
    cleared: bool
    on: str = unless_default("")
    km: int | None = unless_default(None)


@dataclass(frozen=True, kw_only=True)
class Unknown(Event):
    """An event of a kind that this program does not know. called: that kind, as written."""

    called: str


KEPT_BESIDE = (RulesUsed, Concluded, PutAway)  # events that the program keeps; none is a step somebody takes back
KEY_OF_FIELD = {
    "what": "kind",
    "at_hand": "at hand",
    "confirmed_by": "confirmed by",
    "made_so": "made so",
}  # field -> key, where they differ


def event_as_written(event: Event, at: str = "") -> dict[str, object]:
    """An event as it is kept in a file. at: when, where it does not say so itself.

    Raises TypeError for an event of a kind that is not known.
    """
    if not event.kind:
        raise TypeError("an event of a kind that is not known cannot be written")
    found: dict[str, object] = {"at": event.at or at} if event.at or at else {}
    found |= {"event": event.kind, "step": event.step}
    for each in fields(event):
        value = getattr(event, each.name)
        if each.name in ("step", "at") or (each.metadata.get("left out") and value == _nothing(each)):
            continue
        if isinstance(event, Answered) and (each.name == "apart" or (each.name == "condition" and not event.apart)):
            continue
        nothing = isinstance(event, Closed) and value == ""
        found[KEY_OF_FIELD.get(each.name, each.name)] = None if nothing else _plain(value)
    if isinstance(event, Answered) and event.spell and "figures" in found:
        found["figures"] = found.pop("figures")  # last, where a log answers: a line is read by people too
    return found


def _nothing(each: Field[Any]) -> object:
    return each.default if each.default_factory is MISSING else each.default_factory()


def _plain(value: object) -> object:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, CodeRead | JobTaken):
        return {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
    return value
