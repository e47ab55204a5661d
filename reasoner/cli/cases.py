"""`reasoner cases`."""

from __future__ import annotations

import json
import os
from typing import Any

import click

from reasoner.casebook import store
from reasoner.casebook.store import Entry
from reasoner.casebook.trouble import CasebookError, visible
from reasoner.cli import exits, keeper
from reasoner.cli.options import cases_option


@click.command(epilog="Example: reasoner cases --cases ~/shop")
@cases_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(cases_dir: str | None, as_json: bool) -> None:
    """List the cases: name, when opened, vehicle, how each stands. Damaged ones are listed with what is wrong."""
    try:
        folder, why = store.folder(cases_dir, os.environ)
        found = store.entries(folder)
    except CasebookError as error:
        raise keeper.refuse(error) from None
    if as_json:
        for entry in found:
            click.echo(json.dumps(_row(entry)))
    else:
        click.echo(f"Cases in {folder} ({why}):", err=True)
        for entry in found:
            row = _row(entry)
            if entry.trouble:
                click.echo(f"{row['case']}: damaged: {entry.trouble}", err=True)
            else:
                click.echo(f"{row['case']:<24} {row['opened'][:10]}  {row['state']:<10} {row['vehicle']}")
        if not found:
            click.echo("none yet; `reasoner diagnose` starts one", err=True)
    if any(entry.trouble for entry in found):
        raise click.exceptions.Exit(exits.PROBLEMS)


def _row(entry: Entry) -> dict[str, Any]:
    head = entry.head
    vehicle = head.get("vehicle")
    fields = vehicle if isinstance(vehicle, dict) else {}
    title = str(fields.get("name") or fields.get("layout") or "")
    return {
        "case": visible(entry.name, 60),
        "opened": visible(str(head.get("opened", "")), 40),
        "state": "damaged" if entry.trouble else _state(entry),
        "vehicle": visible(title, 60),
        "path": str(entry.path),
        "trouble": entry.trouble,
    }


def _state(entry: Entry) -> str:
    """open, concluded (a verdict was the last word), or how it was closed; read off the last events."""
    for event in reversed(entry.latest):
        kind = event.get("event")
        if kind == "closed":
            return visible(str(event.get("state", "closed")), 20)
        if kind == "verdict":
            return "settled" if event.get("kind") == "settled" else "open"
        if kind not in ("stop", "rules", "note"):
            return "open"
    return "open"
