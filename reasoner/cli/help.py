"""`reasoner help` and `reasoner completion`: how a command is used, and names completed by the shell."""

from __future__ import annotations

import os
from pathlib import Path

import click

from reasoner.cli import exits
from reasoner.cli.kinds import NearChoice
from reasoner.cli.say import say

# ---- reasoner help ---------------------------------------------------------------------------------------------------


@click.command(epilog="Example: reasoner help cases find")
@click.argument("words", nargs=-1, metavar="[COMMAND]...")
@click.pass_context
def help_command(ctx: click.Context, words: tuple[str, ...]) -> None:
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


# ---- reasoner completion ---------------------------------------------------------------------------------------------
# Names of commands, options, cases, rules and conditions, completed by the shell.

# Where each shell looks by itself, below the home folder: bash-completion 2 (its README, "Where should I put it"),
# fish (documentation, "Where to put completions"). zsh has no such folder: ~/.zfunc has to be on its fpath.
PLACES = {
    "bash": ".local/share/bash-completion/completions/reasoner",
    "fish": ".config/fish/completions/reasoner.fish",
    "zsh": ".zfunc/_reasoner",
}


@click.command(epilog="Example: reasoner completion bash --install")
@click.argument("shell", type=NearChoice(sorted(PLACES)))
@click.option("--install", is_flag=True, help="Write it where the shell looks for it, instead of printing it.")
@click.pass_context
def completion_command(ctx: click.Context, shell: str, install: bool) -> None:
    """Print what makes SHELL complete commands, options, names of cases, rules and conditions; or install it."""
    from click.shell_completion import get_completion_class

    kind = get_completion_class(shell)
    assert kind is not None
    root = ctx.find_root()
    text = kind(root.command, {}, "reasoner", "_REASONER_COMPLETE").source()
    if not install:
        say(text)
        return
    from reasoner.casebook.writing import write_whole

    path = Path(os.path.expanduser("~")) / PLACES[shell]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text + "\n")
    except OSError as error:
        say(f"Error: {path} cannot be written: {(error.strerror or str(error)).lower()}.", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS) from None
    say(f"Written to {path}. It works in the next shell.")
    if shell == "zsh":
        say("If it does not: put `fpath+=~/.zfunc; autoload -Uz compinit; compinit` in ~/.zshrc.")
