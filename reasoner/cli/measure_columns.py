"""`reasoner measure columns`: what the columns of a log are, proposed."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from reasoner.casebook import casefile
from reasoner.cli import exits
from reasoner.cli.measure_log import contents
from reasoner.cli.say import say, say_json


@click.command(epilog="Example: reasoner measure columns drive.csv > columns.yaml")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.csv")
@click.option("--json", "as_json", is_flag=True, help="The same mapping as one JSON document.")
def command(file: Path, as_json: bool) -> None:
    """Propose what the columns of a log are, as a mapping to be looked through once and kept.

    Put right what is wrong in it, then give it to `reasoner measure log --columns` with every log of that recorder.
    """
    from reasoner.report.log_text import no_log_text
    from reasoner.scanlog.mapping import propose
    from reasoner.scanlog.reading import NoLog

    proposed = propose(contents(file), file.name)
    if isinstance(proposed, NoLog):
        say(no_log_text(proposed, file.name, shutil.get_terminal_size().columns), err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    if as_json:
        say_json(casefile.read_plain(proposed))
        return
    say(proposed, nl=False)
