"""`reasoner cases`: what the shop has kept."""

from __future__ import annotations

import click

from reasoner.cli.lazy import LazyGroup
from reasoner.cli.options import cases_option

TABLE = {
    "list": ("cases_list", "List the cases (as `cases` alone does)."),
    "find": ("cases_find", "Find cases by words, state, fault, vehicle, code or date."),
    "show": ("cases_show", "Tell a case: what was asked and seen, how the belief moved, how it ended."),
    "alike": ("cases_alike", "Find the solved cases that looked most like one, and what they were."),
    "replay": ("cases_replay", "See what today's rules, or changed ones, make of recorded answers."),
    "review": ("cases_review", "Look over all closed cases: how often right, how sure, what misled."),
    "learn": ("cases_learn", "Propose better numbers for the rules from closed cases."),
    "import": ("cases_import", "Make cases from a table: CSV, or a YAML list."),
    "correct": ("cases_correct", "Put an answer or the vehicle right, with the reason."),
    "close": ("cases_close", "Close a case: what it was, and how firmly that is known."),
    "anonymise": ("cases_anonymise", "Write a copy of a case that can be given away."),
}


@click.group(
    cls=LazyGroup, table=TABLE, invoke_without_command=True, epilog="Example: reasoner cases find --fault injector"
)
@cases_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def command(ctx: click.Context, cases_dir: str | None, as_json: bool) -> None:
    """The cases: list them, find one, look at it again, and learn from them.

    Alone: lists them, by name, when opened, how each stands, vehicle. Damaged ones are listed with what is wrong.
    """
    if ctx.invoked_subcommand is None:
        from reasoner.cli import cases_list

        ctx.invoke(cases_list.command, cases_dir=cases_dir, as_json=as_json)
