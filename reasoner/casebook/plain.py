"""YAML that a person wrote, as plain data. Nothing is expanded, no words are turned into anything else.

Built from the parser's events: an anchor, an alias, a tag or too deep a nesting is refused as soon as it comes by.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any

import yaml

from reasoner.casebook.trouble import visible
from reasoner.casebook.writing import DEEPEST

Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

# Only what JSON and YAML 1.1 both take for a number or a word of theirs; `yes`, `12:30`, `007` and dates are text.
NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(?P<float>\.[0-9]+(?:[eE][-+][0-9]+)?)?")
WORDS = {"true": True, "false": False, "null": None, "": None}


class PlainError(ValueError):
    """What is wrong, what would mend it, and in which line of the text (from 0)."""

    def __init__(self, message: str, mend: str, line: int) -> None:
        super().__init__(message)
        self.message, self.mend, self.line = message, mend, line


def read(text: str, typed: bool = True) -> object:
    """The data of one YAML text; None where there is none. typed: numbers, true, false and null are not text.

    Raises PlainError.
    """
    return _Walk(text, typed).document()


class _Walk:
    def __init__(self, text: str, typed: bool) -> None:
        self.events: Iterator[Any] = yaml.parse(text, Loader=Loader)
        self.typed = typed

    def document(self) -> object:
        found: list[object] = []
        try:
            for event in self.events:
                if isinstance(event, yaml.DocumentStartEvent):
                    if found:
                        raise _refused(event, "a second document begins here", "delete the line `---`")
                    found.append(self.node(next(self.events), 0))
                elif isinstance(event, yaml.DocumentEndEvent) and event.explicit:
                    raise _refused(event, "`...` ends the document, and more is to follow", "delete it")
        except yaml.MarkedYAMLError as error:
            said = visible(str(error.problem or error.context))
            left_open = "end of stream" in said and error.context_mark
            mark = left_open or error.problem_mark or error.context_mark
            raise PlainError(
                f"this is not YAML: {said}", "look here and just above", mark.line if mark else 0
            ) from None
        except yaml.YAMLError as error:
            raise PlainError(f"this is not YAML: {visible(str(error))}", "write it anew", 0) from None
        return found[0] if found else None

    def node(self, event: Any, depth: int) -> object:
        if event.anchor is not None:  # an alias has one too
            raise _refused(
                event, "`&` and `*` (something repeated) are not used in a case", "write it out, or quote it"
            )
        if event.tag is not None:
            raise _refused(event, "`!` has a meaning of its own in YAML", "if it is text, put it in quotes")
        if isinstance(event, yaml.ScalarEvent):
            return self.scalar(event)
        if depth > DEEPEST:
            raise _refused(event, f"nested more than {DEEPEST} deep", "a bracket may be left open above")
        if isinstance(event, yaml.SequenceStartEvent):
            items = []
            while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
                items.append(self.node(event, depth + 1))
            return items
        pairs: dict[str, object] = {}
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            key = self.key(event)
            if key in pairs:
                raise _refused(event, f'"{visible(key, 40)}" is written twice', "keep one of the two")
            pairs[key] = self.node(next(self.events), depth + 1)
        return pairs

    def key(self, event: Any) -> str:
        """Keys are text as written."""
        if not isinstance(event, yaml.ScalarEvent):
            raise _refused(event, "a key is a plain word, not a list or a map", "write `key: value`")
        self.node(event, 0)  # refuses anchors and tags
        if event.value == "<<" and event.implicit[0]:
            raise _refused(event, "`<<` (keys copied from elsewhere) is not used in a case", "write them out")
        return str(event.value)

    def scalar(self, event: Any) -> object:
        text = str(event.value)
        if not self.typed or not event.implicit[0]:  # quoted, or in a block
            return text
        if text in WORDS:
            return WORDS[text]
        found = NUMBER.fullmatch(text)
        if found is None:
            return text
        try:
            value = float(text) if found["float"] else int(text)
        except ValueError:  # thousands of digits
            value = math.inf
        if math.isinf(value):
            raise _refused(event, "a number too large to be meant", "if it is text, put it in quotes")
        return value


def _refused(event: Any, message: str, mend: str) -> PlainError:
    return PlainError(message, mend, event.start_mark.line)
