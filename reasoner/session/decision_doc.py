"""The document of a decision, and any document that follows a verdict as plain data. Printers format, and decide
nothing."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import Any

from reasoner.repair.proof import ProofDoc
from reasoner.repair.sheet import SheetDoc


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


def as_data(document: DecisionDoc | SheetDoc | ProofDoc) -> dict[str, Any]:
    """A document in what JSON has: sets as sorted lists."""
    found: dict[str, Any] = json.loads(json.dumps(asdict(document), default=sorted))
    return found
