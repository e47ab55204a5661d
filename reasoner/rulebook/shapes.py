"""What may be written, as JSON Schema: every reader of a value carries the shape of what it reads.

The schema of the whole (`schema.py`) is put together from these, so it cannot say anything else than the readers.
Editors read YAML in several dialects, in some of which `yes` or `off` is no text: a shape takes both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

JsonShape = Mapping[str, Any]

ANYTHING: JsonShape = {}
TEXT: JsonShape = {"type": ["string", "number", "boolean"]}
TRUTHS = {"yes": True, "on": True, "no": False, "off": False}  # YAML 1.1, yaml.org/type/bool.html


@dataclass(frozen=True)
class Shaped:
    """A reader together with the shape of what it reads."""

    read: Callable[[Any, Any], Any]
    shape: JsonShape

    def __call__(self, context: Any, node: Any) -> Any:
        return self.read(context, node)


def shape_of(read: object) -> JsonShape:
    """The shape that a reader carries."""
    shape: JsonShape = getattr(read, "shape", ANYTHING)
    return shape


def text_like(pattern: str) -> JsonShape:
    """Text of a pattern."""
    return {"type": "string", "pattern": f"^(?:{pattern})$"}


def words(allowed: Iterable[str]) -> JsonShape:
    """One of some words."""
    allowed = [str(word) for word in allowed]
    return {"enum": [*allowed, *dict.fromkeys(TRUTHS[word] for word in allowed if word in TRUTHS)]}


def either(*shapes: JsonShape) -> JsonShape:
    """Any of some shapes."""
    return shapes[0] if len(shapes) == 1 else {"anyOf": list(shapes)}


def number_shape(least: float, most: float) -> JsonShape:
    """A number between limits."""
    return {"type": "number", "minimum": least, "maximum": most}


def items(shape: JsonShape) -> JsonShape:
    """A list of things of a shape."""
    return {"type": "array", "items": shape, "uniqueItems": True}


def map_shape(name: JsonShape, value: JsonShape) -> JsonShape:
    """A map whose keys are names of some kind."""
    return {"type": "object", "propertyNames": name, "additionalProperties": value}


def name_in(section: str) -> JsonShape:
    """The name of an entry; the schema of the whole says which there are."""
    return {"$ref": f"#/$defs/{section}"}
