"""`reasoner cases review`: all closed cases together."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import caseroom, exits, loading, workers
from reasoner.cli.cases_replay import alike_together
from reasoner.cli.kinds import CASE
from reasoner.cli.options import cases_option
from reasoner.cli.say import say, say_json
from reasoner.history.review import ClosedCase, judge, review
from reasoner.session.chapters import Garage


@click.command(epilog="Example: reasoner cases review")
@click.argument("cases", nargs=-1, type=CASE)
@cases_option
@loading.rules_option
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def command(cases: tuple[str, ...], cases_dir: str | None, rules_paths: tuple[Path, ...], as_json: bool) -> None:
    """Look over all closed cases (or CASES): how often the verdict was right, whether it was as sure as it should have
    been, minutes by fault, checks that misled and checks that were worth it, and what the rules did not have.
    """
    with caseroom.refusing():
        folder, _ = caseroom.folder(cases_dir)
        paths = alike_together(folder, caseroom.named(folder, cases))
        found: list[ClosedCase | None] = []
        damaged = 0
        for _path, done in workers.each(_judged, paths, [rules_paths], title="looking over"):
            if isinstance(done, CasebookError):
                say(f"damaged, and left out: {done.one_line}", err=True)
                damaged += 1
            else:
                found.append(done)
    done_all = review(found)
    if as_json:
        say_json(done_all)
    else:
        from reasoner.report.rules_text import review_blocks

        caseroom.show(review_blocks(done_all, caseroom.fine()))
    if damaged:
        raise click.exceptions.Exit(exits.PROBLEMS)


def _judged(case: Case, garages: Sequence[Garage], _: Any) -> ClosedCase | None:
    return judge(case, garages[0])
