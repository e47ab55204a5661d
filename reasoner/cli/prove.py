"""`reasoner prove`: the plan of proof, and how the case ends."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

import click

from reasoner.cli import loading
from reasoner.cli.kinds import CASE, CONDITION, NearChoice, cases_option
from reasoner.cli.round import Round, by_name, on_case, take_back_told
from reasoner.cli.say import say, say_json
from reasoner.repair import rounds
from reasoner.repair.jobs import CLOSING_STATES
from reasoner.repair.proof import ProofDoc, may_close
from reasoner.session import after_work
from reasoner.session.acts import Refused
from reasoner.session.chapters import Garage, close_case
from reasoner.session.decision_doc import as_data


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
@click.option("--showed", type=CONDITION, metavar="CONDITION", help="A provocation in which it showed again.")
@click.option(
    "--drive",
    "drives",
    multiple=True,
    metavar="NAME=NUMBER,...",
    help="What one drive brought, by name; 0: it failed, and what counts in a row begins anew.",
)
@click.option("--cleared/--not-cleared", default=None, help="Whether codes were cleared after the work.")
@click.option("--close", type=NearChoice(CLOSING_STATES), help="Close the case.")
@click.option(
    "--fault", default="", metavar="NAME", help="With --close: the true cause as found, by its name in the rules."
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
    clean: tuple[str, ...],
    showed: str | None,
    drives: tuple[str, ...],
    cleared: bool | None,
    close: str | None,
    fault: str,
    where: str,
    confirmed_by: str,
    not_in_rules: bool,
    back: bool,
    as_json: bool,
) -> None:
    """Show what must be seen before the repair of CASE counts as proven, and what is still missing.

    For a fault that comes and goes: how many clean provocations it takes until the chance that it is still there is
    small. Everything that is told here is saved at once.
    """
    book = loading.rules(rules_paths)

    def do(on: Round) -> None:
        if back:
            take_back_told(on)
        work = on.work
        if work is None or work.finished is None:
            raise Refused("there is no finished work to prove", "reasoner sheet CASE --finished says that it is done")
        told = [event for condition in clean for event in rounds.provoke(on.workup, condition, clean=True)]
        told += rounds.provoke(on.workup, showed, clean=False) if showed else []
        told += [event for drive in drives for event in rounds.drove(on.workup, by_name(drive))]
        told += rounds.say_cleared(on.workup, cleared) if cleared is not None else []
        on.keep(told)  # all of it or, where anything was refused, nothing: told again, nothing counts twice
        document = after_work.standing_now(on.workup, on.events, on.name)
        _not_counted(document, clean)
        again = " ".join([shlex.quote(case), *loading.options_again(cases_dir)])
        if close:
            may_close(document, close)
            vehicle, cause = on.workup.vehicle, (fault, where, confirmed_by, not_in_rules)
            on.keep(close_case(Garage(book), vehicle, on.events, close, *cause))
            _say_closed(close, fault, again)
        else:
            _show(document, as_json, again, short=bool(told) and cleared is None)

    tells = bool(back or clean or showed or drives or cleared is not None or close)
    on_case(case, cases_dir, book, tells, do)


def _show(document: ProofDoc, as_json: bool, again: str, short: bool) -> None:
    """The whole plan; after something was told, where it stands now."""
    from reasoner.report.work_text import proof_text, standing_text

    if as_json:
        say_json(as_data(document))
        return
    say(standing_text(document) if short else proof_text(document))
    say("\n".join(_to_type(document, again)))


def _to_type(document: ProofDoc, again: str) -> list[str]:
    """What to type now, each line whole as it works."""
    if document.state == CLOSING_STATES[2]:
        return [f"To find out why: reasoner diagnose {again}"]
    if document.state == CLOSING_STATES[0]:
        return [f"To close it: reasoner prove {again} --close proven --fault NAME --where PLACE"]
    lines = ["WHAT TO TYPE"]
    plan = document.provocation
    if plan and plan.needed:
        lines += [
            f"  {plan.title}, no sign of it:",
            f"     reasoner prove {again} --clean {plan.condition}",
            f"  {plan.title}, and it showed:",
            f"     reasoner prove {again} --showed {plan.condition}",
        ]
    if any(item.state in ("missing", "not right") for item in document.seen):
        lines += ["  what was looked at (t and a word of it, such as t oil):", f"     reasoner diagnose {again}"]
    if document.cleared is None:
        lines += ["  codes cleared after the work, or not:", f"     reasoner prove {again} --cleared"]
        lines += [f"     reasoner prove {again} --not-cleared"]
    told = ",".join(f"{count.name}=1" for count in document.counts if count.missing)
    if told:
        lines += ["  what one drive brought (0: it did not):", f"     reasoner prove {again} --drive {told}"]
    return lines


def _not_counted(document: ProofDoc, clean: Sequence[str]) -> None:
    """Clean provocations in another condition than the plan's prove nothing, and are not to look as if they did."""
    plan = document.provocation
    for condition in dict.fromkeys(clean):
        if plan is not None and condition != plan.condition:
            say(f"Note: kept, but it is {plan.condition} that is counted, not {condition}.", err=True)


def _say_closed(state: str, fault: str, again: str) -> None:
    say(f"Closed as {state}.")
    if not fault and state != CLOSING_STATES[3]:
        say(f"What it was is not said: reasoner prove {again} --close {shlex.quote(state)} --fault NAME", err=True)
