"""The README shows a real session: played again here in a real terminal and compared.

After a change of rules or screens: REFRESH_README=1 python -m pytest tests/test_readme.py
"""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

import pytest

pexpect = pytest.importorskip("pexpect")

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
BEGIN, END = "<!-- session -->\n", "<!-- end of session -->\n"
TYPED = (
    "inline 4 direct turbo airflow 198000 km",
    "Shakes after a hot restart, lamp every few weeks",
    "",  # what was heard is right
    "P0172 pending, P0172 permanent",
    "5",  # warm idle
)


def played(folder: Path) -> str:
    """The screen's text, line by line, with what was typed."""
    settings = folder.parent / "settings.yaml"
    settings.write_text("tools: [smoke-machine, low-pressure-gauge]\n", encoding="utf-8")
    environ = {**os.environ, "TERM": "dumb", "REASONER_CASES": str(folder), "REASONER_SETTINGS": str(settings)}
    environ |= {"PYTHONUTF8": "1", "NO_COLOR": "1"}
    child = pexpect.spawn(
        sys.executable, ["-m", "reasoner", "diagnose", "estate"], dimensions=(24, 80), env=environ, cwd=str(ROOT),
        encoding="utf-8", timeout=300,
    )  # fmt: skip
    text = ""
    for line in TYPED:
        child.expect(r"> $")
        text += child.before + child.after
        child.sendline(line)
    child.expect(r"> $")
    text += child.before + child.after
    child.sendline("s")
    child.expect(pexpect.EOF)
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]|\r", "", text)
    text = re.sub(
        r"Cases are kept in\s+\S+\s+\(REASONER_CASES\)\.", "Cases are kept in /home/you/shop (REASONER_CASES).", text
    )
    text = text.replace("> < > ", "> ")  # a dumb terminal's way of scrolling a long line
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"


def test_the_session_in_the_readme_is_what_happens(tmp_path: Path) -> None:
    found = f"```\n$ reasoner diagnose estate\n{played(tmp_path / 'cases')}```\n"
    text = README.read_text(encoding="utf-8")
    before, rest = text.split(BEGIN)
    shown, after = rest.split(END)
    if os.environ.get("REFRESH_README"):
        README.write_text(before + BEGIN + found + END + after, encoding="utf-8")
        return
    assert shown == found
