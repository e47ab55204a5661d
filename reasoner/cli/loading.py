"""Rules and vehicles from disk, or one clear message and a status with a name."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from reasoner.cli import exits, shipped
from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.network.vehicle_file import read_vehicle
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Problem, RulesRefused, show
from reasoner.rulebook.read import read_rules

rules_option = click.option(
    "--rules",
    "rules_paths",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Use the rules in this folder (or file) instead of the shipped ones; may be given more than once.",
)
vehicle_option = click.option(
    "--vehicle",
    "vehicle_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The vehicle, from a YAML file (see `reasoner diagnose --vehicle-example`).",
)


def rules(paths: Sequence[Path]) -> Rulebook:
    """The rules, or every mistake in them on standard error and the status for unusable rules."""
    try:
        return read_rules(list(paths) or [shipped.folder("rules")])
    except RulesRefused as refused:
        report(refused.problems)
        click.echo(f"Error: the rules have {count(refused.problems)}; none of them is used.", err=True)
        raise click.exceptions.Exit(exits.RULES) from None


def vehicle(path: Path | None) -> Vehicle:
    """The vehicle of a file; without one, an inline four with direct injection and an airflow meter."""
    if path is None:
        found, _ = vehicle_from({})
        assert found is not None
        return found
    found, problems = read_vehicle(path)
    if found is None:
        report(problems)
        raise click.exceptions.Exit(exits.PROBLEMS)
    return found


def report(problems: Sequence[Problem]) -> None:
    for problem in problems:
        click.echo(show(problem) + "\n", err=True)


def count(problems: Sequence[Problem]) -> str:
    return "one mistake" if len(problems) == 1 else f"{len(problems)} mistakes"
