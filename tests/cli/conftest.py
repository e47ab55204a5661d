"""The program as a person runs it: a child process with a folder of its own for cases."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def environ(tmp_path: Path) -> dict[str, str]:
    return {
        **os.environ,
        "REASONER_CASES": str(tmp_path / "cases"),
        "NO_COLOR": "1",
        "PYTHONUTF8": "1",
        "COLUMNS": "80",
    }


@pytest.fixture
def reasoner(environ: dict[str, str]) -> Run:
    def run(*arguments: str, stdin: str = "", **more: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "reasoner", *arguments]
        return subprocess.run(
            command, input=stdin, capture_output=True, text=True, timeout=300, env={**environ, **more}, encoding="utf-8"
        )

    return run
