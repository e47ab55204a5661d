"""The map of the rooms in DEVELOPERS.md: every file in one line, which is the first sentence it says of itself.

`REFRESH_MAP=1 python -m pytest tests/test_map.py` writes it anew.
"""

from __future__ import annotations

import ast
import os
import re
import textwrap
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "DEVELOPERS.md"
BEGINS, ENDS = "<!-- the map begins: REFRESH_MAP=1 writes it -->\n", "<!-- the map ends -->\n"
WIDTH = 118
ORDER = (
    "cli", "terminal", "report", "lint", "trial", "history", "session", "repair", "scanlog", "measure", "inference",
    "network", "rulebook", "casebook",
)  # fmt: skip


def first_sentence(path: Path) -> str:
    said = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    whole = " ".join(said.split("\n\n")[0].split())
    return re.split(r"(?<=[.?!])\s+(?=[A-Z`])", whole)[0].rstrip(".")


def files(room: str) -> list[Path]:
    return [path for path in sorted((ROOT / "reasoner" / room).rglob("*.py")) if path.name != "__init__.py"]


def the_map() -> str:
    text = ""
    for room in ORDER:
        names = {path: str(path.relative_to(ROOT / "reasoner" / room))[:-3] for path in files(room)}
        wide = max(map(len, names.values())) + 2
        text += f"**{room}/**\n\n"
        for path, name in names.items():
            lines = textwrap.wrap(first_sentence(path), WIDTH - 4 - wide)
            text += f"    {name:{wide}}" + f"\n    {'':{wide}}".join(lines) + "\n"
        text += "\n"
    return text


def test_every_room_is_on_the_map() -> None:
    rooms = {path.name for path in (ROOT / "reasoner").iterdir() if (path / "__init__.py").exists()}
    assert rooms == set(ORDER)


def test_the_map_says_what_the_files_say() -> None:
    page = PAGE.read_text(encoding="utf-8")
    before, _, rest = page.partition(BEGINS)
    shown, _, after = rest.partition(ENDS)
    assert BEGINS in page and ENDS in page
    if os.environ.get("REFRESH_MAP"):
        PAGE.write_text(f"{before}{BEGINS}{the_map()}{ENDS}{after}", encoding="utf-8")
    else:
        assert shown == the_map()


@pytest.mark.parametrize("room", ORDER)
def test_every_file_says_in_its_first_sentence_what_it_is(room: str) -> None:
    assert [path for path in files(room) if not first_sentence(path)] == []


def test_every_step_of_a_walk_is_there() -> None:
    walks = PAGE.read_text(encoding="utf-8").partition("## Walks")[2].partition("\n## ")[0]
    steps = [re.findall(r"`([a-z_/]+\.py)`\.`([A-Za-z_]+)`", walk) for walk in re.split(r"\n- ", walks)[1:]]
    assert len(steps) == 4 and all(1 < len(walk) <= 5 for walk in steps)
    for file, name in (step for walk in steps for step in walk):
        text = (ROOT / "reasoner" / file).read_text(encoding="utf-8")
        assert re.search(rf"^ *(?:def|class) {name}\b", text, re.MULTILINE), (file, name)
