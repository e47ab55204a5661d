"""The conversation with another program: one JSON object a line, both ways.

The program says a `state` (belief over all causes, and what comes next: a question or a verdict), or an `error` that
changed nothing, or a `why`. Past a verdict it says the documents of the repair (`repair_protocol`): a `decision`, a
`sheet`, a `proof`. It is told one message a line; `protocol.schema.json` beside this file defines both sides.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from reasoner.casebook.events import Event, PutAway, WorkTaken
from reasoner.inference.plan import Option
from reasoner.measure.codes import read_codes
from reasoner.measure.weigh import Carried
from reasoner.rulebook.model import Check, Sees
from reasoner.session import acts, complaint, fitted, logged, readings, story, wellformed
from reasoner.session.acts import Refused
from reasoner.session.asking import now_due, question
from reasoner.session.concluding import belief, next_document, proposals, verdict, why
from reasoner.session.document import Question, Verdict
from reasoner.session.logged import Fetch, no_files
from reasoner.session.wellformed import Message as Message
from reasoner.session.words import places_of
from reasoner.session.workup import Workup

if TYPE_CHECKING:
    from reasoner.session.repair_protocol import WholeCase  # what follows a verdict is loaded when it is spoken of


@dataclass(frozen=True)
class Talk:
    """A case in conversation. chosen: a check asked for instead of the proposed one. go_on: ask past a verdict.

    fetch: how the bytes of a log are got. events: all of the case, for what is said about the repair.
    """

    workup: Workup
    chosen: Option | None = None
    go_on: bool = False
    fetch: Fetch = no_files
    events: tuple[Event, ...] = ()

    @property
    def course(self) -> WholeCase:
        from reasoner.session.repair_protocol import WholeCase

        return WholeCase(self.workup, self.events or self.workup.events)

    @property
    def option(self) -> Option | None:
        """The check a bare answer belongs to."""
        proposed = self.chosen or next(iter(proposals(self.workup, self.go_on)), None)
        return None if proposed is None else now_due(self.workup, proposed)

    def next(self) -> Question | Verdict:
        if self.chosen is not None:
            return question(self.workup, self.chosen)
        return next_document(self.workup, self.go_on)

    def state(self, ranges: bool = True) -> dict[str, Any]:
        """The `state` object."""
        return {
            "type": "state",
            "step": self.workup.record.steps,
            "belief": asdict(belief(self.workup, ranges)),
            "next": asdict(self.next()),
            "heard": [asdict(row) for row in complaint.heard(self.workup, self.workup.record.complaint)],
            "not understood": list(complaint.unheard(self.workup, self.workup.record.complaint)),
        }


def hear(talk: Talk, message: Message) -> tuple[Talk, list[Event], dict[str, Any] | None]:
    """What a message does: the conversation after it, the events to keep, and a reply other than the state.

    Raises Refused; then nothing has changed.
    """
    if not isinstance(message, Mapping) or not isinstance(message.get("type"), str):
        raise Refused('a message is an object with a "type"', 'such as {"type": "answer", "outcome": "..."}')
    kind, known = message["type"], wellformed.kinds()
    if kind not in known:
        raise Refused(f'no message has the type "{kind}"', "one of: " + ", ".join(known))
    if wrong := wellformed.slip(message):
        raise Refused(
            f'the message "{kind}" is not well formed: {wrong}',
            "see the schema: reasoner diagnose --schema",
        )
    return TALK_HANDLERS[kind](talk, message) if kind in TALK_HANDLERS else _about_the_repair(talk, kind, message)


TalkReply = tuple[Talk, list[Event], dict[str, Any] | None]


def _about_the_repair(talk: Talk, kind: str, message: Message) -> TalkReply:
    from reasoner.session import repair_protocol

    events, document = repair_protocol.REPAIR_HANDLERS[kind](talk.course, message)
    return (_kept(talk, events)[0] if events else talk), events, document


def _kept(talk: Talk, events: Sequence[Event]) -> TalkReply:
    all_events = (*(talk.events or talk.workup.events), *events)
    if any(isinstance(event, WorkTaken) for event in all_events):
        workup = talk.course.after(events).workup
    else:
        workup = talk.workup.after(events)
    return replace(talk, workup=workup, events=all_events, chosen=None), list(events), None


def _meant(talk: Talk, message: Message) -> tuple[str, Option | None]:
    """The check that a message names, else the one being asked; and the proposal, where it is about that."""
    option = talk.option
    asked = None if option is None else talk.workup.tables.checks[option.check].name
    name = message.get("check", asked)
    if name is None:
        raise Refused("no check is being asked", 'name one: "check": "..."')
    return name, option if name == asked else None


def _answer(talk: Talk, message: Message) -> TalkReply:
    name, mine = _meant(talk, message)
    sure, seen_in = message.get("sure", "sure"), message.get("seen in")
    check = acts.find_check(talk.workup, name)
    _made_there(talk.workup, check, mine, seen_in)
    inputs: Mapping[str, str] = {}
    figures: Mapping[str, Carried] = {}
    if "numbers" in message:
        numbers = {int(p): float(v) for p, v in message["numbers"].items()}
        values: Mapping[int, Any] = acts.read_off(talk.workup, name, numbers)
        reading = ", ".join(f"{p}={v:g}" if p else f"{v:g}" for p, v in numbers.items())
        figures = acts.figures_of(talk.workup, name, numbers)
    elif "inputs" in message:
        worked = readings.told(talk.workup, name, message["inputs"])
        values, reading, inputs = worked.weights, worked.reading, worked.inputs
    elif "values" in message:
        values, reading = {int(p): v for p, v in message["values"].items()}, ""
        # What provokes is done place by place: of the others nothing was said.
        if message.get("rest", "none" if check.provokes else "first") == "first":
            at_all = places_of(talk.workup.vehicle, check) if mine is None or mine.place is None else {}
            values = {**dict.fromkeys(at_all, check.outcomes[0].name), **values}
    else:
        values, reading = {0: message["outcome"]}, ""
    return _kept(talk, acts.answer(talk.workup, name, values, sure, mine, reading, seen_in, inputs, figures))


def _made_there(workup: Workup, check: Check, asked: Option | None, seen_in: str | None) -> None:
    """Raises Refused where the check is not made in the condition that the answer would count for."""
    here = workup.record.condition
    if asked is not None and asked.fresh and asked.condition is not None:
        here = workup.tables.conditions[asked.condition]
    here = seen_in or here
    if check.sees is Sees.NOW and check.conditions and here and here not in check.conditions:
        raise Refused(
            f"{check.name} is not made in the condition {here}", '"seen in" is one of: ' + ", ".join(check.conditions)
        )


def _code(said: Mapping[str, Any]) -> tuple[str, list[str]]:
    """A code as it is written in the rules, and its states. Raises Refused where it is none."""
    read = read_codes(said["code"])
    if read.slips or len(read.codes) != 1:
        raise Refused(f'"{said["code"]}" is no code', "such as P0172; its state goes into states")
    return read.codes[0].code, said.get("states") or sorted(read.codes[0].states)


def _work_out(talk: Talk, message: Message) -> TalkReply:
    """What inputs would come to: nothing is kept."""
    worked = readings.outcome_from_inputs(talk.workup, message["check"], message["inputs"])
    weights = {str(place): dict(found) for place, found in worked.weights.items()}
    return talk, [], {"type": "worked out", "check": message["check"], "values": weights, **worked.finding.document()}


def _log(talk: Talk, message: Message) -> TalkReply:
    file = str(message["file"])
    content, columns = talk.fetch(file)
    return _kept(talk, logged.take_log(talk.workup, content, PurePath(file).name, columns))


def _pass(talk: Talk, message: Message) -> TalkReply:
    name, mine = _meant(talk, message)
    if message["why"] == "none":
        acts.find_check(talk.workup, name)
        facts = fitted.needed_by(talk.workup, name)
        if len(facts) != 1:
            hangs = ", ".join(fact.fact for fact in facts) or "nothing that a car may be without"
            raise Refused(f"{name} hangs on {hangs}", 'the message "facts" says what the car has not got')
        return _kept(talk, acts.facts(talk.workup, {facts[0].fact: facts[0].values[-1]}))
    return _kept(talk, acts.pass_over(talk.workup, name, message["why"], mine))


def _choose(talk: Talk, message: Message) -> TalkReply:
    check = acts.find_check(talk.workup, message["check"])
    number = talk.workup.tables.check_number[check.name]
    option = next((o for o in talk.workup.ranked if o.check == number), None)
    if option is None:
        raise Refused(f"{check.name} has nothing more to say now", "answer it unasked if it was seen")
    return replace(talk, chosen=option), [], None


def _why(talk: Talk, message: Message) -> TalkReply:
    cause = message["cause"]
    if cause not in talk.workup.tables.cause_number:
        raise Refused(f'no cause is called "{cause}"', "belief.all lists them")
    return talk, [], {"type": "why", **asdict(why(talk.workup, cause))}


TALK_HANDLERS: dict[str, Callable[[Talk, Message], TalkReply]] = {
    "answer": _answer,
    "work out": _work_out,
    "log": _log,
    "pass": _pass,
    "avoid": lambda talk, m: _kept(talk, acts.avoid(talk.workup, m["condition"])),
    "condition": lambda talk, m: _kept(talk, acts.change_condition(talk.workup, m["condition"])),
    "complaint": lambda talk, m: _kept(talk, acts.tell(talk.workup, str(m["text"]))),
    "codes": lambda talk, m: _kept(
        talk, acts.list_codes(talk.workup, [_code(c) for c in m["codes"]], m.get("complete", True))
    ),
    "tools": lambda talk, m: _kept(talk, acts.tools(talk.workup, m.get("lacking", []), m.get("at hand", []))),
    "facts": lambda talk, m: _kept(talk, acts.facts(talk.workup, m["facts"])),
    "rich": lambda talk, m: _kept(talk, acts.say_rich(talk.workup, bool(m["rich"]))),
    "readings": lambda talk, m: _kept(
        talk, readings.keep_live(talk.workup, str(m["line"]), bool(m.get("as typed", False)))
    ),
    "frame": lambda talk, m: _kept(talk, story.keep_frame(talk.workup, str(m["line"]), bool(m.get("as typed", False)))),
    "note": lambda talk, m: _kept(talk, acts.note(talk.workup, str(m["text"]))),
    "undo": lambda talk, m: _kept(talk, acts.undo(talk.workup)),
    "choose": _choose,
    "why": _why,
    "go on": lambda talk, m: (replace(talk, go_on=True), [], None),
    "verdict": lambda talk, m: (talk, [], asdict(verdict(talk.workup, stopped=True))),
    "state": lambda talk, m: (talk, [], None),
    "stop": lambda talk, m: (talk, [PutAway(step=talk.workup.record.steps)], {"type": "stopped"}),
}
