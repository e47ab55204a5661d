"""`reasoner cases close`: what it was, and how firmly that is known."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.casebook.events import written
from reasoner.casebook.journal import resume
from reasoner.casebook.shape import sound
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import caseroom, keeper, loading
from reasoner.cli.kinds import CASE, Choice
from reasoner.cli.options import cases_option
from reasoner.cli.say import say, say_json
from reasoner.repair.jobs import STATES


@click.command(
    epilog="Example: reasoner cases close estate-hot-restart --state proven --fault injector-leaks-after-soak"
    ' --where "cylinder 3" --confirmed-by "wet tip seen after a hot soak"'
)
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@click.option("--state", type=Choice(STATES), required=True, help="How firmly it is known to be over.")
@click.option("--fault", default="", help="What it was, by its name in the rules.")
@click.option("--where", default="", help="Where: `cylinder 3`, `bank 1`; nothing for the whole engine.")
@click.option("--confirmed-by", "confirmed", default="", help="What confirmed it.")
@click.option("--not-in-rules", is_flag=True, help="The rules do not have this fault; it is kept in your words.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def command(
    case: str,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    state: str,
    fault: str,
    where: str,
    confirmed: str,
    not_in_rules: bool,
    as_json: bool,
) -> None:
    """Close CASE: what it was, how firmly that is known, what confirmed it. Without a verdict or a fault: `given up`.

    A case can be gone on with after it was closed, and closed again; the last closing counts.
    """
    from reasoner.casebook import store
    from reasoner.history.trace import vehicle_of
    from reasoner.session.acts import Refused
    from reasoner.session.chapters import Garage, close_case

    with caseroom.refusing():
        path = store.find(caseroom.folder(cases_dir)[0], case)
        book = loading.rules(rules_paths)
        with resume(path) as journal:
            found = sound(journal.case)
            try:
                events = close_case(
                    Garage(book), vehicle_of(found), found.events, state, fault, where, confirmed, not_in_rules
                )
            except Refused as refused:
                raise CasebookError(refused.message, refused.mend, path) from None
            journal.append(*(written(event, keeper.now()) for event in events))
    if as_json:
        say_json({"case": path.stem, "state": state, "fault": fault, "where": where, "confirmed_by": confirmed})
        return
    say(f"{path.stem}: {state}" + (f", {fault}" + (f", {where}" if where else "") if fault else "") + ".")
