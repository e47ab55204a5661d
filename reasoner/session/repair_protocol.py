"""What another program says about the repair: each message gives events to keep and a document to answer with.

The documents are those of `reasoner decide`, `sheet` and `prove`; `protocol` carries them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from reasoner.casebook.events import Event
from reasoner.casebook.shape import day_typed
from reasoner.repair import rounds
from reasoner.repair.jobs import VALUE_SETS, Work
from reasoner.repair.prices import Prices, prices_of
from reasoner.repair.proof import may_close
from reasoner.repair.sheet import sheet_document, sheet_of
from reasoner.session import after_work, deciding
from reasoner.session.acts import Refused
from reasoner.session.chapters import Garage, close_case
from reasoner.session.document import as_data
from reasoner.session.wellformed import Message
from reasoner.session.workup import Workup

Document = dict[str, Any]


@dataclass(frozen=True)
class WholeCase:
    """A case and all its events, from the complaint on; the workup knows only those it reasons from."""

    workup: Workup
    events: tuple[Event, ...]

    def after(self, events: Sequence[Event]) -> WholeCase:
        return WholeCase(after_work.gone_on(self.workup, self.events, events), (*self.events, *events))

    @property
    def present(self) -> Work | None:
        """The last round of work, if any."""
        found = rounds.rounds_of(self.workup.book, self.events)
        return found[-1] if found else None

    @property
    def work(self) -> Work:
        """The round of work under way. Raises Refused where there is none."""
        if self.present is None:
            raise Refused("no work was taken up in this case", "choose first what to replace")
        return self.present


RepairReply = tuple[list[Event], Document | None]


def sheet(course: WholeCase) -> Document:
    """The sheet, with what is done so far. Raises Refused where no work was taken up."""
    return as_data(sheet_document(course.workup, course.work))


def proof_reply(course: WholeCase) -> Document:
    """Raises Refused where no work is finished."""
    return as_data(after_work.standing_now(course.workup, course.events))


def _prices(course: WholeCase, message: Message) -> Prices | None:
    """Those of the message, in the keys of a settings file, the rest as the rules have it; None: those of the case."""
    said = message.get("prices")
    if not said:
        return None
    prices, problems = prices_of(json.dumps(said).encode(), "prices", course.workup.book)
    if prices is None:
        raise Refused(problems[0].message, problems[0].mend)
    return prices


def _decide(course: WholeCase, message: Message) -> RepairReply:
    return [], as_data(deciding.decision_document(deciding.decide(course.workup, _prices(course, message))))


def _take(course: WholeCase, message: Message) -> RepairReply:
    kind = str(message["choice"])
    choice = deciding.choice_of_kind(deciding.decide(course.workup, _prices(course, message)), kind)
    if choice is None:
        raise Refused(f'there is no such choice now: "{kind}"', "decide lists those there are")
    return _on_the_sheet(course, rounds.take_choice(course.workup, choice, course.present))


def _on_the_sheet(course: WholeCase, events: list[Event]) -> RepairReply:
    return events, sheet(course.after(events))


def _tick(course: WholeCase, message: Message) -> RepairReply:
    written = sheet_of(course.workup, course.work)
    boxes = [str(box) for box in message["boxes"]]
    return _on_the_sheet(course, rounds.tick(course.workup, written, boxes, bool(message.get("off", False))))


def _figure(course: WholeCase, message: Message) -> RepairReply:
    written = sheet_of(course.workup, course.work)
    what = int(message["line"]), str(message["figure"]), str(message["value"])
    return _on_the_sheet(course, rounds.fill_in(course.workup, written, *what))


def _values(course: WholeCase, message: Message) -> RepairReply:
    course.work  # noqa: B018  refuses where there is none
    typed = ({int(c): str(v) for c, v in message.get(key, {}).items()} for key in VALUE_SETS)
    return _on_the_sheet(course, rounds.enter_values(course.workup, *typed))


def _finished(course: WholeCase, message: Message) -> RepairReply:
    return rounds.finish(course.workup, course.present), None


def _told(act: Callable[[Workup, Message], list[Event]]) -> Callable[[WholeCase, Message], RepairReply]:
    """Something told of the car after the work; the answer is how the proof stands with it."""

    def hear(course: WholeCase, message: Message) -> RepairReply:
        proof_reply(course)  # refuses before anything is kept
        events = act(course.workup, message)
        return events, proof_reply(course.after(events))

    return hear


def _close(course: WholeCase, message: Message) -> RepairReply:
    state = str(message["state"])
    if course.present is not None and course.present.finished is not None:
        may_close(after_work.standing_now(course.workup, course.events), state)
    elif state != "given up":
        raise Refused(f'"{state}" is said of finished work', "finish the work, or close the case as given up")
    fault, where, confirmed = (str(message.get(key) or "") for key in ("fault", "where", "confirmed by"))
    workup = course.workup
    events = close_case(Garage(workup.book), workup.vehicle, course.events, state, fault, where, confirmed)
    return events, {"type": "closed", "state": state}


REPAIR_HANDLERS: dict[str, Callable[[WholeCase, Message], RepairReply]] = {
    "decide": _decide,
    "take": _take,
    "sheet": lambda course, m: ([], sheet(course)),
    "tick": _tick,
    "figure": _figure,
    "values": _values,
    "finished": _finished,
    "proof": lambda course, m: ([], proof_reply(course)),
    "provoked": _told(
        lambda workup, m: rounds.provoke(
            workup,
            str(m["condition"]),
            bool(m["clean"]),
            bool(m.get("made so", False)),
            day_typed(str(m.get("on", ""))),
        )
    ),
    "drive": _told(lambda workup, m: rounds.drove(workup, {str(k): float(v) for k, v in m["counts"].items()})),
    "cleared": _told(
        lambda workup, m: rounds.say_cleared(workup, bool(m["cleared"]), day_typed(str(m.get("on", ""))), m.get("km"))
    ),
    "close": _close,
    "take back": lambda course, m: ([*rounds.take_last_back(course.events)], None),
}
