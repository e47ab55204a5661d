"""`reasoner cases list`, `find`, `show` and `alike`: cases looked at."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from shutil import get_terminal_size
from typing import Any

import click

from reasoner.casebook import store
from reasoner.casebook.index import CaseRow, Wanted, case_rows, inert_row
from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import caseroom, exits, loading, workers
from reasoner.cli.cases_judge import alike_together
from reasoner.cli.kinds import CASE, cases_option
from reasoner.cli.say import say, say_json, say_long
from reasoner.history.alike import CaseLooks, looks_of_case, most_alike
from reasoner.session.chapters import Garage

# ---- reasoner cases list ---------------------------------------------------------------------------------------------
# All cases in a table.

WIDEST_COLUMN = 32  # characters up to which a column is made as wide as its longest text


@click.command(epilog="Example: reasoner cases list --cases ~/shop")
@cases_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def cases_list_command(cases_dir: str | None, as_json: bool) -> None:
    """List the cases: name, when opened, how each stands, vehicle. Damaged ones are listed with what is wrong."""
    with caseroom.refusing():
        folder, why = caseroom.folder_in_use(cases_dir)
        found = read_query(folder)
    if not as_json:
        say(f"Cases in {folder} ({why}):", err=True)
    print_rows(found, folder, as_json)
    if not found:
        say("none yet; `reasoner diagnose` starts one", err=True)
    if any(row.trouble for row in found):
        raise click.exceptions.Exit(exits.PROBLEMS)


def read_query(folder: Path) -> list[CaseRow]:
    """All the rows; a line that counts up where many files have to be read for the first time."""
    tell = sys.stderr.isatty()
    counted = 0

    def told(number: int, of: int) -> None:
        nonlocal counted
        counted += 1
        if tell and counted % 200 == 0:
            click.echo(f"\rreading the cases: {number} of {of}", nl=False, err=True)

    found = case_rows(folder, told)
    if tell and counted >= 200:
        click.echo("\r" + " " * 50 + "\r", nl=False, err=True)
    return found


def print_rows(found: Sequence[CaseRow], folder: Path, as_json: bool) -> None:
    """A list of cases on standard output: one JSON object a line, or a table as wide as the terminal."""
    lines = []
    named = min(WIDEST_COLUMN, max((len(row.name) for row in found), default=0))
    state = min(WIDEST_COLUMN, max((len(row.state) for row in found), default=0))
    width = get_terminal_size().columns if sys.stdout.isatty() else None
    for row in map(inert_row, found):
        if as_json:
            lines.append(json.dumps(plain_row(row, folder)))
        elif row.trouble:
            say(f"{row.name}: damaged: {row.trouble}", err=True)
        else:
            lines.append(_cut(f"{row.name:<{named}}  {row.opened[:10]:<10}  {row.state:<{state}}  {row.title}", width))
    if as_json and lines:
        say("\n".join(lines))
    else:
        say_long(lines)


def _cut(line: str, width: int | None) -> str:
    """One line of a screen; whole where it goes elsewhere."""
    return line if width is None or len(line) <= width else line[: max(0, width - 3)] + "..."


def plain_row(row: CaseRow, folder: Path) -> dict[str, Any]:
    """A row as JSON has it."""
    said = asdict(row)
    name = said.pop("name")
    title = row.title
    vehicle = said.pop("vehicle")
    path = str(folder / (name + store.SUFFIX))
    return {"case": name, **said, "vehicle": title, "profile": vehicle, "path": path}


# ---- reasoner cases find ---------------------------------------------------------------------------------------------
# Cases by words, fault, vehicle, code and day.


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
def cases_find_command(
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
        folder, _ = caseroom.folder_in_use(cases_dir)
        found = read_query(folder)
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


# ---- reasoner cases show ---------------------------------------------------------------------------------------------
# A case told again.


@click.command(epilog="Example: reasoner cases show estate-hot-restart")
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@click.option("--all", "every", is_flag=True, help="Every answer on its own, those too that moved nothing.")
@click.option("--asked-again", is_flag=True, help="Also let today's rules choose the checks (takes some seconds).")
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def cases_show_command(
    case: str, cases_dir: str | None, rules_paths: tuple[Path, ...], every: bool, asked_again: bool, as_json: bool
) -> None:
    """Tell CASE: what was known, what was asked and seen in which condition, how the belief moved, what was said,
    done and proven, what it took, and what would have been quicker.

    The beliefs are those of today's rules; `cases replay` compares them with what was said then.
    """
    from reasoner.history.replay import replay
    from reasoner.history.story import story
    from reasoner.history.trace import vehicle_of
    from reasoner.report.cases_text import story_blocks
    from reasoner.session.chapters import Garage

    with caseroom.refusing():
        found = caseroom.one(cases_dir, case)
        vehicle = vehicle_of(found)
        garage = Garage(loading.rules(rules_paths))
        told = story(found, garage)
        again = replay(case, vehicle, found.events, garage, again=True)[0].asked_again if asked_again else None
    if as_json:
        say_json({**asdict(told), "asked_again": None if again is None else asdict(again)})
        return
    for note in found.notes:
        say(f"Note: {note}{'' if note.endswith('?') else '.'}", err=True)
    caseroom.show_blocks(story_blocks(told, caseroom.screen_shows_blocks(), again, every))


# ---- reasoner cases alike --------------------------------------------------------------------------------------------
# Solved cases that looked like this one.


@click.command(epilog="Example: reasoner cases alike estate-hot-restart --among cases")
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@click.option(
    "--among", type=click.Path(path_type=Path, file_okay=False, exists=True), metavar="DIR", help="Other solved cases."
)
@click.option("--most", type=click.IntRange(1, 50), default=5, show_default=True, help="How many are shown.")
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def cases_alike_command(
    case: str, cases_dir: str | None, rules_paths: tuple[Path, ...], among: Path | None, most: int, as_json: bool
) -> None:
    """Find the solved cases in which most of the same was seen as in CASE, and what they turned out to be.

    What is rare counts more than what everybody sees. Words of complaints and notes do not count, nor which cylinder.
    """
    with caseroom.refusing():
        folder, _ = caseroom.folder_in_use(cases_dir)
        mine = caseroom.one(cases_dir, case)
        garage = Garage(loading.rules(rules_paths))
        own = looks_of_case(mine, garage)
        where = among or folder
        paths = [path for path in caseroom.case_files(where, ()) if path.resolve() != mine.path.resolve()]
        damaged: list[str] = []
        found = most_alike(own, _sound(alike_together(where, paths), rules_paths, damaged), garage, most)
    for line in damaged:
        say(f"damaged, and left out: {line}", err=True)
    if as_json:
        say_json(found)
        return
    from reasoner.report.cases_text import alike_blocks

    caseroom.show_blocks(alike_blocks(found, caseroom.screen_shows_blocks()))


def _sound(paths: Sequence[Path], rules: tuple[Path, ...], damaged: list[str]) -> Any:
    for _path, found in workers.each(_looks, paths, [rules], title="comparing"):
        if isinstance(found, CasebookError):
            damaged.append(found.one_line)
        else:
            yield found


def _looks(case: Case, garages: Sequence[Garage], _: Any) -> CaseLooks:
    return looks_of_case(case, garages[0])
