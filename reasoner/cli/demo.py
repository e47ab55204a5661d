"""A script of answers played through the real session, step by step; and `reasoner demo`, which does so."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from typing import TextIO

import click

from reasoner.casebook.events import Answered, Event, OutcomeSeen
from reasoner.casebook.shape import load_sound
from reasoner.cli import loading, shop
from reasoner.cli.keeper import Keeper
from reasoner.cli.kinds import NearChoice
from reasoner.history.trace import vehicle_of
from reasoner.rulebook.model import Check
from reasoner.session import acts
from reasoner.session.asking import now_due
from reasoner.session.concluding import belief, verdict
from reasoner.session.script import Script, begin_with, intake_events, reply, script_of
from reasoner.session.words import fault_at, given_text, percent
from reasoner.session.workup import Workup, begin
from reasoner.terminal.console import Console, Leave

# ---- A script of answers played through the real session -------------------------------------------------------------
# Every step in one or two lines, then the verdict.

MOST_SCRIPT_STEPS = 80


def play_script(kept: Keeper, script: Script, out: TextIO, take_logs: Callable[[Keeper], None]) -> None:
    """Intake from the script (where the case is new), then each proposed check answered from it, to the verdict.

    take_logs: takes scan logs in, between the two.
    """
    from reasoner.report.text import write

    if not kept.workup.record.steps:
        for event in script.intake:
            kept.keep(intake_events(kept.workup, event))
    print(f"Case {kept.journal.path.stem}: {kept.workup.vehicle.title}. Answered from a script.", file=out)
    take_logs(kept)
    for _ in range(MOST_SCRIPT_STEPS):
        workup = kept.workup
        option = workup.look
        if option is None:
            break
        before = len(workup.record.given)
        workup = kept.keep(reply(workup, script, option))
        lead = belief(workup, ranges=False).leading[0]
        leads = f"{fault_at(workup.book, lead.fault, lead.where)} {percent(lead.probability)}"
        given = workup.record.given[before:]
        check = workup.tables.checks[now_due(workup, option).check]
        said = given_text(workup, given[0]) if given else f"{workup.book.checks[check.name].title}: can't tell"
        print(f"{workup.record.steps:3}  {said}\n     -> {leads}", file=out)
    document = verdict(kept.workup)
    kept.keep(acts.conclude(kept.workup, document))
    write(document, out)


# ---- reasoner demo ---------------------------------------------------------------------------------------------------
# An invented shop's case, played through the real loop.

DEMO_CASE = "estate-hot-restart"


@click.command(epilog="Example: reasoner demo")
@click.option("--color", type=NearChoice(["auto", "always", "never"]), default="auto", help="Emphasis on the screen.")
@click.option("--fast", is_flag=True, help="Run through, without waiting for Enter at each step.")
def demo_command(color: str, fast: bool) -> None:
    """See an invented shop's case played through the real question loop. Nothing is kept.

    The shop, the car and every answer are invented; the rules and the reasoning are the real ones. At a terminal it
    waits for Enter at each step, and then types the answer.
    """
    from reasoner.report.text import RichPages
    from reasoner.terminal import loop

    case = load_sound(shop.shipped_folder("cases") / f"{DEMO_CASE}.yaml")
    script = script_of(case.events)
    workup = begin_with(begin(loading.rules(()), vehicle_of(case)), script)
    console = Hand.over(Console.of_process(os.environ, color), workup, script, fast)  # type: ignore[arg-type]
    with suppress(Leave):  # nobody looks any more
        console.say(f"A demonstration. The shop, the car and the answers are invented. {workup.vehicle.title}:")
        console.say(f'"{workup.record.complaint}" Codes: {", ".join(code for code, _ in workup.record.codes)}.')
        if console.waits:
            console.say("Enter goes on at each step, and the answer is typed for you. q: enough.")
        loop.run_loop(workup, console.keep, console, RichPages())


class Hand(Console):
    """A console at which the script answers instead of a person; what it types is shown."""

    workup: Workup
    script: Script
    waits: bool

    @classmethod
    def over(cls, console: Console, workup: Workup, script: Script, fast: bool) -> Hand:
        hand = cls(console.source, console.out, console.err, False, console.colour, (console.columns, console.lines))
        hand.workup, hand.script, hand.waits = workup, script, console.tty and not fast
        return hand

    def keep(self, events: Sequence[Event]) -> Workup:
        self.workup = self.workup.after(events)
        return self.workup

    def goodbye(self, how: str) -> None:
        self.left = how
        with suppress(Leave):
            self.say("That was the demonstration. `reasoner diagnose` starts a case of your own.")

    def ask(self, prompt: str) -> str:
        typed = self._answer_to(prompt)
        prompt = self.fitting(prompt)
        if self.waits:
            self.write(f"{prompt}(Enter types {typed}) " if typed else prompt)
            self._wait()
            self.write(f"{prompt}{typed}\n" if typed else "")
        else:
            self.write(f"{prompt}{typed}\n")
        return typed

    def _wait(self) -> None:
        """Until Enter; the terminal has then ended the line itself. Raises Leave where the person has seen enough."""
        try:
            line = self.source.readline()
        except KeyboardInterrupt:
            raise Leave("interrupt") from None
        if not line or line.strip().lower() in ("q", "quit"):
            raise Leave("stop")

    def _answer_to(self, prompt: str) -> str:
        """The answer at the bare prompt; `s` where the verdict has been given; else Enter, which goes on."""
        if prompt.startswith("g "):
            return "s"
        if prompt != "> ":
            return ""
        option = self.workup.look
        assert option is not None  # the prompt is that of a question
        event = reply(self.workup, self.script, option)[-1]
        if not isinstance(event, Answered):
            return "0"
        return line_as_typed(self.workup.book.checks[event.check], event.values)


def line_as_typed(check: Check, values: Mapping[int, OutcomeSeen]) -> str:
    """An answer as a person types it: `2`, `3=2` (the rest being the first outcome), `all=1`."""
    numbers = {o.name: n for n, o in enumerate(check.outcomes, start=1)}
    picked = {place: numbers[outcome] for place, outcome in values.items() if isinstance(outcome, str)}
    if len(picked) == 1:
        return str(*picked.values())
    named = [f"{place}={number}" for place, number in picked.items() if number > 1]
    return " ".join(named) or "all=1"
