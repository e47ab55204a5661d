"""`reasoner cases alike`: solved cases that looked like this one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import caseroom, loading, workers
from reasoner.cli.cases_replay import alike_together
from reasoner.cli.kinds import CASE
from reasoner.cli.options import cases_option
from reasoner.cli.say import say, say_json
from reasoner.history.alike import CaseLooks, looks, nearest
from reasoner.session.chapters import Garage


@click.command(epilog="Example: reasoner cases alike estate-hot-restart --among cases")
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@click.option(
    "--among", type=click.Path(path_type=Path, file_okay=False, exists=True), metavar="DIR", help="Other solved cases."
)
@click.option("--most", type=click.IntRange(1, 50), default=5, show_default=True, help="How many are shown.")
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def command(
    case: str, cases_dir: str | None, rules_paths: tuple[Path, ...], among: Path | None, most: int, as_json: bool
) -> None:
    """Find the solved cases in which most of the same was seen as in CASE, and what they turned out to be.

    What is rare counts more than what everybody sees. Words of complaints and notes do not count, nor which cylinder.
    """
    with caseroom.refusing():
        folder, _ = caseroom.folder(cases_dir)
        mine = caseroom.one(cases_dir, case)
        garage = Garage(loading.rules(rules_paths))
        own = looks(mine, garage)
        where = among or folder
        paths = [path for path in caseroom.named(where, ()) if path.resolve() != mine.path.resolve()]
        damaged: list[str] = []
        found = nearest(own, _sound(alike_together(where, paths), rules_paths, damaged), garage, most)
    for line in damaged:
        say(f"damaged, and left out: {line}", err=True)
    if as_json:
        say_json(found)
        return
    from reasoner.report.cases_text import alike_blocks

    caseroom.show(alike_blocks(found, caseroom.fine()))


def _sound(paths: Sequence[Path], rules: tuple[Path, ...], damaged: list[str]) -> Any:
    for _path, found in workers.each(_looks, paths, [rules], title="comparing"):
        if isinstance(found, CasebookError):
            damaged.append(found.one_line)
        else:
            yield found


def _looks(case: Case, garages: Sequence[Garage], _: Any) -> CaseLooks:
    return looks(case, garages[0])
