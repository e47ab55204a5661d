"""What the owner tells before the first question, several things at once: work done lately, when it happens, what else;
and what a complaint in the owner's words says of them.

Each is an answer to a check of its own, so that it counts once and is not asked again; what is told in one go is taken
back in one go.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from reasoner.casebook.events import Event
from reasoner.casebook.trouble import Refused
from reasoner.rulebook.model import Check, Outcome
from reasoner.session import acts, readings
from reasoner.session.workup import Workup

BEGAN_BEFORE = {"before": True, "after": False}  # whether the complaint began before the work


@dataclass(frozen=True)
class StoryRow:
    """One thing that can be told: an outcome of a check."""

    check: str
    outcome: str
    text: str


@dataclass(frozen=True)
class WorkLine:
    """numbers: of the rows, empty = nothing was done. began_before: the complaint is older than the work. rest: by whom
    and when, as typed."""

    numbers: tuple[int, ...]
    began_before: bool
    rest: str


def tellable(workup: Workup, kind: str) -> list[Check]:
    """Checks of this kind that can be told of this car and were not yet."""
    told = {given.check for given in workup.record.given}
    known = workup.tables.check_number
    return [c for c in workup.book.checks.values() if c.intake == kind and c.name in known and c.name not in told]


def rows_of(workup: Workup, kind: str) -> list[StoryRow]:
    """Everything but `nothing of it`, over the checks of a kind."""
    return [
        StoryRow(check.name, outcome.name, check.title if len(check.outcomes) == 2 else outcome.text)
        for check in tellable(workup, kind)
        for outcome in check.outcomes[1:]
    ]


WORDS_BETWEEN = 2  # words that may stand between two of a phrase
WORDS_BEFORE = 3  # words before a phrase in which it may be denied
STEM_OF_WORD = 4  # letters of a word from which its beginning will do
DENIED = frozenset(("no", "not", "never", "without", "nor", "neither", "hardly"))  # before a phrase
SAID_TO_BE_FINE = frozenset(
    ("fine", "well", "good", "ok", "okay", "normal", "perfect", "problem-free")
)  # anywhere beside it
CLAUSES = re.compile(r"[.;,:!?()\n]+|\b(?:but|until|except|unless)\b")


def heard(workup: Workup, text: str) -> list[StoryRow]:
    """What a complaint says by the rules' own words (`owners say`) and was not told yet, in the order of the rules.

    Each is to be confirmed. What is denied ("no smoke", "fine when cold") is not heard; a longer phrase is heard
    instead of one within it.
    """
    told = {given.check for given in workup.record.given}
    clauses = [re.findall(r"[a-z0-9'-]+", clause) for clause in CLAUSES.split(text.lower().replace("\u2019", "'"))]
    found: list[StoryRow] = []
    covered: set[str] = set()
    for check in workup.book.checks.values():
        if not check.owners_say or check.name not in workup.tables.check_number or check.name in told | covered:
            continue
        names = _heard_outcomes(check, clauses)
        found += [_row(check, outcome) for outcome in check.outcomes if outcome.name in names]
        covered |= set(check.stands_for) if names else set()
    return [row for row in found if row.check not in covered]


def _heard_outcomes(check: Check, clauses: Sequence[Sequence[str]]) -> set[str]:
    spans = [
        (number, *span, outcome)
        for number, clause in enumerate(clauses)
        for outcome, phrases in check.owners_say.items()
        for phrase in phrases
        if (span := _span(phrase.lower().split(), clause)) is not None
    ]
    return {
        outcome
        for number, start, end, outcome in spans
        if not any(n == number and s <= start and end <= e and e - s > end - start for n, s, e, _ in spans)
    }


def _span(phrase: Sequence[str], clause: Sequence[str]) -> tuple[int, int] | None:
    """Where a phrase stands in a clause, first and last word; None where it does not, or is denied there."""
    if not SAID_TO_BE_FINE.isdisjoint(clause) and SAID_TO_BE_FINE.isdisjoint(phrase):
        return None
    for start, word in enumerate(clause):
        at = start if _is(phrase[0], word) else -1
        for wanted in phrase[1:]:
            after = range(at + 1, min(at + 2 + WORDS_BETWEEN, len(clause))) if at >= 0 else ()
            at = next((n for n in after if _is(wanted, clause[n])), -1)
        before = clause[max(0, start - WORDS_BEFORE) : start]
        if at >= 0 and not any(w in DENIED or w.endswith("n't") for w in before):
            return start, at
    return None


def _is(wanted: str, word: str) -> bool:
    return word == wanted or (len(wanted) >= STEM_OF_WORD and word.startswith(wanted))


def _row(check: Check, outcome: Outcome) -> StoryRow:
    return StoryRow(check.name, outcome.name, f"{check.title}: {outcome.text}")


def tell_heard(workup: Workup, rows: Sequence[StoryRow]) -> list[Event]:
    """What was heard and is right, in one step; several outcomes of one check share the weight."""
    checks = [workup.book.checks[name] for name in dict.fromkeys(row.check for row in rows)]
    return _tell(workup, checks, rows, rest_is_none=False)


def read_work(line: str, count: int) -> WorkLine:
    """`2 5, other workshop, 6 weeks, after`: numbers first, then who and when, and whether it began before or after.

    Raises Refused.
    """
    numbers, _, rest = line.strip().partition(",")
    if not re.fullmatch(r"[\d ]+", numbers):
        raise Refused(
            f'"{numbers.strip()[:24]}" is no number of the list', "such as: 2 5, other workshop, 6 weeks, after"
        )
    chosen = tuple(dict.fromkeys(int(n[:6]) for n in numbers.split()))
    if any(n > count for n in chosen) or (0 in chosen and len(chosen) > 1):
        raise Refused(f"{numbers.strip()[:24]} is not on the list", f"1 to {count}, or 0 alone for none of them")
    words = re.findall(r"[a-z]+", rest.lower())
    said = [BEGAN_BEFORE[word] for word in words if word in BEGAN_BEFORE]
    if len(set(said)) > 1:
        raise Refused("it cannot have begun both before and after", "end with one of the two: before, after")
    return WorkLine(() if chosen == (0,) else chosen, bool(said) and said[0], rest.strip())


def tell_work(workup: Workup, line: WorkLine) -> list[Event]:
    """Work done lately. What was done when the complaint was there already did not bring it in: it counts as none."""
    rows = rows_of(workup, "work")
    chosen = [] if line.began_before else [rows[n - 1] for n in line.numbers]
    events = _tell(workup, tellable(workup, "work"), chosen, rest_is_none=True)
    done = [rows[n - 1].text for n in line.numbers]
    note = "; ".join(filter(None, ("work lately: " + ", ".join(done) if done else "", line.rest)))
    return [*events, *acts.note(workup, note)] if done else events


def tell_pattern(workup: Workup, check: Check, numbers: Sequence[int]) -> list[Event]:
    """When it happens; several answers share the weight, as each was so some of the times."""
    rows = [StoryRow(check.name, o.name, o.text) for o in check.outcomes]
    return _tell(workup, [check], [rows[n - 1] for n in numbers], rest_is_none=False)


def tell_also(workup: Workup, numbers: Sequence[int]) -> list[Event]:
    """What else it hangs on; none chosen: on none of these."""
    rows = rows_of(workup, "also")
    return _tell(workup, tellable(workup, "also"), [rows[n - 1] for n in numbers], rest_is_none=not numbers)


def no_frame(workup: Workup, shown: Collection[str] = ()) -> list[Event]:
    """No freeze frame is stored, or one that shows this and no more: nothing else is asked about one. shown: checks."""
    told = {*shown, *(given.check for given in workup.record.given)}
    open_ones = (check.name for check in readings.frame_checks(workup) if check.name not in told)
    return [event for name in open_ones for event in acts.pass_over(workup, name, "not-now")]


def _tell(workup: Workup, checks: Sequence[Check], chosen: Sequence[StoryRow], rest_is_none: bool) -> list[Event]:
    events: list[Event] = []
    for check in checks:
        mine = [row.outcome for row in chosen if row.check == check.name]
        if mine or rest_is_none:
            value: str | Mapping[str, float] = _shared(mine) if len(mine) > 1 else (mine or [check.outcomes[0].name])[0]
            events += acts.answer(workup, check.name, {0: value})
    return events


def _shared(outcomes: Sequence[str]) -> dict[str, float]:
    return {name: 1.0 / len(outcomes) for name in outcomes}
