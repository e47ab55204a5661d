"""`reasoner cases replay`: recorded cases under the rules of today or others."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from reasoner.casebook.index import rows
from reasoner.casebook.shape import Case
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import caseroom, exits, loading, shop, workers
from reasoner.cli.kinds import CASE
from reasoner.cli.options import cases_option
from reasoner.cli.say import say, say_json
from reasoner.history.overlay import SOURCE
from reasoner.history.replay import Replayed, changed_values, replay
from reasoner.history.trace import vehicle_of
from reasoner.session.chapters import Garage

LEARNED = """Note: the changed rules hold numbers learned from closed cases. On those same cases
they look better than they are; `cases learn` tells what they do on others."""


@click.command(epilog="Example: reasoner cases replay --rules my-rules")
@click.argument("cases", nargs=-1, type=CASE)
@cases_option
@click.option(
    "--rules",
    "changed",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Changed rules, to be laid over today's and held beside them.",
)
@click.option("--asked-again", is_flag=True, help="Also let today's rules choose the checks, answered from the case.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def command(
    cases: tuple[str, ...], cases_dir: str | None, changed: tuple[Path, ...], asked_again: bool, as_json: bool
) -> None:
    """Weigh the recorded answers of CASES (names, or folders; else all) under today's rules.

    With --rules also under those rules laid over today's, side by side: same verdict? sooner or later? which answer
    weighs otherwise, by which rule? Status 1 where a case does worse than before by what was found in it, so that a
    change of rules can be tried before it is made.
    """
    today = shop.layers((), False, os.environ)
    beside = [shop.layers(changed, False, os.environ)] if changed else []
    found: list[Replayed] = []
    damaged = 0
    books = [loading.rules(layers) for layers in (today, *beside)]
    differ = changed_values(books[0], books[-1])
    with caseroom.refusing():
        folder, _ = caseroom.folder(cases_dir)
        paths = caseroom.named(folder, cases)
        if not paths:
            raise CasebookError("there are no cases to replay", "say where they are: --cases DIR", folder)
        ordered = alike_together(folder, paths)
        for _path, done in workers.each(_replayed, ordered, [today, *beside], asked_again, "replaying"):
            if isinstance(done, CasebookError):
                say(f"damaged: {done.one_line}", err=True)
                damaged += 1
            else:
                found += done
    order = {path.stem: number for number, path in enumerate(paths)}
    found.sort(key=lambda one: (order[one.case], one.part))
    if as_json:
        for one in found:
            say_json({**asdict(one), "worse": one.worse})
    elif found:
        from reasoner.report.cases_text import replay_blocks

        caseroom.show(replay_blocks(found, differ))
    if changed and SOURCE in books[-1].sources:
        say(LEARNED, err=True)
    if damaged or any(one.worse for one in found):
        raise click.exceptions.Exit(exits.PROBLEMS)


def _replayed(case: Case, garages: Sequence[Garage], asked_again: Any) -> tuple[Replayed, ...]:
    changed = garages[1] if len(garages) > 1 else None
    return replay(case.path.stem, vehicle_of(case), case.events, garages[0], changed, bool(asked_again))


def alike_together(folder: Path, paths: Sequence[Path]) -> list[Path]:
    """The cases with like vehicles one after another, as they share their tables; of a few, as they come."""
    if len(paths) <= workers.FEW:
        return list(paths)
    vehicles = {row.name: row.vehicle or {} for row in rows(folder)}

    def key(path: Path) -> list[str]:
        fields = vehicles.get(path.stem, {}) if path.parent == folder else {}
        return [f"{k}={v}" for k, v in sorted(fields.items(), key=_layout_first) if k not in ("name", "firing order")]

    return sorted(paths, key=lambda path: (key(path), path.name))


def _layout_first(pair: tuple[str, str]) -> tuple[bool, str]:
    return pair[0] == "distance", pair[0]  # the distance last: most rules do not look at it
