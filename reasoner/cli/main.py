"""The command line: `reasoner`."""

from __future__ import annotations

import errno
import gc
import io
import signal
import sys

import click

from reasoner import __version__
from reasoner.cli import exits
from reasoner.cli.lazy import LazyGroup, let_go
from reasoner.cli.say import say

# New objects between two runs of the collector. Reading rules makes a hundred thousand that all stay: with the usual
# 700, looking through them again and again takes a tenth of the time to the first question and frees nothing.
YOUNG = 50_000
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}

TABLE = {
    "diagnose": ("diagnose", "Find the cause: start a case, or go on with one."),
    "demo": ("demo", "See an invented shop's case played through the real loop."),
    "decide": ("decide", "What to replace: the choices with their costs, and what they hang on."),
    "sheet": ("sheet", "The repair sheet: cautions, steps, blanks, what was checked off."),
    "prove": ("prove", "What must be seen before a repair counts as proven, and what is missing."),
    "report": ("report", "A case as one page, for the customer and the file."),
    "cases": ("cases", "List the cases."),
    "settings": ("settings", "Show the shop's settings: tools, usual car, prices, and where from."),
    "measure": ("measure", "Work out what readings say: trims, gases, pressures, raw replies."),
    "rules": ("rules", "Look at the rules, check them, and add your own."),
    "completion": ("completion", "Let the shell complete commands, cases and rules."),
    "help": ("help", "How a command is used."),
}


@click.group(
    cls=LazyGroup,
    table=TABLE,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: reasoner diagnose --vehicle estate.yaml",
)
@click.version_option(__version__, "-V", "--version", prog_name="reasoner")
def cli() -> None:
    """Finds the cause of a rich mixture that comes and goes on a petrol car.

    Asks one thing at a time: what to check next, in which operating condition, and when to stop. It supports a
    technician's work and replaces neither the maker's data nor local rules nor a qualified person.
    """


def main() -> None:
    """Run, and turn every way of ending into a status with a name. A fault of ours leaves a report to send, never
    a traceback on the screen."""
    gc.set_threshold(YOUNG)
    heard = _interrupts()
    try:
        status = cli.main(standalone_mode=False)
        sys.stdout.flush()
    except click.exceptions.Abort:
        say(err=True)
        status = exits.INTERRUPTED
    except KeyboardInterrupt:
        status = exits.INTERRUPTED
    except click.ClickException as error:
        said = io.StringIO()
        error.show(said)  # it may quote what was typed
        say(said.getvalue(), err=True, nl=False)
        status = error.exit_code
    except BrokenPipeError:  # of the flush; of all else in `LazyGroup`
        let_go()
        status = exits.UNREAD
    except OSError as error:
        # Files are written by code that says what is wrong with them; what comes up to here is standard output.
        if error.errno not in FULL:
            status = _ours(error)
        else:
            let_go()
            say("Error: what was asked for cannot be written out: the disk is full. All answers are kept.", err=True)
            status = exits.OUTPUT
    except Exception as error:
        status = _ours(error)
    if heard and not status:  # Python drops what is raised in some places (hooks, finalizers)
        status = exits.INTERRUPTED
    sys.exit(status if isinstance(status, int) else exits.FINE)


def _interrupts() -> list[int]:
    """Every Ctrl-C from here on, besides being raised as usual; the question loop has its own way to hear them."""
    heard: list[int] = []

    def handler(number: int, frame: object) -> None:
        heard.append(number)
        raise KeyboardInterrupt

    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # else whoever started it wants it ignored
        signal.signal(signal.SIGINT, handler)
    return heard


def _ours(error: Exception) -> int:
    from reasoner.cli.crash import report

    say(report(error), err=True)
    return exits.OURS
