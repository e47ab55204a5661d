"""The plan of proof and where it stands: what must be seen, how often, in which condition, what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from reasoner.casebook.events import Event
from reasoner.inference.seen_showing import seen_showing
from reasoner.repair.followup import mended
from reasoner.repair.proof import (
    ONE_DRIVE,
    Provocation,
    best_provocation,
    needed,
    shows_from,
    still_there,
    tally,
    upper_bound,
)
from reasoner.rulebook.model import Check, Proof, Source
from reasoner.session.acts import Refused
from reasoner.session.afterdoc import CountDoc, ProofDoc, ProvocationDoc, SeenDoc
from reasoner.session.plain import shortened
from reasoner.session.repairing import STATES, Work, finished_rounds, rounds
from reasoner.session.words import percent
from reasoner.session.workup import Workup


def document(
    workup: Workup, before: Workup, work: Work, case: str = "", earlier: Sequence[tuple[Workup, Work]] = ()
) -> ProofDoc:
    """workup: the case after the work; before: as it stood when the work was done. earlier: the rounds before that one,
    each with the case as it stood then."""
    book = workup.book
    plans = _plans(before, work, earlier)
    provocation, also = (plans[0] if plans else None), plans[1:]
    apply = [p for p in book.proofs.values() if not p.never and p.cleared in (None, work.cleared)]
    seen = _seen(workup, work, apply)
    counts = tuple(_count(workup, t.proof, t.have) for t in tally(apply, work.drives))
    sound, again = _sound(workup), provocation is not None and provocation.showed
    missing = tuple(_missing(plans, seen, counts))
    if sound < HALF:
        missing = (f"what was answered since the work leaves {percent(sound)} for nothing being wrong", *missing)
    missing = (SHOWED,) if again else missing
    return ProofDoc(
        case=case,
        title="; ".join(dict.fromkeys(book.repairs[job.repair].title for job in work.jobs)),
        provocation=provocation,
        seen=seen,
        counts=counts,
        never=tuple((p.title, p.say) for p in book.proofs.values() if p.never),
        sources=tuple(f"{s.name}: {s.cite} ({s.seen})" for s in _cited(workup)),
        cleared=work.cleared,
        also=tuple(also),
        state=STATES[2] if again or sound < HALF else STATES[1] if missing else STATES[0],
        missing=missing,
    )


def standing_now(workup: Workup, events: Sequence[Event], case: str = "") -> ProofDoc:
    """The plan for the last round of work. events: all of the case. Raises Refused where no work is finished."""
    done = rounds(workup.book, events)
    if not done or done[-1].finished is None:
        raise Refused("there is no finished work to prove", "say first that the work is done")
    *earlier, (before, work) = finished_rounds(workup.book, workup.vehicle, events)
    return document(workup, before, work, case, earlier)


def may_close(found: ProofDoc, state: str) -> None:
    """Raises Refused where a case cannot end so: proven, with something missing."""
    if state == STATES[0] and found.missing:
        raise Refused(f"not proven yet: {found.missing[0]}", f"{len(found.missing)} things are missing")


HALF = 0.5
SHOWED = "it has shown again since the work: find out why before anything is counted"


# ---- clean provocations ----------------------------------------------------------------------------------------------


def ways(before: Workup, work: Work) -> list[Provocation]:
    """Every condition the fault could be provoked in, with how often it used to show there and what it takes."""
    cause = suspect(before, work)
    if cause is None:
        return []
    book, tables, numbers = before.book, before.tables, before.book.settings.afterwards
    spells = [(k, float(showing[cause])) for k, showing in seen_showing(tables, before.spells)]
    found = []
    for k, name in enumerate(tables.conditions):
        condition = book.conditions[name]
        if not condition.engine_runs or name in before.record.avoided:
            continue
        own = [p for at, p in spells if at == k]
        weight = tables.shows_origins[int(tables.shows_row[cause, k])].weight
        shows = shows_from(float(tables.shows[cause, k]), weight, sum(own), len(own) - sum(own))
        again = tables.reach[k, k]
        found.append(Provocation(name, shows, needed(shows, numbers), float(again[0]), float(again[1])))
    return found


def suspect(before: Workup, work: Work) -> int | None:
    """The likeliest of the causes that the work mends: what has to be shown to be gone."""
    chances = before.belief.probability.tolist()
    own = [
        number
        for number, cause in enumerate(before.tables.causes)
        if not before.book.faults[cause.fault].nothing_wrong and mended(before.book, cause, work.jobs) > 0
    ]
    return max(own, key=lambda number: chances[number], default=None)


def _plans(before: Workup, work: Work, earlier: Sequence[tuple[Workup, Work]]) -> list[ProvocationDoc]:
    """What has to be shown to be gone, in each condition once: what this work was done for, and what earlier work is
    still believed to have mended. A repair of a slip in the work does not prove the first fault gone."""
    found: dict[str, ProvocationDoc] = {}
    after = [*(workup for workup, _ in earlier), before][1:]
    still = [pair for pair, then in zip(earlier, after, strict=True) if _not_cured(then) < HALF]
    for then, done in ((before, work), *still):
        plan = _provocation(then, replace(done, provoked=work.provoked))
        if plan and (plan.condition not in found or _many(plan) > _many(found[plan.condition])):
            found[plan.condition] = plan
    return list(found.values())


def _many(plan: ProvocationDoc) -> float:
    return float("inf") if plan.needed is None else plan.needed


def _not_cured(workup: Workup) -> float:
    """How likely what was there before the work still is, neither mended nor brought in by it."""
    faults = workup.book.faults
    own = (not (faults[c.fault].after_work or faults[c.fault].nothing_wrong) for c in workup.tables.causes)
    return float(sum(p for p, counts in zip(workup.belief.probability.tolist(), own, strict=True) if counts))


def _sound(workup: Workup) -> float:
    """How likely nothing is wrong, by what was answered since the work; 1 where these rules have no such cause."""
    own = [workup.book.faults[cause.fault].nothing_wrong for cause in workup.tables.causes]
    chances = zip(workup.belief.probability.tolist(), own, strict=True)
    return sum(p for p, counts in chances if counts) if any(own) else 1.0


def _provocation(before: Workup, work: Work) -> ProvocationDoc | None:
    """The one to use: the one already begun, else the one that takes the least time."""
    book, numbers = before.book, before.book.settings.afterwards
    found = ways(before, work)
    here = {way.condition for way in found if way.needed is not None}
    begun = next((condition for condition, _ in work.provoked if condition in here), None)
    best = next((way for way in found if way.condition == begun), None)
    best = best or best_provocation(found, book.settings.waiting_counts)
    if best is None:
        return None
    condition = book.conditions[best.condition]
    done = [clean for name, clean in work.provoked if name == best.condition]
    clean = len(done) if all(done) else 0
    most = int(numbers.most_provocations)
    shown = range(max(clean, best.needed or min(most, 10)) + 1)
    return ProvocationDoc(
        condition=best.condition,
        title=condition.title,
        how=condition.bring_about,
        cautions=tuple(book.cautions[name].say for name in condition.cautions),
        shows=best.shows.mean,
        rule=_rule(before, work, best.condition),
        needed=best.needed,
        most=most,
        clean=clean,
        showed=not all(clean for _, clean in work.provoked),
        course=tuple(still_there(best.shows, n, numbers.proof_begins_at) for n in shown),
        still=still_there(best.shows, clean, numbers.proof_begins_at),
        bound=upper_bound(clean) if clean else None,
        minutes=best.minutes,
        waiting=best.wait,
    )


def _rule(before: Workup, work: Work, condition: str) -> str:
    cause = suspect(before, work)
    if cause is None:
        return ""
    tables = before.tables
    origin = tables.shows_origins[int(tables.shows_row[cause, tables.condition_number[condition]])]
    return f"{origin.place} ({origin.source})"


# ---- what must be seen, what is counted ------------------------------------------------------------------------------


def _seen(workup: Workup, work: Work, apply: Iterable[Proof]) -> tuple[SeenDoc, ...]:
    """What holds for every repair, then the repair's own proof; each check once, as last answered since the work."""
    book = workup.book
    wanted: dict[str, tuple[str, str]] = {}
    for proof in apply:
        for number, name in enumerate(proof.shown_by):
            wanted.setdefault(name, ("" if number else proof.say, _source(workup, proof)))
    for job in work.jobs:
        for name in book.repairs[job.repair].proof:
            wanted.setdefault(name, (shortened(book.checks[name].ask, 200), ""))
    here = [book.checks[name] for name in wanted if name in workup.tables.check_number]
    return tuple(SeenDoc(check.title, *wanted[check.name], _state(workup, check)) for check in here)


def _source(workup: Workup, proof: Proof) -> str:
    """Who says so, and whether that was read or is from memory."""
    source = workup.book.sources.get(proof.origin.source)
    if source is None:
        return {"practice": "common practice, no source"}.get(proof.origin.source, proof.origin.source)
    return f"{source.name}, {'from memory' if source.seen == 'from memory' else f'seen: {source.seen}'}"


def _cited(workup: Workup) -> list[Source]:
    names = dict.fromkeys(proof.origin.source for proof in workup.book.proofs.values())
    return [workup.book.sources[name] for name in names if name in workup.book.sources]


def _state(workup: Workup, check: Check) -> str:
    """How the last answer to a check stands: as on a sound car at every place, or not."""
    given = [g for g in workup.record.given if g.check == check.name]
    if check.codes and workup.record.codes_complete:
        return "not right" if workup.record.codes else "seen"
    if not given:
        return "no tool" if set(check.needs) & workup.record.lacking else "missing"
    likeliest = (max(weights, key=lambda name: weights[name]) for weights in given[-1].values.values())
    return "seen" if all(name == check.outcomes[0].name for name in likeliest) else "not right"


def _count(workup: Workup, proof: Proof, have: float) -> CountDoc:
    together, source = proof.counts == ONE_DRIVE, _source(workup, proof)
    return CountDoc(proof.name, proof.title, proof.say, source, have, proof.least or 0.0, proof.unit, together)


def _missing(plans: Sequence[ProvocationDoc], seen: Sequence[SeenDoc], counts: Sequence[CountDoc]) -> Iterable[str]:
    """What is still missing for proven, in words."""
    for provocation in plans:
        if provocation.needed is None:
            yield (
                f"it showed too seldom ({percent(provocation.shows)} of the times, {provocation.title}) for "
                f"{provocation.most} clean ones to prove it gone; say so, and agree what happens when it comes back"
            )
        elif provocation.clean < provocation.needed:
            yield f"{provocation.title}: {provocation.needed - provocation.clean} more without a sign of it"
    yield from (
        f"{item.title}: {'not looked at yet' if item.state == 'missing' else 'not as it should be'}"
        for item in seen
        if item.state in ("missing", "not right")
    )
    for count in counts:
        if count.missing:
            yield f"{count.title}: {count.have:g} of {count.least:g} {count.unit} so far"
