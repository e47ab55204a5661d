"""What the README shows of solved cases is what the commands print, run over the shipped cases.

After a change of rules, cases or screens: REFRESH_README=1 python -m pytest tests/test_readme_cases.py
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
BEGIN, END = "<!-- solved cases -->\n", "<!-- end of solved cases -->\n"


def printed(command: str) -> str:
    """What a command prints on its standard output, at 80 columns."""
    environ = {**os.environ, "REASONER_CASES": "cases", "REASONER_RULES": "", "NO_COLOR": "1", "PYTHONUTF8": "1"}
    words = [sys.executable, "-m", *shlex.split(command)]
    done = subprocess.run(
        words, cwd=ROOT, env={**environ, "COLUMNS": "80"}, capture_output=True, encoding="utf-8", timeout=300
    )
    assert done.returncode in (0, 1) and done.stdout, done.stderr
    return "\n".join(line.rstrip() for line in done.stdout.splitlines()) + "\n"


def test_what_the_readme_shows_is_what_is_printed() -> None:
    whole = README.read_text(encoding="utf-8")
    start, end = whole.index(BEGIN) + len(BEGIN), whole.index(END)
    shown = whole[start:end]
    commands = re.findall(r"^\$ (reasoner .*)$", shown, re.MULTILINE)
    assert len(commands) >= 2
    blocks = "".join(f"```text\n$ {command}\n{printed(command)}```\n\n" for command in commands)
    if os.environ.get("REFRESH_README"):
        README.write_text(whole[:start] + blocks + whole[end:], encoding="utf-8")
    else:
        assert shown == blocks
