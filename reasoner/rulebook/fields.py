"""How keys and values of the rules are read: small readers that fit together, and tables of keys made of them.

A reader takes the context and a node and gives a value, or notes what is wrong and gives None. Nothing is raised, so
that one run finds every mistake.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any

from reasoner.mistake import Place, Spot, shorten
from reasoner.rulebook import quantity, shapes
from reasoner.rulebook.model import Frequency
from reasoner.rulebook.problem import Notebook, Unreadable, choices_of, levels_of, near
from reasoner.rulebook.shapes import JsonShape, Shaped, shape_of
from reasoner.yaml_tree import List, Map, Node, Text

RULE_NAME = re.compile(r"[a-z][a-z0-9-]*")
REPLACE = "REPLACE ME"  # stands in skeletons for what a person has to write
LEFTOVER = re.compile(rf"{REPLACE}|TODO|FIXME|XXX")
EMPTY_MAP: Mapping[Any, Any] = MappingProxyType({})

# Section -> what one of its entries is called.
ONE = {
    "conditions": "condition",
    "families": "family",
    "faults": "fault",
    "checks": "check",
    "repairs": "repair",
    "parts": "part",
    "risks": "risk",
    "sheets": "sheet",
    "proofs": "proof",
    "cautions": "caution",
    "tools": "tool",
    "equipment": "piece of equipment",
    "synonyms": "synonym",
    "sources": "source",
    "codes": "code",
}

# What people write -> what it is called, where that is a key.
OTHER_WORDS = {
    "acts as": ("part of",),
    "part of": ("acts as",),
    "title": ("name",),
    "description": ("means",),
    "question": ("ask",),
    "steps": ("how", "do"),
    "text": ("say",),
    "conditions": ("in",),
    "tools": ("needs",),
    "cost": ("money",),
    "time": ("minutes",),
    "reference": ("source", "cite"),
}


@dataclass
class ReaderContext:
    """What a reader needs: where mistakes go, which names there are (and where), what each kind of source is worth."""

    notes: Notebook
    known: Mapping[str, Mapping[str, Place]]
    weights: Mapping[str, float] = field(default_factory=dict)
    levels: Mapping[str, Collection[str]] = field(default_factory=dict)
    waived: dict[tuple[str, str], Mapping[str, str]] = field(default_factory=dict)

    def weight_of(self, source: str) -> float:
        """Observed cases that a statement of this source is worth, unless it says so itself."""
        return self.weights.get(source if source in ("practice", "judgement") else "published", 1.0)


FieldReader = Callable[[ReaderContext, Node], Any]


@dataclass(frozen=True)
class Key:
    """One key: as written, how its value is read, the attribute it fills; `paste`: a line to add where it lacks.

    by_name: its value is a map of names, and a shop's rules replace it name by name, not as a whole.
    wanted: the shape of what is written, where the reader leaves that to be read later.
    """

    name: str
    read: FieldReader
    into: str = ""
    paste: str = ""
    default: Any = None
    by_name: bool = False
    wanted: JsonShape | None = None

    @cached_property
    def attribute(self) -> str:
        return self.into or self.name.replace(" ", "_")

    @property
    def shape(self) -> JsonShape:
        return shape_of(self.read) if self.wanted is None else self.wanted


def key_table(*keys: Key) -> dict[str, Key]:
    """Keys by name."""
    return {key.name: key for key in keys}


def object_of(keys: Mapping[str, Key], others: JsonShape | bool = False) -> JsonShape:
    """The shape of a map with these keys; `others`: the shape of further values, if there may be any."""
    return {
        "type": "object",
        "properties": {key.name: key.shape for key in keys.values()},
        "required": [key.name for key in keys.values() if key.paste],
        "additionalProperties": others,
    }


def fields(context: ReaderContext, keys: Mapping[str, Key], node: Map, owner: Spot, level: str) -> dict[str, Any]:
    """The values of a map by attribute. What is missing and optional has its default, what is wrong has None.

    level: what the map is, in words (`a check`); owner: where a missing key is reported.
    """
    values: dict[str, Any] = {}
    for name, value in node.pairs:
        key = keys.get(name.value) or keys.get(unknown_key(context, name, keys, level) or "")
        if key is not None:
            values[key.attribute] = key.read(context, value)
    for key in keys.values():
        if key.attribute not in values:
            values[key.attribute] = key.default
            if key.paste:
                context.notes.note("missing-key", owner, f'{level} needs "{key.name}"', f"add the line\n  {key.paste}")
    return values


def unknown_key(context: ReaderContext, name: Text, keys: Collection[str], level: str) -> str | None:
    """Notes a key that has no place here: what it is called here, the near one, the level it belongs to, or all known.

    Gives the key that was most likely meant, so that reading can go on as if it had been written.
    """
    called = next((word for word in OTHER_WORDS.get(name.value, ()) if word in keys), None)
    if called:
        context.notes.note("unknown-key", name, f'{level} has no "{name.value}"', f'here it is called "{called}"')
        return called
    meant = near(name.value, keys)
    elsewhere = levels_of(name.value, context.levels)
    title = shorten(name.value)
    if elsewhere:
        mend = f"it belongs to {choices_of(elsewhere)}: check the margin"
        if meant:
            mend = f'did you mean "{meant}"?\n"{title}" belongs to {choices_of(elsewhere)}'
        context.notes.note("wrong-level", name, f'"{title}" is no key of {level}', mend)
        return meant
    mend = f'did you mean "{meant}"?' if meant else "known here: " + choices_of(keys, "and")
    context.notes.note("unknown-key", name, f'{level} has no "{title}"', mend)
    return meant


# ---- readers of one value --------------------------------------------------------------------------------------------


def shape(node: Node) -> str:
    """What kind of node it is, as a person calls it."""
    if isinstance(node, Map):
        return "a group of keys"
    return "a list" if isinstance(node, List) else "one text"


def text_of_node(context: ReaderContext, node: Node, wanted: str = "one text") -> Text | None:
    """The text of a node, or None with a note where it is none."""
    if not isinstance(node, Text):
        context.notes.note(
            "bad-shape", node, f"this is {shape(node)}; wanted here: {wanted}", "write it after the colon"
        )
    elif not node.value.strip():
        context.notes.note("nothing-written", node, "nothing is written here", f"wanted: {wanted}")
    elif LEFTOVER.search(node.value):
        context.notes.note("left-over", node, f'"{shorten(node.value)}" was left over', "write what is meant")
    else:
        return node
    return None


def as_map(context: ReaderContext, node: Node, wanted: str, mend: str = "") -> Map | None:
    """A node as a map, or None with a note where it is none."""
    if isinstance(node, Map):
        return node
    mend = mend or "write `{key: value}`, or one `key: value` a line, further in"
    if isinstance(node, Text) and not node.value:
        context.notes.note("nothing-written", node, "nothing is written here", f"wanted: {wanted}\n{mend}")
    elif isinstance(node, Text) and re.match(r"[a-z][\w -]*:\S", node.value):
        context.notes.note("no-space", node, "no space after the colon", "write `key: value`")
    else:
        context.notes.note("bad-shape", node, f"this is {shape(node)}; wanted here: {wanted}", mend)
    return None


def _text(context: ReaderContext, node: Node) -> str | None:
    found = text_of_node(context, node)
    return found.value.strip() if found else None


text = Shaped(_text, shapes.TEXT)


def parsed(parse: Callable[[str], Any], shape: JsonShape) -> FieldReader:
    """A reader from a parser of text that raises Unreadable."""

    def read(context: ReaderContext, node: Node) -> Any:
        found = text_of_node(context, node)
        if found is None:
            return None
        try:
            return parse(found.value)
        except Unreadable as wrong:
            context.notes.note(wrong.kind, found, wrong.message, wrong.mend)
            return None

    return Shaped(read, shape)


def number(
    unit: str = "", least: float = -quantity.LARGEST_NUMBER, most: float = quantity.LARGEST_NUMBER
) -> FieldReader:
    """A reader of a number between limits, in a unit."""
    return parsed(lambda text: quantity.parse_number(text, unit, least, most), shapes.number_shape(least, most))


def percentage(least: float = 0, most: float = 100) -> FieldReader:
    """A reader of a percentage between limits."""
    return parsed(lambda text: quantity.parse_percent(text, least, most), shapes.text_like(quantity.PERCENT))


minutes = parsed(quantity.parse_minutes, shapes.number_shape(0, quantity.MOST_MINUTES))
money = parsed(quantity.parse_money, shapes.number_shape(0, quantity.LARGEST_NUMBER))
distance = parsed(quantity.parse_distance, shapes.text_like(quantity.DISTANCE))


def choice(*words: str) -> FieldReader:
    """One of these words."""

    def parse(text: str) -> str:
        if text in words:
            return text
        meant = near(text, words)
        mend = f'did you mean "{meant}"?' if meant else ""
        raise Unreadable(
            f'"{shorten(text)}" is not one of the choices', f"{mend}\none of: {choices_of(words)}".strip(), "bad-choice"
        )

    return parsed(parse, shapes.words(words))


def _yes(text: str) -> bool:
    if text not in ("yes", "no"):
        meant = {"true": "yes", "on": "yes", "y": "yes", "false": "no", "off": "no", "n": "no"}.get(text.lower())
        raise Unreadable(f'"{shorten(text)}" is neither yes nor no', f"write {meant or 'yes or no'}", "bad-choice")
    return text == "yes"


yes_no = parsed(_yes, shapes.words(("yes", "no")))


OFTEN = shapes.either(
    shapes.words(quantity.FREQUENCY_WORDS), shapes.text_like(quantity.PERCENT), shapes.text_like(quantity.COUNT)
)
_often = parsed(quantity.how_often, OFTEN)


def _frequency(context: ReaderContext, node: Node) -> Frequency | None:
    """A frequency as it was written, with its value."""
    found = _often(context, node)
    if found is None or not isinstance(node, Text):
        return None
    value, cases = found
    return Frequency(node.value, value, node.place, cases)


frequency = Shaped(_frequency, OFTEN)


# ---- readers of names ------------------------------------------------------------------------------------------------


def name_of(*sections: str, also: tuple[str, ...] = ()) -> FieldReader:
    """The name of an entry of one of these sections, or one of the words in `also`."""

    def read(context: ReaderContext, node: Node) -> str | None:
        found = text_of_node(context, node, "one name")
        if found is None:
            return None
        if found.value in also or any(found.value in context.known[section] for section in sections):
            return found.value
        unknown_name(context, found, sections, also)
        return None

    others = (shapes.words(also),) if also else ()
    return Shaped(read, shapes.either(*map(shapes.name_in, sections), *others))


def unknown_name(context: ReaderContext, found: Text, sections: tuple[str, ...], also: tuple[str, ...] = ()) -> None:
    """Notes a name that no entry has, with the nearest that one has."""
    wanted = choices_of(ONE[section] for section in sections)
    title = shorten(found.value)
    where = {name: place for section in sections for name, place in context.known[section].items()}
    elsewhere = [section for section, names in context.known.items() if found.value in names]
    meant = near(found.value, (*where, *also))
    if elsewhere:
        place = context.known[elsewhere[0]][found.value]
        message = f'"{title}" is a {ONE[elsewhere[0]]}, not a {wanted}'
        return context.notes.note(
            "unknown-name", found, message, f"a {wanted} is wanted here ({place.file}:{place.line})"
        )
    if meant:
        mend = f'did you mean "{meant}"?' + (f" ({where[meant].file}:{where[meant].line})" if meant in where else "")
    else:
        mend = f"known: {choices_of((*where, *also), 'and')}" if where or also else f"no {wanted} is defined anywhere"
        if RULE_NAME.fullmatch(found.value) and context.known:
            mend += f"\nor add it: an entry {title} under {choices_of(f'`{section}`' for section in sections)}"
    if sections == ("codes",):  # the nearest code is another fault's, not a slip of the pen
        mend = f"add it to `codes`, with its standard name\n  {title}: ..."
    if levels := levels_of(found.value, context.levels):
        mend = f'"{title}" belongs to {choices_of(levels)}: check the margin'
        return context.notes.note("wrong-level", found, f'no {wanted} is called "{title}"', mend)
    context.notes.note("unknown-name", found, f'no {wanted} is called "{title}"', mend)


# ---- readers of lists and maps ---------------------------------------------------------------------------------------


def list_of(read: FieldReader) -> FieldReader:
    """A tuple, without repetitions."""

    def read_list(context: ReaderContext, node: Node) -> tuple[Any, ...] | None:
        if not isinstance(node, List):
            mend = "write it as [one, two]"
            if isinstance(node, Text) and node.value:
                mend = f"write [{shorten(node.value)}]"
                if node.value.startswith("-"):
                    mend = "put a space after the dash, or write it as [one, two]"
            context.notes.note("bad-shape", node, f"this is {shape(node)}; wanted here: a list", mend)
            return None
        values: list[Any] = []
        for item in node.items:
            value = read(context, item)
            if value is None:
                continue
            if value in values:
                context.notes.note("same-twice", item, "this stands in the list twice", "keep one")
            values.append(value)
        return tuple(values)

    return Shaped(read_list, shapes.items(shape_of(read)))


def map_of(key: FieldReader, value: FieldReader, wanted: str = "keys and values") -> FieldReader:
    """A map, both sides read; pairs with a mistake are left out (they have been noted)."""

    def read(context: ReaderContext, node: Node) -> Mapping[Any, Any] | None:
        found = as_map(context, node, wanted)
        if found is None:
            return None
        pairs = [(key(context, k), value(context, v)) for k, v in found.pairs]
        return {k: v for k, v in pairs if k is not None and v is not None}

    return Shaped(read, shapes.map_shape(shape_of(key), shape_of(value)))


def group(keys: Mapping[str, Key], level: str, make: Callable[..., Any] = dict, at_place: bool = False) -> Shaped:
    """A map with these keys, as its dataclass; at_place: which knows where it was written. level: as for `fields`."""

    def read(context: ReaderContext, node: Node) -> Any:
        before = len(context.notes)
        found = as_map(context, node, "keys and values")
        values = None if found is None else fields(context, keys, found, found, level)
        if values is None or len(context.notes) > before:
            return None
        return make(**values, **({"place": node.place} if at_place else {}))

    return Shaped(read, object_of(keys))


def as_it_is(context: ReaderContext, node: Node) -> Node:
    """The node itself, for what can only be read when its neighbours have been."""
    return node
