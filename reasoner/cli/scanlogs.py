"""Scan logs handed to a case: read off the disk here, understood in `session.logged`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

import click

from reasoner.cli import exits
from reasoner.cli.keeper import Keeper
from reasoner.cli.say import say
from reasoner.session import logged
from reasoner.session.acts import Refused
from reasoner.session.logged import Fetch

if TYPE_CHECKING:
    from reasoner.scanlog.reading import Columns


def fetcher(columns: Path | None) -> Fetch:
    """Reads logs; all with the same mapping of columns, if there is one."""

    def fetch(file: str) -> tuple[bytes, Columns | None]:
        return file_bytes(Path(file).expanduser()), None if columns is None else _mapping(columns)

    return fetch


def take_logs(kept: Keeper, files: Sequence[str], fetch: Fetch) -> None:
    """Take logs in unattended, and print what each says of the checks.

    What cannot be read is said in a line, and ends it; what was kept stays.
    """
    for file in files:
        try:
            content, columns = fetch(file)
            before = kept.workup
            log, *answers = logged.take_log(before, content, PurePath(file).name, columns)
            kept.keep([log, *answers])
            say(f"{log.step:3}  The log {log.file} answers:")
            for line in logged.understood(before, [log, *answers]):
                say(f"     - {line}")
        except Refused as refused:
            mend = f" ({refused.mend})" if refused.mend else ""
            say(f"Error: {refused.message}{mend}", err=True)
            raise click.exceptions.Exit(exits.PROBLEMS) from None


def file_bytes(path: Path) -> bytes:
    """Raises Refused. A pipe or a device may never end, so only files are read."""
    from reasoner.scanlog.reading import LARGEST_LOG

    try:
        if path.exists() and not path.is_file():
            raise Refused(f'"{path}" is no file', "a text file with a header and one row a sample")
        if path.stat().st_size > LARGEST_LOG:
            raise Refused(f'"{path}" is too large for a log', f"at most {LARGEST_LOG // 1_000_000} MB")
        return path.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, Refused):
            raise
        why = getattr(error, "strerror", None) or str(error)
        raise Refused(f'"{path}": {why.lower()}', "the path of a file, from where the program was started") from None


def _mapping(path: Path) -> Columns:
    from reasoner.scanlog.mapping import read_mapping

    columns, problems = read_mapping(file_bytes(path), str(path))
    if columns is None:
        first = problems[0]
        raise Refused(f"{first.place}: {first.message}", first.mend)
    return columns
