"""`reasoner rules`: the rule base itself."""

from __future__ import annotations

import click

from reasoner.cli.lazy import LazyGroup

TABLE = {
    "check": ("rules_check", "Read the rules and say what is wrong with them."),
    "list": ("rules_list", "List the faults, checks, conditions and the rest by name."),
    "show": ("rules_show", "Show an entry: every value, where it is written, what it replaced."),
    "new": ("rules_new", "Write a commented skeleton of a fault or a check."),
    "graph": ("rules_export", "Print the rules as a graph: DOT, GraphML or JSON."),
    "schema": ("rules_export", "Print a JSON Schema of rule files, for editors."),
    "trial": ("rules_trial", "Try the rules on virtual cars: how often right, how sure, how long."),
    "tables": ("rules_export", "Print the tables that rules and a vehicle make, as JSON."),
}


@click.group(cls=LazyGroup, table=TABLE, epilog="Example: reasoner rules check --rules my-rules")
def command() -> None:
    """Look at the rules, check them, and add your own."""
