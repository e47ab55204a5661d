"""Layers of rules: what some files say together, and one layer laid over another.

A shop's rules lie over the shipped ones. An entry of a name that is there already is changed key by key; everything
else is added. Nothing has been read yet: what is laid over what are trees, so every value keeps its own place.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from reasoner.mistake import Place
from reasoner.rulebook.entries import SECTIONS, SETTINGS_KEYS
from reasoner.rulebook.fields import LEFTOVER, ONE, Key
from reasoner.rulebook.model import Trail, Written
from reasoner.rulebook.problem import Notebook, choices_of, near
from reasoner.yaml_tree import List, Map, Node, Text

SECTION_KEYS: dict[str, Mapping[str, Key]] = {
    **{name: section.keys for name, section in SECTIONS.items()},
    "settings": SETTINGS_KEYS,
}


@dataclass
class Layer:
    """What some files say together, by section and name. Within a layer a name may stand once.

    before: what stood there in the layers below, the latest last. changed: entries of a layer below that this one
    changes, and where. own: the files of the layers that were laid over the lowest.
    """

    entries: dict[str, dict[str, tuple[Text, Node]]] = field(default_factory=lambda: {name: {} for name in SECTIONS})
    settings: tuple[Text, Node] | None = None
    files: list[str] = field(default_factory=list)
    stamp: str = ""
    before: dict[Trail, tuple[Node, ...]] = field(default_factory=dict)
    changed: dict[tuple[str, str], Place] = field(default_factory=dict)
    own: set[str] = field(default_factory=set)

    def bodies(self) -> Iterator[tuple[str, str, Node]]:
        """Every entry as (section, name, what it says), the settings first."""
        if self.settings:
            yield "settings", "settings", self.settings[1]
        for section, found in self.entries.items():
            yield from ((section, name, body) for name, (_, body) in found.items())


def lay_over(base: Layer, top: Layer, notes: Notebook) -> None:
    """Changes `base` into both together. What changes nothing that is there and is no whole entry is noted."""
    if top.settings:
        text, body = top.settings
        if base.settings:
            body = _entry(base, "settings", "settings", text.place, base.settings[1], body)
        base.settings = text, body
    known = {section: {n: text.place for n, (text, _) in found.items()} for section, found in base.entries.items()}
    for section, found in top.entries.items():
        entries = base.entries[section]
        for name, (text, body) in found.items():
            if name in entries:
                first, old = entries[name]
                entries[name] = first, _entry(base, section, name, text.place, old, body)
            elif not _strays(section, text, body, known, notes):
                entries[name] = text, body
    base.files += top.files
    base.own.update(top.files)


def _entry(base: Layer, section: str, name: str, place: Place, old: Node, new: Node) -> Node:
    base.changed[section, name] = place
    if not isinstance(old, Map) or not isinstance(new, Map):
        return _replace(base, (section, name), old, new)
    keys = SECTION_KEYS[section]
    pairs = {key.value: (key, value) for key, value in old.pairs}
    for key, value in new.pairs:
        if key.value in pairs:
            trail, below = (section, name, key.value), pairs[key.value][1]
            by_name = key.value in keys and keys[key.value].by_name
            value = _by_name(base, trail, below, value) if by_name else _replace(base, trail, below, value)
        pairs[key.value] = key, value
    return Map(tuple(pairs.values()), new.place, new.length)


def _by_name(base: Layer, trail: Trail, old: Node, new: Node) -> Node:
    if not isinstance(old, Map) or not isinstance(new, Map):
        return _replace(base, trail, old, new)
    pairs = {key.value: (key, value) for key, value in old.pairs}
    for key, value in new.pairs:
        if key.value in pairs:
            value = _replace(base, (*trail, key.value), pairs[key.value][1], value)
        pairs[key.value] = key, value
    return Map(tuple(pairs.values()), new.place, new.length)


def _replace(base: Layer, trail: Trail, old: Node, new: Node) -> Node:
    base.before[trail] = (*base.before.get(trail, ()), old)
    return new


def _strays(section: str, name: Text, body: Node, known: Mapping[str, Mapping[str, Place]], notes: Notebook) -> bool:
    """Whether this is a change to something that is not there: too little to be an entry of its own, and something
    of nearly that name, or of that name in another section, is there. Noted."""
    needed = [key.name for key in SECTION_KEYS[section].values() if key.paste]
    missing = [key for key in needed if isinstance(body, Map) and body.key(key) is None]
    if 2 * len(missing) <= len(needed):
        return False
    if LEFTOVER.search(name.value):
        return True  # noted already
    one, new = ONE[section], f"a new {ONE[section]} of this name needs {choices_of(missing, 'and')} too"
    for other, names in known.items():
        if name.value in names:
            place = names[name.value]
            message = (
                f'"{name.value}" is a {ONE[other]} ({place.file}:{place.line}), and there is no such {one} to change'
            )
            notes.note("wrong-section", name, message, f"to change the {ONE[other]}, write it under `{other}:`\n{new}")
            return True
    meant = near(name.value, known[section])
    if meant:
        place = known[section][meant]
        message = f'there is no {one} "{name.value}" to change'
        notes.note("unknown-name", name, message, f'did you mean "{meant}"? ({place.file}:{place.line})\n{new}')
    return meant is not None


# ---- what was written where ------------------------------------------------------------------------------------------


def values_written(layer: Layer) -> dict[Trail, Written]:
    """Every value as text with its place, and what it replaced."""
    found: dict[Trail, Written] = {}
    for section, name, body in layer.bodies():
        if not isinstance(body, Map):
            found[section, name] = _written(layer, (section, name), body)
            continue
        for key, value in body.pairs:
            trail, spec = (section, name, key.value), SECTION_KEYS[section].get(key.value)
            split = spec is not None and spec.by_name and isinstance(value, Map)
            if not split or trail in layer.before:
                found[trail] = _written(layer, trail, value)
            if split and isinstance(value, Map):
                for part, inside in value.pairs:
                    found[*trail, part.value] = _written(layer, (*trail, part.value), inside)
    return found


def _written(layer: Layer, trail: Trail, node: Node) -> Written:
    before = tuple(Written(text_of_value(old), old.place) for old in layer.before.get(trail, ()))
    return Written(text_of_value(node), node.place, before)


def text_of_value(node: Node) -> str:
    """A value on one line, as it could be written."""
    if isinstance(node, Text):
        return node.value.strip()
    if isinstance(node, List):
        return f"[{', '.join(map(text_of_value, node.items))}]"
    return f"{{{', '.join(f'{key.value}: {text_of_value(value)}' for key, value in node.pairs)}}}"
