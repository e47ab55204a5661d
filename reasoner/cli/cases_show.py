"""`reasoner cases show`: a case told again."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from reasoner.cli import caseroom, loading
from reasoner.cli.kinds import CASE
from reasoner.cli.options import cases_option
from reasoner.cli.say import say, say_json


@click.command(epilog="Example: reasoner cases show estate-hot-restart")
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@click.option("--all", "every", is_flag=True, help="Every answer on its own, those too that moved nothing.")
@click.option("--asked-again", is_flag=True, help="Also let today's rules choose the checks (takes some seconds).")
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def command(
    case: str, cases_dir: str | None, rules_paths: tuple[Path, ...], every: bool, asked_again: bool, as_json: bool
) -> None:
    """Tell CASE: what was known, what was asked and seen in which condition, how the belief moved, what was said,
    done and proven, what it took, and what would have been quicker.

    The beliefs are those of today's rules; `cases replay` compares them with what was said then.
    """
    from reasoner.history.replay import replay
    from reasoner.history.story import story
    from reasoner.history.trace import vehicle_of
    from reasoner.report.cases_text import story_blocks
    from reasoner.session.chapters import Garage

    with caseroom.refusing():
        found = caseroom.one(cases_dir, case)
        vehicle = vehicle_of(found)
        garage = Garage(loading.rules(rules_paths))
        told = story(found, garage)
        again = replay(case, vehicle, found.events, garage, again=True)[0].asked_again if asked_again else None
    if as_json:
        say_json({**asdict(told), "asked_again": None if again is None else asdict(again)})
        return
    for note in found.notes:
        say(f"Note: {note}{'' if note.endswith('?') else '.'}", err=True)
    caseroom.show(story_blocks(told, caseroom.fine(), again, every))
