"""Checks whose outcome is worked out from typed readings: what is asked, what is found, what is kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from reasoner.casebook.events import Answered, ConditionMet, Event, LogTaken, ReadingsTaken
from reasoner.measure.asks import Ask, Setting
from reasoner.measure.computations.base import DISPLACEMENT, NOW, Computation
from reasoner.measure.computations.table import COMPUTATIONS
from reasoner.measure.finding import Finding
from reasoner.measure.frozen import TRIM_NAMES, Frame, read_live, runs_rich, totals, with_meaning
from reasoner.measure.pids import LOOP_NUMBERS, DecodedValue
from reasoner.measure.weigh import work_out
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import At, Check, Rulebook
from reasoner.session import acts
from reasoner.session.acts import Refused, find_check
from reasoner.session.document import InputDoc, WorksOut
from reasoner.session.plain import shortened
from reasoner.session.record import Record, fold, setting_of, standing
from reasoner.session.words import given_text, state_text
from reasoner.session.workup import Workup

RAIL_FROM = 1000.0  # kPa from which a pressure is a rail's, and said in bar: air and tank pumps stay below; judgement
LIVE_SUCH_AS = "such as: idle +4 -14 maf 3.1 ect 92; 2500 +2 -6 maf 9.8; cruise 0 -4"
LIKE = 0.5  # outcomes whose weights are within this of each other are not told apart; judgement


@dataclass(frozen=True)
class LiveState:
    """Live values of one state of the car. condition: None = not known. rich: whether it was rich; None = not known.
    odd: values that are not usual, by name: as typed, and in which unit."""

    condition: str | None
    rich: bool | None
    values: tuple[DecodedValue, ...]
    odd: Mapping[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Offer:
    """What values say of a check, in words, and the answer that is kept if that is right."""

    text: str
    answer: Answered


@dataclass(frozen=True)
class Worked:
    """weights: outcome likelihoods by place. reading: the main figures in a line. inputs: as typed, to be kept."""

    finding: Finding
    weights: Mapping[int, Mapping[str, float]]
    reading: str
    inputs: Mapping[str, str]

    @property
    def speaks(self) -> bool:
        """Whether it tells any outcomes apart."""
        return any(map(tells_apart, self.weights.values()))


def tells_apart(weights: Mapping[str, float]) -> bool:
    """Whether weights by outcome tell any of them apart."""
    return bool(weights) and min(weights.values()) < LIKE * max(weights.values())


def working_of(check: Check) -> Computation | None:
    """The computation of a check, if it has one."""
    return None if check.computed is None else COMPUTATIONS[check.computed.by]


def outcome_from_inputs(workup: Workup, name: str, inputs: Mapping[str, Any]) -> Worked:
    """The outcome of a check from its inputs (texts, numbers, or either by place). Raises Refused with all mistakes."""
    check = find_check(workup, name)
    if check.computed is None:
        able = [c.name for c in workup.book.checks.values() if c.computed and c.name in workup.tables.check_number]
        raise Refused(f"{name} is not worked out from inputs", "these are: " + ", ".join(able))
    texts = {str(key): text for key, value in inputs.items() if (text := _text(value))}
    found = work_out(check, texts, setting_of(workup.vehicle))
    if isinstance(found, tuple):
        raise Refused("; ".join(map(str, found)))
    usual = check.outcomes[0].name
    odd = [p for p, w in found.weights.items() if len(found.weights) <= 2 or max(w, key=lambda n: w[n]) != usual]
    used = _used(check)
    named = len(found.weights) > 1 or (check.at is At.BANK and len(workup.vehicle.banks) > 1)
    shown = {p: said for p in odd if (said := found.finding.short(p, used))}
    places = [f"{p}: {said}" if named else said for p, said in shown.items()]
    weights = {p: {n: float(f"{w:.4g}") for n, w in by_name.items()} for p, by_name in found.weights.items()}
    return Worked(found.finding, weights, "; ".join(places), texts)


def told(workup: Workup, name: str, inputs: Mapping[str, Any]) -> Worked:
    """The same, to be kept as an answer. Raises Refused also where it tells no outcomes apart, or where a figure that
    every outcome is told by is not among them: no time since a start, no how soon."""
    found = outcome_from_inputs(workup, name, inputs)
    lacking = _common(find_check(workup, name)) - {f.name for one in found.finding.figures.values() for f in one}
    if lacking:
        raise Refused(f"without {' and '.join(sorted(lacking))} this says nothing", "type it too, or leave the check")
    if not found.speaks:
        raise Refused("these figures fit none of its outcomes better than the others", "answer by a word, or leave it")
    return found


def _common(check: Check) -> set[str]:
    """Figures that every outcome of a check is told by."""
    if check.computed is None or not check.computed.outcomes:
        return set()
    return set.intersection(*({w.figure for w in said if not w.kind} for said in check.computed.outcomes.values()))


def _used(check: Check) -> frozenset[str] | None:
    """Figures that a check's outcomes go by, where its computation has many; None: the main ones."""
    working = working_of(check)
    if working is None or not working.picked or check.computed is None:
        return None
    return frozenset(within.figure for said in check.computed.outcomes.values() for within in said)


def _text(value: Any) -> str:
    """An input as it would be typed."""
    if isinstance(value, Mapping):
        return " ".join(f"{place}={_text(one)}" for place, one in value.items())
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise Refused(f"{value!r:.40} is no input", "a text such as 3.1 g/s, a number, or these by place")
    return value if isinstance(value, str) else f"{value:.10g}"


def remembered(workup: Workup, ask: Ask) -> str:
    """A fact about the car as it was typed last in this case, or as its vehicle states it, or ""."""
    if not ask.car:
        return ""
    typed = [
        event.inputs[ask.name]
        for event in standing(workup.events)
        if isinstance(event, Answered | LogTaken) and ask.name in event.inputs
    ]
    litres = workup.vehicle.litres
    stated = f"{litres:.4g} {DISPLACEMENT.unit}" if ask.name == DISPLACEMENT.name and litres is not None else ""
    return typed[-1] if typed else stated


def shown_as(check: Check) -> Ask | None:
    """What a person reads off the tool where the number of a check is that over a size of the car: airflow, where the
    check goes by airflow a litre. None where the number is the check's own."""
    working = working_of(check)
    if working is None or check.measure is None or not any(ask.car and ask.needed for ask in working.asks):
        return None
    read = [ask for ask in working.asks if ask.needed and not ask.car]
    return read[0] if len(read) == 1 and read[0].unit == check.measure.unit else None


def typed_as(check: Check) -> str:
    """What the number is that a person types for a check."""
    shown = shown_as(check)
    return shown.say.lower() if shown else check.measure.quantity if check.measure else ""


def from_shown(workup: Workup, check: Check, shown: Ask, number: float) -> Worked:
    """The outcome of a check from the one number that the tool shows. Raises Refused where the car's size is not
    known."""
    working = working_of(check)
    assert working is not None
    size = {ask.name: remembered(workup, ask) for ask in working.asks if ask.car}
    lacking = [ask.say for ask in working.asks if ask.car and ask.needed and not size[ask.name]]
    if lacking:
        raise Refused(f"{' and '.join(lacking)} is not known yet", "type m: it asks for it too")
    return outcome_from_inputs(workup, check.name, {shown.name: f"{number:g} {shown.unit}", **size})


def works_out(workup: Workup, check: Check) -> WorksOut | None:
    """What a check's computation asks for, as part of the question."""
    working = working_of(check)
    if working is None:
        return None
    inputs = tuple(
        InputDoc(a.name, a.say, a.hint, "" if a.at is At.ENGINE else str(a.at), a.needed, remembered(workup, a))
        for a in working.asks
    )
    return WorksOut(working.name, working.says, inputs, working.frame)


def from_values(working: Computation, values: Iterable[DecodedValue], vehicle: Vehicle) -> dict[str, str]:
    """Inputs of a computation that values of the standard's services give, as they would be typed."""
    numbered = (replace(v, value=float(LOOP_NUMBERS[v.value])) if v.value in LOOP_NUMBERS else v for v in values)
    known = {v.name: v for v in numbered if isinstance(v.value, float | int)}
    setting = setting_of(vehicle)
    found = {ask.name: _from_values(ask, known, setting) for ask in working.asks if ask.live}
    if vehicle.litres is not None and any(ask.name == DISPLACEMENT.name for ask in working.asks):
        found[DISPLACEMENT.name] = f"{vehicle.litres:.4g} {DISPLACEMENT.unit}"
    return {name: text for name, text in found.items() if text}


def _from_values(ask: Ask, known: Mapping[str, DecodedValue], setting: Setting) -> str:
    if ask.point:
        return " ".join(_typed(known[name]) for name in ask.live if name in known)
    texts = {}
    for place in setting.places(ask.at):
        names = [name.format(place) for name in ask.live]
        if all(name in known for name in names):
            texts[place] = " + ".join(_typed(known[name]) for name in names)
    if ask.at is At.ENGINE:
        return texts.get(0, "")
    return " ".join(f"{place}={text}" for place, text in texts.items())


def _typed(value: DecodedValue) -> str:
    return f"{value.value:.5g} {value.unit}".strip()


def _in_bar(value: DecodedValue) -> str:
    """A rail's pressure as it is typed and spoken of: `50 bar`; "" for all that is no such pressure."""
    number = value.value
    if value.unit != "kPa" or not isinstance(number, float | int) or number < RAIL_FROM:
        return ""
    return f"{number / 100:.4g} bar"


# ---- values read off in one go ---------------------------------------------------------------------------------------


def offer_frame(workup: Workup, values: Sequence[DecodedValue]) -> list[Offer]:
    """What the values of a freeze frame say of the checks of this car that go by one and were not answered."""
    told_of = {given.check for given in workup.record.given}
    another = _of_another_moment(workup, values)
    values = [*values, *_own_idle(workup)]
    found = []
    for check in frame_checks(workup):
        answer = (
            None
            if check.name in told_of or (check.after and not (another and told_of.issuperset(check.after)))
            else _answered(workup, check, _inputs(workup.vehicle, check, with_meaning(values)))
        )
        if answer is not None:
            found.append(_offer(workup, (), answer))
    return found


def not_used(workup: Workup, values: Sequence[DecodedValue]) -> list[str]:
    """Values of a freeze frame that nothing goes by, in words: none of them is itself a figure of an answer that the
    frame gives, and without them its answers are the same."""
    full = offer_frame(workup, values)
    spoken = {name for offer in full for name in _gone_by(workup.book.checks[offer.answer.check])}
    says = [(offer.answer.check, offer.answer.values) for offer in full]
    unused = []
    for value in values:
        rest = offer_frame(workup, [other for other in values if other is not value])
        if value.name not in spoken and says == [(offer.answer.check, offer.answer.values) for offer in rest]:
            unused.append(value)
    return [f"{v.name} {v.value if isinstance(v.value, str) else _in_bar(v) or _typed(v)}" for v in unused]


def _gone_by(check: Check) -> set[str]:
    """Names of the values that are themselves figures of a check's outcomes."""
    working, figures = working_of(check), _used(check) or frozenset()
    asks = [ask for ask in (working.asks if working else ()) if ask.name in figures]
    return {name.format(bank) for ask in asks for name in ask.live for bank in (1, 2)}


def _own_idle(workup: Workup, states: Iterable[LiveState] = ()) -> list[DecodedValue]:
    """What this car reads at a warm idle, running right, to hold a frame against: of these states, else kept."""
    record = workup.record
    kept = [LiveState(record.spells[r.spell], record.rich.get(r.spell), _values_of(r.readings)) for r in record.live]
    idle = acts.typed_words(workup.book).get("idle")
    right = [state for state in (*kept, *states) if state.condition == idle and state.rich is False]
    return [replace(value, name=NOW + value.name) for value in (right[-1].values if right else ())]


def _frozen_values(workup: Workup) -> list[DecodedValue]:
    """The values of the freeze frame that was typed, as its answers keep them."""
    found = dict[str, DecodedValue]()
    for event in standing(workup.events):
        check = workup.book.checks.get(event.check) if isinstance(event, Answered) else None
        working = working_of(check) if check is not None else None
        if working is not None and working.frame and isinstance(event, Answered):
            typed = {
                ask.live[0]: event.inputs[ask.name] for ask in working.asks if ask.live and ask.name in event.inputs
            }
            found |= {name: value for name, text in typed.items() if (value := _value(name, text)) is not None}
    return list(found.values())


def _of_another_moment(workup: Workup, values: Iterable[DecodedValue]) -> bool:
    """Whether a frame is of another moment than the one typed before: one that is stored twice, for two codes or two
    banks, has the same values of all but the trims."""
    before = {value.name: value.value for value in _frozen_values(workup) if "trim" not in value.name}
    return any(before.get(value.name, value.value) != value.value for value in values)


RICH = "rich"  # in the standard's name of a code


def of_rich(book: Rulebook, frame: Frame, values: Sequence[DecodedValue]) -> bool:
    """Whether a freeze frame is of a moment in which it ran rich: by a code of it, or by its own trims whatever code it
    belongs to."""
    return not frame.codes or any(_rich_code(book, code) for code in frame.codes) or runs_rich(values) is True


def _rich_code(book: Rulebook, code: str) -> bool:
    return code in book.codes and RICH in book.codes[code].title.lower()


POINT = "frozen point"  # the computation that goes by what the engine was doing, whatever code the frame is of


def offer_point(workup: Workup, values: Sequence[DecodedValue]) -> list[Offer]:
    """What the frame of another code says of a car without a rich code: what the engine was doing when the frame was
    stored, and no more."""
    point = {check.name for check, working in _worked(workup) if working.name == POINT}
    return [offer for offer in offer_frame(workup, values) if offer.answer.check in point]


def only_other_codes(workup: Workup) -> bool:
    """Whether codes were read, and none of them is of a rich mixture."""
    read = [code for code, _ in workup.record.codes]
    return bool(read) and not any(_rich_code(workup.book, code) for code in read)


def frame_checks(workup: Workup) -> list[Check]:
    """Checks of this vehicle that a freeze frame answers."""
    return [check for check, working in _worked(workup) if working.frame]


def live_states(workup: Workup, line: str) -> list[LiveState]:
    """Live values as typed in one line, each state with its condition, where that is known. Raises Refused."""
    words = acts.typed_words(workup.book, workup.record.condition)
    live = read_live(line, words)
    if live.wrong:
        raise Refused("; ".join(live.wrong))
    if live.unread or not live.states:
        said = shortened(live.unread or line, 40)
        raise Refused(f'"{said}" is not clear', LIVE_SUCH_AS if live.known_first else states_typed(workup.book))
    for name in (value.name for state in live.states for value in state.values):
        if len(workup.vehicle.banks) == 1 and "bank 2" in name:
            raise Refused(f"{name}: this car was said to have one bank", "leave it out, or put the car right")
    return [
        LiveState(
            words[state.words] if state.words else workup.record.condition,
            runs_rich(state.values) if state.rich is None else state.rich,
            state.values,
            state.odd,
        )
        for state in live.states
    ]


def states_typed(book: Rulebook) -> str:
    """Which states may stand before live values: of each its first word."""
    return "states: " + ", ".join(c.typed_as[0] for c in book.conditions.values() if c.typed_as)


def take_live(workup: Workup, states: Sequence[LiveState], there: bool = False) -> tuple[list[Event], list[Offer]]:
    """The events that keep live values with the state they were taken in, and what they answer. All of one step.

    Values of the condition that the car is in belong to the present spell, the last where there are several; what
    contradicts whether it is rich in it begins a new one. Where no condition is known it is the last one typed. Others
    are of another time, but where the car is there now (there): then it is in the last one typed. A check that stands
    for others is answered once: in the other conditions these have more to say than its repetition.
    Raises Refused where a state has no condition.
    """
    if any(state.condition is None for state in states):
        words = ", ".join(acts.typed_words(workup.book))
        raise Refused("what was the car doing then?", f"such as idle before the values; one of: {words}")
    step, here = workup.record.steps + 1, workup.record.condition
    events: list[Event] = []
    if there and all(state.condition != here for state in states):
        here = None
    present = here or states[-1].condition
    now = max((n for n, state in enumerate(states) if state.condition == present), default=-1)
    if now >= 0 and (here is None or _turned(workup, states[now])):
        events.append(ConditionMet(step=step, condition=present))
    labels = ["" if n == now else f"readings {step} {n + 1}" for n in range(len(states))]
    for state, label in zip(states, labels, strict=True):
        kept = {v.name: v.value if isinstance(v.value, str) else _typed(v) for v in state.values}
        events.append(ReadingsTaken(step=step, condition=state.condition, rich=state.rich, readings=kept, spell=label))
    found, covered = _over_states(workup, states, now)
    for number, state in enumerate(states):
        for check, working in _worked(workup):
            if working.frame or _regions(working) or check.kind != "reading" or check.name in covered:
                continue
            if check.conditions and state.condition not in check.conditions:
                continue
            if check.stands_for and any(answer.check == check.name for _, answer in found):
                continue
            answer = _answered(workup, check, _inputs(workup.vehicle, check, with_meaning(state.values)))
            if answer is not None and not _only_quiet(check, answer):
                found.append((number, answer))
    offers = []
    frozen, own, told_of = _frozen_values(workup), _own_idle(workup, states), {g.check for g in workup.record.given}
    for check, working in _worked(workup) if frozen and own else ():
        if (
            working.frame
            and check.name not in told_of
            and any(a.live and a.live[0].startswith(NOW) for a in working.asks)
        ):
            answer = _answered(workup, check, _inputs(workup.vehicle, check, [*frozen, *own]))
            if answer is not None:
                offers.append(_offer(workup, events, replace(answer, step=step)))
    for number, answer in found:
        label, condition = labels[number], states[number].condition if labels[number] else None
        placed = replace(answer, step=step, spell=label, apart=bool(label), condition=condition)
        title = workup.book.conditions[states[number].condition or ""].title if len(states) > 1 else ""
        offer = _offer(workup, events, replace(placed, reading=""))  # the values themselves stand in a table beside it
        offers.append(Offer(f"{title}: {offer.text}" if title else offer.text, placed))
    return events, offers


def keep_live(workup: Workup, line: str, as_typed: bool = False) -> list[Event]:
    """The events of live values in one line, with all that they answer. Raises Refused, also for what is not usual
    where that is not confirmed (as_typed)."""
    states = live_states(workup, line)
    odd = [said for state in states for said, _ in state.odd.values()]
    if odd and not as_typed:
        raise Refused(f"{', '.join(odd)}: not usual", 'read it again; "as typed" keeps it as it is')
    events, offers = take_live(workup, states)
    return [*events, *(offer.answer for offer in offers)]


def _turned(workup: Workup, state: LiveState) -> bool:
    """Whether values say otherwise than what is known of the present spell."""
    said = workup.rich_now
    return said is not None and state.rich is not None and said != state.rich


def _over_states(
    workup: Workup, states: Sequence[LiveState], now: int
) -> tuple[list[tuple[int, Answered]], frozenset[str]]:
    """Answers worked out from values of several states together, each with the state whose spell it goes to; and the
    checks that they stand for."""
    conditions = workup.book.conditions
    found, covered = [], set[str]()
    for check, working in _worked(workup):
        regions = {
            region: max(n for n, s in enumerate(states) if s.condition and region in conditions[s.condition].typed_as)
            for region in _regions(working)
            if any(s.condition and region in conditions[s.condition].typed_as for s in states)
        }
        inputs: dict[str, str] = {}
        for region, number in regions.items():
            own = replace(working, asks=tuple(a for a in working.asks if a.name.split()[0] == region))
            given = from_values(own, with_meaning(states[number].values), workup.vehicle)
            inputs |= given if len(given) == len(own.asks) else {}
        seen = [n for region, n in regions.items() if f"{region} air" in inputs]
        fits = [n for n in seen if not check.conditions or states[n].condition in check.conditions]
        answer = _answered(workup, check, inputs) if len(seen) > 1 and fits else None
        if answer is not None:
            found.append((now if now in fits else fits[0], answer))
            covered |= set(check.stands_for)
    return found, frozenset(covered)


def _regions(working: Computation) -> tuple[str, ...]:
    """States of the engine of which a computation asks the operating point, by their words: `idle air`, `load air`."""
    return tuple(ask.name.split()[0] for ask in working.asks if ask.point)


def _only_quiet(check: Check, answer: Answered) -> bool:
    """Whether an answer says no more than that it is not rich, which is kept with the readings."""
    return bool(check.while_rich) and all(
        isinstance(value, Mapping) and max(value, key=lambda name: value[name]) == check.while_rich
        for value in answer.values.values()
    )


def _worked(workup: Workup) -> list[tuple[Check, Computation]]:
    """Checks of this vehicle with what they are worked out by."""
    known = workup.tables.check_number
    pairs = ((check, working_of(check)) for check in workup.book.checks.values() if check.name in known)
    return [(check, working) for check, working in pairs if working is not None]


def _inputs(vehicle: Vehicle, check: Check, values: Sequence[DecodedValue]) -> dict[str, str]:
    working = working_of(check)
    return {} if working is None else from_values(working, values, vehicle)


def _answered(workup: Workup, check: Check, inputs: Mapping[str, str]) -> Answered | None:
    """What inputs say of a check; None where they do not suffice."""
    if not inputs:
        return None
    try:
        worked = told(workup, check.name, inputs)
    except Refused:
        return None
    events = acts.answer(workup, check.name, worked.weights, reading=worked.reading, inputs=worked.inputs)
    return next(event for event in events if isinstance(event, Answered))


def _offer(workup: Workup, before: Sequence[Event], answer: Answered) -> Offer:
    given = fold(workup.book, [*workup.events, *before, answer], workup.vehicle).given[-1]
    return Offer(given_text(workup, given), answer)


def earlier(workup: Workup, check: Check) -> tuple[str, ...]:
    """What this check read on this car before, each with the state it was taken in, in order."""
    record, working = workup.record, working_of(check)
    found = [(g.step, g.spell, g.reading) for g in record.given if g.check == check.name and g.reading]
    answered = {spell for _, spell, _ in found}
    for read in record.live if working is not None and not _regions(working) else ():
        condition = record.spells[read.spell]
        if read.spell in answered or (check.conditions and condition not in check.conditions):
            continue
        try:
            text = outcome_from_inputs(
                workup, check.name, _inputs(workup.vehicle, check, _values_of(read.readings))
            ).reading
        except Refused:
            continue
        found.append((read.step, read.spell, text))
    return tuple(f"{text} ({state_text(workup, spell)})" for _, spell, text in sorted(found) if text)


def kept_before(record: Record, state: LiveState) -> list[LiveState]:
    """What this car read in that condition before: the last time, and the last time it was the other way (rich or
    not)."""
    there = [read for read in record.live if record.spells[read.spell] == state.condition]
    other = [read for read in there if record.rich.get(read.spell) not in (None, state.rich)]
    chosen = [*other[-1:], *there[-1:]]
    return [
        LiveState(state.condition, record.rich.get(read.spell), _values_of(read.readings))
        for read in sorted({read.step: read for read in chosen}.values(), key=lambda read: read.step)
    ]


def values_by_name(values: Sequence[DecodedValue], banks: int) -> dict[str, str]:
    """Live values for a table: short and long trim of a bank together, with the total worked out."""
    found, sums = dict[str, str](), totals(values)
    known = {value.name: value.value for value in values}
    for bank, total in sums.items():
        short, long = (known[name.format(bank)] for name in TRIM_NAMES)
        text = f"{short:+g} {long:+g} = {total:+g} %"
        found["trim" if banks == 1 else f"trim, bank {bank}"] = text.replace("+0 ", "0 ")
    paired = {name.format(bank) for bank in sums for name in TRIM_NAMES}
    for value in values:
        if value.name not in paired:
            text = value.value if isinstance(value.value, str) else _in_bar(value) or _typed(value)
            found[value.name.replace(", absolute", "").replace(", commanded", " (commanded)")] = text
    return found


def live_text(typed: Mapping[str, str], banks: int) -> str:
    """Live values as they are kept, in one line."""
    return "; ".join(f"{name} {text}" for name, text in values_by_name(_values_of(typed), banks).items())


def _values_of(typed: Mapping[str, str]) -> tuple[DecodedValue, ...]:
    found = (_value(name, text) for name, text in typed.items())
    return tuple(value for value in found if value is not None)


def _value(name: str, text: str) -> DecodedValue | None:
    """A value as it is kept; one that is no number (`0.1 to 0.8 V`, `switching`, the loop) stays text."""
    number, _, unit = text.partition(" ")
    try:
        return DecodedValue(name, text) if " to " in text else DecodedValue(name, float(number), unit)
    except ValueError:
        return DecodedValue(name, text)
