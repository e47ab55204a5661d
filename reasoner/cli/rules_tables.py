"""`reasoner rules tables`."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.cli import loading
from reasoner.cli.say import say, say_json
from reasoner.network.tables import compile_tables
from reasoner.session.tables_doc import document


@click.command(epilog="Example: reasoner rules tables --vehicle estate.yaml --json > tables.json")
@loading.rules_option
@loading.vehicle_option
@click.option("--json", "as_json", is_flag=True, help="The whole tables as one JSON document (else a summary).")
def command(rules_paths: tuple[Path, ...], vehicle_path: Path | None, as_json: bool) -> None:
    """Print the tables that rules and a vehicle make.

    They hold every cause with its prior and place, how often it shows in each condition, and every check's outcome
    probabilities by cause, while the fault shows and while it is quiet: enough to recompute any belief
    (rules/README.md, Recomputing a belief).
    """
    book = loading.rules(rules_paths)
    tables = compile_tables(book, loading.vehicle(vehicle_path))
    if as_json:
        say_json(document(tables, book))
        return
    what = f"{len(tables.causes)} causes of {len(tables.faults)} faults, {len(tables.checks)} checks"
    say(f"{tables.vehicle.title}: {what}")
    for i in sorted(range(len(tables.causes)), key=lambda i: -tables.prior[i])[:20]:
        say(f"  {100 * tables.prior[i]:5.1f} %  {tables.causes[i].name}")
