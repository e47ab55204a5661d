"""`reasoner rules list`: the entries by name."""

from __future__ import annotations

import json
from pathlib import Path

import click

from reasoner.cli import loading
from reasoner.cli.kinds import Choice
from reasoner.cli.say import say, say_json, say_long
from reasoner.rulebook.fields import ONE
from reasoner.rulebook.model import Rulebook


@click.command(epilog="Example: reasoner rules list checks")
@click.argument("section", type=Choice([*ONE, "files"]), default="faults")
@loading.rules_option
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def command(section: str, rules_paths: tuple[Path, ...], as_json: bool) -> None:
    """List the entries of a section, by name: the faults, unless another is named.

    Entries that your own rules add are marked `+`, those they change `*`.
    """
    book = loading.rules(rules_paths)
    if section == "files":
        say(json.dumps(book.files) if as_json else "\n".join(book.files))
        return
    entries = getattr(book, section)
    rows = [(name, _title(entry), _mark(book, section, name)) for name, entry in entries.items()]
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


def _mark(book: Rulebook, section: str, name: str) -> str:
    files = {value.place.file for trail, value in book.written.items() if trail[:2] == (section, name)}
    return "" if not files & book.over else "+" if files <= book.over else "*"
