"""The JSON Schema for editors, held against the files that the reader takes and those that it refuses.

Outside checks: `jsonschema` judges, PyYAML's own loader reads. JSON has no keys but texts, so what that loader made
of `yes:` (true) goes through JSON first, as it does in an editor.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from reasoner.rulebook.entries import SECTIONS, SETTINGS_KEYS
from reasoner.rulebook.fields import ONE
from reasoner.rulebook.quantity import FREQUENCY_WORDS
from reasoner.rulebook.read import read_rules
from reasoner.rulebook.schema import schema

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
RULES = sorted((ROOT / "rules").glob("*.yaml")) + sorted((HERE / "small").glob("*.yaml"))


def plain(text: str) -> Any:
    return json.loads(json.dumps(yaml.safe_load(text)))


def complaints(data: Any, known: bool = False) -> list[str]:
    judge = jsonschema.Draft202012Validator(schema(names() if known else None))
    return [f"{'/'.join(map(str, error.absolute_path))}: {error.message}" for error in judge.iter_errors(data)]


def names() -> dict[str, list[str]]:
    book = read_rules([HERE / "small"])
    return {section: list(getattr(book, section)) for section in ONE}


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.Draft202012Validator.check_schema(schema(names()))


@pytest.mark.parametrize("path", RULES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_rules_that_are_read_fit(path: Path) -> None:
    assert complaints(plain(path.read_text(encoding="utf-8"))) == []


def test_it_knows_every_key_of_the_reader_and_no_other() -> None:
    properties = schema()["properties"]
    assert set(properties) == {"format", "settings", *SECTIONS}
    assert set(properties["settings"]["properties"]) == set(SETTINGS_KEYS)
    for section, spec in SECTIONS.items():
        entry = properties[section]["additionalProperties"]
        if section != "codes":
            assert set(entry["properties"]) == set(spec.keys)
            assert set(entry["required"]) == {key.name for key in spec.keys.values() if key.paste}


def test_no_key_says_anything_goes() -> None:
    """A reader without a shape would make the schema pass whatever is written there."""

    def walk(shape: Any, trail: str) -> list[str]:
        if not isinstance(shape, dict):
            return []
        inside = [walk(value, f"{trail}/{key}") for key, value in shape.get("properties", {}).items()]
        empty = [trail] if shape == {} else []
        further = [walk(shape.get("items"), f"{trail}[]"), walk(shape.get("additionalProperties"), f"{trail}/*")]
        further += [walk(option, trail) for option in shape.get("anyOf", [])]
        return empty + [name for names in (*inside, *further) for name in names]

    assert walk(schema(), "") == []


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("faults: {x: {nome: A}}", "'nome' was unexpected"),
        ("chekcs: {}", "'chekcs' was unexpected"),
        ("faults: {X y: {name: A}}", "does not match"),
        ("settings: {lead: four}", "is not of type 'number'"),
        ("repairs: {a: {name: A, do: B, proof: [], minutes: -1, money: 0, source: practice}}", "less than the minimum"),
        ("tools: {a: {name: A, common: maybe}}", "is not one of"),
        ("tools: {a: {name: [A]}}", "is not of type"),
        ("families: {a: {name: A, means: B, shows: {any: oftenish}, source: practice}}", "is not valid under any"),
        ("families: {a: {name: A, means: B, shows: {any: 12}, source: practice}}", "is not valid under any"),
        ("families: {a: {name: A, means: B, part of: b, source: practice}}", "is not of type 'array'"),
        ("families: {a: {name: A, means: B}}", "'source' is a required property"),
        ("sources: {a: {cite: B, seen: in a dream}}", "is not one of"),
        ("codes: {Q0172: Rich}", "does not match"),
        ("format: 9", "is not one of"),
    ],
)
def test_what_the_reader_refuses_does_not_fit(text: str, complaint: str) -> None:
    found = complaints(plain(text))
    assert len(found) >= 1 and any(complaint in said for said in found), found


@pytest.mark.parametrize("word", [*FREQUENCY_WORDS, "12 %", "0.5%", "7 of 9"])
def test_every_frequency_fits(word: str) -> None:
    text = f"families: {{a: {{name: A, means: B, shows: {{any: {word}}}, source: practice}}}}"
    assert complaints(plain(text)) == []


def test_a_change_to_a_known_entry_needs_nothing_else() -> None:
    change = plain("faults: {injector-leak: {share: 200}}\nsettings: {lead: 5}")
    assert complaints(change, known=True) == []
    assert any("required" in said for said in complaints(change))
    new = plain("faults: {another-leak: {share: 200}}")
    assert any("'repair' is a required property" in said for said in complaints(new, known=True))


def test_editors_are_offered_the_names_there_are() -> None:
    found = schema(names())
    offered = found["$defs"]["faults"]["anyOf"][0]["enum"]
    assert offered == sorted(names()["faults"])
    assert found["properties"]["faults"]["properties"].keys() == set(offered)


def test_a_condition_or_a_tool_that_is_not_there_is_marked() -> None:
    """A new one may be written down; what names one that is not there is a slip, until the schema is made anew."""
    change = "faults: {injector-leak: {shows: {%s: often}}}"
    there = names()["conditions"][0]
    assert complaints(plain(change % there), known=True) == []
    assert complaints(plain(change % "hot-restrat"), known=True)
    assert complaints(plain("checks: {plugs: {needs: [no-such-tool]}}"), known=True)
    assert complaints(plain("tools: {new-tool: {name: A new one}}"), known=True) == []


def test_the_schema_for_a_shop_says_each_shape_once() -> None:
    """So that an editor reads it at once: with the shipped names it took 11.6 MB when every name had its own copy."""
    book = read_rules([ROOT / "rules"])
    known = {section: list(getattr(book, section)) for section in ONE}
    assert len(json.dumps(schema(known))) < 400_000
