"""The command line: `reasoner`."""

from __future__ import annotations

import gc
import os
import sys

import click

from reasoner import __version__
from reasoner.cli import exits
from reasoner.cli.lazy import LazyGroup

# New objects between two runs of the collector. Reading rules makes a hundred thousand that all stay: with the usual
# 700, looking through them again and again takes a tenth of the time to the first question and frees nothing.
YOUNG = 50_000

TABLE = {
    "diagnose": ("diagnose", "Find the cause: start a case, or go on with one."),
    "demo": ("demo", "See an invented shop's case played through the real loop."),
    "decide": ("decide", "What to replace: the choices with their costs, and what they hang on."),
    "sheet": ("sheet", "The repair sheet: cautions, steps, blanks, what was checked off."),
    "prove": ("prove", "What must be seen before a repair counts as proven, and what is missing."),
    "cases": ("cases", "List the cases."),
    "measure": ("measure", "Work out what readings say: trims, gases, pressures, raw replies."),
    "rules": ("rules", "Look at the rules, check them, and add your own."),
}


@click.group(
    cls=LazyGroup,
    table=TABLE,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: reasoner diagnose --vehicle estate.yaml",
)
@click.version_option(__version__, prog_name="reasoner")
def cli() -> None:
    """Finds the cause of a rich mixture that comes and goes on a petrol car.

    Asks one thing at a time: what to check next, in which operating condition, and when to stop. It supports a
    technician's work and replaces neither the maker's data nor local rules nor a qualified person.
    """


def main() -> None:
    """Run, and turn every way of ending into a status with a name. A fault of ours leaves a report to send, never
    a traceback on the screen."""
    gc.set_threshold(YOUNG)
    try:
        status = cli.main(standalone_mode=False)
        sys.stdout.flush()
    except click.exceptions.Abort:
        click.echo(err=True)
        status = exits.INTERRUPTED
    except KeyboardInterrupt:
        status = exits.INTERRUPTED
    except click.ClickException as error:
        error.show()
        status = error.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nobody reads any more: end quietly
        status = exits.FINE
    except Exception as error:
        from reasoner.cli.crash import report

        click.echo(report(error), err=True)
        status = exits.OURS
    sys.exit(status if isinstance(status, int) else exits.FINE)
