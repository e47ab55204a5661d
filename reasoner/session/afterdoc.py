"""The documents that follow a verdict: choices, repair sheet, proof. Plain frozen data; printers format and decide
nothing."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class ChoiceDoc:
    """One course. now, later, driving, expected: money. parts: money of `now`; minutes: labour of it.

    again: why the car may come back, each with its chance in words. missing: what has to be known before it could be
    recommended. cheapest: by expected cost, whatever is missing.
    """

    kind: str
    title: str
    now: float
    parts: float
    minutes: float
    cures: float
    comes_back: float
    again: tuple[str, ...]
    later: float
    driving: float
    expected: float
    missing: tuple[str, ...]
    cheapest: bool
    recommended: bool


@dataclass(frozen=True)
class PriceDoc:
    """A figure that was reckoned with. own: the shop has said it; else it is the rules' usual one."""

    what: str
    value: str
    own: bool


@dataclass(frozen=True)
class DecisionDoc:
    """choices: the cheapest by expected cost first. hinges: what the recommended one hangs on. notes: what was left
    out."""

    case: str
    sentence: str
    choices: tuple[ChoiceDoc, ...]
    hinges: tuple[str, ...]
    prices: tuple[PriceDoc, ...]
    currency: str
    notes: tuple[str, ...]
    type: str = "decision"


@dataclass(frozen=True)
class CautionDoc:
    number: int
    say: str
    hazard: bool


@dataclass(frozen=True)
class BoxDoc:
    """Something to check off. place: empty where the step is done once."""

    name: str
    place: str
    done: bool


@dataclass(frozen=True)
class FigureDoc:
    """A blank for the maker's own figure; value: empty until somebody has filled it in."""

    what: str
    value: str


@dataclass(frozen=True)
class LineDoc:
    """One step. cautions: numbers of those above it; full: of these, those that are said here for the first time."""

    number: int
    text: str
    cautions: tuple[CautionDoc, ...]
    full: frozenset[int]
    figures: tuple[FigureDoc, ...]
    boxes: tuple[BoxDoc, ...]


@dataclass(frozen=True)
class ValueDoc:
    """A calibration value by cylinder: as typed in the first and the second time, and as stored before."""

    cylinder: int
    first: str
    second: str
    old: str


@dataclass(frozen=True)
class SectionDoc:
    title: str
    at_hand: tuple[str, ...]
    single_use: tuple[str, ...]
    lines: tuple[LineDoc, ...]
    values: tuple[ValueDoc, ...]
    slips: tuple[str, ...]
    learned: tuple[str, ...]


@dataclass(frozen=True)
class SheetDoc:
    """cautions: all of them, those of hazards first. proof: what must be seen afterwards."""

    case: str
    vehicle: str
    title: str
    cautions: tuple[CautionDoc, ...]
    sections: tuple[SectionDoc, ...]
    proof: tuple[str, ...]
    done: int
    boxes: int
    type: str = "sheet"


@dataclass(frozen=True)
class SeenDoc:
    """A check that must be as on a sound car. state: seen, not right, missing, no tool. say: what is to be seen, or
    empty where the one before it says so."""

    title: str
    say: str
    source: str
    state: str


@dataclass(frozen=True)
class CountDoc:
    """Something counted. together: has to be met in one drive with the others so marked. source: who says so."""

    name: str
    title: str
    say: str
    source: str
    have: float
    least: float
    unit: str
    together: bool

    @property
    def missing(self) -> float:
        return max(0.0, self.least - self.have)


@dataclass(frozen=True)
class ProvocationDoc:
    """Clean provocations. title, how: of the condition. shows: how often it used to show there; rule: who says so.

    needed: None where nobody does so many. clean: done so far; showed: it was seen again. course: the chance that it is
    still there, after none, one, two ... clean ones. bound: how often it can still show at most, at 95 %.
    """

    condition: str
    title: str
    how: str
    cautions: tuple[str, ...]
    shows: float
    rule: str
    needed: int | None
    most: int
    clean: int
    showed: bool
    course: tuple[float, ...]
    still: float
    bound: float | None
    minutes: float
    waiting: float


@dataclass(frozen=True)
class ProofDoc:
    """also: what earlier rounds of work still have to prove, in other conditions. state: what the case could be closed
    as now. missing: what is still missing for `proven`, in words. sources: the
    bibliography of what is cited, with how each was read."""

    case: str
    title: str
    provocation: ProvocationDoc | None
    seen: tuple[SeenDoc, ...]
    counts: tuple[CountDoc, ...]
    never: tuple[tuple[str, str], ...]
    sources: tuple[str, ...]
    cleared: bool | None
    state: str
    missing: tuple[str, ...]
    also: tuple[ProvocationDoc, ...] = ()
    type: str = "proof"


def as_data(document: DecisionDoc | SheetDoc | ProofDoc) -> dict[str, Any]:
    """A document in what JSON has: sets as sorted lists."""
    found: dict[str, Any] = json.loads(json.dumps(asdict(document), default=sorted))
    return found
