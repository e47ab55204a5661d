"""What closed cases say about the numbers of the rules: counts added to what each number is worth.

In a case whose cause was found, its answers count as `inference.counting` says: towards what the rules say of them
under that cause, as far as it was showing, and towards `otherwise`, as far as it was quiet; and towards how often it
shows. What was found counts towards its share; how often the rules expected each fault on these vehicles counts
against it. Only cases in which something was found and cured count; what is not proven counts half.

Counts add up over cases, so that any case can be taken out again: that is what leave-one-out does.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import log2

from reasoner.casebook.shape import Case
from reasoner.history.overlay import ELSEWHERE, HERE, OTHERWISE, Learned, overlaid
from reasoner.history.trace import vehicle_of
from reasoner.inference.belief import by_fault
from reasoner.inference.counting import counts
from reasoner.inference.statistics import prior_worth, rate_after
from reasoner.network.tables import CheckTable
from reasoner.rulebook.model import Rulebook, Trail
from reasoner.session.chapters import Chapter, Found, Garage, closing, found_in
from reasoner.session.workup import Workup

UNPROVEN = 0.5  # what a case counts in which the cure was not proven. Judgement
LEAST_SCORED = 1e-12  # a probability no smaller than this is scored: work may have left none
CASES_NAMED = 12  # cases that are named behind a number; of more, only how many there are

Amounts = tuple[float, ...]
RuleNumbers = tuple[Amounts, float]  # a distribution of the rules, and how many cases it is worth


@dataclass(frozen=True)
class Lesson:
    """What one case says, already multiplied by what it counts. counts: by number of the rules, cases of each outcome.

    said: what the rules say there, and how many cases that is worth. came, expected: by share, how often the fault was
    found and how often the rules expected it. why: where the case says nothing, the reason.
    """

    case: str
    weight: float
    counts: Mapping[Trail, tuple[float, ...]] = field(default_factory=dict)
    said: Mapping[Trail, RuleNumbers] = field(default_factory=dict)
    came: Mapping[Trail, float] = field(default_factory=dict)
    expected: Mapping[Trail, float] = field(default_factory=dict)
    why: str = ""


def lesson(case: Case, garage: Garage) -> Lesson:
    """What a case says about the rules of a garage. Raises CasebookError."""
    name = case.path.stem
    if closing(case.events) is None:
        return Lesson(name, 0.0, why="not closed")
    vehicle = vehicle_of(case)
    chapters = garage.chapters(vehicle, case.events)
    founds = found_in(chapters)
    usable = [found for found in founds if found.cured]
    if not usable:
        return Lesson(name, 0.0, why="nothing was found" if not founds else "what was found was not cured")
    book, injection = garage.book, vehicle.properties["injection"]
    sums = _Counts()
    came: dict[Trail, float] = {}
    expected: dict[Trail, float] = {}
    for found in usable:
        weight = 1.0 if found.proven else UNPROVEN
        for number in found.chapters if found.known else ():
            _count(chapters[number], found, weight, sums)
        if 0 in found.chapters:
            fault = found.fault if found.known else _spare(book)
            came[_share(fault, injection)] = weight
            tables = chapters[0].workup.ruled
            for each, chance in zip(tables.faults, by_fault(tables, tables.prior), strict=True):
                expected[_share(each, injection)] = weight * float(chance)
            pairs = book.faults[fault].pairs
            if found.known and pairs:
                both = float(found.where.startswith("cylinders"))
                said = (pairs.value, 1.0 - pairs.value), pairs.cases or book.faults[fault].origin.weight
                sums.add(("faults", fault, "pairs"), said, (both, 1.0 - both), weight)
    most = max(1.0 if f.proven else UNPROVEN for f in usable)
    return Lesson(name, most, sums.sums, sums.said, came, expected)


def _share(fault: str, injection: str) -> Trail:
    return "faults", fault, "share", injection


def _spare(book: Rulebook) -> str:
    return next(fault.name for fault in book.faults.values() if fault.anything_else)


class _Counts:
    """Counts by number of the rules, and what the rules say there."""

    def __init__(self) -> None:
        self.sums: dict[Trail, Amounts] = {}
        self.said: dict[Trail, RuleNumbers] = {}

    def add(self, key: Trail, said: RuleNumbers, more: Amounts, weight: float) -> None:
        self.sums[key] = _added(self.sums.get(key), more, weight)
        self.said.setdefault(key, said)


def _added(sums: Amounts | None, more: Amounts, weight: float = 1.0) -> Amounts:
    if sums is None:
        return tuple(weight * n for n in more)
    return tuple(s + weight * n for s, n in zip(sums, more, strict=True))


def _count(chapter: Chapter, found: Found, weight: float, sums: _Counts) -> None:
    """The counts of one chapter, under the cause that was found."""
    workup = chapter.workup
    tables = workup.ruled
    cause = tables.cause_number[found.cause]
    told = counts(tables, workup.spells, cause)
    keys = {check: row_keys(workup.book, tables.checks[check]) for check in {check for check, _ in told.rows}}
    for (check, row), cases in told.rows.items():
        key, table = keys[check][row], tables.checks[check]
        if key is not None:
            sums.add(key, (tuple(table.rows[row].tolist()), table.origins[row].weight), cases, weight)
    for condition, spells in told.shows.items():
        value = float(tables.shows[cause, condition])
        worth_now = tables.shows_origins[int(tables.shows_row[cause, condition])].weight
        shows = ("faults", found.fault, "shows", tables.conditions[condition])
        sums.add(shows, ((value, 1.0 - value), worth_now), spells, weight)


def row_keys(book: Rulebook, table: CheckTable) -> list[Trail | None]:
    """What in the rules each row of a check's table comes from; None for what is worked out from the others."""
    check = book.checks[table.name]
    subject_of = {id(statement.origin): subject for subject, statement in check.given.items()}
    keys: list[Trail | None] = [("checks", table.name, OTHERWISE)]
    for origin in table.origins[1:]:
        subject = subject_of.get(id(origin))
        if subject is None:
            keys.append(None)
            continue
        here = ("checks", table.name, "given", subject, HERE)
        keys.append(here if here not in keys else (*here[:4], ELSEWHERE))
    return keys


# ---- all cases together ----------------------------------------------------------------------------------------------


@dataclass
class Total:
    """Sums over cases. behind: for each number the first cases it comes from (of a share: in which it was found);
    cases: how many there are (of a share: in which it could have been found). weights: the cases that count, and how
    much."""

    counts: dict[Trail, Amounts] = field(default_factory=dict)
    said: dict[Trail, RuleNumbers] = field(default_factory=dict)
    came: dict[Trail, float] = field(default_factory=dict)
    expected: dict[Trail, float] = field(default_factory=dict)
    behind: dict[Trail, list[str]] = field(default_factory=dict)
    cases: Counter[Trail] = field(default_factory=Counter)
    weights: dict[str, float] = field(default_factory=dict)

    def add(self, one: Lesson) -> None:
        self._sum(one, 1.0)
        self.weights[one.case] = one.weight
        self.cases.update((*one.counts, *one.expected))
        for key in (*one.counts, *one.came):
            named = self.behind.setdefault(key, [])
            if len(named) < CASES_NAMED:
                named.append(one.case if one.weight == 1.0 else f"{one.case} (half)")

    def without(self, one: Lesson) -> Total:
        """The same sums with one case taken out."""
        rest = Total(dict(self.counts), self.said, dict(self.came), dict(self.expected))
        rest._sum(one, -1.0)
        return rest

    def _sum(self, one: Lesson, sign: float) -> None:
        for key, more in one.counts.items():
            self.counts[key] = _added(self.counts.get(key), more, sign)
            self.said.setdefault(key, one.said[key])
        for sums, values in ((self.came, one.came), (self.expected, one.expected)):
            for share, value in values.items():
                sums[share] = sums.get(share, 0.0) + sign * value


def learn(book: Rulebook, total: Total, least: float = 0.0) -> tuple[Learned, ...]:
    """The numbers that the cases move by at least so much (0.01: one point in a hundred, or a hundredth of a share)."""
    found = [_learned(book, key, counts, total) for key, counts in total.counts.items() if sum(counts) > SEEN_FROM]
    found += [_learned_share(book, key, total) for key, seen in total.expected.items() if seen > SEEN_FROM]
    order = {trail: number for number, trail in enumerate(_in_order(book))}
    moved = [one for one in found if one.moved >= max(least, 1e-6)]
    return tuple(sorted(moved, key=lambda one: (order[one.trail[:2]], one.trail)))


SEEN_FROM = 1e-6  # cases; what is left of a sum from which everything was taken again


def _in_order(book: Rulebook) -> Iterator[Trail]:
    yield from (("faults", name) for name in book.faults)
    yield from (("checks", name) for name in book.checks)


def _learned(book: Rulebook, key: Trail, counts: Amounts, total: Total) -> Learned:
    before, weight = total.said[key]
    if key[0] == "checks":
        names = tuple(outcome.name for outcome in book.checks[key[1]].outcomes)
    else:
        names = ("shows", "quiet") if key[2] == "shows" else ("both", "one")
    seen = tuple(max(0.0, n) for n in counts)  # a hair below 0 where a case was taken out
    after = _rounded(prior_worth(before, weight).after(seen).mean, rest=0 if key[0] == "checks" else 1)
    behind, cases = tuple(total.behind.get(key, ())), total.cases[key]
    return Learned(key, names, before, after, weight, seen, behind, cases)


def _learned_share(book: Rulebook, key: Trail, total: Total) -> Learned:
    """Of a fault that these vehicles can have: its share is more than 0."""
    fault = book.faults[key[1]]
    before, came, expected = fault.share[key[3]], max(0.0, total.came.get(key, 0.0)), total.expected[key]
    after = float(f"{rate_after(before, fault.origin.weight, came, expected):.4g}")
    behind, cases = tuple(total.behind.get(key, ())), total.cases[key]
    return Learned(key, (key[3],), (before,), (after,), fault.origin.weight, (came, expected), behind, cases)


def _rounded(values: Sequence[float], rest: int) -> tuple[float, ...]:
    """As they are written: to a tenth of a per cent, under one per cent to a hundredth; the one numbered `rest` takes
    what is left."""
    written = [round(v, 3 if v >= 0.01 else 4) for v in values]
    written[rest] = max(0.0, 1.0 - sum(v for i, v in enumerate(written) if i != rest))
    return tuple(written)


# ---- does it help ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Helped:
    """Bits of log2 P(what was found) in one case, before, and after with what was learned from all the others."""

    case: str
    before: float
    after: float


def held_out(case: Case, garage: Garage, total: Total, own: Lesson, least: float = 0.0) -> Helped | None:
    """A case under the rules, and under what is learned without it. None where it says nothing."""
    chapters = garage.chapters(vehicle_of(case), case.events)
    found = next((f for f in found_in(chapters) if f.known and f.cured), None)
    if found is None:
        return None
    before = chapters[found.chapters[-1]].workup
    book = overlaid(garage.book, learn(garage.book, total.without(own), least))
    after = Garage(book, most=1).chapters(before.vehicle, case.events)[found.chapters[-1]].workup
    return Helped(case.path.stem, log_score(before, found.cause), log_score(after, found.cause))


def log_score(workup: Workup, cause: str) -> float:
    """log2 of the probability of a cause, after all answers: 0 is certain and right; the higher the better."""
    return log2(max(LEAST_SCORED, float(workup.belief.probability[workup.tables.cause_number[cause]])))
