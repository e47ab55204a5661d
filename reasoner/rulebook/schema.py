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


def schema(known: Mapping[str, Iterable[str]] | None = None) -> Shape:
    """The schema of one rule file. known: the names that are there already, by section.

    An entry of a known name may say only what it changes, and editors offer the names; every other entry must be whole.
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
        "$defs": {section: _name(section, there.get(section, [])) for section in SECTIONS},
    }


def _name(section: str, known: list[str]) -> Shape:
    pattern = shapes.text_like((CODE if section == "codes" else NAME).pattern)
    return {
        "description": f"the name of a {ONE[section]}",
        **shapes.either(*([{"enum": known}] if known else []), pattern),
    }


def _section(section: str, known: list[str]) -> Shape:
    whole = shapes.TEXT if section == "codes" else object_of(SECTIONS[section].keys)
    return {
        "type": "object",
        "propertyNames": {"$ref": f"#/$defs/{section}"},
        "properties": dict.fromkeys(known, _partly(whole)),
        "additionalProperties": whole,
    }


def _partly(whole: Shape) -> Shape:
    """The same without needing any key."""
    return {key: value for key, value in whole.items() if key != "required"}
