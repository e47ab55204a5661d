"""What the commands about cases share: the folder, a case by its name, where things are shown."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reasoner.casebook import store
from reasoner.casebook.shape import Case, load_sound
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import exits
from reasoner.cli.say import say
from reasoner.mistake import visible

if TYPE_CHECKING:
    from rich.console import RenderableType


def folder_in_use(cases_dir: str | None) -> tuple[Path, str]:
    """The folder of the cases and who said so; `reasoner cases --cases DIR show` says it too. Raises CasebookError."""
    ctx: click.Context | None = click.get_current_context(silent=True)
    while cases_dir is None and ctx is not None:
        cases_dir = ctx.params.get("cases_dir")
        ctx = ctx.parent
    return store.cases_folder(cases_dir, os.environ)


@contextmanager
def refusing() -> Iterator[None]:
    """What is wrong with a case, said in one message and a status with a name."""
    try:
        yield
    except CasebookError as error:
        say(f"Error: {error}", err=True)
        raise click.exceptions.Exit(exits.CASE_UNUSABLE) from None


def case_files(where: Path, names: Sequence[str]) -> list[Path]:
    """The files of cases by their names, or of folders of cases; all of the folder where none is named.

    Raises CasebookError.
    """
    if not names:
        return [where / (name + store.SUFFIX) for name in store.names(where)]
    found: list[Path] = []
    for name in names:
        if os.path.isdir(name) and ("/" in name or os.sep in name or not (where / (name + store.SUFFIX)).exists()):
            found += [Path(name) / (inside + store.SUFFIX) for inside in store.names(Path(name))]
        else:
            found.append(store.find_case(where, name))
            if not os.path.lexists(found[-1]):
                raise CasebookError(f'there is no case and no folder "{visible(name)}"', "see `reasoner cases list`")
    return list(dict.fromkeys(found))


def one(cases_dir: str | None, name: str) -> Case:
    """A case by its name. Raises CasebookError."""
    return load_sound(store.find_case(folder_in_use(cases_dir)[0], name))


def show_blocks(blocks: Sequence[RenderableType], err: bool = False) -> None:
    """Blocks on the screen, as wide as it is (at most 100), in colour where it may be."""
    from reasoner.terminal.console import Console

    console = Console.of_process(os.environ)
    for line in console.rendered(*blocks):
        click.echo(line, err=err)


def screen_shows_blocks() -> bool:
    """Whether what is shown may have block characters in it."""
    import sys

    from reasoner.report.lines import stream_shows_blocks

    return stream_shows_blocks(sys.stdout)
