"""`reasoner rules list`, `show`, `new`, `graph`, `schema`, `tables`: the rules looked at, begun, exported."""

from __future__ import annotations

import json
import textwrap
from pathlib import Path

import click

from reasoner.casebook.writing import write_new
from reasoner.cli import exits, loading
from reasoner.cli.kinds import RULE, NearChoice
from reasoner.cli.say import say, say_json, say_long
from reasoner.rulebook.fields import ONE
from reasoner.rulebook.model import Rulebook, Trail, Written
from reasoner.rulebook.problem import choices_of, near

# ---- reasoner rules list ---------------------------------------------------------------------------------------------
# The entries by name.


@click.command(epilog="Example: reasoner rules list checks")
@click.argument("section", type=NearChoice([*ONE, "files"]), default="faults")
@loading.rules_option
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def rules_list_command(section: str, rules_paths: tuple[Path, ...], as_json: bool) -> None:
    """List the entries of a section, by name: the faults, unless another is named.

    Entries that your own rules add are marked `+`, those they change `*`.
    """
    book = loading.rules(rules_paths)
    if section == "files":
        say(json.dumps(book.files) if as_json else "\n".join(book.files))
        return
    entries = getattr(book, section)
    files: dict[str, set[str]] = {}  # by entry, those that say something of it
    for trail, value in book.written.items():
        if trail[0] == section:
            files.setdefault(trail[1], set()).add(value.place.file)
    rows = [(name, _title(entry), _mark(book, files.get(name, set()))) for name, entry in entries.items()]
    if as_json:
        marks = {"": "as shipped", "+": "added", "*": "changed"}
        say_json([{"name": n, "title": t, "is": marks[m]} for n, t, m in rows])
        return
    width = max((len(name) for name, _, _ in rows), default=0)
    say_long([f"{mark or ' '} {name:{width}}  {title}".rstrip() for name, title, mark in rows])


def _title(entry: object) -> str:
    """What an entry is called: a source is its citation, a caution what it says."""
    for attribute in ("title", "cite", "say"):
        if text := getattr(entry, attribute, ""):
            return str(text) if len(text) <= 100 else str(text)[:97] + "..."
    return ""


def _mark(book: Rulebook, files: set[str]) -> str:
    return "" if not files & book.over else "+" if files <= book.over else "*"


# ---- reasoner rules show ---------------------------------------------------------------------------------------------
# An entry, value by value.

RULES_WIDTH = 100  # of the text; places stand on lines of their own


@click.command(epilog="Example: reasoner rules show purge-valve-leaks --rules my-rules")
@click.argument("name", type=RULE)
@loading.rules_option
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def rules_show_command(name: str, rules_paths: tuple[Path, ...], as_json: bool) -> None:
    """Show what the rules say of NAME: every value, where it is written, and what it replaced.

    NAME is the name of any entry (or `settings`). After it follows what other entries say of it.
    """
    book = loading.rules(rules_paths)
    found = [section for section in (*ONE, "settings") if _values(book, section, name)]
    if not found:
        names = {trail[1] for trail in book.written}
        meant = near(name, names)
        words = [
            trail[1] for trail, value in book.written.items() if name.lower() in " ".join(value.text.lower().split())
        ]
        said = (
            f"the word stands in {choices_of(dict.fromkeys(words), 'and', 8)}" if words else "see `reasoner rules list`"
        )
        mend = f'did you mean "{meant}"?' if meant else said
        say(f'Error: nothing in the rules is called "{name}"; {mend}', err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    if as_json:
        say_json({section: _plain(book, section, name) for section in found}, indent=1)
        return
    say("\n\n".join(_entry(book, section, name) for section in found))


def _values(book: Rulebook, section: str, name: str) -> dict[Trail, Written]:
    return {trail: value for trail, value in book.written.items() if trail[:2] == (section, name)}


def _entry(book: Rulebook, section: str, name: str) -> str:
    lines = [f"{ONE.get(section, 'settings')} {name}" if section != "settings" else "settings"]
    for trail, value in _values(book, section, name).items():
        lines.append(_indented(f"{': '.join((*trail[2:], value.text))}", 2))
        lines.append(f"      {value.place}")
        lines += [_indented(f"replaced {old.text}   {old.place}", 6) for old in reversed(value.before)]
    elsewhere = _elsewhere(book, section, name)
    if elsewhere:
        lines += ["", f"said of {name} elsewhere"]
        for trail, value in elsewhere.items():
            lines.append(_indented(f"{' '.join(trail[1:])}: {value.text}", 2))
            lines.append(f"      {value.place}")
    return "\n".join(lines)


def _elsewhere(book: Rulebook, section: str, name: str) -> dict[Trail, Written]:
    """Where other entries speak of this one: as the subject of a statement, or in a list of names."""

    def names(trail: Trail, value: Written) -> bool:
        listed_there = value.text.startswith("[") and name in value.text[1:-1].split(", ")
        return trail[1] != name and (name in trail[3:] or listed_there or value.text == name)

    return {trail: value for trail, value in book.written.items() if names(trail, value)}


def _plain(book: Rulebook, section: str, name: str) -> dict[str, object]:
    def plain(value: Written) -> dict[str, object]:
        return {"value": value.text, "place": str(value.place)}

    return {
        ": ".join(trail[2:]) or "title": plain(value) | {"replaced": [plain(old) for old in reversed(value.before)]}
        for trail, value in _values(book, section, name).items()
    }


def _indented(text: str, margin: int) -> str:
    lead = " " * margin
    return textwrap.fill(" ".join(text.split()), RULES_WIDTH, initial_indent=lead, subsequent_indent=lead + "    ")


# ---- reasoner rules new ----------------------------------------------------------------------------------------------
# A skeleton of a fault or a check.


@click.command(epilog="Example: reasoner rules new fault purge-hose-split --to my-rules/purge-hose.yaml")
@click.argument("kind", type=NearChoice(["fault", "check"]))
@click.argument("name", required=False)
@click.option(
    "--to", type=click.Path(path_type=Path), metavar="FILE", help="Write it to this file, which must not be there."
)
def rules_new_command(kind: str, name: str | None, to: Path | None) -> None:
    """Write a commented skeleton of a fault or a check, to be filled in.

    Until something is written for every REPLACE ME in it, the rules are refused.
    """
    from reasoner.rulebook.fields import REPLACE, RULE_NAME
    from reasoner.rulebook.schema import skeleton

    if name is not None and not RULE_NAME.fullmatch(name):
        raise click.UsageError(f'"{name}" cannot be a name: lower case letters, digits and dashes, a letter first.')
    text = skeleton(kind, name or REPLACE)
    if to is None:
        say(text, nl=False)
        return
    if to.exists():
        say(f"Error: {to} is there already; nothing was written. Choose another name.", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        write_new(to, text.encode())
    except OSError as error:
        say(f"Error: {to} cannot be written: {(error.strerror or str(error)).lower()}.", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS) from None
    say(f"{to} is written. Fill it in, then: reasoner rules check --rules {to}")


# ---- reasoner rules graph, schema and tables -------------------------------------------------------------------------
# The rules in the forms of other programs.


@click.command(epilog="Example: reasoner rules graph --about purge-valve-leaks | dot -Tsvg > purge.svg")
@loading.rules_option
@loading.vehicle_option
@click.option("--format", "kind", type=NearChoice(["dot", "graphml", "json"]), default="dot", show_default=True)
@click.option("--about", metavar="NAME", default="", help="Only what is near the entry of this name.")
@click.option("--steps", type=click.IntRange(1, 9), default=1, show_default=True, help="How near, with --about.")
def rules_graph_command(
    rules_paths: tuple[Path, ...], vehicle_path: Path | None, kind: str, about: str, steps: int
) -> None:
    """Print the rules as a graph: what can be wrong with a vehicle, what it acts as, what would show it.

    Nodes are causes, faults, families, checks with their outcomes, conditions, repairs, cautions and tools.
    """
    from reasoner.network.export import FORMATS, plain_graph

    graph = plain_graph(loading.rules(rules_paths), loading.vehicle(vehicle_path), about, steps)
    if not len(graph):
        say(f'Error: nothing called "{about}" applies to this vehicle; see `reasoner rules list`.', err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    say(FORMATS[kind](graph))


@click.command(epilog="Example: reasoner rules schema > rules.schema.json")
@loading.rules_option
@click.option("--whole", is_flag=True, help="For rules that stand alone: every entry must say all it needs.")
def rules_schema_command(rules_paths: tuple[Path, ...], whole: bool) -> None:
    """Print a JSON Schema of rule files, for an editor that completes and checks YAML by one.

    It is for files that lie over the rules at hand: it knows their names, and an entry of a known name may say only
    what it changes. `reasoner rules check` knows more than any schema.
    """
    from reasoner.rulebook.fields import ONE
    from reasoner.rulebook.schema import schema

    book = None if whole else loading.rules(rules_paths)
    known = None if book is None else {section: getattr(book, section).keys() for section in ONE}
    say_json(schema(known), indent=1)


@click.command(epilog="Example: reasoner rules tables --vehicle estate.yaml --json > tables.json")
@loading.rules_option
@loading.vehicle_option
@click.option("--json", "as_json", is_flag=True, help="The whole tables as one JSON document (else a summary).")
def rules_tables_command(rules_paths: tuple[Path, ...], vehicle_path: Path | None, as_json: bool) -> None:
    """Print the tables that rules and a vehicle make.

    They hold every cause with its prior and place, how often it shows in each condition, and every check's outcome
    probabilities by cause, while the fault shows and while it is quiet: enough to recompute any belief
    (rules/README.md, Recomputing a belief).
    """
    from reasoner.network.tables import compile_tables
    from reasoner.session.tables_doc import tables_document

    book = loading.rules(rules_paths)
    tables = compile_tables(book, loading.vehicle(vehicle_path))
    if as_json:
        say_json(tables_document(tables, book))
        return
    what = f"{len(tables.causes)} causes of {len(tables.faults)} faults, {len(tables.checks)} checks"
    say(f"{tables.vehicle.title}: {what}")
    for i in sorted(range(len(tables.causes)), key=lambda i: -tables.prior[i])[:20]:
        say(f"  {100 * tables.prior[i]:5.1f} %  {tables.causes[i].name}")
