"""`reasoner rules check`: mistakes and warnings."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import click

from reasoner.cli import exits, loading, shop
from reasoner.cli.say import say, say_json
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Notebook, Problem

COUNTED = ("faults", "checks", "conditions", "cautions", "repairs", "codes", "sources")


@click.command(epilog="Example: reasoner rules check --rules my-rules")
@loading.rules_option
@click.option(
    "--strict",
    is_flag=True,
    help="Warnings fail too, those about your own files; also of rules that no solved case has tried.",
)
@click.option(
    "--solved",
    type=click.Path(path_type=Path, exists=True, file_okay=False),
    multiple=True,
    metavar="DIR",
    help="A folder of solved cases that count for --strict, besides the shipped ones.",
)
@click.option("--explain", metavar="WARNING", help="What a warning means, with a good and a bad example, and end.")
@click.option("--json", "as_json", is_flag=True, help="What was found, as one JSON document on standard output.")
def rules_check_command(
    rules_paths: tuple[Path, ...], strict: bool, solved: tuple[Path, ...], explain: str | None, as_json: bool
) -> None:
    """Read the rules and say what is wrong with them: first mistakes, then warnings.

    A mistake is what cannot be read; the rules are then not used at all. A warning is what can be read but looks
    wrong: faults that no check tells apart, a check that tells nothing. An entry's `waive: {WARNING: why}` silences
    one. Ends with status 0 only if rules were found and nothing is wrong with them.
    """
    if explain is not None:
        return _explain(explain)
    notes = Notebook()
    book = loading.read_layers(rules_paths, notes)
    found = notes.problems or (() if book is None else _warnings(book, notes, strict, solved))
    if book is not None and strict and rules_paths[:1] == (shop.shipped_folder("rules"),) and book.over:
        found = tuple(problem for problem in found if problem.place.file in book.over)  # a shop answers for its own
    if as_json:
        say_json([_plain(problem) for problem in found], indent=2)
    else:
        loading.report_problems(found)
    if book is None:
        say(f"Error: {loading.count_mistakes(found)}.", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    if not as_json:
        counts = ", ".join(f"{len(getattr(book, section))} {section}" for section in COUNTED)
        told = f"no mistakes, {loading.count_mistakes(found, 'warning')}" if found else "no mistakes, no warnings"
        say(f"{len(book.files)} files: {counts}; {told}.")
    if found and strict:
        raise click.exceptions.Exit(exits.PROBLEMS)


def _warnings(book: Rulebook, notes: Notebook, strict: bool, solved: tuple[Path, ...]) -> tuple[Problem, ...]:
    from reasoner.lint.context import context_of
    from reasoner.lint.run import run_lints

    cases = _solved(book, (shop.shipped_folder("cases"), *solved)) if strict else None
    return run_lints(context_of(book, cases), notes.lines, strict)


def _solved(book: Rulebook, folders: tuple[Path, ...]) -> Mapping[str, frozenset[str]]:
    """The faults and checks that each solved case went through, by its file. Damaged cases count for nothing."""
    from reasoner.casebook.shape import load_sound
    from reasoner.casebook.trouble import CasebookError
    from reasoner.session.chapters import tried

    found = {}
    for path in (path for folder in folders for path in sorted(folder.glob("*.yaml"))):
        try:
            events = load_sound(path).events
        except CasebookError as error:
            say(f"Warning: {error}", err=True)
            continue
        names = tried(book, events)
        if names:
            found[str(path)] = names
    return found


def _explain(name: str) -> None:
    from reasoner.lint.run import LINTS
    from reasoner.rulebook.problem import choices_of, near

    if name not in LINTS:
        meant = near(name, LINTS)
        message = f'no warning is called "{name}"'
        raise click.UsageError(f'{message}; did you mean "{meant}"?' if meant else f"{message}: {choices_of(LINTS)}.")
    say(f"{name}\n\n{LINTS[name].manual.strip()}\n\nTo mend it: {LINTS[name].mend}.")


def _plain(problem: Problem) -> dict[str, object]:
    place = problem.place
    return {
        "file": place.file,
        "line": place.line,
        "column": place.column,
        "severity": problem.severity,
        "kind": problem.kind,
        "message": problem.message,
        "mend": problem.mend,
    }
