"""Every key that the reader takes is in the tables of rules/README.md, with unit, default and an example that reads.

The tables are held against the reader's own, key by key, so that none can be added, dropped or changed without them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import jsonschema
import pytest
import yaml

from reasoner.mistake import Place
from reasoner.rulebook import afterwards, checks, parts
from reasoner.rulebook.entries import SECTIONS, SETTINGS_KEYS
from reasoner.rulebook.fields import (
    ONE,
    Key,
    ReaderContext,
    distance,
    frequency,
    minutes,
    money,
    object_of,
    text,
    yes_no,
)
from reasoner.rulebook.problem import Notebook
from reasoner.rulebook.schema import schema
from tests.shipped import book
from tests.trees import read_text

ROOT = Path(__file__).parents[2]
README = ROOT / "rules" / "README.md"
COMMON = "In most entries"
LEVELS: dict[str, Mapping[str, Key]] = {
    **{name.capitalize(): section.keys for name, section in SECTIONS.items() if section.keys},
    "Settings": SETTINGS_KEYS,
    "One thing said under `given`": checks.STATEMENT,
    "`measure` of a check": checks.MEASURE,
    "Vehicles: `only`, `more likely`": parts.MORE_LIKELY,
    "`only after` of a repair": afterwards.GUARD,
    "A step of a sheet": afterwards.STEP_KEYS,
    "`afterwards` of the settings": afterwards.AFTERWARDS,
}
EVERYWHERE = {key.name: key for key in (parts.NAME_KEY, *parts.ORIGIN, parts.WAIVE)}
BOTH = {"`only after` of a repair": {"because"}}  # said again where it means something of its own


class Row(NamedTuple):
    key: str
    written: str
    left_out: str
    example: str
    does: str


@lru_cache
def tables() -> dict[str, dict[str, Row]]:
    _, _, part = README.read_text(encoding="utf-8").partition("\n# Every key\n")
    found = {}
    for section in re.split(r"^## ", part, flags=re.M)[1:]:
        title, _, body = section.partition("\n")
        rows = [line.strip().strip("|").split("|") for line in body.splitlines() if line.startswith("| `")]
        found[title.strip()] = {
            row.key: row for row in (Row(*(cell.strip() for cell in r)) for r in map(unquoted, rows))
        }
    return found


def unquoted(cells: list[str]) -> list[str]:
    return [cells[0].strip().strip("`"), *cells[1:]]


def console() -> ReaderContext:
    """What a reader needs: the names of the shipped rules are known."""
    here = Place("rules", 1, 1)
    return ReaderContext(Notebook(), {section: dict.fromkeys(getattr(book(), section), here) for section in ONE})


EVERY = [(level, name) for level, rows in tables().items() for name in rows]


def key_of(level: str, name: str) -> Key:
    return EVERYWHERE[name] if level == COMMON else LEVELS[level][name]


def test_every_level_has_its_table() -> None:
    assert set(tables()) == {COMMON, *LEVELS}
    assert set(tables()[COMMON]) == set(EVERYWHERE)


@pytest.mark.parametrize("level", LEVELS)
def test_the_table_has_every_key_of_the_reader_and_no_other(level: str) -> None:
    own = set(LEVELS[level]) - (set(EVERYWHERE) - BOTH.get(level, set()))
    assert set(tables()[level]) == own


@pytest.mark.parametrize(("level", "name"), EVERY, ids=lambda part: str(part))
def test_what_is_needed_is_called_needed(level: str, name: str) -> None:
    key, row = key_of(level, name), tables()[level][name]
    needed = bool(key.paste) or (level, name) == ("Faults", "at")  # which the reader asks for in its own way
    assert row.left_out.startswith("needed") == needed
    if key.default is False:
        assert row.left_out == "`no`"
    elif isinstance(key.default, float):
        stated = re.match(r"`(\S+)( %| km)?`", row.left_out)
        assert stated
        assert float(stated[1]) / (100 if stated[2] == " %" else 1) == pytest.approx(key.default)
    elif isinstance(key.default, str) and key.default:
        assert row.left_out == f"`{key.default}`"
    assert row.written and row.left_out


UNITS = (
    (minutes, "minutes"),
    (money, "money"),
    (distance, "km or mi"),
    (yes_no, "yes or no"),
    (frequency, "how often"),
    (text, "text"),
    (parts.check_names, "list of checks"),
    (parts.caution_names, "list of cautions"),
    (parts.tool_names, "list of tools"),
    (parts.family_names, "list of families"),
    (parts.shows, "conditions, or `any`, and how often"),
    (parts.read_filter, "vehicles"),
    (afterwards.repair_names, "list of repairs"),
    (afterwards.subjects, "list of faults or families"),
)


@pytest.mark.parametrize(("level", "name"), EVERY, ids=lambda part: str(part))
def test_how_it_is_written_is_how_it_is_read(level: str, name: str) -> None:
    key, row = key_of(level, name), tables()[level][name]
    for read, unit in UNITS:
        if key.read is read:
            assert row.written.startswith(unit)
    words = [word for word in key.shape.get("enum", ()) if isinstance(word, str)]  # an editor reads off as false
    if key.read is not yes_no:
        assert all(f"`{word}`" in row.written for word in words)
    pattern = key.shape.get("pattern", "")
    assert ("percentage" in row.written) == ("%" in pattern and key.read is not frequency) or "each" in row.written


@pytest.mark.parametrize(("level", "name"), EVERY, ids=lambda part: str(part))
def test_the_example_is_read_without_a_complaint(level: str, name: str) -> None:
    """By the reader itself, with the names of the shipped rules, and by the schema for editors."""
    key, row = key_of(level, name), tables()[level][name]
    written = re.fullmatch(r"`(.*)`", row.example)
    assert written
    node, problems = read_text(written[1], "example")
    assert node is not None and [k.value for k, _ in node.pairs] == [name] and not problems
    knowing = console()
    assert key.read(knowing, node.pairs[0][1]) is not None and not knowing.notes.problems
    data: Any = yaml.load(written[1], yaml.BaseLoader)
    shape = {**object_of({name: key}), "required": [], "$defs": schema()["$defs"]}
    numbers = yaml.safe_load(written[1])
    errors = [list(jsonschema.Draft202012Validator(shape).iter_errors(x)) for x in (data, numbers)]
    assert not min(errors, key=len)


def test_shares_add_up_to_about_thirteen_hundred() -> None:
    """As the table says, so that somebody can tell what a share of his own comes to."""
    for kind in parts.INJECTION:
        total = sum(fault.share[kind] for fault in book().faults.values() if not fault.after_work)
        assert 1170 <= total <= 1430
