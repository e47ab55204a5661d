"""`reasoner rules`: the rule base itself."""

from __future__ import annotations

import click

from reasoner.cli.lazy import LazyGroup

TABLE = {
    "check": ("rules_check", "Read the rules and say every mistake in them."),
    "tables": ("rules_tables", "Print the tables that rules and a vehicle make, as JSON."),
}


@click.group(cls=LazyGroup, table=TABLE, epilog="Example: reasoner rules check --rules my-rules")
def command() -> None:
    """Check the rules, or print the tables they make."""
