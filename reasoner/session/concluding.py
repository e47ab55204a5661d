"""What is believed, why, and what is concluded."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from reasoner.casebook.events import RichSeen
from reasoner.inference import credible_range
from reasoner.inference.belief import by_cylinder, by_fault, leader, ordered
from reasoner.inference.choose import rank
from reasoner.inference.plan import Option, worth_asking
from reasoner.inference.weight import likelier, surprise, weigh_answers
from reasoner.network.tables import Array, CheckTable
from reasoner.repair.unexplained import BRINGS_ABOUT, unexplained
from reasoner.rulebook.model import AND, Origin
from reasoner.session.asking import ALTERNATIVES, could_turn, question, way
from reasoner.session.document import BeliefDoc, Question, Reason, SurpriseDoc, Suspect, Verdict, Way, Why
from reasoner.session.effort import Spent, effort_spent
from reasoner.session.record import Record
from reasoner.session.words import codes_text, fault_at, given_text, percent, unexplained_text
from reasoner.session.workup import Workup

LEADING_SHOWN = 5
STAYS_OPEN = 0.03  # a cause at least this likely is named as left open; judgement
TELLS_MUCH = 5  # times the least gain: so much a check must tell to be named although its tool is not there; judgement
MOST_NAMED = 2  # of these
NEARLY_DONE = ("settled", "place-open", "first")  # verdicts after which nothing is asked again
TURNS_TRIED = 6  # looks of which it is worked out whether they could change a verdict
PERCEPTIBLE = 0.5  # decibans; about the least change a person notices (Turing, see inference.weight)


def belief(workup: Workup, ranges: bool = True) -> BeliefDoc:
    """The present belief. ranges=False spares the draws where nobody looks at them."""
    tables, p = workup.tables, workup.belief.probability
    draws = credible_range.draw(tables, workup.spells) if ranges else p[None, :]
    low, high = credible_range.credible_bounds(draws)
    ends = credible_range.fault_bounds(tables, draws)
    leading = tuple(_suspect(workup, i, float(p[i]), float(low[i]), float(high[i])) for i in ordered(p, LEADING_SHOWN))
    cylinders = by_cylinder(tables, p)
    spare = next((i for i, name in enumerate(tables.faults) if workup.book.faults[name].anything_else), None)
    return BeliefDoc(
        leading,
        tuple(_fault(workup, f, ends) for f in ordered(by_fault(tables, p), LEADING_SHOWN)),
        {str(i): float(chance) for i, chance in enumerate(cylinders, start=1)},
        float(workup.belief.showing @ p),
        {cause.name: float(chance) for cause, chance in zip(tables.causes, p, strict=True)},
        None if spare is None else _fault(workup, spare, ends),
    )


def _suspect(workup: Workup, cause: int, p: float, low: float, high: float, where: str | None = None) -> Suspect:
    entry = workup.tables.causes[cause]
    title = workup.book.faults[entry.fault].title
    place = entry.where if where is None else where
    both = tuple(each.name for each in entry.members)
    return Suspect(entry.name, entry.fault, title, place, p, min(low, p), max(high, p), both)


def _at_least(workup: Workup, cause: int, draws: Array) -> Suspect:
    """A cause, alone or beside another."""
    name = workup.tables.causes[cause].name
    own = [n for n, c in enumerate(workup.tables.causes) if any(each.name == name for each in c.each)]
    low, high = credible_range.credible_bounds(draws[:, own].sum(axis=1)[:, None])
    p = float(workup.belief.probability[own].sum())
    return _suspect(workup, cause, p, float(low[0]), float(high[0]))


def _fault(workup: Workup, fault: int, ends: tuple[Array, Array]) -> Suspect:
    """A fault over all its places. `where` is the likeliest place, or empty where none stands out. ends: (F,) each, of
    every fault's range."""
    tables, p = workup.tables, workup.belief.probability
    chance = float(by_fault(tables, p)[fault])
    low, high = ends
    best = leader(tables, p, fault=fault)
    where = None if p[best] > 0.5 * chance else ""
    return _suspect(workup, best, chance, float(low[fault]), float(high[fault]), where)


def why(workup: Workup, cause: str) -> Why:
    """Why a cause stands where it stands."""
    tables = workup.tables
    number = tables.cause_number[cause]
    fault = workup.book.faults[tables.causes[number].fault]
    draws = credible_range.draw(tables, workup.spells)
    return Why(
        _cause(workup, number, draws),
        _fault(workup, int(tables.fault_of[number]), credible_range.fault_bounds(tables, draws)),
        float(tables.prior[number]),
        f"{workup.book.said_at('faults', fault.name, 'share', fault.origin.place)} ({fault.origin.source})",
        fault.origin.because,
        reasons(workup, number),
    )


def _cause(workup: Workup, number: int, draws: Array) -> Suspect:
    low, high = credible_range.credible_bounds(draws)
    return _suspect(workup, number, float(workup.belief.probability[number]), float(low[number]), float(high[number]))


def reasons(workup: Workup, cause: int) -> tuple[Reason, ...]:
    """Every answer's weight for and against a cause, the strongest first."""
    return tuple(reason for _, reason in _numbered_reasons(workup, cause))


def _numbered_reasons(workup: Workup, cause: int) -> list[tuple[int, Reason]]:
    """The same, each with the number of the event that gave the answer (-1: the list of codes)."""
    found = []
    for item in weigh_answers(workup.tables, workup.spells):
        table = workup.tables.checks[item.answer.check]
        origin = answer_origin(table, cause, item.answer.weights)
        text = answer_text(workup, item.answer.number, item.answer.check, item.answer.weights)
        reason = Reason(table.name, text, float(item.decibans[cause]), str(origin.place), origin.source, origin.because)
        found.append((item.answer.number, reason))
    return sorted(found, key=lambda each: -abs(each[1].decibans))


def answer_text(workup: Workup, number: int, check: int, weights: Sequence[tuple[float, ...] | None]) -> str:
    """An answer in words. number: of its event; -1: from the list of codes. weights: by place, None = not looked at."""
    given = next((g for g in workup.record.given if g.number == number), None)
    return given_text(workup, given) if given else codes_text(workup, check, weights)


def answer_origin(table: CheckTable, cause: int, weights: Sequence[tuple[float, ...] | None]) -> Origin:
    """The statement behind a cause's likelihood: at the place it has, if that was looked at."""
    rows = [int(table.index[cause, place]) for place, w in enumerate(weights) if w is not None]
    return table.origins[max(rows, default=0)]


def verdict(workup: Workup, stopped: bool = False) -> Verdict:
    """What is concluded now, and how firmly: what `decide` recommends, in the same words."""
    # What follows a verdict is not loaded for a first question.
    from reasoner.session.deciding import at_least, concluded, kind_of, mended_too, mends_most, missing_text, title

    tables, book = workup.tables, workup.book
    now, decision = belief(workup), concluded(workup)
    best = decision.best
    kind = kind_of(decision) if workup.look is None else "stopped"
    fault, lead = now.faults[0], now.leading[0]
    # What is settled is what the work mends; until then the likeliest fault is spoken of, at its likeliest place.
    if kind == "settled":
        number, draws = mends_most(decision), credible_range.draw(tables, workup.spells)
        lead = _cause(workup, number, draws)
        fault = _fault(workup, int(tables.fault_of[number]), credible_range.fault_bounds(tables, draws))
    elif kind == "at-least":
        lead = fault = _at_least(workup, at_least(workup)[0], credible_range.draw(tables, workup.spells))
    elif lead.cause != fault.cause:
        lead = _cause(workup, tables.cause_number[fault.cause], credible_range.draw(tables, workup.spells))
    cause = tables.cause_number[lead.cause]
    numbered = _numbered_reasons(workup, cause)
    all_reasons = [reason for _, reason in numbered]
    repairs = [book.repairs[book.faults[each.fault].repair] for each in tables.causes[cause].each]
    found = surprise(tables, workup.spells)
    disagreeing = tuple(answer_text(workup, e.number, e.check, e.weights) for e, _ in found.disagreeing)
    took = spent(workup)
    useful = [o for o in workup.ranked if o.gain >= workup.costs.least_gain]
    if kind in NEARLY_DONE:  # of what was looked at already, another look is not named again
        useful = [o for o in useful if o.check not in workup.situation.answered][:TURNS_TRIED]
        useful = [o for o in useful if could_turn(workup, o)]
    useful = useful[:ALTERNATIVES]
    course = title(decision, best)
    too = mended_too(decision, lead.fault, STAYS_OPEN) if kind == "settled" else []
    return Verdict(
        kind=kind,
        sentence=_sentence(workup, kind, lead, fault, course, best.cures, too),
        course=course,
        choice=best.kind,
        cures=best.cures,
        lead=lead,
        fault=fault,
        spoke_for=tuple(r for r in all_reasons if r.decibans >= PERCEPTIBLE),
        spoke_against=tuple(r for r in all_reasons if r.decibans <= -PERCEPTIBLE),
        open=tuple(s for s in now.leading if s.cause != lead.cause and s.probability >= STAYS_OPEN),
        would_change=tuple(way(workup, o) for o in useful),
        out_of_reach=out_of_reach(workup, only_turning=kind == "settled"),
        unsure=unsure(workup.record, numbered, {e.step for e in workup.events if isinstance(e, RichSeen)}),
        not_explained=not_explained(workup, cause),
        surprise=SurpriseDoc(found.bits, found.explained, disagreeing),
        driving_on=book.faults[lead.fault].driving_on,
        repair=AND.join(r.name for r in repairs),
        repair_title="; ".join(r.title for r in repairs),
        repair_do=" ".join(r.do for r in repairs),
        repair_cautions=tuple(dict.fromkeys(book.cautions[n].say for r in repairs for n in r.cautions)),
        proof=tuple(dict.fromkeys(book.checks[n].title for r in repairs for n in r.proof if n in tables.check_number)),
        wanted_first=tuple(missing_text(book, item) for item in decision.missing[best.kind]),
        minutes_spent=took.minutes,
        waiting_spent=took.wait,
        answers=workup.record.answers,
        step=workup.record.steps,
    )


def unsure(record: Record, told: Sequence[tuple[int, Reason]], rich: Collection[int] = ()) -> tuple[str, ...]:
    """Answers that were not sure and yet move the cause in question, the strongest first. told: with their numbers.
    rich: steps in which it was said to be rich, which is no answer that anybody gave."""
    doubtful = {given.number for given in record.given if given.sure != "sure" and given.step not in rich}
    return tuple(dict.fromkeys(r.text for n, r in told if n in doubtful and abs(r.decibans) >= PERCEPTIBLE))


def not_explained(workup: Workup, cause: int) -> tuple[str, ...]:
    """What was told and seen that is no likelier under this cause than on a sound car, though some other cause brings
    it about: codes with their meaning, then what was read, looked at and tested. So a second fault is not forgotten
    because the first is settled."""
    return (*_codes_left(workup, cause), *_seen_left(workup, cause))


def _codes_left(workup: Workup, cause: int) -> Iterator[str]:
    tables, book = workup.tables, workup.book
    enough = 10 ** (book.settings.afterwards.speaks_from / 10)  # a code that something brings about
    for code, _ in workup.record.codes:
        most = [1.0] * len(tables.causes)
        for table in tables.checks:
            engine = table.places == ("engine",)
            for number in range(len(table.places)):
                if code in book.checks[table.name].codes.get(0 if engine else number + 1, ()):
                    most = [max(pair) for pair in zip(most, likelier(table, number, 1), strict=True)]
        if most[cause] <= BRINGS_ABOUT and enough <= max(most):
            yield f"{code} {book.codes[code].title}" if code in book.codes else code


def _seen_left(workup: Workup, cause: int) -> Iterator[str]:
    """What was seen, with the fault that it fits best."""
    yield from (unexplained_text(workup, left) for left in unexplained(workup, [cause]))


def _sentence(
    workup: Workup, kind: str, lead: Suspect, fault: Suspect, course: str, cures: float, too: Sequence[str]
) -> str:
    """The verdict in one sentence; each way of stopping says so in its own words. too: faults that are mended alike."""
    if kind == "settled":
        what = (
            fault_at(workup.book, lead.fault, lead.where)
            if fault.where
            else f"{fault.title}; at which place is not known"
        )
        if too:
            others = " or ".join(workup.book.faults[name].title for name in too)
            what += f". Or {others}: the same work mends it"
        return f"{what}. What to do is settled at {percent(cures)}: {course}."
    best = f"The best now: {course}" + (f" ({percent(cures)} that this cures it)." if cures else ".")
    if kind == "watch":
        wrong = workup.book.faults[lead.fault].nothing_wrong
        if wrong and workup.book.faults[lead.fault].after_work:
            return f"{lead.title}: {percent(lead.probability)}. Nothing more to replace; for the proof see prove."
        return f"{'Nothing is wrong now' if wrong else f'{lead.title}: it is over by now'}. {best}"
    if kind == "first":
        return f"Not settled yet, but there is something to do first. {best}"
    if kind == "at-least":
        alone = float(workup.belief.probability[workup.tables.cause_number[lead.cause]])
        other = percent(max(0.0, lead.probability - alone) / lead.probability)
        there = f"{fault_at(workup.book, lead.fault, lead.where)} is there: {percent(lead.probability)}"
        return f"{there}. That another fault is there beside it: {other}. Look again when this is done. {best}"
    if kind == "place-open":
        chance = percent(fault.probability)
        return f"{fault.title}: {chance}. At which place is not settled, and no check at hand is worth its cost. {best}"
    if kind == "nothing-worth":
        return f"Not settled. {_leads(workup, lead, fault)} No check at hand is worth its cost. {best}"
    return f"Not settled so far. {_leads(workup, lead, fault)}"


def _leads(workup: Workup, lead: Suspect, fault: Suspect) -> str:
    """Who leads: a fault at its place, or a fault whose place is still open."""
    if not fault.where:
        return f"Likeliest, at {percent(fault.probability)}: {fault.title}; its place is still open."
    return f"Likeliest, at {percent(lead.probability)}: {fault_at(workup.book, lead.fault, lead.where)}."


def out_of_reach(workup: Workup, only_turning: bool = False) -> tuple[Way, ...]:
    """Checks without a tool at hand that would say more than any at hand, and much. only_turning: of these what could
    make another repair the likeliest."""
    best = max((o.gain for o in workup.ranked), default=0.0)
    bar = max(best, TELLS_MUCH * workup.costs.least_gain)
    more = [o for o in without_tools(workup) if o.gain > bar]
    more = [o for o in more[:TURNS_TRIED] if could_turn(workup, o)] if only_turning else more
    return tuple(way(workup, o) for o in more[:MOST_NAMED])


def without_tools(workup: Workup) -> list[Option]:
    """Checks for which only a tool is missing, as if it were at hand, best first."""
    now, tables = workup.situation, workup.expected
    for_a_tool = {tables.check_number.get(n) for n, why_not in workup.record.passed.items() if why_not == "no-tool"}
    have = replace(now, lacking=frozenset(), barred=now.barred - for_a_tool)
    return rank(
        tables, have, workup.costs, compared=0, allowed=lambda o: bool(tables.checks[o.check].needs & now.lacking)
    )


def spent(workup: Workup) -> Spent:
    """What looking took, getting into each condition included: the same in a verdict, a case's story and a review."""
    return effort_spent(workup)


def proposals(workup: Workup, go_on: bool = False) -> list[Option]:
    """Checks worth asking, best first; none where acting is worth more. go_on: all that tell enough, past a verdict."""
    if go_on:
        found = rank(workup.expected, workup.situation, workup.costs)
        return [o for o in found if o.gain >= workup.costs.least_gain]
    return [o for o in workup.ranked if o is workup.look or worth_asking(o, workup.costs)] if workup.look else []


def next_document(workup: Workup, go_on: bool = False) -> Question | Verdict:
    """What comes next: a question, or the verdict where one is due. go_on: ask although a verdict is due."""
    worthwhile = proposals(workup, go_on)
    if worthwhile:
        return question(workup, worthwhile[0], worthwhile)
    return verdict(workup)
