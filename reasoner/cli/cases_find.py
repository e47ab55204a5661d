"""`reasoner cases find`: cases by words, fault, vehicle, code and day."""

from __future__ import annotations

import re
from collections.abc import Iterable

import click

from reasoner.casebook.index import Wanted
from reasoner.cli import caseroom, exits
from reasoner.cli.cases_list import print_rows, read
from reasoner.cli.options import cases_option
from reasoner.cli.say import say


@click.command(epilog="Example: reasoner cases find smell --state proven --since 2026-03")
@click.argument("words", nargs=-1)
@cases_option
@click.option("--state", default="", help="open, settled, in work, in proof, or as it was closed: proven, given up ...")
@click.option("--fault", default="", help="Parts of the name of the fault found, or of the last suspect.")
@click.option("--vehicle", default="", help="Parts of its name or of what it is, such as `V 6, port`.")
@click.option("--code", default="", help="A code that was read, such as P0172.")
@click.option("--since", default="", metavar="DATE", help="Opened on this day (2026-03-09, 2026-03, 2026) or later.")
@click.option("--until", default="", metavar="DATE", help="Opened on this day or before.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(
    words: tuple[str, ...],
    cases_dir: str | None,
    state: str,
    fault: str,
    vehicle: str,
    code: str,
    since: str,
    until: str,
    as_json: bool,
) -> None:
    """Find cases in which all of WORDS stand: in the complaint, a note, the confirmation, the vehicle or the fault.

    What is said by options must hold as well. Nothing found: status 1.
    """
    for option, day in (("--since", since), ("--until", until)):
        if day and not re.fullmatch(r"\d{4}(-\d{2}(-\d{2})?)?", day):
            raise click.UsageError(f'{option}: "{day}" is no day; write it as 2026-03-09, 2026-03 or 2026.')
    wanted = Wanted(words, state, fault, vehicle, code, since, until)
    with caseroom.refusing():
        folder, _ = caseroom.folder(cases_dir)
        found = read(folder)
    fitting = [row for row in found if wanted.fits(row)]
    print_rows(fitting, folder, as_json)
    damaged = sum(bool(row.trouble) for row in found)
    if damaged:
        say(f"{damaged} of {len(found)} files are damaged and were not looked at; `cases list` says why", err=True)
    if not fitting:
        say(f"none of {len(found) - damaged} cases fits", err=True)
        if state:
            _say_states(state, (row.state for row in found if not row.trouble))
        raise click.exceptions.Exit(exits.PROBLEMS)


def _say_states(wanted: str, there: Iterable[str]) -> None:
    """What states there are, where none begins as the one that was wanted."""
    states = sorted(set(there))
    if states and not any(state.startswith(wanted.lower()) for state in states):
        say(f'no case has the state "{wanted}"; there are: {", ".join(states)}', err=True)
