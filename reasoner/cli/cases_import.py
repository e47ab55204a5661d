"""`reasoner cases import`: cases from a table of the shop."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from reasoner.casebook import casefile, store
from reasoner.casebook.events import Answered, event_as_written
from reasoner.casebook.rows import RefusedLine, read_rows
from reasoner.casebook.trouble import CasebookError, as_casebook_error
from reasoner.cli import caseroom, exits, keeper, loading
from reasoner.cli.kinds import cases_option
from reasoner.cli.say import say, say_json
from reasoner.mistake import visible


@click.command(epilog="Example: reasoner cases import jobs.csv --columns columns.yaml --try")
@click.argument("table", required=False, type=click.Path(path_type=Path))
@cases_option
@loading.rules_option
@click.option(
    "--columns", type=click.Path(path_type=Path), metavar="FILE", help="How the columns are to be read (YAML)."
)
@click.option("--column", "single", multiple=True, metavar="WHAT=HEADING", help="One column, such as case=Job.")
@click.option("--try", "only_try", is_flag=True, help="Say what would be made and what is refused; make nothing.")
@click.option("--example", is_flag=True, help="Print an example of a file for --columns, and end.")
@click.option("--json", "as_json", is_flag=True, help="What was made and what was refused, as one JSON document.")
def cases_import_command(
    table: Path | None,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    columns: Path | None,
    single: tuple[str, ...],
    only_try: bool,
    example: bool,
    as_json: bool,
) -> None:
    """Make cases from TABLE: a CSV file, or a YAML list of rows. You say which column is what.

    What does not fit the rules is refused line by line, with what would mend it; the rest is kept, and the case says
    so. Status 1 where anything was refused.
    """
    from reasoner.history.importing import EXAMPLE_COLUMNS, mapping_of, read_cases
    from reasoner.session import acts
    from reasoner.session.chapters import Garage

    if example:
        say(EXAMPLE_COLUMNS, nl=False)
        return
    if table is None:
        raise click.UsageError("name the table: a CSV file, or a YAML list of rows.")
    with caseroom.refusing():
        with as_casebook_error(table, "the table cannot be read"):
            data = table.read_bytes()
        rows = read_rows(data, table)
        try:
            mapping = mapping_of(_said(columns), rows.headings, _single(single))
        except acts.Refused as refused:
            raise CasebookError(refused.message, refused.mend, columns or table) from None
        for note in rows.notes:
            say(f"Note: {note}.", err=True)
        garage = Garage(loading.rules(rules_paths))
        cases, refused_lines = read_cases(rows.lines, mapping, garage)
        folder, _ = caseroom.folder_in_use(cases_dir)
        refused_all = [*rows.refused, *refused_lines]
        made: list[dict[str, object]] = []
        for case in cases:
            answers = sum(isinstance(event, Answered) for event in case.events)
            many = f"{answers} answer{'' if answers == 1 else 's'} from {len(case.lines)} line"
            what = f"{visible(case.name, 60)}: {many}{'' if len(case.lines) == 1 else 's'}"
            if not only_try:
                problem = _begin(folder, case, garage.book.stamp)
                if problem:
                    refused_all.append(RefusedLine(case.lines[0], problem.message, problem.mend))
                    continue
            made.append({"case": case.name, "answers": answers, "lines": list(case.lines), "made": not only_try})
            if not as_json:
                say(what + (" (not made: --try)" if only_try else ""))
    if as_json:
        said = [{"line": line.number, "message": line.message, "mend": line.mend} for line in refused_all]
        say_json({"cases": made, "refused": said})
    for line in sorted(refused_all, key=lambda r: r.number):
        mend = f"; {line.mend}" if line.mend else ""
        say(f"{table}:{line.number}: refused: {visible(line.message)}{visible(mend, 400)}", err=True)
    if refused_all:
        raise click.exceptions.Exit(exits.PROBLEMS)


def _said(columns: Path | None) -> Any:
    if columns is None:
        return {}
    with as_casebook_error(columns, "the columns cannot be read"):
        data = columns.read_bytes()
    try:
        return casefile.read_plain(data.decode("utf-8-sig"), typed=False)
    except UnicodeDecodeError:
        raise CasebookError("not UTF-8 text", "save it as UTF-8", columns) from None
    except casefile.PlainError as error:
        raise CasebookError(error.message, error.mend, columns, error.line) from None


def _single(single: Sequence[str]) -> dict[str, str]:
    pairs = [column.partition("=") for column in single]
    for what, sign, heading in pairs:
        if not (what and sign and heading):
            raise CasebookError(f'"{what}" is no WHAT=HEADING', "such as case=Job")
    return {what.strip(): heading.strip() for what, _, heading in pairs}


def _begin(folder: Path, case: Any, stamp: str) -> CasebookError | None:
    """Make a case whole, with its events, or not at all; what was wrong, if anything."""
    head = {"opened": case.opened or keeper.now(), "rules": stamp, "vehicle": dict(case.vehicle)}
    try:
        store.begin_case_file(
            folder, head, datetime.now(UTC).date(), case.name, [*map(event_as_written, case.events)]
        ).close()
    except CasebookError as error:
        return error
    return None
