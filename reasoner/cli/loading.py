"""Rules and vehicles from disk, or one clear message and a status with a name."""

from __future__ import annotations

import os
import shlex
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from reasoner.cli import exits, shop
from reasoner.cli.say import say
from reasoner.network.vehicle import Vehicle, read_vehicle, vehicle_from
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Notebook, Problem, problem_text
from reasoner.rulebook.read import gather

ONLY_RULES = "only rules"
RULES_NAMED = "rules options"


def _only(ctx: click.Context, _: click.Parameter, value: bool) -> None:
    ctx.meta[ONLY_RULES] = value


def _layers(ctx: click.Context, _: click.Parameter, value: tuple[Path, ...]) -> tuple[Path, ...]:
    only = bool(ctx.meta.get(ONLY_RULES))
    if only and not value:
        raise click.UsageError("--only-rules leaves no rules: name some with --rules.", ctx)
    ctx.meta[RULES_NAMED] = [
        *(["--only-rules"] if only else []),
        *(f"--rules {shlex.quote(str(path))}" for path in value),
    ]
    return shop.layers(value, only, os.environ)


def options_again(cases_dir: str | None) -> list[str]:
    """The options about cases and rules as they were given, which the next command on the same case needs too."""
    named: list[str] = click.get_current_context().meta.get(RULES_NAMED, [])
    return [*([f"--cases {shlex.quote(cases_dir)}"] if cases_dir else []), *named]


def rules_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """--rules and --only-rules, as `rules_paths`: all the rules to use, the lowest first."""
    only = click.option(
        "--only-rules",
        is_flag=True,
        is_eager=True,
        expose_value=False,
        callback=_only,
        help="Use nothing but what --rules names: neither the shipped rules nor those of your default place.",
    )
    named = click.option(
        "--rules",
        "rules_paths",
        multiple=True,
        type=click.Path(path_type=Path),
        metavar="DIR",
        callback=_layers,
        help="Lay the rules in this folder (or file) over the shipped ones; more than once: the last on top.",
    )
    return named(only(command))


vehicle_option = click.option(
    "--vehicle",
    "vehicle_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The vehicle, from a YAML file (see `reasoner diagnose --vehicle-example`).",
)


def read_layers(layers: Sequence[Path], notes: Notebook) -> Rulebook | None:
    """The rules of these layers, the lowest first; mistakes, and the text of every file, go to `notes`.

    Shipped files are shown as `rules/NAME.yaml`, the shop's as they were named.
    """
    lowest, *over = layers
    book = gather([lowest], shop.shipped_folder("rules").parent, over, notes)
    return None if notes.problems else book


def rules(layers: Sequence[Path]) -> Rulebook:
    """The rules, or every mistake in them on standard error and the status for unusable rules."""
    notes = Notebook()
    book = read_layers(layers or shop.layers((), False, os.environ), notes)
    if book is not None:
        return book
    report_problems(notes.problems)
    say(f"Error: the rules have {count_mistakes(notes.problems)}; none of them is used.", err=True)
    raise click.exceptions.Exit(exits.RULES)


def vehicle(path: Path | None) -> Vehicle:
    """The vehicle of a file; without one, an inline four with direct injection and an air-mass meter."""
    if path is None:
        found, _ = vehicle_from({})
        assert found is not None
        return found
    found, problems = read_vehicle(path)
    if found is None:
        report_problems(problems)
        raise click.exceptions.Exit(exits.PROBLEMS)
    return found


def report_problems(problems: Sequence[Problem]) -> None:
    """Every mistake on standard error, with its line marked and what would mend it."""
    for problem in problems:
        say(problem_text(problem) + "\n", err=True)


def count_mistakes(problems: Sequence[Problem], one: str = "mistake") -> str:
    """`one mistake`, `3 mistakes`."""
    return f"one {one}" if len(problems) == 1 else f"{len(problems)} {one}s"
