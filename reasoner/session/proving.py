"""The plan of proof and where it stands: what must be seen, how often, in which condition, what is missing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from reasoner.decide.followup import mended
from reasoner.decide.proof import Provocation, Shows, best_provocation, needed, shows_from, still_there, upper_bound
from reasoner.decide.tally import ONE_DRIVE, tally
from reasoner.inference.seen_showing import seen_showing
from reasoner.rulebook.model import Check, Proof
from reasoner.session.afterdoc import CountDoc, ProofDoc, ProvocationDoc, SeenDoc
from reasoner.session.plain import shortened
from reasoner.session.repairing import STATES, Work
from reasoner.session.words import percent
from reasoner.session.workup import Workup


def document(workup: Workup, before: Workup, work: Work, case: str = "") -> ProofDoc:
    """workup: the case after the work; before: as it stood when the work was done."""
    book = workup.book
    provocation = _provocation(before, work)
    apply = [p for p in book.proofs.values() if not p.never and p.cleared in (None, work.cleared)]
    seen = _seen(workup, work, apply)
    counts = tuple(_count(t.proof, t.have) for t in tally(apply, work.drives))
    missing = tuple(_missing(provocation, seen, counts))
    again = provocation is not None and provocation.showed
    return ProofDoc(
        case=case,
        title="; ".join(dict.fromkeys(book.repairs[job.repair].title for job in work.jobs)),
        provocation=provocation,
        seen=seen,
        counts=counts,
        never=tuple((p.title, p.say) for p in book.proofs.values() if p.never),
        cleared=work.cleared,
        state=STATES[2] if again else STATES[1] if missing else STATES[0],
        missing=missing,
    )


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


def _provocation(before: Workup, work: Work) -> ProvocationDoc | None:
    """The one to use: the one already begun, else the one that takes the least time."""
    book, numbers = before.book, before.book.settings.afterwards
    found = ways(before, work)
    begun = next((condition for condition, _ in work.provoked), None)
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
        still=_still(best.shows, clean, numbers.proof_begins_at),
        bound=upper_bound(clean) if clean else None,
        minutes=best.minutes,
        waiting=best.wait,
    )


def _still(shows: Shows, clean: int, before: float) -> float:
    return still_there(shows, clean, before)


def _rule(before: Workup, work: Work, condition: str) -> str:
    cause = suspect(before, work)
    if cause is None:
        return ""
    tables = before.tables
    origin = tables.shows_origins[int(tables.shows_row[cause, tables.condition_number[condition]])]
    return f"{origin.place} ({origin.source})"


# ---- what must be seen, what is counted ------------------------------------------------------------------------------


def _seen(workup: Workup, work: Work, apply: Iterable[Proof]) -> tuple[SeenDoc, ...]:
    """The repair's own proof, then what holds for every repair; each check once, as last answered since the work."""
    book = workup.book
    wanted: dict[str, str] = {}
    for proof in apply:
        for name in proof.shown_by:
            wanted.setdefault(name, proof.say)
    for job in work.jobs:
        for name in book.repairs[job.repair].proof:
            wanted.setdefault(name, "")
    here = [book.checks[name] for name in wanted if name in workup.tables.check_number]
    return tuple(
        SeenDoc(check.title, wanted[check.name] or shortened(check.ask, 200), _state(workup, check)) for check in here
    )


def _state(workup: Workup, check: Check) -> str:
    """How the last answer to a check stands: as on a sound car at every place, or not."""
    given = [g for g in workup.record.given if g.check == check.name]
    if check.codes and workup.record.codes_complete:
        return "not right" if workup.record.codes else "seen"
    if not given:
        return "no tool" if set(check.needs) & workup.record.lacking else "missing"
    likeliest = (max(weights, key=lambda name: weights[name]) for weights in given[-1].values.values())
    return "seen" if all(name == check.outcomes[0].name for name in likeliest) else "not right"


def _count(proof: Proof, have: float) -> CountDoc:
    return CountDoc(proof.name, proof.title, proof.say, have, proof.least or 0.0, proof.unit, proof.counts == ONE_DRIVE)


def _missing(provocation: ProvocationDoc | None, seen: Sequence[SeenDoc], counts: Sequence[CountDoc]) -> Iterable[str]:
    """What is still missing for proven, in words."""
    if provocation is not None:
        if provocation.needed is None:
            yield (
                f"it showed too seldom ({percent(provocation.shows)} of the times, {provocation.title}) for "
                f"{provocation.most} clean ones to prove it gone; say so, and agree what happens when it comes back"
            )
        elif provocation.clean < provocation.needed:
            yield f"{provocation.needed - provocation.clean} more without a sign: {provocation.title}"
    yield from (
        f"{item.title}: {'not looked at yet' if item.state == 'missing' else 'not as it should be'}"
        for item in seen
        if item.state != "seen"
    )
    for count in counts:
        if count.missing:
            yield f"{count.title}: {count.missing:g} {count.unit} more"
