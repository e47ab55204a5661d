"""The whole program at a real terminal: left by Ctrl-C and gone on with by the line it printed."""

from __future__ import annotations

import os
import shlex
import sys
from pathlib import Path
from typing import Any

import pytest

from reasoner.cli import exits

pexpect = pytest.importorskip("pexpect")

ROOT = Path(__file__).parents[2]


def at_terminal(*arguments: str) -> Any:
    environ = {**os.environ, "TERM": "dumb", "NO_COLOR": "1", "PYTHONPATH": str(ROOT)}
    command = ["-m", "reasoner", *arguments]
    return pexpect.spawn(sys.executable, command, dimensions=(24, 200), env=environ, encoding="utf-8", timeout=60)


def test_the_line_printed_on_leaving_goes_on(tmp_path: Path) -> None:
    first = at_terminal("diagnose", "my car", "--cases", str(tmp_path / "shop"))
    for _ in range(5):  # the vehicle
        first.expect("> $")
        first.sendline("")
    first.expect("words > $")
    first.sendline("stumbles when hot")
    first.expect("> $")
    first.sendintr()
    first.expect("To go on: reasoner (.*)\r\n")
    line = first.match[1]
    first.expect(pexpect.EOF)
    first.close()
    assert first.exitstatus == exits.INTERRUPTED
    assert shlex.split(line) == ["diagnose", "my car", "--cases", str(tmp_path / "shop")]

    again = at_terminal(*shlex.split(line))
    again.expect("Codes on the reader")  # the complaint is known; what was not reached is asked
    again.sendeof()
    again.expect(pexpect.EOF)
    again.close()
    assert again.exitstatus == exits.FINE
    assert "stumbles when hot" in (tmp_path / "shop" / "my car.yaml").read_text()
