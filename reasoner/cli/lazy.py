"""A click group that knows its commands by name and one line each, and loads one only when it is run.

`reasoner --help` and completion therefore import neither numpy nor networkx nor the rules.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Any

import click

from reasoner.cli import exits


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
    """table: command -> (module under reasoner.cli, one line of help). The module has a click command `command`, or a
    function `commands` that makes it by its name."""

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
        module = import_module(f"reasoner.cli.{self.table[cmd_name][0]}")
        command: click.Command = module.command if hasattr(module, "command") else module.commands(cmd_name)
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
