"""`reasoner help`."""

from __future__ import annotations

import click


@click.command(epilog="Example: reasoner help cases find")
@click.argument("words", nargs=-1, metavar="[COMMAND]...")
@click.pass_context
def command(ctx: click.Context, words: tuple[str, ...]) -> None:
    """Say how a command is used; without one, what there is."""
    from reasoner.cli.say import say

    at = ctx.parent
    assert at is not None
    for word in words:
        group = at.command
        if not isinstance(group, click.Group):
            raise click.UsageError(f"{at.command_path} has no commands of its own.", at)
        name, found, _ = group.resolve_command(at, [word])
        assert found is not None
        at = click.Context(found, info_name=name, parent=at)
    say(at.get_help())
