"""`reasoner cases anonymise`: a copy of a case that can be given away."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.casebook import casefile, journal, store
from reasoner.casebook.anonymising import anonymous
from reasoner.casebook.shape import sound
from reasoner.cli import caseroom
from reasoner.cli.kinds import CASE
from reasoner.cli.options import cases_option
from reasoner.cli.say import say, say_json


@click.command(epilog="Example: reasoner cases anonymise estate-hot-restart --to copies/estate.yaml")
@click.argument("case", type=CASE)
@cases_option
@click.option(
    "--to", type=click.Path(path_type=Path), required=True, metavar="FILE", help="The file to write; a new one."
)
@click.option(
    "--keep-words", is_flag=True, help="Keep complaint, reasons and confirmation, for you to read over first."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def command(case: str, cases_dir: str | None, to: Path, keep_words: bool, as_json: bool) -> None:
    """Write a copy of CASE that can be given away: what was seen, done and found, and nothing of who and when.

    The vehicle's name, notes, readings, values of parts and all free text go; times are moved to one fixed day, and
    distance is rounded. What was left out is counted, so that nothing goes or stays unseen.
    """
    with caseroom.refusing():
        path = store.find(caseroom.folder(cases_dir)[0], case)
        found = casefile.load(path)
        sound(found)
        name = store.safe_name(to.name)
        done = anonymous(found, name, keep_words)
        journal.create(to.with_name(name + store.SUFFIX), done.head, done.events).close()
    if as_json:
        say_json({"file": str(to.with_name(name + store.SUFFIX)), "left_out": dict(done.dropped)})
        return
    say(f"Written to {to.with_name(name + store.SUFFIX)}.")
    for what, count in done.dropped.items():
        say(f"  left out: {what}" + (f" ({count} times)" if count > 1 else ""))
    if keep_words:
        say("Its words were kept: read them before you give it away. Names in them are not known to the program.")
