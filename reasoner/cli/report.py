"""`reasoner report`: a case as one page, for the customer and the file."""

from __future__ import annotations

from pathlib import Path

import click

from reasoner.casebook.trouble import as_casebook_error
from reasoner.casebook.writing import write_whole
from reasoner.cli import caseroom, loading
from reasoner.cli.kinds import CASE, cases_option
from reasoner.cli.say import say
from reasoner.cli.settings import settings_option, shop_settings


@click.command(epilog="Example: reasoner report estate-hot-restart --html estate.html")
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@settings_option
@click.option("--html", "html", type=click.Path(path_type=Path), required=True, metavar="FILE", help="Write it here.")
@click.option("--customer", is_flag=True, help="Only the page for the customer.")
@click.option("--log", "log", type=click.Path(path_type=Path), metavar="FILE", help="A logged drive to picture in it.")
def report_command(
    case: str,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    settings_path: Path | None,
    html: Path,
    customer: bool,
    log: Path | None,
) -> None:
    """Write CASE as one HTML page: a short one for the customer first, then all that was seen, done and proven.

    It stands alone: no network, no scripts. It prints on paper, and can be made of a case at any point.
    """
    from reasoner.history.dossier import dossier
    from reasoner.report.case_html import case_html
    from reasoner.session.chapters import Garage

    book = loading.rules(rules_paths)
    prices = shop_settings(settings_path, book).prices
    with caseroom.refusing():
        found = caseroom.one(cases_dir, case)
        page = case_html(dossier(found, Garage(book), prices), _drive(log), customer)
        with as_casebook_error(html, "the report cannot be written"):
            write_whole(html, page)
    for note in found.notes:
        say(f"Note: {note}.", err=True)
    say(f"Written to {html}.")


def _drive(log: Path | None) -> str:
    if log is None:
        return ""
    from reasoner.cli.measure_log import contents
    from reasoner.report.log_svg import log_svg
    from reasoner.scanlog.analysis import analyse
    from reasoner.scanlog.reading import NoLog

    document = analyse(contents(log), log.name)
    if isinstance(document, NoLog):
        raise click.BadParameter(f"{log} holds no drive that can be read; `reasoner measure log {log}` says why")
    return log_svg(document)
