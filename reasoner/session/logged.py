"""A scan log taken into a case: what its spells say of the checks of these rules, as one step of events.

Every spell of the log becomes a spell of the case, before the present one. Answers carry their figures, so that a
replay under other rules weighs them again. Which check a figure belongs to is found by quantity, unit, place and
condition; none is named here.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from reasoner.casebook.events import Answered, Event, LogTaken
from reasoner.measure.asks import take_input as read_input
from reasoner.measure.computations.base import DISPLACEMENT
from reasoner.measure.finding import Figure, plus_minus
from reasoner.measure.trims import SPREAD
from reasoner.measure.uncertain import Estimate
from reasoner.measure.weigh import Carried, to_carry, weigh_carried
from reasoner.mistake import Mistake
from reasoner.rulebook.computed import SIGNATURES
from reasoner.rulebook.model import Check, Sees
from reasoner.session.acts import Refused
from reasoner.session.plain import harmless
from reasoner.session.readings import remembered, tells_apart
from reasoner.session.record import setting_of, standing
from reasoner.session.words import given_text, places_of
from reasoner.session.workup import Workup

if TYPE_CHECKING:
    from reasoner.scanlog.document import LogDocument, Proposed, SpellFacts
    from reasoner.scanlog.reading import Columns

# How the bytes of a named log are got, and those of a person's mapping of its columns. Raises Refused.
Fetch = Callable[[str], "tuple[bytes, Columns | None]"]

LogAndAnswers = tuple[LogTaken, *tuple[Answered, ...]]  # a log and what it answers, all of one step

# % of trim that rules grant a reading before it counts, for a sound engine's own zero and what trims wander: a kind of
# error that a fit has told from all that is as far from right as a reading that is so much further off.
SOUND_TRIM_LOGGED = 10.0
CURVES = {"trim against airflow": "trims by airflow"}  # quantity of a log -> the computation that finds it
WITH_LOAD = "with load"
WIDEST, SCALE, SHAPE = "widest", "scale", "shape"
MOST_SPELLS = 24  # spells of one log; the longest, where there are more
SHORTEST_SHOWING = 20.0  # s of a condition in which it showed, from which that counts; judgement
STARTS = ("hot restart", "after refuelling")  # phases of a log that begin with a start


def no_files(file: str) -> tuple[bytes, Columns | None]:
    """A `Fetch` for where there are no files."""
    raise Refused("no files can be read here")


@dataclass(frozen=True)
class _Found:
    """What a spell says of one place of a check. text: the figures in words."""

    check: Check
    place: int
    spell: SpellFacts
    carried: Carried
    text: str


def take_log(
    workup: Workup, content: bytes, name: str, columns: Columns | None = None, litres: str = ""
) -> LogAndAnswers:
    """The events of one step that take a log in. Raises Refused: no log, nothing in it for this case, or known before.

    name: of the file, without its folder. columns: a person's mapping. litres: displacement as typed, "" = what is
    known of the car.
    """
    from reasoner.scanlog.analysis import Engine, analyse  # only who has a log pays for it
    from reasoner.scanlog.conditions import RULE_NAMES
    from reasoner.scanlog.reading import NoLog

    mark = hashlib.sha256(content).hexdigest()[:16]
    if mark in (event.mark for event in standing(workup.events) if isinstance(event, LogTaken)):
        raise Refused(f"{harmless(name)} has been taken in before", "a log counts once")
    vehicle = workup.vehicle
    engine = Engine(_litres(workup, litres), vehicle.cylinders, len(vehicle.banks))
    document = analyse(content, harmless(name), columns, engine, RULE_NAMES)
    if isinstance(document, NoLog):
        raise Refused(f"{harmless(name)}: {document.why}", document.mend)
    log, *answers = events_of(workup, document, mark)
    return (replace(log, inputs={DISPLACEMENT.name: litres}) if litres else log, *answers)


def events_of(workup: Workup, document: LogDocument, mark: str) -> LogAndAnswers:
    """The log and its answers, all of one step. Raises Refused if there are none.

    mark: what the same bytes are known by.
    """
    found = _curves(workup, document)
    single = [f for f in _readings(workup, document) if not any(_stands_for(curve, f) for curve in found)]
    better = {(other, f.place, f.spell.number) for f in single for other in f.check.stands_for}
    found += [f for f in single if (f.check.name, f.place, f.spell.number) not in better]
    found = _once(document, _both_ways(document, found))
    kept = _longest({f.spell.number: f.spell for f in found}.values())
    found = [f for f in found if f.spell.number in kept]
    if not found:
        raise Refused(
            f"nothing in {document.name} answers a check of these rules on this vehicle",
            "`reasoner measure log` shows what it says",
        )
    step = workup.record.steps + 1
    by_answer: dict[tuple[int, str], list[_Found]] = {}
    for one in sorted(found, key=lambda f: (f.spell.number, f.check.name, f.place)):
        by_answer.setdefault((one.spell.number, one.check.name), []).append(one)
    told = {"showing", "quiet"} <= {spell.state for spell in document.spells}  # two states were told apart
    answers = [_answer(document.name, mark, step, group, told) for group in by_answer.values()]
    return (LogTaken(step=step, file=document.name, mark=mark, says=tuple(document.says)), *answers)


def understood(workup: Workup, events: Sequence[Event]) -> tuple[str, ...]:
    """What a log comes to for the case, a line for each answer, with the condition it was seen in."""
    record = workup.after(events).record
    titles = workup.book.conditions
    step = events[0].step
    lines = []
    for given in record.given:
        if given.step == step:
            condition = record.spells[given.spell]
            where = titles[condition].title if condition is not None else "not known"
            lines.append(f"{where}: {given_text(workup, given)}")
    return tuple(lines)


# ---- what a spell says -----------------------------------------------------------------------------------------------


def _curves(workup: Workup, document: LogDocument) -> list[_Found]:
    """Fitted curves that show something. One that shows nothing says less than the single trims, spell by spell; one of
    what comes and goes is given however far it goes."""
    banks = {bank.number: bank.fits for bank in document.banks}
    found = []
    for proposed in document.answers:
        computation, fits = CURVES.get(proposed.quantity), banks.get(proposed.place)
        level = fits.level if fits is not None else None
        if computation is None or level is None:
            continue
        weights = dict(proposed.weights)
        likeliest = max(weights, key=lambda n: weights[n])
        kinds = SIGNATURES[computation].kinds[SHAPE]
        if likeliest not in kinds:  # nothing to be seen, or a mixture that no rule speaks of: left to the single trims
            continue
        whole = sum(weights.values())
        shape = {n: float(f"{w / whole:.4g}") for n, w in weights.items() if n in kinds}
        best = fits.best if fits is not None else None
        named = best is not None and (best.name == WITH_LOAD) <= (likeliest == WITH_LOAD)
        where = "at high airflow" if likeliest == WITH_LOAD else "at idle"
        widest, text = (
            Estimate(level.value, math.hypot(SPREAD, level.error)),
            f"{plus_minus(level)} % {where}, {likeliest}",
        )
        if (
            best is not None and named
        ):  # beyond what any sound engine's trims do by themselves: its fit has weighed that
            away = best.at_most
            widest = Estimate(away.value + math.copysign(SOUND_TRIM_LOGGED, away.value), away.error)
        if best is not None and named and best.changes:
            against = "otherwise" if best.of_state else "at idle" if likeliest == WITH_LOAD else "before"
            text = f"{plus_minus(best.at_most)} % {where} against {against}, {likeliest}"
        figures = [Figure(WIDEST, "%", widest)]
        if fits is not None and fits.beside is not None:
            figures.append(Figure(SCALE, "%", fits.beside))
        carried = {**to_carry(figures), SHAPE: shape}
        takes = [c for c in _checks(workup) if c.computed is not None and c.computed.by == computation]
        for one in _anywhere(workup, document, proposed, takes, carried, text):
            if named or _likeliest(one) != one.check.outcomes[0].name:
                found.append(one)
    return found


def _stands_for(curve: _Found, single: _Found) -> bool:
    """Whether a curve says what a single trim says. It is of all of its state; one of what goes with load is not of the
    readings where there is no load: that they are as they should be speaks against what would show there."""
    alike = single.check.name in curve.check.stands_for and single.place == curve.place
    if not alike or single.spell.state != curve.spell.state:
        return False
    shape = curve.carried[SHAPE]
    assert isinstance(shape, Mapping)
    return max(shape, key=lambda n: shape[n]) != WITH_LOAD or single.spell.condition == curve.spell.condition


def _readings(workup: Workup, document: LogDocument) -> list[_Found]:
    """Numbers for the measures of checks, and what their computations find."""
    found = []
    for proposed in document.answers:
        if proposed.by:
            takes = [c for c in _checks(workup) if c.computed is not None and c.computed.by == proposed.by]
            found += _fitting(workup, document, proposed, takes, to_carry(proposed.figures), proposed.says)
            continue
        if proposed.value is None or proposed.error is None:
            continue
        estimate = Estimate(proposed.value, proposed.error)
        wanted = (proposed.quantity, proposed.unit)
        takes = [c for c in _checks(workup) if c.measure and (c.measure.quantity, c.measure.unit) == wanted]
        text = f"{plus_minus(estimate)} {proposed.unit}".strip()
        carried = to_carry([Figure(proposed.quantity, proposed.unit, estimate)])
        found += _fitting(workup, document, proposed, takes, carried, text)
    return found


def _checks(workup: Workup) -> Iterable[Check]:
    """Checks of this vehicle that a log can answer: it reads, and does nothing to the car."""
    return (c for n in workup.tables.check_number if not (c := workup.book.checks[n]).provokes)


def _fitting(
    workup: Workup,
    document: LogDocument,
    proposed: Proposed,
    checks: Iterable[Check],
    carried: Carried,
    text: str,
) -> list[_Found]:
    """One proposal at the checks whose conditions and places allow it, where it tells outcomes apart.

    What was seen in one spell is no answer to what is there at any time, and the other way round.
    """
    spell = next(s for s in document.spells if s.number == proposed.spell)
    if spell.condition not in workup.book.conditions or _mixed(document, spell):
        return []
    found = []
    for check in checks:
        here = not check.conditions or spell.condition in check.conditions
        here &= (check.sees is Sees.EVER) is proposed.whole
        if here and str(check.at) == proposed.at and proposed.place in places_of(workup.vehicle, check):
            one = _Found(check, proposed.place, spell, carried, text)
            if tells_apart(_weights(one)):
                found.append(one)
    return found


def _anywhere(
    workup: Workup,
    document: LogDocument,
    proposed: Proposed,
    checks: Iterable[Check],
    carried: Carried,
    text: str,
) -> list[_Found]:
    """A curve is fitted to all of a state: kept in its own spell, or in the longest of that state that allows it."""
    state = next(s.state for s in document.spells if s.number == proposed.spell)
    others = sorted((s for s in document.spells if s.state == state), key=lambda s: -s.seconds)
    for number in (proposed.spell, *(s.number for s in others)):
        if found := _fitting(workup, document, replace(proposed, spell=number), checks, carried, text):
            return found
    return []


def _both_ways(document: LogDocument, found: Sequence[_Found]) -> list[_Found]:
    """Without the quiet trims of a condition in which it showed too and that were right there, where a curve says what
    showed.

    The curve stands for all single trims that showed. Of a condition that was seen both ways only the quiet half would
    be left, and speak against what came and went in it.
    """
    curves = {(other, f.place) for f in found if f.spell.state == "showing" for other in f.check.stands_for}
    showed = {s.condition for s in document.spells if s.state == "showing" and s.seconds >= SHORTEST_SHOWING}
    return [
        f
        for f in found
        if not (
            f.spell.state == "quiet"
            and (f.check.name, f.place) in curves
            and f.spell.condition in showed
            and _likeliest(f) == f.check.outcomes[0].name
        )
    ]


def _once(document: LogDocument, found: Sequence[_Found]) -> list[_Found]:
    """What a check shows counts once in a drive, in the longest spell in which the fault showed, or else in its
    longest; what is dated by a start, once a start. What is right while it is quiet says nothing of what it is then.

    Whether something that comes and goes has its day is one throw for all of a drive: that it was quiet at three idles
    of one afternoon is hardly more than that it was quiet at one. Each other thing that a check shows is kept. Where
    nothing showed all day, one quantity that was as it should in all conditions counts once too.
    """
    told = any(s.state == "showing" for s in document.spells)
    dated = {s.number: s.run for s in document.spells if s.phase in STARTS}
    off = {m.quantity for f in found if (m := f.check.measure) and _likeliest(f) != f.check.outcomes[0].name}
    seen: set[tuple[str, int, str, int]] = set()
    kept: list[_Found] = []
    for number in (s.number for s in sorted(document.spells, key=lambda s: (s.state != "showing", -s.seconds))):
        for check in sorted({f.check.name for f in found if f.spell.number == number}):
            group = [f for f in found if f.spell.number == number and f.check.name == check]
            measure = group[0].check.measure
            what = measure.quantity if measure is not None and not told and measure.quantity not in off else check
            shows = {(what, f.place, _likeliest(f), dated.get(number, 0)) for f in group}
            if not shows <= seen:
                kept += group
            seen |= shows
    return kept


def _likeliest(one: _Found) -> str:
    by_name = _weights(one)
    return max(by_name, key=lambda name: by_name[name])


def _mixed(document: LogDocument, spell: SpellFacts) -> bool:
    """Moments between two states, where the states themselves were seen too: no observation of either."""
    firm = any(
        (s.run, s.phase) == (spell.run, spell.phase) and s.state in ("showing", "quiet") for s in document.spells
    )
    return spell.state == "open" and spell.probability is not None and firm


def _longest(spells: Iterable[SpellFacts]) -> set[int]:
    return {s.number for s in sorted(spells, key=lambda s: -s.seconds)[:MOST_SPELLS]}


# ---- as events -------------------------------------------------------------------------------------------------------


def _answer(name: str, mark: str, step: int, group: Sequence[_Found], told: bool) -> Answered:
    """told: say of a spell whether the fault showed in it."""
    first = group[0]
    state = f", {first.spell.state}" if told and first.spell.probability is not None else ""
    # a text that does not begin with its figure names its place itself
    texts = [f"{f.place}: {f.text}" if len(group) > 1 and f.text[:1] in "+-0123456789" else f.text for f in group]
    span = f"{_clock(first.spell.start)}-{_clock(first.spell.end)}"
    return Answered(
        step=step,
        check=first.check.name,
        values={f.place: {n: float(f"{w:.4g}") for n, w in _weights(f).items()} for f in group},
        reading=f"{name} {span}{state}: {', '.join(texts)}",
        figures={str(f.place): dict(f.carried) for f in group},
        condition=first.spell.condition,
        spell=f"{mark} {first.spell.number}",
        apart=True,
    )


def _weights(one: _Found) -> Mapping[str, float]:
    return (weigh_carried(one.check, {str(one.place): one.carried}) or {}).get(one.place, {})


def _clock(seconds: float) -> str:
    """`5:01`, `1:05:01`."""
    minutes, rest = divmod(max(0, int(seconds)), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def displacement_known(workup: Workup) -> bool:
    """Whether the engine's displacement has been said, so that air in a log can be held against it."""
    return bool(remembered(workup, DISPLACEMENT))


def _litres(workup: Workup, typed: str) -> float | None:
    """Displacement as typed, or as it is known of this car. Raises Refused where what was typed is none."""
    found = read_input(DISPLACEMENT, typed or remembered(workup, DISPLACEMENT), setting_of(workup.vehicle))
    if isinstance(found, Mistake):
        raise Refused(found.message.rstrip("."), found.mend)
    return found.get(0) if isinstance(found, Mapping) else None
