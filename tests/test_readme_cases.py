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

import pytest

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


def test_the_examples_work_from_an_installed_wheel_away_from_the_repository(tmp_path: Path) -> None:
    """Rules and solved cases travel in the wheel: nothing of this folder is needed to print what the README shows."""
    pytest.importorskip("hatchling", reason="the builder of wheels is not installed")
    pytest.importorskip("pip", reason="nothing installs the wheel")
    site, away = tmp_path / "site", tmp_path / "away"
    away.mkdir()
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True, timeout=300)
    [wheel] = tmp_path.glob("*.whl")
    install = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", "--target", str(site)]
    subprocess.run([*install, str(wheel)], check=True, capture_output=True, timeout=300)
    environ = {
        "PATH": os.environ.get("PATH", ""), "HOME": str(away), "PYTHONPATH": str(site), "COLUMNS": "80",
        "NO_COLOR": "1", "PYTHONUTF8": "1", "REASONER_CASES": str(site / "reasoner" / "shipped" / "cases"),
    }  # fmt: skip

    def run(*words: str) -> str:
        done = subprocess.run(
            [sys.executable, *words], cwd=away, env=environ, capture_output=True, encoding="utf-8", timeout=300
        )
        assert done.returncode in (0, 1) and done.stdout, done.stderr
        return "\n".join(line.rstrip() for line in done.stdout.splitlines()) + "\n"

    assert run("-c", "import reasoner; print(reasoner.__file__)").strip() == str(site / "reasoner" / "__init__.py")
    blocks = re.findall(r"```text\n\$ (reasoner .*)\n([^`]*)```", README.read_text(encoding="utf-8"))
    examples = [block for block in blocks if "drive.csv" not in block[0]]  # that drive is made by tests
    assert len(examples) >= 4
    for command, shown in examples:
        assert run("-m", *shlex.split(command)) == shown, command
