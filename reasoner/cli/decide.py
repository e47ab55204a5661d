"""`reasoner decide`: what to replace."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from reasoner.cli import caseroom, exits, loading
from reasoner.cli.kinds import CASE, cases_option
from reasoner.cli.say import say, say_json, say_pages
from reasoner.cli.settings import settings_again, settings_option, shop_settings
from reasoner.history.trace import vehicle_of
from reasoner.session.document import DecisionDoc


@click.command(epilog="Example: reasoner decide 2026-03-09-1 --settings shop.yaml")
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@settings_option
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def decide_command(
    case: str,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    settings_path: Path | None,
    as_json: bool,
) -> None:
    """Lay out what can be done about CASE now: the suspect alone, all of them, a cheaper step, test on, watch.

    For each: what it costs now, how likely it cures, how likely the car comes back, and what that is expected to cost.
    The recommended one is the cheapest for which nothing is missing; what it hangs on is said.
    """
    from reasoner.report.work_text import decision_text
    from reasoner.session import after_work, deciding

    book = loading.rules(rules_paths)
    prices = shop_settings(settings_path, book).prices
    with caseroom.refusing():
        found = caseroom.one(cases_dir, case)
        workup = after_work.workup_now(book, vehicle_of(found), found.events, prices=prices)
    document = deciding.decision_document(deciding.decide(workup), found.path.stem)
    if as_json:
        say_json(document)
    else:
        again = [*loading.options_again(cases_dir), *settings_again(settings_path)]
        say_pages(decision_text(document))
        say()
        say(_next(document, shlex.quote(case), " ".join(["", *again])))
    if not any(choice.recommended for choice in document.choices):
        raise click.exceptions.Exit(exits.PROBLEMS)


def _next(document: DecisionDoc, case: str, again: str) -> str:
    """What to type now."""
    best = next((choice for choice in document.choices if choice.recommended), None)
    others = [choice.kind for choice in document.choices if choice.kind not in ("test", "watch", "hand on")]
    if best is None or best.kind == "test":
        first = f"To test on: reasoner diagnose {case}{again}"
    elif best.kind == "watch":
        return f"Drive on and watch; when it shows: reasoner diagnose {case}{again}"
    else:
        return f"To take it up: reasoner sheet {case}{again} --take best"
    more = f"\nTo act all the same: reasoner sheet {case}{again} --take {shlex.quote(others[0])}" if others else ""
    return first + more
