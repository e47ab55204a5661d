"""`reasoner rules graph`."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.cli import exits, loading
from reasoner.cli.say import say


@click.command(epilog="Example: reasoner rules graph --about purge-valve-leaks | dot -Tsvg > purge.svg")
@loading.rules_option
@loading.vehicle_option
@click.option("--format", "kind", type=click.Choice(["dot", "graphml", "json"]), default="dot", show_default=True)
@click.option("--about", metavar="NAME", default="", help="Only what is near the entry of this name.")
@click.option("--steps", type=click.IntRange(1, 9), default=1, show_default=True, help="How near, with --about.")
def command(rules_paths: tuple[Path, ...], vehicle_path: Path | None, kind: str, about: str, steps: int) -> None:
    """Print the rules as a graph: what can be wrong with a vehicle, what it acts as, what would show it.

    Nodes are causes, faults, families, checks with their outcomes, conditions, repairs, cautions and tools.
    """
    from reasoner.network.export import FORMATS, plain

    graph = plain(loading.rules(rules_paths), loading.vehicle(vehicle_path), about, steps)
    if not len(graph):
        say(f'Error: nothing called "{about}" applies to this vehicle; see `reasoner rules list`.', err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    say(FORMATS[kind](graph))
