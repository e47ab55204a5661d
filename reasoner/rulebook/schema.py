"""A JSON Schema of rule files, for editors, put together from the reader's own tables of keys.

It knows the shape of what may be written; the reader knows more (that names exist, that outcomes fit their check, that
likelihoods add up), and has the last word. Draft 2020-12 (json-schema.org).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from reasoner.rulebook import shapes
from reasoner.rulebook.entries import CODE, SECTIONS, SETTINGS
from reasoner.rulebook.fields import NAME, ONE, object_of
from reasoner.rulebook.read import FORMAT
from reasoner.rulebook.shapes import Shape

CLOSED = ("conditions", "tools")  # few and stable: a name that is not there is marked, as a slip is likelier


def schema(known: Mapping[str, Iterable[str]] | None = None) -> Shape:
    """The schema of one rule file. known: the names that are there already, by section.

    An entry of a known name may say only what it changes, and editors offer the names; every other entry must be whole.
    A condition or a tool that is not known is marked: whoever adds one makes the schema anew, from rules that have it.
    """
    there = {section: sorted(names) for section, names in (known or {}).items()}
    sections = {section: _section(section, there.get(section, [])) for section in SECTIONS}
    settings = object_of(SETTINGS)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Rules of reasoner",
        "type": "object",
        "properties": {
            "format": {"enum": list(range(1, FORMAT + 1))},
            "settings": _partly(settings) if there else settings,
            **sections,
        },
        "additionalProperties": False,
        "$defs": {section: _name(section, there.get(section, [])) for section in SECTIONS}
        | {_changed(section): _partly(_entry(section)) for section in SECTIONS if there.get(section)},
    }


def _name(section: str, known: list[str]) -> Shape:
    names = [{"enum": known}] if known else []
    free = [] if known and section in CLOSED else [_pattern(section)]
    return {"description": f"the name of a {ONE[section]}", **shapes.either(*names, *free)}


def _pattern(section: str) -> Shape:
    return shapes.text_like((CODE if section == "codes" else NAME).pattern)


def _section(section: str, known: list[str]) -> Shape:
    """Entries by name; one of a known name by the shape that all of them share, said once (`$defs`)."""
    return {
        "type": "object",
        "propertyNames": _pattern(section) if section in CLOSED else {"$ref": f"#/$defs/{section}"},
        "properties": {name: {"$ref": f"#/$defs/{_changed(section)}"} for name in known},
        "additionalProperties": _entry(section),
    }


def _entry(section: str) -> Shape:
    return shapes.TEXT if section == "codes" else object_of(SECTIONS[section].keys)


def _changed(section: str) -> str:
    return f"changed-{section}"


def _partly(whole: Shape) -> Shape:
    """The same without needing any key."""
    return {key: value for key, value in whole.items() if key != "required"}
