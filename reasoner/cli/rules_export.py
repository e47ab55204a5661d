"""`reasoner rules graph`, `schema` and `tables`: the rules in the forms of other programs."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.cli import exits, loading
from reasoner.cli.kinds import Choice
from reasoner.cli.say import say, say_json


@click.command(epilog="Example: reasoner rules graph --about purge-valve-leaks | dot -Tsvg > purge.svg")
@loading.rules_option
@loading.vehicle_option
@click.option("--format", "kind", type=Choice(["dot", "graphml", "json"]), default="dot", show_default=True)
@click.option("--about", metavar="NAME", default="", help="Only what is near the entry of this name.")
@click.option("--steps", type=click.IntRange(1, 9), default=1, show_default=True, help="How near, with --about.")
def graph(rules_paths: tuple[Path, ...], vehicle_path: Path | None, kind: str, about: str, steps: int) -> None:
    """Print the rules as a graph: what can be wrong with a vehicle, what it acts as, what would show it.

    Nodes are causes, faults, families, checks with their outcomes, conditions, repairs, cautions and tools.
    """
    from reasoner.network.export import FORMATS, plain

    graph = plain(loading.rules(rules_paths), loading.vehicle(vehicle_path), about, steps)
    if not len(graph):
        say(f'Error: nothing called "{about}" applies to this vehicle; see `reasoner rules list`.', err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    say(FORMATS[kind](graph))


@click.command(epilog="Example: reasoner rules schema > rules.schema.json")
@loading.rules_option
@click.option("--whole", is_flag=True, help="For rules that stand alone: every entry must say all it needs.")
def schema(rules_paths: tuple[Path, ...], whole: bool) -> None:
    """Print a JSON Schema of rule files, for an editor that completes and checks YAML by one.

    It is for files that lie over the rules at hand: it knows their names, and an entry of a known name may say only
    what it changes. `reasoner rules check` knows more than any schema.
    """
    from reasoner.rulebook.fields import ONE
    from reasoner.rulebook.schema import schema

    book = None if whole else loading.rules(rules_paths)
    known = None if book is None else {section: getattr(book, section).keys() for section in ONE}
    say_json(schema(known), indent=1)


@click.command(epilog="Example: reasoner rules tables --vehicle estate.yaml --json > tables.json")
@loading.rules_option
@loading.vehicle_option
@click.option("--json", "as_json", is_flag=True, help="The whole tables as one JSON document (else a summary).")
def tables(rules_paths: tuple[Path, ...], vehicle_path: Path | None, as_json: bool) -> None:
    """Print the tables that rules and a vehicle make.

    They hold every cause with its prior and place, how often it shows in each condition, and every check's outcome
    probabilities by cause, while the fault shows and while it is quiet: enough to recompute any belief
    (rules/README.md, Recomputing a belief).
    """
    from reasoner.network.tables import compile_tables
    from reasoner.session.tables_doc import document

    book = loading.rules(rules_paths)
    tables = compile_tables(book, loading.vehicle(vehicle_path))
    if as_json:
        say_json(document(tables, book))
        return
    what = f"{len(tables.causes)} causes of {len(tables.faults)} faults, {len(tables.checks)} checks"
    say(f"{tables.vehicle.title}: {what}")
    for i in sorted(range(len(tables.causes)), key=lambda i: -tables.prior[i])[:20]:
        say(f"  {100 * tables.prior[i]:5.1f} %  {tables.causes[i].name}")


COMMANDS = {"graph": graph, "schema": schema, "tables": tables}


def commands(name: str) -> click.Command:
    """The command of this name."""
    return COMMANDS[name]
