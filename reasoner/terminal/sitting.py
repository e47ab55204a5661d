"""One sitting at one case: the case, where it is kept, the console; and how a typed line becomes a kept answer."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from reasoner.casebook.events import Event
from reasoner.inference.plan import Option
from reasoner.measure.pids import DecodedValue
from reasoner.measure.reading import Reading
from reasoner.rulebook.model import Check
from reasoner.session import acts
from reasoner.session.acts import Refused
from reasoner.session.document import OutcomeDoc, Verdict, Why
from reasoner.session.plain import harmless
from reasoner.session.protocol import Talk
from reasoner.session.readings import from_shown, shown_as
from reasoner.session.words import EMPTY_LIST, given_text, places_of, values_text
from reasoner.session.workup import Workup
from reasoner.terminal.console import Console
from reasoner.terminal.picking import Back, ask
from reasoner.terminal.replies import Form, Reply, read_reply

# ---- One sitting at one case -----------------------------------------------------------------------------------------
# The case, where it is kept, the console, and what the next screen has to mention.

Keep = Callable[[Sequence[Event]], Workup]


class Pages(Protocol):
    """Shows the result documents. Given by whoever runs the loop, since rooms side by side do not import each other."""

    def verdict(self, document: Verdict, console: Console) -> None: ...

    def why(self, document: Why, console: Console) -> None: ...


@dataclass
class Sitting:
    """talk: the case and what is asked now. said: lines for the next screen. known: cautions read in full.

    live: values of the standard's services, as pasted.
    """

    talk: Talk
    keep_events: Keep
    console: Console
    pages: Pages
    said: list[str] = field(default_factory=list)
    known: set[str] = field(default_factory=set)
    live: tuple[DecodedValue, ...] = ()

    @property
    def workup(self) -> Workup:
        return self.talk.workup

    def keep(self, events: Sequence[Event], *said: str, same_question: bool = False) -> bool:
        """Keep events before anything else happens. True if there were any."""
        if not events:
            return False
        chosen = self.talk.chosen if same_question else None
        self.talk = replace(self.talk, workup=self.keep_events(events), chosen=chosen)
        self.said.extend(said)
        return True

    def condition_title(self, name: str | None) -> str:
        return self.workup.book.conditions[name].title if name else "not known"


def form_of(workup: Workup, check: Check, places: Mapping[int, str] | None = None) -> Form:
    """What can be answered to a check: at all its places, or at those asked about."""
    outcomes = tuple(OutcomeDoc(o.name, harmless(o.text)) for o in check.outcomes)
    at = places_of(workup.vehicle, check) if places is None else places
    banks = dict(enumerate(workup.vehicle.banks, 1)) if len(workup.vehicle.banks) > 1 else {}
    return Form(str(check.at), at, outcomes, check.measure, check.provokes, banks)


def in_words(refused: Refused) -> str:
    """A refusal as one clear line."""
    first = f"{refused.message[0].upper()}{refused.message[1:]}."
    return f"{first} ({refused.mend})" if refused.mend else first


# ---- From a typed line to a kept answer ------------------------------------------------------------------------------
# Read it, read it back where places were named, keep it.

Weights = Mapping[int, Mapping[str, float]]


def take_answer(
    sitting: Sitting,
    line: str,
    check: Check,
    form: Form,
    option: Option | None = None,
    seen_in: str | None = None,
    instead_of: int = 0,
) -> bool:
    """Keep what was typed as the answer to a check. False if it was not confirmed. Raises Unclear or Refused."""
    while True:
        reply = read_reply(line, form)
        if reply.cant_tell:
            if option is None:
                return False
            events = acts.pass_over(sitting.workup, check.name, "cant-tell", option)
            return sitting.keep(events, f"{check.title}: can't tell. It is left for now.")
        shown = shown_as(check) if reply.numbers else None
        if shown is not None:
            (number,) = reply.numbers.values()
            worked = from_shown(sitting.workup, check, shown, number)
            events = acts.answer(
                sitting.workup,
                check.name,
                worked.weights,
                reply.sure,
                option,
                worked.reading,
                seen_in,
                worked.inputs,
                instead_of=instead_of,
            )
            break
        read = acts.read_off(sitting.workup, check.name, reply.numbers) if reply.readings else {}
        figures = acts.figures_of(sitting.workup, check.name, reply.numbers) if reply.readings else {}
        values: dict[int, str | Mapping[str, float]] = {**reply.values, **read}
        events = acts.answer(
            sitting.workup,
            check.name,
            values,
            reply.sure,
            option,
            reply.reading,
            seen_in,
            figures=figures,
            instead_of=instead_of,
        )
        if not reply.read_back:
            break
        understood = f"Understood: {harmless(_understood(sitting, check, reply, read))}."
        try:
            again = ask(
                sitting.console, f"{understood} Enter keeps it, b: not > ", "Or type the answer again, as it is right."
            )
        except Back:
            again = "no"
        if not again:
            break
        if again.lower() in ("n", "no"):
            sitting.console.say("Not kept. Type it again.")
            return False
        line = again
    return keep_answer(sitting, events, check, instead_of)


def keep_answer(sitting: Sitting, events: Sequence[Event], check: Check, instead_of: int) -> bool:
    """Keep an answer, new or in the place of an earlier one, and say it."""
    sitting.keep(events)
    step = instead_of or events[-1].step
    kept = next((g for g in sitting.workup.record.given if (g.step, g.check) == (step, check.name)), None)
    if kept is None:
        if sitting.workup.record.empty_since_clearing:
            sitting.said.append(EMPTY_LIST)
        return True
    place = " In the place of what was told before; b takes that back." if instead_of else ""
    sitting.said.append(f"Kept: {given_text(sitting.workup, kept)}{'.' if place else ''}{place}")
    return True


def _understood(sitting: Sitting, check: Check, reply: Reply, read: Weights) -> str:
    """`cylinder 3 wet with fuel, the rest the same (think so)`, `bank 1 -18 % (rich), bank 2 -2 % (normal)`."""
    places, unit = places_of(sitting.workup.vehicle, check), check.measure.unit if check.measure else ""
    texts = {o.name: o.text for o in check.outcomes}
    parts = [
        f"{places[place]} {_number(reading, unit)} ({texts[likeliest(read[place])]})"
        for place, reading in reply.readings.items()
    ]
    if reply.values:
        parts.append(values_text(sitting.workup, check, reply.values))
    return ", ".join(parts) + ("" if reply.sure == "sure" else f" ({reply.sure})")


def _number(reading: Reading, unit: str) -> str:
    """The number, and how it was come by where that is not plain: a conversion says both itself, a sum does not."""
    number = f"{reading.value:g} {unit}"
    return f"{number}, {reading.note}" if reading.note.startswith("sum") else reading.note or number


def likeliest(weights: Mapping[str, float]) -> str:
    """The name with the most weight, the first of several."""
    return max(weights, key=lambda name: weights[name])
