"""`reasoner cases list`: all cases in a table."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from shutil import get_terminal_size
from typing import Any

import click

from reasoner.casebook import store
from reasoner.casebook.index import Row, rows, shown
from reasoner.cli import caseroom, exits
from reasoner.cli.options import cases_option
from reasoner.cli.say import say, say_long

LONGEST = 32  # characters up to which a column is made as wide as its longest text


@click.command(epilog="Example: reasoner cases list --cases ~/shop")
@cases_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(cases_dir: str | None, as_json: bool) -> None:
    """List the cases: name, when opened, how each stands, vehicle. Damaged ones are listed with what is wrong."""
    with caseroom.refusing():
        folder, why = caseroom.folder(cases_dir)
        found = read(folder)
    if not as_json:
        say(f"Cases in {folder} ({why}):", err=True)
    print_rows(found, folder, as_json)
    if not found:
        say("none yet; `reasoner diagnose` starts one", err=True)
    if any(row.trouble for row in found):
        raise click.exceptions.Exit(exits.PROBLEMS)


def read(folder: Path) -> list[Row]:
    """All the rows; a line that counts up where many files have to be read for the first time."""
    tell = sys.stderr.isatty()
    counted = 0

    def told(number: int, of: int) -> None:
        nonlocal counted
        counted += 1
        if tell and counted % 200 == 0:
            click.echo(f"\rreading the cases: {number} of {of}", nl=False, err=True)

    found = rows(folder, told)
    if tell and counted >= 200:
        click.echo("\r" + " " * 50 + "\r", nl=False, err=True)
    return found


def print_rows(found: Sequence[Row], folder: Path, as_json: bool) -> None:
    lines = []
    named = min(LONGEST, max((len(row.name) for row in found), default=0))
    state = min(LONGEST, max((len(row.state) for row in found), default=0))
    width = get_terminal_size().columns if sys.stdout.isatty() else None
    for row in map(shown, found):
        if as_json:
            lines.append(json.dumps(plain(row, folder)))
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


def plain(row: Row, folder: Path) -> dict[str, Any]:
    """A row as JSON has it."""
    said = asdict(row)
    name = said.pop("name")
    title = row.title
    vehicle = said.pop("vehicle")
    path = str(folder / (name + store.SUFFIX))
    return {"case": name, **said, "vehicle": title, "profile": vehicle, "path": path}
