"""`reasoner rules new`: a skeleton of a fault or a check."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.casebook.writing import write_new
from reasoner.cli import exits
from reasoner.cli.kinds import Choice
from reasoner.cli.say import say


@click.command(epilog="Example: reasoner rules new fault purge-hose-split --to my-rules/purge-hose.yaml")
@click.argument("kind", type=Choice(["fault", "check"]))
@click.argument("name", required=False)
@click.option(
    "--to", type=click.Path(path_type=Path), metavar="FILE", help="Write it to this file, which must not be there."
)
def command(kind: str, name: str | None, to: Path | None) -> None:
    """Write a commented skeleton of a fault or a check, to be filled in.

    Until something is written for every REPLACE ME in it, the rules are refused.
    """
    from reasoner.rulebook.fields import NAME, REPLACE
    from reasoner.rulebook.schema import skeleton

    if name is not None and not NAME.fullmatch(name):
        raise click.UsageError(f'"{name}" cannot be a name: lower case letters, digits and dashes, a letter first.')
    text = skeleton(kind, name or REPLACE)
    if to is None:
        say(text, nl=False)
        return
    if to.exists():
        say(f"Error: {to} is there already; nothing was written. Choose another name.", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        write_new(to, text.encode())
    except OSError as error:
        say(f"Error: {to} cannot be written: {(error.strerror or str(error)).lower()}.", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS) from None
    say(f"{to} is written. Fill it in, then: reasoner rules check --rules {to}")
