"""`reasoner measure log` and `columns`: what a log of a drive says, and what its columns are."""

from __future__ import annotations

import dataclasses
import math
import shutil
import sys
from pathlib import Path
from typing import Any

import click

from reasoner.casebook import casefile
from reasoner.casebook.writing import write_whole
from reasoner.cli import exits
from reasoner.cli.say import say, say_json

# ---- reasoner measure log --------------------------------------------------------------------------------------------
# What a log of a drive says.


@click.command(epilog="Example: reasoner measure log drive.csv --svg drive.svg")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.csv")
@click.option(
    "--columns",
    "columns_path",
    type=click.Path(path_type=Path),
    metavar="MAPPING.yaml",
    help="What the columns are, where their names do not say (see `reasoner measure columns`).",
)
@click.option("--litres", type=click.FloatRange(0.3, 15.0), help="Swept volume of the engine.")
@click.option("--cylinders", type=click.IntRange(1, 16), help="Of the engine.")
@click.option("--banks", type=click.IntRange(1, 2), help="Banks that share the air (else as many as have trims).")
@click.option("--ethanol", type=click.FloatRange(0, 100), default=0, show_default=True, help="In the fuel, volume %.")
@click.option("--svg", "svg_path", type=click.Path(path_type=Path), metavar="FILE", help="Write the pictures there.")
@click.option("--all", "everything", is_flag=True, help="Also pictures, conditions, every answer, every column.")
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def measure_log_command(
    file: Path,
    columns_path: Path | None,
    litres: float | None,
    cylinders: int | None,
    banks: int | None,
    ethanol: float,
    svg_path: Path | None,
    everything: bool,
    as_json: bool,
) -> None:
    """What a log of a drive says: when the mixture was rich and when not, and what kind of error makes it so.

    A text file with one row a sample and a header above: time, engine speed, trims, airflow, coolant, purge, fuel
    system status and whatever else there is. Columns are known by the standard's words and units.
    """
    from reasoner.measure.fuel import blend
    from reasoner.report.lines import stream_shows_blocks
    from reasoner.report.log_svg import log_svg
    from reasoner.report.log_text import log_text, no_log_text
    from reasoner.scanlog.analysis import Engine, analyse
    from reasoner.scanlog.conditions import RULE_NAMES
    from reasoner.scanlog.reading import NoLog

    content = contents(file)
    columns = _columns(columns_path) if columns_path is not None else None
    engine = Engine(litres, cylinders, banks, blend(ethanol / 100))
    document = analyse(content, file.name, columns, engine, RULE_NAMES)
    if isinstance(document, NoLog):
        say(no_log_text(document, file.name, shutil.get_terminal_size().columns), err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    if svg_path is not None:
        try:
            write_whole(svg_path, log_svg(document))
        except OSError as error:
            raise click.ClickException(f"{svg_path}: {(error.strerror or str(error)).lower()}") from None
    if as_json:
        say_json(plain_log(document))
        return
    say(log_text(document, shutil.get_terminal_size().columns, stream_shows_blocks(sys.stdout), everything), nl=False)


def contents(file: Path) -> bytes:
    """The bytes of a file, or one clear message and a status with a name."""
    from reasoner.cli.scanlogs import file_bytes
    from reasoner.session.acts import Refused

    try:
        return file_bytes(file)
    except Refused as refused:
        raise click.ClickException(f"{refused.message} ({refused.mend})") from None


def plain_log(value: Any) -> Any:
    """A document as JSON takes it: dataclasses as objects, what is no finite number as null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain_log(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, tuple | list):
        return [plain_log(v) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _columns(path: Path) -> Any:
    from reasoner.cli.loading import report_problems
    from reasoner.scanlog.mapping import read_mapping

    columns, problems = read_mapping(contents(path), str(path))
    if columns is None:
        report_problems(problems)
        raise click.exceptions.Exit(exits.PROBLEMS)
    return columns


# ---- reasoner measure columns ----------------------------------------------------------------------------------------
# What the columns of a log are, proposed.


@click.command(epilog="Example: reasoner measure columns drive.csv > columns.yaml")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.csv")
@click.option("--json", "as_json", is_flag=True, help="The same mapping as one JSON document.")
def measure_columns_command(file: Path, as_json: bool) -> None:
    """Propose what the columns of a log are, as a mapping to be looked through once and kept.

    Put right what is wrong in it, then give it to `reasoner measure log --columns` with every log of that recorder.
    """
    from reasoner.report.log_text import no_log_text
    from reasoner.scanlog.mapping import propose
    from reasoner.scanlog.reading import NoLog

    proposed = propose(contents(file), file.name)
    if isinstance(proposed, NoLog):
        say(no_log_text(proposed, file.name, shutil.get_terminal_size().columns), err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    if as_json:
        say_json(casefile.read_plain(proposed))
        return
    say(proposed, nl=False)
