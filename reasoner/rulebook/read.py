"""Rule files to a Rulebook: find them, read each, put them together, lay layers over, check each and the whole."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from reasoner.mistake import BareSpot, Place, shorten
from reasoner.rulebook.entries import CODE, SECTIONS, SETTING_LEVELS, read_entry, read_settings
from reasoner.rulebook.fields import LEFTOVER, ONE, RULE_NAME, ReaderContext, unknown_key
from reasoner.rulebook.layers import Layer, lay_over, values_written
from reasoner.rulebook.located import load_bytes, parse_bytes
from reasoner.rulebook.model import Check, Family, Fault, Rulebook
from reasoner.rulebook.problem import Notebook, Problem, RulesRefused, choices_of, near
from reasoner.yaml_tree import Map, Node, Text

# ---- What only shows when all the rules are there --------------------------------------------------------------------
# Loops, and the one fault that stands for anything else.


def no_loops(context: ReaderContext, families: Mapping[str, Family], checks: Mapping[str, Check]) -> None:
    """Families that are part of themselves, checks that wait for or stand for each other."""
    part_of = {name: family.part_of for name, family in families.items()}
    _no_loop(context, families, part_of, "a family is part of itself", "take one of the steps out")
    after = {name: check.after for name, check in checks.items()}
    _no_loop(context, checks, after, "checks wait for each other", "take one `after` out")
    better = {name: check.stands_for for name, check in checks.items()}
    _no_loop(context, checks, better, "checks stand for each other", "keep the better one's `stands for`")


def no_other_outcomes(context: ReaderContext, checks: Mapping[str, Check]) -> None:
    """What `not where` lists of another check are outcomes that this other check has."""
    for name, check in checks.items():
        for other, meant in check.not_where.items():
            has = tuple(outcome.name for outcome in checks[other].outcomes) if other in checks else meant
            for outcome in meant:
                if outcome not in has:
                    spot = BareSpot(check.origin.place, len(name))
                    mend = f"its outcomes: {', '.join(has)}"
                    context.notes.note("unknown-name", spot, f'"{other}" has no outcome "{outcome}"', mend)


def _no_loop(
    context: ReaderContext,
    entries: Mapping[str, Family] | Mapping[str, Check],
    steps: Mapping[str, tuple[str, ...]],
    message: str,
    mend: str,
) -> None:
    for loop in loops(steps):
        spot = BareSpot(entries[loop[0]].origin.place, len(loop[0]))
        context.notes.note("loop", spot, f"{message}: {' -> '.join(loop)}", mend)


def loops(steps: Mapping[str, tuple[str, ...]]) -> Iterator[tuple[str, ...]]:
    """Each loop once, as the names along it with the first repeated at the end."""
    done: set[str] = set()
    for start in steps:
        path: list[str] = []
        pending: list[tuple[str, int]] = [(start, 0)]  # a name, and how long the path was when it was met
        while pending:
            name, length = pending.pop()
            del path[length:]
            if name in path:
                yield (*path[path.index(name) :], name)
            elif name not in done:
                path.append(name)
                done.add(name)
                pending += [(wider, len(path)) for wider in reversed(steps.get(name, ()))]


def one_spare(context: ReaderContext, faults: Mapping[str, Fault], checks: Mapping[str, Check], here: Place) -> None:
    """Exactly one fault stands for anything else, as there always is something; it says nothing of its own."""
    spare = [fault for fault in faults.values() if fault.anything_else]
    if not spare:
        mend = "add a fault with the line\n  anything else: yes"
        context.notes.note("missing-key", BareSpot(here), "no fault stands for anything else", mend)
    for fault in spare[1:]:
        first = spare[0].origin.place
        message = f"a second fault stands for anything else; first {spare[0].name} ({first.file}:{first.line})"
        context.notes.note("same-twice", BareSpot(fault.origin.place, len(fault.name)), message, "keep one of the two")
    for check in checks.values():
        for name in [fault.name for fault in spare if fault.name in check.given]:
            message = f"this would not be used: {name} behaves like the mean of all other faults"
            context.notes.note("not-used", BareSpot(check.given[name].origin.place, len(name)), message, "delete it")


def one_subject_a_name(context: ReaderContext) -> None:
    """`given` names a fault or a family, so no name may be both."""
    for name, place in context.known["faults"].items():
        other = context.known["families"].get(name)
        if other:
            message = f'"{name}" is a family too ({other.file}:{other.line})'
            context.notes.note("same-twice", BareSpot(place, len(name)), message, "give one of them another name")


# ---- Rule files to a Rulebook ----------------------------------------------------------------------------------------
# Find the files, read each, put them together by name, lay layers over each other, check every entry.
#
# All the mistakes of all the files are found in one run. Rules with a mistake are refused as a whole.

RULES_FORMAT = 1
RESERVED = {"any": "conditions", "practice": "sources", "judgement": "sources", "published": "sources"}


def read_rules(paths: Sequence[Path], shown_from: Path | None = None, over: Sequence[Path] = ()) -> Rulebook:
    """The rules of these files and folders (of *.yaml); each of `over` is laid over what is below it.

    Raises RulesRefused with every mistake there is.
    """
    book, problems = collect(paths, shown_from, over)
    if book is None:
        raise RulesRefused(problems)
    return book


def collect(
    paths: Sequence[Path], shown_from: Path | None = None, over: Sequence[Path] = ()
) -> tuple[Rulebook | None, tuple[Problem, ...]]:
    """The rules, or None and every mistake. `shown_from`: the folder that file names are shown relative to."""
    notes = Notebook()
    book = gather(paths, shown_from, over, notes)
    return (None if notes.problems else book), notes.problems


def gather(paths: Sequence[Path], shown_from: Path | None, over: Sequence[Path], notes: Notebook) -> Rulebook | None:
    """`collect`, with the mistakes and the text of every file read left in `notes`."""
    layers = [read_layer(paths, shown_from, notes), *(read_layer([path], shown_from, notes) for path in over)]
    whole = [layer for layer in layers if layer is not None]
    if len(whole) < len(layers):
        return None
    base, *others = whole
    for layer in others:
        lay_over(base, layer, notes)
    if others:
        base.stamp = hashlib.sha256("\0".join([base.stamp, *(layer.stamp for layer in others)]).encode()).hexdigest()
    return build_book(base, notes)


# ---- files -----------------------------------------------------------------------------------------------------------


def read_layer(paths: Sequence[Path], shown_from: Path | None, notes: Notebook) -> Layer | None:
    """All the files as one layer; None when one could not be read to its end (names would seem to be missing)."""
    layer, digest, whole = Layer(), hashlib.sha256(), True
    for path, name in _files(paths, shown_from, notes):
        shown = _shown(path, shown_from)
        content = load_bytes(path, shown, notes)
        tree = None if content is None else parse_bytes(content, shown, notes)
        if content is None or tree is None:
            whole = False
            continue
        layer.files.append(shown)
        digest.update(f"{name}\0{len(content)}\0".encode() + content)
        _sort_in(layer, tree, notes)
    layer.stamp = digest.hexdigest()
    return layer if whole and layer.files else None


def _files(paths: Sequence[Path], shown_from: Path | None, notes: Notebook) -> list[tuple[Path, str]]:
    """Each file once, with the name that goes into the stamp: the same wherever the folder lies."""
    found: dict[Path, tuple[Path, str]] = {}
    for path in paths:
        here = BareSpot(Place(_shown(path, shown_from), 1))
        if path.is_dir():
            inside = sorted(p for p in path.iterdir() if not p.name.startswith("."))
            for odd in (p for p in inside if p.suffix.lower() in (".yml", ".yaml") and p.suffix != ".yaml"):
                message = "not read: the names of rule files end in .yaml"
                notes.note("no-rules", BareSpot(Place(_shown(odd, shown_from), 1)), message, f"name it {odd.stem}.yaml")
            files = [p for p in inside if p.suffix == ".yaml"]
            if not files:
                notes.note("no-rules", here, "no rule files in this folder", "rule files are *.yaml")
        elif path.exists():
            files = [path]
        else:
            notes.note("no-rules", here, "there is no such file or folder")
            continue
        found.update((p.resolve(), (p, p.name)) for p in files if p.resolve() not in found)
    if not paths:
        notes.note("no-rules", BareSpot(Place("rules", 1)), "no rule files were named")
    return list(found.values())


def _shown(path: Path, shown_from: Path | None) -> str:
    if shown_from is not None:
        try:
            return path.resolve().relative_to(shown_from.resolve()).as_posix()
        except ValueError:
            pass
    return path.as_posix()


# ---- entries by name -------------------------------------------------------------------------------------------------


def _sort_in(layer: Layer, tree: Map, notes: Notebook) -> None:
    """Puts a file's entries where they belong, noting names that stand twice and sections that do not exist."""
    for name, node in tree.pairs:
        if name.value == "format":
            _format(name, node, notes)
        elif name.value == "settings":
            if layer.settings is not None:
                first = layer.settings[0].place
                message = f"the settings stand here a second time; first at {first.file}:{first.line}"
                notes.note("same-twice", name, message, "keep one of the two")
            else:
                layer.settings = name, node
        else:
            section = _section(name, notes)
            if section:
                _entries(layer, section, node, notes)


def _format(name: Text, node: Node, notes: Notebook) -> None:
    if isinstance(node, Text) and node.value.isdecimal() and int(node.value[:9]) > RULES_FORMAT:
        message = f"these rules have format {node.value}; this program reads format {RULES_FORMAT}"
        notes.note("newer-format", node, message, "use a newer program")
    elif not isinstance(node, Text) or node.value != str(RULES_FORMAT):
        notes.note("bad-number", name, "`format` is a whole number", f"write format: {RULES_FORMAT}")


def _section(name: Text, notes: Notebook) -> str | None:
    """The section meant; of a misspelt one the entries are read all the same, so that no name seems to be missing."""
    if name.value in SECTIONS:
        return name.value
    context = ReaderContext(notes, {}, levels=SETTING_LEVELS)
    unknown_key(context, name, (*SECTIONS, "settings", "format"), "a rule file")
    meant = near(name.value, SECTIONS)
    return meant


def _entries(layer: Layer, section: str, node: Node, notes: Notebook) -> None:
    one = ONE[section]
    if not isinstance(node, Map):
        empty = isinstance(node, Text) and not node.value
        message = f"there is no {one} in this section" if empty else "names are wanted here, each with what it is"
        return notes.note("bad-shape", node, message, "write the name with a colon, and what it is below, further in")
    for name, body in node.pairs:
        if not _well_named(section, name, body, notes):
            continue
        first = layer.entries[section].get(name.value)
        if first:
            place = first[0].place
            message = f'there is a {one} "{name.value}" already ({place.file}:{place.line})'
            notes.note("same-twice", name, message, "keep one of the two, or give one another name")
        else:
            layer.entries[section][name.value] = name, body


def _well_named(section: str, name: Text, body: Node, notes: Notebook) -> bool:
    """Whether this is an entry at all (a bad name is noted, but kept, so that those who use it are not blamed too)."""
    one, title = ONE[section], shorten(name.value)
    if LEFTOVER.search(name.value):
        notes.note("left-over", name, f'"{title}" was left over', f"write the name of a {one}")
    elif section == "codes":
        if not CODE.fullmatch(name.value):
            notes.note("bad-name", name, f'"{title}" is no trouble code', "such as P0172: a letter and four digits")
    elif name.value in SECTIONS[section].keys and not isinstance(body, Map):
        mend = f"give it a larger margin, below the name of a {one}"
        notes.note("wrong-level", name, f'"{title}" is a key of a {one}, not the name of one', mend)
        return False
    elif name.value in SECTIONS and isinstance(body, Map):
        notes.note("wrong-level", name, f'"{title}" begins a section', "write it at the left margin")
        return False
    elif RESERVED.get(name.value) == section:
        notes.note("bad-name", name, f'"{title}" has a meaning of its own', "choose another name")
    elif not RULE_NAME.fullmatch(name.value):
        slug = "-".join("".join(c if c.isalnum() and c.isascii() else " " for c in name.value.lower()).split())
        mend = f"write {slug}" if RULE_NAME.fullmatch(slug) else "lower case letters, digits and dashes"
        notes.note("bad-name", name, f'"{title}" cannot be the name of a {one}', mend)
    return True


# ---- the book --------------------------------------------------------------------------------------------------------


def build_book(layer: Layer, notes: Notebook) -> Rulebook | None:
    """Every entry as its dataclass, every name resolved. None (and why noted) when anything is wrong."""
    known = {section: {n: text.place for n, (text, _) in found.items()} for section, found in layer.entries.items()}
    context = ReaderContext(notes, known, levels=SETTING_LEVELS)
    here = Place(layer.files[0], 1)
    if layer.settings is None:
        missing = "no file has `settings`: the numbers of the reasoning itself"
        notes.note("missing-key", BareSpot(here), missing, "add a section\n  settings:")
    settings = read_settings(context, *layer.settings) if layer.settings else None
    read = {
        section: {name: _read(layer, context, section, text, node) for name, (text, node) in found.items()}
        for section, found in layer.entries.items()
    }
    sound = {section: {n: e for n, e in found.items() if e is not None} for section, found in read.items()}
    before = len(notes)
    one_subject_a_name(context)
    no_loops(context, sound["families"], sound["checks"])
    no_other_outcomes(context, sound["checks"])
    if len(sound["faults"]) == len(read["faults"]):  # else the spare one may be among those with a mistake
        one_spare(context, sound["faults"], sound["checks"], here)
    if layer.own:
        notes.add_mend(before, f"these rules are changed by {choices_of(sorted(layer.own), 'and', 4)}", layer.own)
    if notes.problems or settings is None:
        return None
    return Rulebook(
        **sound,
        settings=settings,
        files=tuple(layer.files),
        stamp=layer.stamp,
        written=values_written(layer),
        waived=context.waived,
        over=frozenset(layer.own),
    )


def _read(layer: Layer, context: ReaderContext, section: str, name: Text, node: Node) -> Any:
    """One entry. A mistake that shows in the layer below may come from what was laid over it."""
    before, changed = len(context.notes), layer.changed.get((section, name.value))
    entry = read_entry(context, section, name, node)
    if changed:
        hint = f"this {ONE[section]} is changed at {changed.file}:{changed.line}; the two do not fit together"
        context.notes.add_mend(before, hint, unless_in=layer.own)
    return entry
