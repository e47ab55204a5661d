"""When an intermittent fault may count as gone: how many clean provocations it takes, and what they say.

No sign of it in n provocations, each of which would show it with chance p, has the probability (1 - p) ** n while it is
still there. n >= ln(1 - C) / ln(1 - p) makes that 1 - C or less. What none in n says about p is the rule of three: with
95 % confidence p is at most about 3 / n, exactly 1 - 0.05 ** (1 / n) (J. A. Hanley, A. Lippman-Hand, "If nothing goes
wrong, is everything all right?", JAMA 249:1743-1745, 1983). How often it used to show is itself known only so well, so
p is a Beta distribution here, and the chance that the fault is still there follows after each clean provocation.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import exp, lgamma

from reasoner.casebook.trouble import Refused
from reasoner.inference.counting import seen_showing
from reasoner.measure.finding import percent
from reasoner.mistake import shorten
from reasoner.repair.followup import mended
from reasoner.repair.jobs import CLOSING_STATES, TryMade, Work
from reasoner.repair.standing import Answer, Standing, named_conditions
from reasoner.repair.unexplained import unexplained
from reasoner.rulebook.model import Afterwards, Check, Proof, Rulebook, Source


def upper_bound(clean: int, confidence: float = 0.95) -> float:
    """The largest chance of showing that none in `clean` provocations still allows, with this confidence."""
    return float(1 - (1 - confidence) ** (1 / clean))


@dataclass(frozen=True)
class Shows:
    """How often a fault shows in a provocation: Beta(showed, quiet), in observed and supposed cases."""

    showed: float
    quiet: float

    @property
    def mean(self) -> float:
        return self.showed / (self.showed + self.quiet)

    def all_clean(self, times: int) -> float:
        """Chance of no sign in so many provocations, while the fault is still there."""
        a, b, n = self.showed, self.quiet, times
        return exp(lgamma(b + n) - lgamma(b) + lgamma(a + b) - lgamma(a + b + n))


def shows_from(frequency: float, weight: float, showed: float = 0.0, quiet: float = 0.0) -> Shows:
    """How often it shows: a frequency of the rules, worth `weight` cases, and what was seen before the repair."""
    return Shows(frequency * weight + showed, (1 - frequency) * weight + quiet)


def still_there(shows: Shows, clean: int, before: float) -> float:
    """Chance that the fault is still there after so many clean provocations. before: the chance with none."""
    left = before * shows.all_clean(clean)
    return left / (left + 1 - before)


def provocations_needed(shows: Shows, numbers: Afterwards) -> int | None:
    """Clean provocations until the chance that it is still there is small enough; None where nobody does so many."""
    most = int(numbers.most_provocations)
    enough = (n for n in range(most + 1) if still_there(shows, n, numbers.proof_begins_at) < numbers.proof_below)
    return next(enough, None)


@dataclass(frozen=True)
class Provocation:
    """How to prove it in one condition. minutes, wait: of one provocation. needed: None where it cannot be reached."""

    condition: str
    shows: Shows
    needed: int | None
    minutes: float
    wait: float

    def effort(self, waiting_counts: float) -> float:
        """Minutes that all of them take; infinite where they are never enough."""
        one = self.minutes + waiting_counts * self.wait
        return float("inf") if self.needed is None else self.needed * one


def best_provocation(ways: list[Provocation], waiting_counts: float) -> Provocation | None:
    """The condition that proves it in the least time; where none can, the one in which it showed most."""
    return min(ways, key=lambda way: (way.effort(waiting_counts), -way.shows.mean), default=None)


# ---- what of it is still missing -------------------------------------------------------------------------------------


ONE_DRIVE, IN_A_ROW = "one drive", "in a row"
Drive = Mapping[str, float]  # name of a proof -> what this drive brought, in its unit


@dataclass(frozen=True)
class Tally:
    """One thing that is counted. have: so far (in one drive: in the best of them). missing: 0 where it is enough."""

    proof: Proof
    have: float

    @property
    def missing(self) -> float:
        return max(0.0, (self.proof.least or 0.0) - self.have)


def tally(proofs: Iterable[Proof], drives: Sequence[Drive]) -> tuple[Tally, ...]:
    """How far each count is. What counts in one drive must be met in the same drive by all of them together."""
    counted = [proof for proof in proofs if proof.least is not None]
    together = [proof for proof in counted if proof.counts == ONE_DRIVE]
    best = max(drives, key=lambda drive: _met(together, drive), default={})
    return tuple(Tally(p, best.get(p.name, 0.0) if p.counts == ONE_DRIVE else _added_up(p, drives)) for p in counted)


def _added_up(proof: Proof, drives: Sequence[Drive]) -> float:
    """Over all drives that say something of it; in a row: since the last one that says 0."""
    said = [drive[proof.name] for drive in drives if proof.name in drive]
    failed = max((n for n, count in enumerate(said) if not count), default=-1) if proof.counts == IN_A_ROW else -1
    return sum(said[failed + 1 :])


def _met(together: Sequence[Proof], drive: Drive) -> tuple[int, float]:
    """How good a drive was: how much of it was met, then how much of the rest."""
    parts = [min(1.0, drive.get(proof.name, 0.0) / proof.least) if proof.least else 1.0 for proof in together]
    return sum(part == 1.0 for part in parts), sum(parts)


# ---- the document ----------------------------------------------------------------------------------------------------


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
    """Clean provocations. title, how: of the condition. only: how each has to be made to count. shows: how often it
    used to show there; rule: who says so.

    needed: None where nobody does so many. clean: done so far; showed: it was seen again. course: the chance that it is
    still there, after none, one, two ... clean ones. bound: how often it can still show at most, at 95 %. otherwise:
    clean tries told that do not count, since nobody said that they were made so. once: one is wanted, since the owner
    said that it happens here, and proves nothing of what was mended. tried: the tries here so far, clean or not,
    counted or not.
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
    only: tuple[str, ...] = ()
    otherwise: int = 0
    once: bool = False
    tried: tuple[TryMade, ...] = ()


@dataclass(frozen=True)
class ProofDoc:
    """also: what earlier rounds of work still have to prove, in other conditions. state: what the case could be closed
    as now. missing: what is still missing for `proven`, in words. sources: the
    bibliography of what is cited, with how each was read. unlike: checks that were answered in two ways since the work,
    each with both. cleared_when: the day and the mileage. empty_since_clearing: an empty list of codes
    was read after clearing with no drive between, which says nothing."""

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
    unlike: tuple[str, ...] = ()
    cleared_when: str = ""
    empty_since_clearing: bool = False
    type: str = "proof"


def proof_document(
    workup: Standing, before: Standing, work: Work, case: str = "", earlier: Sequence[tuple[Standing, Work]] = ()
) -> ProofDoc:
    """workup: the case after the work; before: the case when the work was done. earlier: the rounds before that one,
    each with the case at that time."""
    book = workup.book
    plans = _plans(before, work, earlier)
    provocation, also = (plans[0] if plans else None), plans[1:]
    read = {
        state
        for case in (before, workup, *(then for then, _ in earlier))
        for _, states in case.record.codes
        for state in states
    }
    apply = [
        p
        for p in book.proofs.values()
        if not p.never and p.cleared in (None, work.cleared) and (not p.where_read or p.where_read in read)
    ]
    seen = _seen(workup, work, apply, [left.check for left in unexplained(before, _mended_by(before, work))])
    counts = tuple(_count(workup, t.proof, t.have) for t in tally(apply, work.drives))
    sound, again = _sound(workup), provocation is not None and provocation.showed
    missing = tuple(_missing(plans, seen, counts))
    if sound < SOUND_FROM:
        missing = (f"what was answered since the work leaves {percent(sound)} for nothing being wrong", *missing)
    missing = (SHOWED,) if again else missing
    return ProofDoc(
        case=case,
        title="; ".join(dict.fromkeys(book.repairs[job.repair].title for job in work.jobs)),
        provocation=provocation,
        seen=seen,
        counts=counts,
        never=tuple((p.title, p.say) for p in book.proofs.values() if p.never),
        sources=tuple(f"{s.name}: {s.cite} ({SOURCE_AS_READ.get(s.seen, s.seen)})" for s in _cited(workup.book)),
        cleared=work.cleared,
        cleared_when=work.cleared_when,
        empty_since_clearing=workup.record.empty_since_clearing,
        also=tuple(also),
        unlike=tuple(_unlike_each_other(workup)),
        state=CLOSING_STATES[2] if again or sound < SOUND_FROM else CLOSING_STATES[1] if missing else CLOSING_STATES[0],
        missing=missing,
    )


def may_close(found: ProofDoc, state: str) -> None:
    """Raises Refused where a case cannot end so: proven, with something missing."""
    if state == CLOSING_STATES[0] and found.missing:
        first, *more = found.missing
        rest = "1 thing more is missing" if len(more) == 1 else f"{len(more)} things more are missing" if more else ""
        raise Refused(f"not proven yet: {first}", rest)


SOUND_FROM = 0.5  # chance that nothing is wrong, below which it is not cured: more likely than not; judgement
SHOWED_FROM = 0.5  # chance from which a spell is one in which it showed; judgement
SOURCE_AS_READ = {
    "text": "read in full",
    "abstract": "abstract read",
    "secondary": "quoted elsewhere",
}  # how a source was read
LEFT = "Not right before the work, and the fault that was mended does not explain it."
SHOWED = "it has shown again since the work: find out why before anything is counted"


# ---- clean provocations ----------------------------------------------------------------------------------------------


def ways(before: Standing, work: Work) -> list[Provocation]:
    """Every condition the fault could be provoked in, with how often it used to show there and what it takes."""
    cause = suspect(before, work)
    if cause is None:
        return []
    book, tables, numbers = before.book, before.tables, before.book.settings.afterwards
    spells = [(k, float(showing[cause])) for k, showing in seen_showing(tables, before.spells)]
    named, found = named_conditions(book, before.record.given), []
    for k, name in enumerate(tables.conditions):
        condition = book.conditions[name]
        if not condition.engine_runs or name in before.record.avoided:
            continue
        own = [p for at, p in spells if at == k] + [1.0] * (name in named)  # once at least it showed there
        weight = tables.shows_origins[int(tables.shows_row[cause, k])].weight
        shows = shows_from(float(tables.shows[cause, k]), weight, sum(own), len(own) - sum(own))
        again = tables.reach[k, k]
        found.append(Provocation(name, shows, provocations_needed(shows, numbers), float(again[0]), float(again[1])))
    return found


def suspect(before: Standing, work: Work) -> int | None:
    """The likeliest of the causes that the work mends: what has to be shown to be gone."""
    chances = before.belief.probability.tolist()
    return max(_mended_by(before, work), key=lambda number: chances[number], default=None)


def _mended_by(before: Standing, work: Work) -> list[int]:
    """The single causes that the work mends, now and then at least."""
    return [
        number
        for number, cause in enumerate(before.tables.causes)
        if not (cause.members or before.book.faults[cause.fault].nothing_wrong)
        and mended(before.book, cause, work.jobs) > 0
    ]


def _plans(before: Standing, work: Work, earlier: Sequence[tuple[Standing, Work]]) -> list[ProvocationDoc]:
    """What has to be shown to be gone, in each condition once: what this work was done for; one clean try wherever else
    the owner said that it happens, as there may be a second fault; and what earlier work is still believed to have
    mended. A repair of a slip in the work does not prove the first fault gone."""
    found: dict[str, ProvocationDoc] = {}
    may = ways(before, work)
    main = _best_way(before, work, may)
    if main is not None:
        found[main.condition] = _plan(before, work, main)
        for way in may:
            if way.condition in _said_of_it(before) - found.keys() and way.needed is not None:
                found[way.condition] = replace(_plan(before, work, way), needed=1, once=True)
    after = [*(workup for workup, _ in earlier), before][1:]
    still = [pair for pair, then in zip(earlier, after, strict=True) if _not_cured(then) < SOUND_FROM]
    for then, earlier_work in still:
        done = replace(earlier_work, provoked=work.provoked)
        best = _best_way(then, done, ways(then, done))
        plan = None if best is None else _plan(then, done, best)
        if plan and (plan.condition not in found or _many(plan) > _many(found[plan.condition])):
            found[plan.condition] = plan
    return list(found.values())


def _many(plan: ProvocationDoc) -> float:
    return float("inf") if plan.needed is None else plan.needed


def _not_cured(workup: Standing) -> float:
    """How likely what was there before the work still is, neither mended nor brought in by it."""
    faults = workup.book.faults
    own = (not (faults[c.fault].after_work or faults[c.fault].nothing_wrong) for c in workup.tables.causes)
    return float(sum(p for p, counts in zip(workup.belief.probability.tolist(), own, strict=True) if counts))


def _sound(workup: Standing) -> float:
    """How likely nothing is wrong, by what was answered since the work; 1 where these rules have no such cause."""
    own = [workup.book.faults[cause.fault].nothing_wrong for cause in workup.tables.causes]
    chances = zip(workup.belief.probability.tolist(), own, strict=True)
    return sum(p for p, counts in chances if counts) if any(own) else 1.0


def _best_way(before: Standing, work: Work, may: list[Provocation]) -> Provocation | None:
    """The one to use: of those in which it showed on this car, else of those in which a frame was frozen, else of all,
    the one already begun, else the one that takes the least time."""
    pointed = [
        [way for way in may if way.condition in names and way.needed is not None] for names in _pointed_to(before, work)
    ]
    found = next(filter(None, pointed), may)
    begun = _begun(work, {way.condition for way in found if way.needed is not None}, _said_of_it(before))
    best = next((way for way in found if way.condition == begun), None)
    return best or best_provocation(found, before.book.settings.waiting_counts)


def _plan(before: Standing, work: Work, way: Provocation) -> ProvocationDoc:
    """What has to be shown in one way, and how far that is."""
    book, numbers = before.book, before.book.settings.afterwards
    where = book.conditions[way.condition]
    only = _only(before, work)
    done = [each for each in work.provoked if each.condition == way.condition]
    quiet = all(each.clean for each in done)
    counted = [each for each in done if each.made_so or not only]
    clean = len(counted) if quiet else 0
    most = int(numbers.most_provocations)
    shown = range(max(clean, way.needed or min(most, 10)) + 1)
    return ProvocationDoc(
        condition=way.condition,
        title=where.title,
        how=where.bring_about,
        cautions=tuple(book.cautions[name].say for name in where.cautions),
        shows=way.shows.mean,
        rule=_rule(before, work, way.condition),
        needed=way.needed,
        most=most,
        clean=clean,
        showed=not all(each.clean for each in work.provoked),
        course=tuple(still_there(way.shows, n, numbers.proof_begins_at) for n in shown),
        still=still_there(way.shows, clean, numbers.proof_begins_at),
        bound=upper_bound(clean) if clean else None,
        minutes=way.minutes,
        waiting=way.wait,
        only=only,
        otherwise=len(done) - len(counted) if quiet else 0,
        tried=tuple(done),
    )


def _begun(work: Work, here: Collection[str], said: Collection[str]) -> str | None:
    """The condition of these that was begun with: the first one tried. Where the owner named several, one try in each
    is wanted whatever is proven by it, and only a second one in the same begins there."""
    tried = [each.condition for each in work.provoked if each.condition in here]
    wanted_once = len(set(said) & set(here)) > 1
    return next((name for name in tried if not (wanted_once and name in said) or tried.count(name) > 1), None)


def _only(before: Standing, work: Work) -> tuple[str, ...]:
    """How a clean try has to be made to count, by what the work was done for and by what was told: what shows in the
    damp only is quiet in dry weather, mended or not."""
    book, cause = before.book, suspect(before, work)
    fault = None if cause is None else before.tables.causes[cause].fault
    told = {g.check for g in before.record.given if g.check in book.checks and _unlike_sound(book.checks[g.check], g)}
    asked = (p for p in book.proofs.values() if fault in p.tries_of or not told.isdisjoint(p.tries_where))
    return tuple(proof.say for proof in asked)


def _unlike_sound(check: Check, given: Answer) -> bool:
    likeliest = (max(weights, key=lambda name: weights[name]) for weights in given.values.values())
    return any(name != check.outcomes[0].name for name in likeliest)


def _unlike_each_other(workup: Standing) -> Iterator[str]:
    """Checks of which one answer since the work is as on a sound car and another is not, in the same state or where the
    state does not matter: one may be a slip, and the last alone proves nothing."""
    tables, found = workup.tables, dict[tuple[int, int | None, int], list[int]]()
    for spell in workup.spells:
        for answer in spell.answers:
            state = None if tables.checks[answer.check].ever else spell.condition
            for place, weights in enumerate(answer.weights):
                if weights is not None:
                    found.setdefault((answer.check, state, place), []).append(weights.index(max(weights)))
    for (number, _, _), seen in found.items():
        if 0 in seen and len(set(seen)) > 1:
            check = workup.book.checks[tables.checks[number].name]
            yield f"{check.title}: {' / '.join(check.outcomes[which].text for which in dict.fromkeys(seen))}"


def _pointed_to(before: Standing, work: Work) -> tuple[frozenset[str], frozenset[str]]:
    """Conditions in which it showed on this car, by what was seen and told, and those in which a frame was frozen: it
    has to be shown to be gone there, whatever the rules say of other cars. The frame is from when the ECU gave up,
    which may be in another condition than the one in which it begins."""
    tables, cause = before.tables, suspect(before, work)
    showed = seen_showing(tables, before.spells) if cause is not None else []
    seen = {tables.conditions[k] for k, showing in showed if float(showing[cause]) >= SHOWED_FROM}
    return _said_of_it(before) | seen, named_conditions(before.book, before.record.given)


def _said_of_it(before: Standing) -> frozenset[str]:
    """Conditions in which it happens, as the owner said."""
    told = (g for g in before.record.given if g.check in before.book.checks)
    return named_conditions(before.book, [g for g in told if before.book.checks[g.check].kind == "told"])


def _rule(before: Standing, work: Work, condition: str) -> str:
    cause = suspect(before, work)
    if cause is None:
        return ""
    tables = before.tables
    origin = tables.shows_origins[int(tables.shows_row[cause, tables.condition_number[condition]])]
    return f"{origin.place} ({origin.source})"


# ---- what must be seen, what is counted ------------------------------------------------------------------------------


def _seen(workup: Standing, work: Work, apply: Iterable[Proof], left: Iterable[str]) -> tuple[SeenDoc, ...]:
    """What holds for every repair, then the repair's own proof, then what was not right before and is not explained by
    what the work mends (left: its checks); each check once, as last answered since the work."""
    book = workup.book
    wanted: dict[str, tuple[str, str]] = {}
    for proof in apply:
        for number, name in enumerate(proof.shown_by):
            wanted.setdefault(name, ("" if number else proof.say, _source(workup.book, proof)))
    for job in work.jobs:
        for name in book.repairs[job.repair].proof:
            wanted.setdefault(name, (shorten(book.checks[name].ask, 200), ""))
    for name in left:
        wanted.setdefault(name, (f"{LEFT} {shorten(book.checks[name].ask, 160)}", ""))
    here = [book.checks[name] for name in wanted if name in workup.tables.check_number]
    return tuple(SeenDoc(check.title, *wanted[check.name], _state(workup, check)) for check in here)


def _source(book: Rulebook, proof: Proof) -> str:
    """Who says so, and whether that was read or is from memory."""
    source = book.sources.get(proof.origin.source)
    if source is None:
        return {"practice": "common practice, no source"}.get(proof.origin.source, proof.origin.source)
    return f"{source.name}{', from memory' if source.seen == 'from memory' else ''}"


def _cited(book: Rulebook) -> list[Source]:
    names = dict.fromkeys(proof.origin.source for proof in book.proofs.values())
    return [book.sources[name] for name in names if name in book.sources]


def _state(workup: Standing, check: Check) -> str:
    """How the last answer to a check stands: as on a sound car at every place, or not."""
    given = [g for g in workup.record.given if g.check == check.name]
    if check.codes and workup.record.codes_complete:
        return "not right" if workup.record.codes else "seen"
    if not given:
        return "no tool" if set(check.needs) & workup.record.lacking else "missing"
    return "not right" if _unlike_sound(check, given[-1]) else "seen"


def _count(workup: Standing, proof: Proof, have: float) -> CountDoc:
    together, source = proof.counts == ONE_DRIVE, _source(workup.book, proof)
    unit = re.sub(r"^(\w{3,})s\b", r"\1", proof.unit) if proof.least == 1 else proof.unit  # of 1 drive, of 2 drives
    return CountDoc(proof.name, proof.title, proof.say, source, have, proof.least or 0.0, unit, together)


def _missing(plans: Sequence[ProvocationDoc], seen: Sequence[SeenDoc], counts: Sequence[CountDoc]) -> Iterable[str]:
    """What is still missing for proven, in words."""
    for provocation in plans:
        if provocation.needed is None:
            yield (
                f"it showed too seldom ({percent(provocation.shows)} of the times, {provocation.title}) for "
                f"{provocation.most} clean ones to prove it gone; say so, and agree what happens when it comes back"
            )
        elif provocation.clean < provocation.needed:
            each = [re.split(r"[:.](?:\s|$)", text, maxsplit=1)[0] for text in provocation.only]
            so = ", each so: " + " and ".join(text[:1].lower() + text[1:] for text in each) if each else ""
            yield f"{provocation.title}: {provocation.needed - provocation.clean} more without a sign of it{so}"
    yield from (
        f"{item.title}: {'not looked at yet' if item.state == 'missing' else 'not as it should be'}"
        for item in seen
        if item.state in ("missing", "not right")
    )
    for count in counts:
        if count.missing:
            yield f"{count.title}: {count.have:g} of {count.least:g} {count.unit} so far"
