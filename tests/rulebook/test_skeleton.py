"""Skeletons of entries: the reader refuses every spot that is left, and nothing else; filled in, it takes them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from reasoner.rulebook.entries import SECTIONS
from reasoner.rulebook.problem import problem_text
from reasoner.rulebook.read import collect, read_rules
from reasoner.rulebook.schema import skeleton

SMALL = Path(__file__).parent / "small"

FILLED = {
    "fault": [
        ("at", "engine"),
        ("share", "12"),
        ("acts as", "[leaks]"),
        ("repair", "replace-meter"),
        ("confirmed by", "[fuel-trim]"),
    ],
    "check": [
        ("kind", "look"),
        ("sees", "ever"),
        ("minutes", "4"),
        ("cautions", "[hot-parts]"),
    ],
}


@pytest.mark.parametrize("kind", FILLED)
def test_every_spot_is_refused_and_nothing_else(kind: str, tmp_path: Path) -> None:
    text = skeleton(kind)
    path = tmp_path / "own.yaml"
    path.write_text(text, encoding="utf-8")
    book, problems = collect([SMALL], tmp_path, [path])
    assert book is None
    assert {problem.kind for problem in problems} == {"left-over"}
    code = [line.partition("#")[0] for line in text.splitlines()]
    spots = {(number, line.index("REPLACE ME")) for number, line in enumerate(code, start=1) if "REPLACE ME" in line}
    marked = {(problem.place.line, problem.place.column - 1) for problem in problems}
    inside = {number for number, line in enumerate(code, start=1) if line.startswith("      ") and kind == "fault"}
    assert {spot for spot in spots if spot[0] not in inside} <= marked, "\n".join(map(problem_text, problems))


@pytest.mark.parametrize("kind", FILLED)
def test_it_has_every_key_that_is_needed_and_only_keys_there_are(kind: str) -> None:
    text = skeleton(kind)
    keys = SECTIONS[f"{kind}s"].keys
    entry = text.partition(f"\n{kind}s:\n")[2].partition("\n\n")[0]
    written = re.findall(r"^    (?:# )?([a-z][a-z ]*):", entry, re.M)
    assert set(written) <= set(keys)
    assert {key.name for key in keys.values() if key.paste} <= set(written)


@pytest.mark.parametrize("kind", FILLED)
def test_filled_in_it_is_taken(kind: str, tmp_path: Path) -> None:
    text = skeleton(kind, "my-own")
    for key, value in FILLED[kind]:
        text, count = re.subn(rf"^(    {key}: )(?:REPLACE ME|\[REPLACE ME\])", rf"\g<1>{value}", text, flags=re.M)
        assert count == 1, key
    text = text.replace("{REPLACE ME: often}    #", "{warm-idle: often}    #").replace(
        "otherwise: {wrong: REPLACE ME}", ""
    )
    text = text.replace("  REPLACE ME:\n", "  fuel-trim:\n").replace("{REPLACE ME: often}", "{rich: often}")
    text = text.replace("REPLACE ME: {wrong: REPLACE ME}", "leaks: {wrong: often}")
    text = text.replace("    given:  ", "    otherwise: {wrong: seldom}\n    given:  ").replace(
        "REPLACE ME", "Some words."
    )
    path = tmp_path / "own.yaml"
    path.write_text(text, encoding="utf-8")
    book = read_rules([SMALL], tmp_path, [path])
    assert "my-own" in getattr(book, f"{kind}s")
    if kind == "fault":
        assert "my-own" in book.checks["fuel-trim"].given


def test_what_stands_behind_a_remark_is_right_too(tmp_path: Path) -> None:
    """The keys that are only remarked upon can be used unchanged."""
    book = read_rules([SMALL])
    for kind in FILLED:
        for line in skeleton(kind).splitlines():
            match = re.fullmatch(r"    # ([a-z][a-z ]*): ([^#]*?)(?: +#.*)?", line)
            if match and match[1] in SECTIONS[f"{kind}s"].keys:
                name = next(iter(getattr(book, f"{kind}s")))
                path = tmp_path / "own.yaml"
                path.write_text(f"{kind}s:\n  {name}:\n    {match[1]}: {match[2]}\n", encoding="utf-8")
                found, problems = collect([SMALL], tmp_path, [path])
                assert found is not None, "\n".join(map(problem_text, problems))
