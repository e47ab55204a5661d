"""A click group that knows its commands by name and one line each, and loads one only when it is run.

`reasoner --help` and completion therefore import neither numpy nor networkx nor the rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

import click


class LazyGroup(click.Group):
    """table: command -> (module under reasoner.cli, one line of help). The module has a click command `command`."""

    def __init__(self, *args: object, table: Mapping[str, tuple[str, str]], **options: object) -> None:
        super().__init__(*args, **options)  # type: ignore[arg-type]
        self.table = table

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.table:
            return None
        command: click.Command = import_module(f"reasoner.cli.{self.table[cmd_name][0]}").command
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
