"""`reasoner settings`: what a shop has said of itself; and how other commands come by it."""

from __future__ import annotations

import os
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click

from reasoner.casebook import store
from reasoner.casebook.writing import write_new
from reasoner.cli import caseroom, exits, loading, shop
from reasoner.cli.kinds import cases_option
from reasoner.cli.say import say, say_json
from reasoner.repair.prices import Shop, example, shop_of, usual_shop
from reasoner.report.lines import paragraph
from reasoner.rulebook.located import load_bytes
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Notebook

settings_option = click.option(
    "--settings",
    "--prices",
    "settings_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The shop's tools, usual car and prices, from this YAML file instead of the usual place (see `reasoner "
    "settings`).",
)


def shop_settings(path: Path | None, book: Rulebook) -> Shop:
    """What the shop has said: in the file named, else in that of the usual place, if there is one. Every mistake in it
    on standard error, and the status for that."""
    where = path or shop.settings_file(os.environ)[0]
    if where is None or (path is None and shop.SETTINGS_VARIABLE not in os.environ and not os.path.lexists(where)):
        return usual_shop(book)
    notes = Notebook()
    content = load_bytes(where, str(where), notes)
    found, problems = (None, notes.problems) if content is None else shop_of(content, str(where), book)
    if found is None:
        loading.report_problems(problems)
        say(f"Error: the settings have {loading.count_mistakes(problems)}; nothing was done.", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    return found


def settings_again(path: Path | None) -> list[str]:
    """The option as it was given, which the next command on the same case needs too."""
    return [f"--settings {shlex.quote(str(path))}"] if path else []


USUAL_FIGURE = "the rules' usual figure"


@dataclass(frozen=True)
class SettingRow:
    """One setting. line: where the file says it; 0: it does not, and `unsaid` says what that means."""

    name: str
    value: str
    line: int
    unsaid: str = ""


@click.command(epilog="Example: reasoner settings --write")
@cases_option
@loading.rules_option
@settings_option
@click.option("--write", is_flag=True, help="Write a settings file to fill in, where none is yet.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def settings_command(
    cases_dir: str | None, rules_paths: tuple[Path, ...], settings_path: Path | None, write: bool, as_json: bool
) -> None:
    """Show what holds in this shop, and where from: tools, usual car, prices, currency, cases, own rules.

    They stand in one YAML file. `diagnose`, `decide`, `sheet` and `report` use it without being told: the file that
    --settings names, else the one that REASONER_SETTINGS names, else settings.yaml in your system's folder for
    settings.
    """
    book = loading.rules(rules_paths)
    where, why = (settings_path, "--settings") if settings_path else shop.settings_file(os.environ)
    if write:
        _write(where, book)
        return
    found = shop_settings(settings_path, book)
    there = where is not None and os.path.lexists(where)
    rows = list(_rows(found, book))
    with caseroom.refusing():
        cases, cases_why = store.cases_folder(cases_dir, os.environ)
    own = [str(path) for path in rules_paths if path != rules_paths[0]]
    if as_json:
        say_json(
            {
                "type": "settings",
                "file": str(where) if there else None,
                "said by": why,
                "settings": [{"name": r.name, "value": r.value, "line": r.line or None} for r in rows],
                "cases": str(cases),
                "rules": own,
            }
        )
        return
    if there:
        say(f"The settings of this shop: {where} ({why}).")
    else:
        say("There is no settings file yet" + (f"; it would be {where} ({why})." if where else "."))
        say("To write one to fill in: reasoner settings --write")
    rows.append(SettingRow("cases", f"{cases} ({cases_why})", 0))
    rows.append(SettingRow("own rules", ", ".join(own) or "none", 0))
    wide = max(len(row.name) for row in rows)
    for row in rows:
        value = (
            f"{row.value} ({f'line {row.line}' if row.line else row.unsaid})" if row.line or row.unsaid else row.value
        )
        say("\n".join(paragraph(value, 2, f"{row.name:<{wide}} ")))


def _rows(found: Shop, book: Rulebook) -> Iterator[SettingRow]:
    """Every setting in words: what was said, or what is taken in its place."""
    titles, prices, lines = {t.name: t.title for t in book.tools.values()}, found.prices, found.lines
    tools = "asked for each car" if found.tools is None else "; ".join(titles[n] for n in found.tools) or "none"
    yield SettingRow("uncommon tools here", tools, lines.get("tools", 0))
    missing = "; ".join(titles[n] for n in found.lacking) or "none"
    yield SettingRow("common tools missing", missing, lines.get("tools missing", 0))
    car = ", ".join(f"{key} {value}" for key, value in found.car.items()) or "asked for each car"
    yield SettingRow("usual car", car, lines.get("car", 0))
    yield SettingRow("currency", prices.currency or "none said", lines.get("currency", 0))
    yield SettingRow("an hour of work", f"{prices.hour:g}", lines.get("hour", 0), USUAL_FIGURE)
    yield SettingRow("a car that comes back", f"{prices.comeback:g}", lines.get("comeback costs", 0), USUAL_FIGURE)
    yield SettingRow(
        "counts as coming back", f"within {prices.within:g} km", lines.get("comeback within", 0), USUAL_FIGURE
    )
    yield SettingRow("driven when nothing is done", f"{prices.watch:g} km", lines.get("watch for", 0), USUAL_FIGURE)
    own = {name: value for name, value in prices.parts.items() if name in prices.said}
    said = ", ".join(f"{name} {value:g}" for name, value in own.items())
    others = f"{len(prices.parts) - len(own)} at the rules' usual price"
    yield SettingRow("parts", "; ".join(filter(None, (said, others))), lines.get("parts", 0))
    access = ", ".join(f"{name} {value:g}" for name, value in prices.access.items()) or "none said"
    yield SettingRow("minutes to get there", access, lines.get("access minutes", 0))


def _write(where: Path | None, book: Rulebook) -> None:
    """A settings file to fill in; one that is there is left alone."""
    if where is None:
        raise click.UsageError(
            f"nobody knows where it belongs: name a file with --settings, or in {shop.SETTINGS_VARIABLE}."
        )
    try:
        where.parent.mkdir(parents=True, exist_ok=True)
        write_new(where, example(book).encode())
    except FileExistsError:
        raise click.UsageError(f"{where} is there already, and stays as it is: edit it.") from None
    except OSError as error:
        raise click.UsageError(f"{where} cannot be written: {(error.strerror or str(error)).lower()}.") from None
    say(f"Written to {where}: every line in it is a comment until you take its # away.")
