"""A file of rules or settings as a tree of YAML; what is wrong with it goes to a notebook."""

from __future__ import annotations

from pathlib import Path

from reasoner.mistake import BareSpot, Place, shorten
from reasoner.rulebook.problem import Notebook
from reasoner.yaml_tree import BREAK, Map, Text, end_of, read_tree, unglue

LARGEST_RULE_FILE = 4_000_000  # bytes of one file
DEEPEST_RULES = 20  # levels of nesting; the rules need six


def load_bytes(path: Path, file: str, notes: Notebook) -> bytes | None:
    """The bytes of a file, or None with the reason noted."""
    here = BareSpot(Place(file, 1))
    try:
        if path.stat().st_size > LARGEST_RULE_FILE:
            notes.note(
                "too-large",
                here,
                f"the file is larger than {LARGEST_RULE_FILE // 1_000_000} MB",
                "split it into several",
            )
            return None
        return path.read_bytes()
    except OSError as error:
        notes.note("cannot-open", here, f"cannot be opened: {(error.strerror or str(error)).lower()}")
        return None


def parse_bytes(content: bytes, file: str, notes: Notebook) -> Map | None:
    """The tree of a file's bytes: UTF-8, with or without a byte order mark."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = content[: error.start].decode("utf-8-sig")
        notes.lines[file] = BREAK.split(content.decode("utf-8-sig", errors="replace"))
        mend = "save it as UTF-8 (the editor's Save as, Encoding)"
        notes.note("not-utf-8", end_of(before, file), "the file is not UTF-8 from here on", mend)
        return None
    return parse_tree(text, file, notes)


def parse_tree(text: str, file: str, notes: Notebook) -> Map | None:
    """The tree of a text, mistakes going to `notes`. None when it could not be read to the end."""
    text = text.removeprefix("\ufeff")
    notes.lines[file] = BREAK.split(text)
    here, before = BareSpot(Place(file, 1)), len(notes)
    if len(text) > LARGEST_RULE_FILE:
        notes.note("too-large", here, f"longer than {LARGEST_RULE_FILE // 1_000_000} million characters")
        return None
    tree = read_tree(text, file, notes.note, DEEPEST_RULES)
    if isinstance(tree, Map):
        return tree
    if tree is None or tree == Text("", tree.place, tree.length):
        if len(notes) == before:
            notes.note("empty-file", here, "there is nothing in this file", "fill it or delete it")
    elif isinstance(tree, Text) and (spaced := unglue(tree.value)):
        notes.note("no-space", tree, "no space after the colon", f"write `{shorten(spaced)}`")
    else:
        notes.note("bad-shape", tree, "there is no key here", "a file holds keys and values: `key: value`")
    return None
