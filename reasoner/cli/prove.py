"""`reasoner prove`: the plan of proof, and how the case ends."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from reasoner.cli import loading
from reasoner.cli.options import cases_option
from reasoner.cli.round import Round, by_name, on_case
from reasoner.session import proving, repairing
from reasoner.session.acts import Refused
from reasoner.session.afterdoc import ProofDoc
from reasoner.session.chapters import Garage
from reasoner.session.closing import close_case
from reasoner.session.repairing import STATES


@click.command(epilog="Example: reasoner prove 2026-03-09-1 --clean hot-restart --clean hot-restart")
@click.argument("case")
@cases_option
@loading.rules_option
@click.option("--clean", multiple=True, metavar="CONDITION", help="A provocation without a sign of it; repeatable.")
@click.option("--showed", metavar="CONDITION", help="A provocation in which it showed again.")
@click.option(
    "--drive", "drives", multiple=True, metavar="NAME=NUMBER,...", help="What one drive brought, by name; repeatable."
)
@click.option("--cleared/--not-cleared", default=None, help="Whether codes were cleared after the work.")
@click.option("--close", type=click.Choice(STATES), help="Close the case.")
@click.option(
    "--fault", default="", metavar="NAME", help="With --close: the true cause as found, by its name in the rules."
)
@click.option("--where", default="", metavar="PLACE", help='With --close: where it was, such as "cylinder 3".')
@click.option("--confirmed-by", default="", metavar="TEXT", help="With --close: what confirmed it.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def command(
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
    as_json: bool,
) -> None:
    """Show what must be seen before the repair of CASE counts as proven, and what is still missing.

    For a fault that comes and goes: how many clean provocations it takes until the chance that it is still there is
    small. Everything that is told here is saved at once.
    """
    book = loading.rules(rules_paths)

    def do(on: Round) -> None:
        work = on.work
        if work is None or work.finished is None:
            raise Refused("there is no finished work to prove", "reasoner sheet CASE --finished says that it is done")
        for condition in clean:
            on.keep(repairing.provoke(on.workup, condition, clean=True))
        if showed:
            on.keep(repairing.provoke(on.workup, showed, clean=False))
        for drive in drives:
            on.keep(repairing.drove(on.workup, by_name(drive)))
        if cleared is not None:
            on.keep(repairing.say_cleared(on.workup, cleared))
        now = on.work
        assert now is not None
        document = proving.document(on.workup, on.before(), now, on.name)
        if close:
            if close == STATES[0] and document.missing:
                raise Refused(f"not proven yet: {document.missing[0]}", f"{len(document.missing)} things are missing")
            vehicle = on.workup.vehicle
            on.keep(close_case(Garage(book), vehicle, on.events, close, fault, where, confirmed_by))
        _show(document, as_json)

    on_case(case, cases_dir, book, do)


def _show(document: ProofDoc, as_json: bool) -> None:
    from reasoner.report.proof_text import proof_text

    click.echo(json.dumps(asdict(document), ensure_ascii=False) if as_json else proof_text(document).rstrip("\n"))
