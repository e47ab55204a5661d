"""What can be done to a case: each act checks itself and returns the events to be kept, or refuses in plain words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reasoner.casebook.correcting import standing, undone_steps
from reasoner.casebook.events import (
    KEPT_BESIDE,
    Answered,
    Avoided,
    CodeRead,
    CodesRead,
    Concluded,
    ConditionMet,
    Corrected,
    Event,
    FactsTold,
    Finished,
    Noted,
    OutcomeSeen,
    PassedOver,
    ReadingsTaken,
    RichSeen,
    Told,
    ToolsSaid,
    Undone,
)
from reasoner.casebook.trouble import Refused as Refused
from reasoner.inference.plan import Option
from reasoner.measure.uncertain import soften
from reasoner.measure.weigh import Carried
from reasoner.network.equipment import following
from reasoner.network.vehicle import with_facts
from reasoner.rulebook.model import Check, Rulebook
from reasoner.session.document import Verdict
from reasoner.session.record import Given, said
from reasoner.session.words import PASSES, places_of
from reasoner.session.workup import Workup

TOLD_AGAIN = "told again, in the place of what was told before"  # why an answer was put right


def find_check(workup: Workup, name: str) -> Check:
    """A check of these rules that applies to this vehicle. Raises Refused."""
    check = workup.book.checks.get(name)
    if check is None:
        raise Refused(f'no check is called "{name}"', "search by words to find its name")
    if name not in workup.tables.check_number:
        raise Refused(f'"{name}" cannot apply to this vehicle', "see the vehicle's layout, injection and metering")
    return check


def find_condition(book: Rulebook, name: str) -> str:
    """The name of a condition of these rules. Raises Refused."""
    if name not in book.conditions:
        raise Refused(f'no condition is called "{name}"', "one of: " + ", ".join(book.conditions))
    return name


def answer(
    workup: Workup,
    name: str,
    values: Mapping[int, str | Mapping[str, float]],
    sure: str = "sure",
    option: Option | None = None,
    reading: str = "",
    seen_in: str | None = None,
    inputs: Mapping[str, str] | None = None,
    figures: Mapping[str, Carried] | None = None,
    instead_of: int = 0,
) -> list[Event]:
    """An answer. option: the proposal it answers (a new spell is begun where that says so).

    values: outcome by place number (0 = engine); places left out were not looked at. seen_in: the condition it was seen
    in; nothing was brought about for it then. A condition other than the present one makes a spell of its own, and
    so does "", for what was seen over several conditions.
    inputs: as typed, of what it was worked out from. figures: by place, of what was read (see `measure.weigh`); other
    rules weigh it again by them. instead_of: the step of an earlier answer to the same check, which it takes the place
    of; places that are not named keep what they had.
    """
    check = find_check(workup, name)
    if sure not in workup.book.settings.report_right:
        raise Refused(f'"{sure}" is no degree of sureness', "sure, think so or guess")
    kept = _values(workup, check, values)
    if seen_in:
        find_condition(workup.book, seen_in)

    asked = option is not None and workup.tables.checks[option.check].name == name
    apart = seen_in is not None and seen_in != workup.record.condition
    brought = _brought_about(workup, option) if asked and option is not None and seen_in is None else []
    given = Answered(
        step=workup.record.steps + 1,
        check=name,
        values=kept,
        sure=sure,
        reading=reading,
        inputs=dict(inputs or {}),
        figures={place: dict(by_name) for place, by_name in (figures or {}).items()},
        asked=asked,
        condition=(seen_in or None) if apart else None,
        apart=apart,
    )
    return [_put_right(workup, given, instead_of)] if instead_of else [*brought, given]


def _put_right(workup: Workup, given: Answered, step: int) -> Corrected:
    """An answer in the place of that of an earlier step."""
    told = (e for e in standing(workup.events) if isinstance(e, Answered))
    earlier = next((e for e in told if (e.step, e.check) == (step, given.check)), None)
    if earlier is None:
        raise Refused(f"step {step} holds no answer to {given.check}", "the whole answer is told anew")
    return Corrected(
        step=given.step,
        corrected=step,
        check=given.check,
        values={**earlier.values, **given.values},
        sure=given.sure,
        reading=given.reading,
        inputs=given.inputs,
        figures={**{p: f for p, f in earlier.figures.items() if int(p) not in given.values}, **given.figures},
        because=TOLD_AGAIN,
    )


def told_before(workup: Workup, check: Check) -> list[Given]:
    """The answers that somebody gave to a check, and could have meant otherwise. None of what is done place by place,
    which goes on with every answer."""
    typed = {e.step for e in standing(workup.events) if isinstance(e, Answered) and e.check == check.name}
    return [g for g in workup.record.given if g.check == check.name and g.step in typed and not check.provokes]


def _values(workup: Workup, check: Check, values: Mapping[int, str | Mapping[str, float]]) -> dict[int, OutcomeSeen]:
    """What is kept of outcomes by place. Raises Refused for places and outcomes that the check does not have."""
    places, outcomes = places_of(workup.vehicle, check), [o.name for o in check.outcomes]
    if not values:
        raise Refused("no answer was given", "name an outcome, or say that you can't tell")
    kept: dict[int, OutcomeSeen] = {}
    for place, value in values.items():
        if place not in places:
            raise Refused(f"there is no {check.at} {place} here", "there are " + ", ".join(places.values()))
        for outcome in [value] if isinstance(value, str) else value:
            if outcome not in outcomes:
                raise Refused(f'"{outcome}" is no outcome of {check.name}', "one of: " + ", ".join(outcomes))
        if not isinstance(value, str) and not (min(value.values(), default=0.0) >= 0.0 < sum(value.values()) < 1e12):
            raise Refused("weights of outcomes are 0 or more, and not all 0", 'such as {"same": 0.2, "wet": 0.8}')
        kept[place] = value if isinstance(value, str) else dict(value)
    return kept


def _brought_about(workup: Workup, option: Option) -> list[Event]:
    """The new spell of its condition, where a proposal needs one."""
    if not option.fresh or option.condition is None:
        return []
    condition = workup.tables.conditions[option.condition]
    return [ConditionMet(step=workup.record.steps + 1, condition=condition)]


def read_off(workup: Workup, name: str, numbers: Mapping[int, float]) -> dict[int, dict[str, float]]:
    """Outcome weights, by place, of readings in the unit of the check's measure. Raises Refused beyond its range."""
    check = find_check(workup, name)
    measure = check.measure
    if measure is None:
        raise Refused(f"{name} takes no number", "one of: " + ", ".join(o.name for o in check.outcomes))
    for number in numbers.values():
        if not measure.allows(number):
            raise Refused(
                f"{number:g} {measure.unit} is no possible {measure.quantity}",
                f"{measure.least:g} to {measure.most:g} {measure.unit}",
            )
    return {place: dict(soften(measure, number)) for place, number in numbers.items()}


def figures_of(workup: Workup, name: str, numbers: Mapping[int, float]) -> dict[str, Carried]:
    """Typed readings as figures to be kept: their error is what the check's measure says of any reading."""
    measure = find_check(workup, name).measure
    if measure is None:
        return {}
    return {str(p): {measure.quantity: [float(number), 0.0, measure.unit]} for p, number in numbers.items()}


def pass_over(workup: Workup, name: str, why: str, option: Option | None = None) -> list[Event]:
    """Can't tell (not asked again in this condition), no tool, or not now (not proposed again in this case).

    option: the proposal it answers. Somebody who can't tell has still brought its condition about.
    """
    find_check(workup, name)
    if why not in PASSES:
        raise Refused(f'"{why}" is no reason to pass over', "one of: " + ", ".join(PASSES))
    step = workup.record.steps + 1
    events: list[Event] = []
    lacking = sorted(t for t in workup.book.checks[name].needs if why == "no-tool" and t not in workup.record.lacking)
    if len(lacking) == 1:  # one tool only: then it is that one, and other checks need not be offered either
        events.append(ToolsSaid(step=step, lacking=tuple(lacking)))
    if why == "cant-tell" and option is not None:
        events += _brought_about(workup, option)
    events.append(PassedOver(step=step, check=name, why=why))
    return events


def avoid(workup: Workup, condition: str) -> list[Event]:
    """A condition that cannot be brought about: nothing that needs a new spell of it is proposed again."""
    return [Avoided(step=workup.record.steps + 1, condition=find_condition(workup.book, condition))]


def change_condition(workup: Workup, name: str | None) -> list[Event]:
    """The car is now in another condition, or its behaviour has changed: a new spell begins."""
    if name is not None:
        find_condition(workup.book, name)
    return [ConditionMet(step=workup.record.steps + 1, condition=name)]


def still_in(workup: Workup, name: str) -> list[Event]:
    """The car is in a condition right after live values were read: on the occasion of those that were read in it, else
    on a new one."""
    events = standing(workup.events)
    done = max((e.step for e in events if isinstance(e, Finished)), default=0)
    read = [e for e in events if isinstance(e, ReadingsTaken) and e.step > done]
    just = [e for e in read if e.step == read[-1].step and e.condition == name]
    if just and not just[-1].spell and name == workup.record.condition:
        return []
    if just and just[-1].spell:
        return [
            ConditionMet(
                step=workup.record.steps + 1, condition=find_condition(workup.book, name), spell=just[-1].spell
            )
        ]
    return change_condition(workup, name)


def tell(workup: Workup, complaint: str) -> list[Event]:
    """The complaint, as the customer tells it; nothing where it is empty."""
    return [Told(step=workup.record.steps + 1, complaint=complaint)] if complaint else []


def list_codes(workup: Workup, codes: Sequence[tuple[str, Sequence[str]]], complete: bool = True) -> list[Event]:
    """The codes on the reader, with their states. complete: these are all it shows."""
    listed = tuple(CodeRead(code, tuple(states)) for code, states in codes)
    return [CodesRead(step=workup.record.steps + 1, codes=listed, complete=complete)]


def tools(workup: Workup, lacking: Sequence[str] = (), at_hand: Sequence[str] = ()) -> list[Event]:
    """Tools that are not there, and tools that are. Raises Refused for a tool that the rules do not have."""
    for name in (*lacking, *at_hand):
        if name not in workup.book.tools:
            raise Refused(f'no tool is called "{name}"', "one of: " + ", ".join(workup.book.tools))
    return [ToolsSaid(step=workup.record.steps + 1, lacking=tuple(lacking), at_hand=tuple(at_hand))]


def usual_tools(workup: Workup, here: Sequence[str], missing: Sequence[str]) -> list[Event]:
    """What a shop's settings say of the tools that matter for this car; nothing where they say nothing of these."""
    tables = workup.tables
    used = set().union(*(check.needs for check in tables.checks), *tables.condition_needs)
    have, lack = [name for name in here if name in used], [name for name in missing if name in used]
    return tools(workup, lack, have) if have or lack else []


def facts(workup: Workup, told: Mapping[str, str]) -> list[Event]:
    """What became known of the car, with what follows from it; "" = asked, and not known. Raises Refused."""
    for mistake in with_facts(workup.stated or workup.vehicle, told)[1]:
        raise Refused(mistake.message, mistake.mend)
    known = following(workup.book, said(told))
    now = workup.vehicle.properties
    more = {key: value for key, value in known.items() if key in told or key not in now}
    return [FactsTold(step=workup.record.steps + 1, facts={**told, **more})] if told else []


def typed_words(book: Rulebook, present: str | None = None) -> dict[str, str]:
    """The words that may stand before readings -> the condition they were taken in. Where the car is in one (present)
    whose words end with those of another, they are short for its own: `idle` at a long idle."""
    conditions = book.conditions.values()
    known = {word.lower(): c.name for c in reversed(tuple(conditions)) for word in c.typed_as}
    own = [word for word, name in known.items() if name == present]
    short = {word: present for word in known if present and any(w.endswith(f" {word}") for w in own)}
    return known | short


def say_rich(workup: Workup, rich: bool | None) -> list[Event]:
    """Whether it is rich now (None: nobody can tell), for as long as the car does the same. That it is counts as an
    answer that is not quite sure, to the check that reads the mixture in this condition; where there are two banks it
    says nothing of which."""
    seen: list[Event] = [RichSeen(step=workup.record.steps + 1, rich=rich)]
    check = _read_by(workup) if rich else None
    if check is None:
        return seen
    (place,) = places_of(workup.vehicle, check)
    return [*seen, *answer(workup, check.name, {place: check.said_rich}, "think so")]


def _read_by(workup: Workup) -> Check | None:
    """The check of which it is said that it is rich now, if it can be answered here, at one place, and is not yet."""
    record = workup.record
    here = {given.check for given in record.given if given.spell == record.present}
    for name in workup.tables.check_number:
        check = workup.book.checks[name]
        if check.said_rich and record.condition in check.conditions and len(places_of(workup.vehicle, check)) == 1:
            return None if name in here else check
    return None


def note(workup: Workup, text: str) -> list[Event]:
    """A remark, kept with the case; nothing where it is empty."""
    return [Noted(step=workup.record.steps + 1, text=text)] if text.strip() else []


def undo(workup: Workup) -> list[Undone]:
    """Take back the last step that still stands. Recorded, not erased. Nothing from before finished work, which the
    case after it goes on from."""
    gone = undone_steps(workup.events)
    events = [e for e in workup.events if e.step not in gone and not isinstance(e, (Undone, *KEPT_BESIDE))]
    done = max((e.step for e in events if isinstance(e, Finished)), default=0)
    steps = [e.step for e in events if e.step > done]
    if not steps:
        mend = "that the work is done is taken back with: reasoner sheet CASE --back" if done else ""
        raise Refused("there is nothing to take back", mend)
    return [Undone(step=workup.record.steps + 1, undone=steps[-1])]


def conclude(workup: Workup, document: Verdict) -> list[Event]:
    """What was concluded, kept once for as long as it stays the same. Taken back together with the last step."""
    event = Concluded(
        step=workup.record.steps,
        what=document.kind,
        cause=document.lead.cause,
        probability=round(document.lead.probability, 4),
    )
    return [] if event in workup.record.verdicts else [event]
