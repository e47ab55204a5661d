"""The result documents: what comes next, what is believed and why, what is concluded and decided, as plain frozen data.

Printers format these; they decide nothing. `dataclasses.asdict` of any of them is the JSON form.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # a question is shown without the rooms of repair being loaded
    from reasoner.repair.proof import ProofDoc
    from reasoner.repair.sheet import SheetDoc


@dataclass(frozen=True)
class Suspect:
    """A cause (or a fault over all its places) with its probability and range under the rules' own uncertainty.

    both: of two faults at once, the two causes; `cause`, `fault` and `where` are theirs with ` + ` between.
    """

    cause: str
    fault: str
    title: str
    where: str
    probability: float
    low: float
    high: float
    both: tuple[str, ...] = ()


@dataclass(frozen=True)
class BeliefDoc:
    """leading: the likeliest causes. faults: the likeliest faults, places summed. all: every cause by name.

    anything_else: what is in no rule, over all its places; None where these rules reckon with nothing of the kind.
    """

    leading: tuple[Suspect, ...]
    faults: tuple[Suspect, ...]
    cylinders: dict[str, float]
    showing: float
    all: dict[str, float]
    anything_else: Suspect | None = None


@dataclass(frozen=True)
class OutcomeDoc:
    """One possible outcome of a check: its name in the rules, and what a person reads."""

    name: str
    text: str


@dataclass(frozen=True)
class Move:
    """How an outcome would move one suspect: a fault over all its places."""

    title: str
    before: float
    after: float


@dataclass(frozen=True)
class Separation:
    """What the belief becomes if this is the outcome. lead: whom it speaks for most, and how likely it is before.

    moves: how it moves the suspects that lead now, and the one it speaks for most. number: of the answer on the list;
    0 where several places answer.
    """

    outcome: str
    chance: float
    lead: str
    lead_before: float
    lead_after: float
    moves: tuple[Move, ...] = ()
    number: int = 0


@dataclass(frozen=True)
class Way:
    """A check in a condition, as proposed or as an alternative. minutes: work with set-up; waiting comes on top.

    lacks: tools that it needs and that are not at hand.
    """

    check: str
    title: str
    condition: str
    condition_title: str
    fresh: bool
    times: int
    place: int | None
    minutes: float
    waiting: float
    money: float
    hazards: int
    bits: float
    lacks: tuple[str, ...] = ()


@dataclass(frozen=True)
class ReadingDoc:
    """What a check is read as: the quantity, and its unit. typed: what a person types at the screen, off the tool."""

    quantity: str
    unit: str
    typed: str


@dataclass(frozen=True)
class InputDoc:
    """One input of a computation. by: bank or cylinder where it has a value for each. before: as typed last."""

    name: str
    say: str
    unit: str
    by: str
    needed: bool
    before: str


@dataclass(frozen=True)
class WorksOut:
    """The computation that works the outcome out from readings. frame: from those of a freeze frame."""

    by: str
    says: str
    inputs: tuple[InputDoc, ...]
    frame: bool = False


@dataclass(frozen=True)
class FactDoc:
    """Something the car may or may not have: a property of the vehicle, its name in words, and its possible values."""

    fact: str
    title: str
    ask: str
    how: str
    values: tuple[str, ...]


@dataclass(frozen=True)
class Question:
    """The proposed check. cautions come before the steps; bring_about is empty in the present spell.

    before: title of the check this one has to precede, because that would destroy its evidence.
    facts: what is not known of the car, and this check or a leading suspect hangs on.
    while_rich: it needs a rich mixture now: the outcome that says that there is none, or `only`; "" = it needs none.
    while_there: what else is worth a look in the same condition, before the car leaves it.
    sees: `now`, what it shows hangs on whether it is rich now; `ever`, it does not.
    lists_codes: the reader's list of codes answers this and every other question about codes at once.
    earlier: what it read on this car before, each with the state it was taken in.
    """

    way: Way
    kind: str
    ask: str
    how: str
    at: str
    places: dict[int, str]
    outcomes: tuple[OutcomeDoc, ...]
    reading: ReadingDoc | None
    cautions: tuple[str, ...]
    bring_about: str
    condition_means: str
    needs: tuple[str, ...]
    before: str
    lists_codes: bool
    separates: tuple[Separation, ...]
    alternatives: tuple[Way, ...]
    step: int
    works_out: WorksOut | None = None
    facts: tuple[FactDoc, ...] = ()
    while_rich: str = ""
    while_there: tuple[Way, ...] = ()
    sees: str = "now"
    earlier: tuple[str, ...] = ()
    type: str = "question"


@dataclass(frozen=True)
class Reason:
    """One answer's weight for (positive) or against (negative) a cause, in decibans, and the rule behind it."""

    check: str
    text: str
    decibans: float
    rule: str
    source: str
    because: str


@dataclass(frozen=True)
class SurpriseDoc:
    """bits: the conflict of all answers. explained: the leading cause makes them fit. disagreeing: which, in words."""

    bits: float
    explained: bool
    disagreeing: tuple[str, ...]


@dataclass(frozen=True)
class Verdict:
    """kind: settled, place-open, at-least (the lead is there, and perhaps another fault beside it), first (something
    that costs nothing comes first, and the case goes on), watch (nothing is wrong now, or it is over), nothing-worth or
    stopped.

    course: what is recommended, in the words of `decide`; choice: its kind there; cures: the chance that it does.
    unsure: answers that were not sure, which a second look would make count for more. not_explained: codes, readings,
    looks and tests that what is concluded does not bring about and another fault would. wanted_first: what should be
    known before that is done, and is not.
    minutes_spent, waiting_spent: what looking took, by the rules' minutes.
    """

    kind: str
    sentence: str
    course: str
    choice: str
    cures: float
    lead: Suspect
    fault: Suspect
    spoke_for: tuple[Reason, ...]
    spoke_against: tuple[Reason, ...]
    open: tuple[Suspect, ...]
    would_change: tuple[Way, ...]
    out_of_reach: tuple[Way, ...]
    unsure: tuple[str, ...]
    not_explained: tuple[str, ...]
    surprise: SurpriseDoc
    driving_on: str
    repair: str
    repair_title: str
    repair_do: str
    repair_cautions: tuple[str, ...]
    proof: tuple[str, ...]
    wanted_first: tuple[str, ...]
    minutes_spent: float
    waiting_spent: float
    answers: int
    step: int
    type: str = "verdict"


@dataclass(frozen=True)
class Why:
    """Why a cause stands where it stands: its prior, then every answer's weight, with rule and source.

    fault: the same fault over all its places.
    """

    suspect: Suspect
    fault: Suspect
    prior: float
    prior_rule: str
    prior_because: str
    reasons: tuple[Reason, ...] = field(default_factory=tuple)


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
