"""From a typed line to a kept answer: read it, read it back where places were named, keep it."""

from __future__ import annotations

from collections.abc import Mapping

from reasoner.inference.plan import Option
from reasoner.measure.reading import Reading
from reasoner.rulebook.model import Check
from reasoner.session import acts
from reasoner.session.plain import harmless
from reasoner.session.words import given_text, places_of, values_text
from reasoner.terminal.prompting import Back, ask
from reasoner.terminal.replies import Form, Reply, read_reply
from reasoner.terminal.sitting import Sitting

Weights = Mapping[int, Mapping[str, float]]


def take_answer(
    sitting: Sitting, line: str, check: Check, form: Form, option: Option | None = None, seen_in: str | None = None
) -> bool:
    """Keep what was typed as the answer to a check. False if it was not confirmed. Raises Unclear or Refused."""
    while True:
        reply = read_reply(line, form)
        if reply.cant_tell:
            if option is None:
                return False
            events = acts.pass_over(sitting.workup, check.name, "cant-tell", option)
            return sitting.keep(events, f"{check.title}: can't tell. It is left for now.")
        read = acts.read_off(sitting.workup, check.name, reply.numbers) if reply.readings else {}
        figures = acts.figures_of(sitting.workup, check.name, reply.numbers) if reply.readings else {}
        values: dict[int, str | Mapping[str, float]] = {**reply.values, **read}
        events = acts.answer(
            sitting.workup, check.name, values, reply.sure, option, reply.reading, seen_in, figures=figures
        )
        if not reply.read_back:
            break
        understood = f"Understood: {harmless(_understood(sitting, check, reply, read))}."
        try:
            again = ask(
                sitting.desk, f"{understood} Enter keeps it, b: not > ", "Or type the answer again, as it is right."
            )
        except Back:
            again = "no"
        if not again:
            break
        if again.lower() in ("n", "no"):
            sitting.desk.say("Not kept. Type it again.")
            return False
        line = again
    sitting.keep(events)
    sitting.said.append(f"Kept: {given_text(sitting.workup, sitting.workup.record.given[-1])}")
    return True


def _understood(sitting: Sitting, check: Check, reply: Reply, read: Weights) -> str:
    """`cylinder 3 wet with fuel, the rest the same (think so)`, `bank 1 -18 % (rich), bank 2 -2 % (normal)`."""
    places, unit = places_of(sitting.workup, check), check.measure.unit if check.measure else ""
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
    return max(weights, key=lambda name: weights[name])
