"""Options that several commands share. Imports nothing but click."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

Command = Callable[..., Any]


def cases_option(command: Command) -> Command:
    """--cases DIR."""
    return click.option(
        "--cases",
        "cases_dir",
        metavar="DIR",
        help="Where the cases are kept (else REASONER_CASES, else your system's folder for data).",
    )(command)
