"""The command line: `reasoner` and its groups, each command loaded only when it is run."""

from __future__ import annotations

import errno
import gc
import io
import os
import signal
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Any

import click

from reasoner import __version__
from reasoner.cli import exits
from reasoner.cli.kinds import cases_option
from reasoner.cli.say import say

# ---- A click group that knows its commands by name and one line each, and loads one only when it is run --------------
# `reasoner --help` and completion therefore import neither numpy nor networkx nor the rules.


@contextmanager
def _ending_unread() -> Iterator[None]:
    """Nobody reads standard output any more: end quietly, with a status that says so (click's own is 1)."""
    try:
        yield
    except BrokenPipeError:
        let_go()
        raise click.exceptions.Exit(exits.UNREAD) from None


def let_go() -> None:
    """What standard output still holds must not raise at exit."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


class LazyGroup(click.Group):
    """table: command -> (module under reasoner.cli and the name in it, one line of help). What has the name is a click
    command, or a function that makes one by the command's name."""

    def __init__(self, *args: object, table: Mapping[str, tuple[str, str]], **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        self.table = table

    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        with _ending_unread():
            return super().make_context(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        with _ending_unread():
            return super().invoke(ctx)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.table:
            return None
        module, _, name = self.table[cmd_name][0].partition(":")
        found = getattr(import_module(f"reasoner.cli.{module}"), name)
        command: click.Command = found if isinstance(found, click.Command) else found(cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in self.table.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            from difflib import get_close_matches

            near = get_close_matches(args[0], self.table, 1) if args else []
            if near and "did you mean" not in error.format_message().lower():  # newer click says so itself
                raise click.UsageError(f"{error.format_message()} Did you mean '{near[0]}'?", ctx) from None
            raise


# ---- reasoner cases --------------------------------------------------------------------------------------------------
# What the shop has kept.

CASES_COMMANDS = {
    "list": ("cases_look:cases_list_command", "List the cases (as `cases` alone does)."),
    "find": ("cases_look:cases_find_command", "Find cases by words, state, fault, vehicle, code or date."),
    "show": (
        "cases_look:cases_show_command",
        "Tell a case: what was asked and seen, how the belief moved, how it ended.",
    ),
    "alike": ("cases_look:cases_alike_command", "Find the solved cases that looked most like one, and what they were."),
    "replay": (
        "cases_judge:cases_replay_command",
        "See what today's rules, or changed ones, make of recorded answers.",
    ),
    "review": (
        "cases_judge:cases_review_command",
        "Look over all closed cases: how often right, how sure, what misled.",
    ),
    "learn": ("cases_judge:cases_learn_command", "Propose better numbers for the rules from closed cases."),
    "import": ("cases_import:cases_import_command", "Make cases from a table: CSV, or a YAML list."),
    "correct": ("cases_change:cases_correct_command", "Put an answer or the vehicle right, with the reason."),
    "close": ("cases_change:cases_close_command", "Close a case: what it was, and how firmly that is known."),
    "anonymise": ("cases_change:cases_anonymise_command", "Write a copy of a case that can be given away."),
}


@click.group(
    cls=LazyGroup,
    table=CASES_COMMANDS,
    invoke_without_command=True,
    epilog="Example: reasoner cases find --fault injector",
)
@cases_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def cases_command(ctx: click.Context, cases_dir: str | None, as_json: bool) -> None:
    """The cases: list them, find one, look at it again, and learn from them.

    Alone: lists them, by name, when opened, how each stands, vehicle. Damaged ones are listed with what is wrong.
    """
    if ctx.invoked_subcommand is None:
        from reasoner.cli import cases_look

        ctx.invoke(cases_look.cases_list_command, cases_dir=cases_dir, as_json=as_json)


# ---- reasoner measure ------------------------------------------------------------------------------------------------
# What numbers say, outside a case.

MEASURE_COMMANDS = {
    "trims": (
        "measure_typed:typed_command",
        "Trims over airflow: a steady leak, too much at each injection, or a wrong scale.",
    ),
    "air": (
        "measure_typed:typed_command",
        "Airflow against what the engine can swallow; sensors against each other at rest.",
    ),
    "gas": ("measure_typed:typed_command", "Lambda from the four gases, against the trim and the sensor."),
    "hold": ("measure_typed:typed_command", "Pressure hold, high or low side: what leaks, and what of it is cooling."),
    "rail": ("measure_typed:typed_command", "Rail pressure against its target, and its sensor at rest."),
    "cylinders": ("measure_typed:typed_command", "One cylinder against the others: misfires, balance, plugs, bench."),
    "oil": ("measure_typed:typed_command", "Petrol in the oil, and the trim that it makes."),
    "purge": ("measure_typed:typed_command", "What vapour from the tank does to the trim."),
    "fuel": (
        "measure_typed:typed_command",
        "Ethanol in the fuel: stoichiometric ratio, and the trim if the ECU is wrong.",
    ),
    "flow": ("measure_typed:typed_command", "An injector at another pressure, and the trim that it makes."),
    "log": (
        "measure_log:measure_log_command",
        "A log of a drive: when it was rich, when not, and what kind of error it is.",
    ),
    "columns": (
        "measure_log:measure_columns_command",
        "Propose what the columns of a log are, to be kept as a mapping.",
    ),
    "replies": (
        "measure_replies:measure_replies_command",
        "Raw replies of the standard services as codes, readiness and values.",
    ),
}


@click.group(
    cls=LazyGroup,
    table=MEASURE_COMMANDS,
    epilog='Example: reasoner measure flow --rated-pressure 300 --pressure "58 psi"',
)
def measure_command() -> None:
    """Work out what readings mean. Numbers are typed with their unit, metric or imperial: 3.1 g/s, 58 psi, 185 F.

    4 +- 1 means between 3 and 5, in 19 cases of 20.
    """


# ---- reasoner rules --------------------------------------------------------------------------------------------------
# The rule base itself.

RULES_COMMANDS = {
    "check": ("rules_check:rules_check_command", "Read the rules and say what is wrong with them."),
    "list": ("rules_look:rules_list_command", "List the faults, checks, conditions and the rest by name."),
    "show": ("rules_look:rules_show_command", "Show an entry: every value, where it is written, what it replaced."),
    "new": ("rules_look:rules_new_command", "Write a commented skeleton of a fault or a check."),
    "graph": ("rules_look:rules_graph_command", "Print the rules as a graph: DOT, GraphML or JSON."),
    "schema": ("rules_look:rules_schema_command", "Print a JSON Schema of rule files, for editors."),
    "trial": ("rules_trial:rules_trial_command", "Try the rules on virtual cars: how often right, how sure, how long."),
    "tables": ("rules_look:rules_tables_command", "Print the tables that rules and a vehicle make, as JSON."),
}


@click.group(cls=LazyGroup, table=RULES_COMMANDS, epilog="Example: reasoner rules check --rules my-rules")
def rules_command() -> None:
    """Look at the rules, check them, and add your own."""


# ---- The command line ------------------------------------------------------------------------------------------------
# Reasoner.

# New objects between two runs of the collector. Reading rules makes a hundred thousand that all stay: with the usual
# 700, looking through them again and again takes a tenth of the time to the first question and frees nothing.
YOUNG = 50_000
DISK_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}

COMMANDS = {
    "diagnose": ("diagnose:diagnose_command", "Find the cause: start a case, or go on with one."),
    "demo": ("demo:demo_command", "See an invented shop's case played through the real loop."),
    "decide": ("decide:decide_command", "What to replace: the choices with their costs, and what they hang on."),
    "sheet": ("sheet:sheet_command", "The repair sheet: cautions, steps, blanks, what was checked off."),
    "prove": ("prove:prove_command", "What must be seen before a repair counts as proven, and what is missing."),
    "report": ("report:report_command", "A case as one page, for the customer and the file."),
    "cases": ("main:cases_command", "List the cases."),
    "settings": ("settings:settings_command", "Show the shop's settings: tools, usual car, prices, and where from."),
    "measure": ("main:measure_command", "Work out what readings say: trims, gases, pressures, raw replies."),
    "rules": ("main:rules_command", "Look at the rules, check them, and add your own."),
    "completion": ("help:completion_command", "Let the shell complete commands, cases and rules."),
    "help": ("help:help_command", "How a command is used."),
}


@click.group(
    cls=LazyGroup,
    table=COMMANDS,
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
        if error.errno not in DISK_FULL:
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
    from reasoner.cli.say import crash_report

    say(crash_report(error), err=True)
    return exits.OURS
