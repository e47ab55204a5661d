"""`reasoner rules check`."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.cli import exits, loading
from reasoner.rulebook.problem import Notebook


@click.command(epilog="Example: reasoner rules check --rules my-rules")
@loading.rules_option
def command(rules_paths: tuple[Path, ...]) -> None:
    """Read the rules and say every mistake in them: place, line, what was expected, what would mend it.

    Ends with status 0 only if rules were found and nothing is wrong with them.
    """
    notes = Notebook()
    book = loading.read(rules_paths, notes)
    loading.report(notes.problems)
    if book is None:
        click.echo(f"Error: {loading.count(notes.problems)}.", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    click.echo(
        f"{len(book.files)} files: {len(book.faults)} faults, {len(book.checks)} checks, {len(book.conditions)} conditions, "
        f"{len(book.cautions)} cautions, {len(book.repairs)} repairs, {len(book.codes)} codes, "
        f"{len(book.sources)} sources. No mistakes."
    )
