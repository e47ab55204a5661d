"""A shop's prices from a file, or the rules' usual ones."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.cli import exits, loading
from reasoner.repair.prices import Prices, prices_of, usual
from reasoner.rulebook.located import load
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Notebook

prices_option = click.option(
    "--prices",
    "prices_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="What the shop pays and charges, from a YAML file (see `reasoner decide --prices-example`).",
)


def shop_prices(path: Path | None, book: Rulebook) -> Prices:
    """The prices of a file over the usual ones; every mistake in it on standard error, and the status for that."""
    if path is None:
        return usual(book)
    notes = Notebook()
    content = load(path, str(path), notes)
    found, problems = (None, notes.problems) if content is None else prices_of(content, str(path), book)
    if found is None:
        loading.report(problems)
        raise click.exceptions.Exit(exits.PROBLEMS)
    return found
