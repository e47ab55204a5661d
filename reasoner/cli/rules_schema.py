"""`reasoner rules schema`."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.cli import loading
from reasoner.cli.say import say_json


@click.command(epilog="Example: reasoner rules schema > rules.schema.json")
@loading.rules_option
@click.option("--whole", is_flag=True, help="For rules that stand alone: every entry must say all it needs.")
def command(rules_paths: tuple[Path, ...], whole: bool) -> None:
    """Print a JSON Schema of rule files, for an editor that completes and checks YAML by one.

    It is for files that lie over the rules at hand: it knows their names, and an entry of a known name may say only
    what it changes. `reasoner rules check` knows more than any schema.
    """
    from reasoner.rulebook.fields import ONE
    from reasoner.rulebook.schema import schema

    book = None if whole else loading.rules(rules_paths)
    known = None if book is None else {section: getattr(book, section).keys() for section in ONE}
    say_json(schema(known), indent=1)
