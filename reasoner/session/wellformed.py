"""Whether a message of another program has the form that `protocol.schema.json` gives it, in plain words.

What that file uses of JSON Schema is understood here and no more; a test holds it to an independent validator.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from reasoner.rulebook.problem import near

Schema = Mapping[str, Any]
Message = Mapping[str, Any]
LARGEST_VALUE = 1e12  # no reading, weight or price comes near it; a case on disk holds no larger number
TYPE_WORDS = {
    "string": "text",
    "number": "a plain number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list",
    "object": "an object",
    "null": "null",
}


@lru_cache
def definitions() -> Schema:
    """Everything that is defined in the schema of the conversation, by name."""
    text = Path(__file__).with_name("protocol.schema.json").read_text(encoding="utf-8")
    found: Schema = json.loads(text)["$defs"]
    return found


@lru_cache
def kinds() -> tuple[str, ...]:
    """The types of message that there are."""
    types = (form["properties"]["type"] for form in definitions()["said"]["oneOf"])
    return tuple(kind for one in types for kind in one.get("enum", [one.get("const")]))


def slip(message: Mapping[str, Any]) -> str:
    """What is wrong with the form of a message whose type is known; empty where nothing is."""
    for form in definitions()["said"]["oneOf"]:
        kind = form["properties"]["type"]
        if message["type"] in kind.get("enum", [kind.get("const")]):
            return _slip({"type": "object", **form}, message, "")
    raise KeyError(message["type"])


def _is(kind: str, value: Any) -> bool:
    if kind in ("number", "integer"):
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < LARGEST_VALUE:
            return False  # NaN is not below anything
        return kind == "number" or value == int(value)
    types: Mapping[str, type] = {"string": str, "boolean": bool, "array": list, "object": dict, "null": type(None)}
    return isinstance(value, types[kind])


def _kinds(schema: Schema) -> list[str]:
    kinds = schema.get("type", [])
    return [kinds] if isinstance(kinds, str) else list(kinds)


def _slip(schema: Schema, value: Any, at: str) -> str:
    """at: where in the message, such as `values.3`; empty for the whole."""
    if "$ref" in schema:
        return _slip(definitions()[schema["$ref"].rsplit("/", 1)[1]], value, at)
    forms = schema.get("oneOf", ())
    if forms and "required" not in forms[0]:  # one of several kinds of value: the one whose kind it has
        fits = [form for form in forms if any(_is(kind, value) for kind in _kinds(form))]
        return _slip(fits[0], value, at) if fits else _wanted([k for form in forms for k in _kinds(form)], at)
    kinds = _kinds(schema)
    if kinds and not any(_is(kind, value) for kind in kinds):
        return _wanted(kinds, at)
    if "enum" in schema and value not in schema["enum"]:
        return f"{_called(at)} is one of " + ", ".join(map(json.dumps, schema["enum"]))
    if "minimum" in schema and value < schema["minimum"]:
        return f"{_called(at)} is {schema['minimum']} or more"
    least = max(schema.get(key, 0) for key in ("minLength", "minItems", "minProperties"))
    if least and len(value) < least:
        return f"{_called(at)} is empty"
    if isinstance(value, list):
        inner = schema.get("items", {})
        return next(filter(None, (_slip(inner, item, _in(at, n)) for n, item in enumerate(value))), "")
    return _slip_of_object(schema, value, at) if isinstance(value, dict) else ""


def _slip_of_object(schema: Schema, value: Mapping[str, Any], at: str) -> str:
    known, further = schema.get("properties", {}), schema.get("additionalProperties", {})
    for key, inner in value.items():
        if key not in known and further is False:
            like = near(key, known)
            return f'{_called(at)} has no "{key}"' + (f' (did you mean "{like}"?)' if like else "")
        if not re.search(schema.get("propertyNames", {}).get("pattern", ""), key):
            return f'"{key}" in {_called(at)} is no number of a place'
        if found := _slip(known.get(key, further), inner, _in(at, key)):
            return found
    missing = [key for key in schema.get("required", ()) if key not in value]
    if missing:
        return f'{_called(at)} needs "{missing[0]}"'
    choices = [form["required"][0] for form in schema.get("oneOf", ())]
    if choices and sum(key in value for key in choices) != 1:
        return f"{_called(at)} has one of " + ", ".join(f'"{key}"' for key in choices)
    return ""


def _in(at: str, key: object) -> str:
    return f"{at}.{key}" if at else str(key)


def _called(at: str) -> str:
    return f'"{at}"' if at else "it"


def _wanted(kinds: list[str], at: str) -> str:
    return f"{_called(at)} is not " + " or ".join(TYPE_WORDS[kind] for kind in kinds)
