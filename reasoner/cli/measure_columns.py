"""`reasoner measure columns`: what the columns of a log are, proposed."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from reasoner.cli import exits
from reasoner.cli.measure_log import contents
from reasoner.cli.say import say


@click.command(epilog="Example: reasoner measure columns drive.csv > columns.yaml")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.csv")
def command(file: Path) -> None:
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
    say(proposed, nl=False)
