"""`reasoner prove`: the plan of proof, and how the case ends."""

from __future__ import annotations

import shlex
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import click

from reasoner.casebook.events import Event
from reasoner.casebook.shape import day_typed
from reasoner.cli import loading
from reasoner.cli.kinds import CASE, CONDITION, NearChoice, cases_option, option_group
from reasoner.cli.round import Round, by_name, on_case, take_back_told
from reasoner.cli.say import say, say_json, say_pages
from reasoner.repair import rounds
from reasoner.repair.jobs import CLOSING_STATES
from reasoner.repair.proof import ProofDoc, may_close, suspect
from reasoner.report.lines import paragraph
from reasoner.rulebook.model import Rulebook
from reasoner.session import after_work
from reasoner.session.acts import Refused
from reasoner.session.chapters import Garage, close_case
from reasoner.session.document import as_data
from reasoner.session.workup import Workup


def day_meant(said: str) -> str:
    """The day that was typed; "" where none was. Raises Refused for what is no day, or is still to come."""
    day = day_typed(said)
    if day and date.fromisoformat(day) > date.today() + timedelta(days=1):  # a day's grace: clocks, time zones differ
        raise Refused(f"{said} is still to come", "the day on which it was done")
    return day


@dataclass(frozen=True)
class SeenAfter:
    """Options that say what was seen after the work. clean, showed: conditions in which it was provoked. made_so: the
    clean tries were made as the plan asks. on: the day of all of it. km: what the odometer read."""

    clean: tuple[str, ...]
    made_so: bool
    showed: str | None
    drives: tuple[str, ...]
    cleared: bool | None
    on: str
    km: int | None

    @property
    def anything(self) -> bool:
        """Whether any of them was used."""
        return bool(self.clean or self.made_so or self.showed or self.drives or self.cleared is not None or self.when)

    @property
    def when(self) -> bool:
        """Whether a day or a mileage was given."""
        return bool(self.on or self.km is not None)

    def by_name(self, book: Rulebook) -> SeenAfter:
        """With conditions by their names in the rules, where they were typed as the screens show them."""
        clean = tuple(rounds.condition_meant(book, said) for said in self.clean)
        return replace(self, clean=clean, showed=self.showed and rounds.condition_meant(book, self.showed))

    def events(self, workup: Workup) -> list[Event]:
        """The same as events of the case. Raises Refused where one of them makes no sense."""
        if self.made_so and not self.clean:
            raise Refused("--made-so says how a clean try was made", "give it together with --clean CONDITION")
        if self.on and not (self.clean or self.showed or self.cleared is not None):
            raise Refused("--on says when something was done", "give it together with --clean, --showed or --cleared")
        if self.km is not None and not self.cleared:
            raise Refused("--km says where the odometer stood when codes were cleared", "give it with --cleared")
        day = day_meant(self.on)
        told = [e for name in self.clean for e in rounds.provoke(workup, name, True, self.made_so, day)]
        told += rounds.provoke(workup, self.showed, clean=False, on=day) if self.showed else []
        told += [event for drive in self.drives for event in rounds.drove(workup, by_name(drive))]
        told += rounds.say_cleared(workup, self.cleared, day, self.km) if self.cleared is not None else []
        return told


@dataclass(frozen=True)
class Closing:
    """Options that close the case. close: as what; None: it stays open. The rest: what it was."""

    close: str | None
    fault: str
    where: str
    confirmed_by: str
    not_in_rules: bool

    def events(self, on: Round, book: Rulebook) -> list[Event]:
        """The closing as events. Raises Refused where the rules have no such fault or place."""
        cause = self.fault, self.where, self.confirmed_by, self.not_in_rules
        return close_case(Garage(book), on.workup.vehicle, on.events, self.close or "", *cause)


@click.command(epilog="Example: reasoner prove 2026-03-09-1 --clean hot-restart --clean hot-restart")
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@click.option(
    "--clean",
    multiple=True,
    type=CONDITION,
    metavar="CONDITION",
    help="A provocation without a sign of it; repeatable.",
)
@click.option(
    "--made-so",
    is_flag=True,
    help="With --clean: the try was made as the plan asks (weather, oil); such a plan counts no other.",
)
@click.option("--showed", type=CONDITION, metavar="CONDITION", help="A provocation in which it showed again.")
@click.option(
    "--drive",
    "drives",
    multiple=True,
    metavar="NAME=NUMBER,...",
    help="What one drive brought, by name; 0: it failed, and what counts in a row begins anew.",
)
@click.option("--cleared/--not-cleared", default=None, help="Whether codes were cleared after the work.")
@click.option("--on", default="", metavar="DAY", help="The day of what is told, such as 2026-03-28; else today.")
@click.option("--km", type=click.IntRange(min=0), help="With --cleared: what the odometer read.")
@click.option("--close", type=NearChoice(CLOSING_STATES), help="Close the case.")
@click.option(
    "--fault", default="", metavar="NAME", help="With --close: the true cause as found, as the screens name it."
)
@click.option("--where", default="", metavar="PLACE", help='With --close: where it was, such as "cylinder 3".')
@click.option("--confirmed-by", default="", metavar="TEXT", help="With --close: what confirmed it.")
@click.option("--not-in-rules", is_flag=True, help="With --close: the fault is in your own words.")
@click.option("--back", is_flag=True, help="Take back the last thing told in this case, first of all.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def prove_command(
    case: str,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    back: bool,
    as_json: bool,
    **told: Any,
) -> None:
    """Show what must be seen before the repair of CASE counts as proven, and what is still missing.

    For a fault that comes and goes: how many clean provocations it takes until the chance that it is still there is
    small. Everything that is told here is saved at once.
    """
    book = loading.rules(rules_paths)
    done, closing = option_group(SeenAfter, told).by_name(book), option_group(Closing, told)

    def do(on: Round) -> None:
        if back:
            take_back_told(on)
        work = on.work
        if work is None or work.finished is None:
            raise Refused("there is no finished work to prove", "reasoner sheet CASE --finished says that it is done")
        events = done.events(on.workup)
        on.keep(events)  # all of it or, where anything was refused, nothing: told again, nothing counts twice
        document = after_work.standing_now(on.workup, on.events, on.name)
        _not_counted(document, done)
        again = " ".join([shlex.quote(case), *loading.options_again(cases_dir)])
        if closing.close:
            may_close(document, closing.close)
            on.keep(closing.events(on, book))
            _say_closed(closing.close, closing.fault, again)
            if document.unlike:
                say(f"Note: answered in two ways since the work: {'; '.join(document.unlike)}.", err=True)
        else:
            _show(on, document, as_json, again, short=bool(events) and done.cleared is None)

    on_case(case, cases_dir, book, bool(back or done.anything or closing.close), do)


def _show(on: Round, document: ProofDoc, as_json: bool, again: str, short: bool) -> None:
    """The whole plan; after something was told, where it stands now."""
    from reasoner.report.work_text import proof_text, standing_text

    if as_json:
        say_json(as_data(document))
        return
    cause = _cause_mended(on) if document.state == CLOSING_STATES[0] else ""
    to_type = _to_type(document, again, cause)
    say_pages(standing_text(document) + "\n" + "\n".join(to_type) if short else proof_text(document, to_type=to_type))


def _to_type(document: ProofDoc, again: str, cause: str) -> list[str]:
    """What to type now, each line whole as it works."""
    if document.state == CLOSING_STATES[2]:
        return [f"To find out why: reasoner diagnose {again}"]
    if document.state == CLOSING_STATES[0]:
        return [
            f"To close it: reasoner prove {again} --close proven {cause}",
            "(Where something else was found to be wrong, its name in place of that one.)",
        ]
    lines = ["WHAT TO TYPE"]
    for plan in filter(None, (document.provocation, *document.also)):
        if not plan.needed or plan.clean >= plan.needed:
            continue
        lines += [
            f"  {plan.title}, no sign of it:",
            f"     reasoner prove {again} --clean {plan.condition}{' --made-so' if plan.only else ''}",
            f"  {plan.title}, and it showed:",
            f"     reasoner prove {again} --showed {plan.condition}",
        ]
    if len(lines) > 1:
        lines += ["  (made on another day than today: --on 2026-03-28, say, after it)"]
    if any(item.state in ("missing", "not right") for item in document.seen):
        lines += ["  what was looked at (t and a word of it, such as t oil):", f"     reasoner diagnose {again}"]
    if document.cleared is None:
        lines += ["  codes cleared after the work (--km, at which mileage), or not:"]
        lines += [f"     reasoner prove {again} --cleared"]
        lines += [f"     reasoner prove {again} --not-cleared"]
    drive = _one_drive(document)
    if drive:
        lines += [
            "  one drive that brought all of this (else your own figures; 0: it failed):",
            f"     reasoner prove {again} --drive {drive}",
        ]
    return lines


def _one_drive(document: ProofDoc) -> str:
    """What is still missing, as much of it as one drive can bring. What has to be met in one drive is all named."""
    together = any(count.missing and count.together for count in document.counts)
    told = [count for count in document.counts if (together if count.together else count.missing)]
    return ",".join(f"{count.name}={count.least if count.together else 1:g}" for count in told)


def _cause_mended(on: Round) -> str:
    """The options that name what the last work was done for, the likeliest of what it mends."""
    before = on.before()
    cause = suspect(before, on.work) if on.work else None
    if cause is None:
        return "--fault NAME --where PLACE"
    found = before.tables.causes[cause]
    where = f" --where {shlex.quote(found.where)}" if found.where != "engine" else ""
    return f"--fault {shlex.quote(on.book.faults[found.fault].title)}{where}"


def _not_counted(document: ProofDoc, done: SeenAfter) -> None:
    """Clean provocations in another condition than the plan's, or made otherwise than it asks, prove nothing, and are
    not to look as if they did."""
    plans = {plan.condition: plan for plan in (document.provocation, *document.also) if plan}
    counted = " and ".join(plans)
    if len(done.clean) > 1:
        say(f"Note: told as {len(done.clean)} tries. Each counts only if it was brought about anew.", err=True)
    for condition in dict.fromkeys(done.clean):
        plan = plans.get(condition)
        if plan is None and plans:
            say(f"Note: kept, but it is {counted} that is counted, not {condition}.", err=True)
        elif plan is not None and plan.only and not done.made_so:
            say(
                "\n".join(paragraph(f"Note: kept, not counted. {' '.join(plan.only)} If it was so: --made-so.", 0)),
                err=True,
            )


def _say_closed(state: str, fault: str, again: str) -> None:
    say(f"Closed as {state}.")
    if not fault and state != CLOSING_STATES[3]:
        say(f"What it was is not said: reasoner prove {again} --close {shlex.quote(state)} --fault NAME", err=True)
