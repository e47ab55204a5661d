"""`reasoner rules show`: an entry, value by value."""

from __future__ import annotations

import textwrap
from pathlib import Path

import click

from reasoner.cli import exits, loading
from reasoner.cli.kinds import RULE
from reasoner.cli.say import say, say_json
from reasoner.rulebook.fields import ONE
from reasoner.rulebook.model import Rulebook, Trail, Written
from reasoner.rulebook.problem import choices_of, near

WIDTH = 100  # of the text; places stand on lines of their own


@click.command(epilog="Example: reasoner rules show purge-valve-leaks --rules my-rules")
@click.argument("name", type=RULE)
@loading.rules_option
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def command(name: str, rules_paths: tuple[Path, ...], as_json: bool) -> None:
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
    return textwrap.fill(" ".join(text.split()), WIDTH, initial_indent=lead, subsequent_indent=lead + "    ")
