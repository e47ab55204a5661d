"""Short sittings at a real terminal of 80x24: what is seen there, and what is left when it is closed."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

pexpect = pytest.importorskip("pexpect")

ROOT = Path(__file__).parents[2]
RULES = ROOT / "tests" / "terminal" / "rules"
KNOWN = [
    {"event": "codes", "step": 1, "codes": [], "complete": True},
    {"event": "condition", "step": 2, "condition": "warm-idle"},
]


class Terminal:
    def __init__(self, folder: Path, known: list[dict[str, object]], environ: dict[str, str] | None = None) -> None:
        self.journal, self.errors = folder / "case.jsonl", folder / "stderr"
        if known:
            self.journal.write_text("".join(json.dumps(e) + "\n" for e in known))
        command = f"exec {sys.executable} -m tests.terminal.play {RULES} {self.journal} 2>{self.errors}"
        env = {**os.environ, "TERM": "xterm", "PYTHONDONTWRITEBYTECODE": "1", **(environ or {})}
        self.child = pexpect.spawn(
            "/bin/sh", ["-c", command], cwd=str(ROOT), env=env, dimensions=(24, 80), encoding="utf-8", timeout=30
        )

    def see(self, text: str) -> str:
        self.child.expect_exact(text)
        return str(self.child.before) + text

    def type(self, line: str) -> None:
        self.child.sendline(line)

    def ends(self) -> str:
        """The rest of what is shown; the process ends by itself, without a traceback."""
        self.child.expect(pexpect.EOF)
        rest = str(self.child.before)
        self.child.close()
        assert "Traceback" not in self.errors.read_text()
        return rest

    def kept(self) -> list[dict[str, object]]:
        return [json.loads(line) for line in self.journal.read_text().splitlines()]


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    made = Terminal(tmp_path, KNOWN)
    yield made
    with contextlib.suppress(OSError):  # one test closes the terminal by itself
        made.child.close(force=True)


def test_a_short_sitting(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path, [])
    for prompt, line in [
        ("owner's words > ", "rich when hot"),
        ("may be more\r\n> ", "P0172 pending"),
        ("none of them > ", ""),
        ("Enter: not known > ", "2"),
    ]:
        terminal.see(prompt)
        terminal.type(line)
    assert "the car: warm idle" in terminal.see("total fuel trim")
    terminal.see("> ")
    terminal.type("-18")
    assert "Kept: Fuel trim at idle: bank 1 below -10 %" in terminal.see("LIKELIEST NOW")
    terminal.see("> ")
    terminal.type("s")
    assert "To go on: play case.jsonl" in terminal.ends()
    assert terminal.child.exitstatus == 0
    assert [e["event"] for e in terminal.kept()] == ["told", "codes", "condition", "answer", "stop"]


def test_every_screen_fits_in_24_lines_of_80(terminal: Terminal) -> None:
    shown = terminal.see("s stop")
    lines = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", shown).split("\r\n")
    assert len(lines) <= 23 and all(len(line) <= 80 for line in lines)
    terminal.see("> ")
    terminal.type("o")
    terminal.see("Enter: back > ")
    terminal.type("")
    terminal.see("s stop")


@pytest.mark.parametrize(("key", "left"), [("\x03", "interrupt"), ("\x04", "end of input")])
@pytest.mark.parametrize("first", ["", "t"])
def test_keys_that_leave(terminal: Terminal, key: str, left: str, first: str) -> None:
    terminal.see("s stop")
    terminal.see("> ")
    terminal.type("-18")
    terminal.see("LIKELIEST NOW")
    terminal.see("> ")
    if first:
        terminal.type(first)
        terminal.see("or a code, Enter: back > ")
    terminal.child.send(key)
    assert "Everything answered is kept. To go on: play case.jsonl" in terminal.ends()
    assert f"left: {left}" in terminal.errors.read_text()
    assert [e["event"] for e in terminal.kept()][2:] == ["answer", "stop"]


def test_a_line_half_typed_is_no_answer(terminal: Terminal) -> None:
    terminal.see("s stop")
    terminal.see("> ")
    terminal.child.send("-18")
    terminal.child.send("\x03")
    terminal.ends()
    assert [e["event"] for e in terminal.kept()][2:] == ["stop"]


@pytest.mark.parametrize("how", [signal.SIGHUP, signal.SIGTERM])
def test_told_to_end(terminal: Terminal, how: signal.Signals) -> None:
    terminal.see("s stop")
    terminal.see("> ")
    terminal.type("-18")
    terminal.see("LIKELIEST NOW")
    terminal.see("> ")
    time.sleep(0.2)  # readline hears signals only once it waits: between prompt and wait one would lie until a key
    terminal.child.kill(how)
    terminal.ends()
    assert "left: hang-up" in terminal.errors.read_text()
    assert [e["event"] for e in terminal.kept()][2:] == ["answer", "stop"]


def test_the_terminal_is_closed(terminal: Terminal) -> None:
    terminal.see("s stop")
    terminal.see("> ")
    terminal.type("-18")
    terminal.see("LIKELIEST NOW")
    terminal.see("> ")
    os.close(terminal.child.child_fd)  # as when its window is closed
    for _ in range(100):
        if "left:" in terminal.errors.read_text():
            break
        time.sleep(0.05)
    terminal.child.closed = True
    text = terminal.errors.read_text()
    assert "left: hang-up" in text or "left: end of input" in text
    assert "Traceback" not in text and "Exception ignored" not in text
    assert [e["event"] for e in terminal.kept()][2:] == ["answer", "stop"]


def test_a_case_left_is_gone_on_with(tmp_path: Path) -> None:
    first = Terminal(tmp_path, KNOWN)
    first.see("s stop")
    first.type("-18")
    first.see("LIKELIEST NOW")
    first.child.send("\x03")
    first.ends()
    again = Terminal(tmp_path, [])
    assert "1 answer so far" in again.see("LIKELIEST NOW")
    again.type("s")
    again.ends()


def test_escape_sequences_typed_are_not_obeyed(terminal: Terminal) -> None:
    terminal.see("s stop")
    terminal.see("> ")
    terminal.type("n a\x16\x1b[31mb")  # Ctrl-V, then Escape: taken as typed
    noted = terminal.see("LIKELIEST NOW").split("Noted:")[-1]
    assert "\x1b[31m" not in noted
    terminal.type("s")
    terminal.ends()


@pytest.mark.parametrize(("environ", "styled"), [({}, True), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False)])
def test_styles_at_a_terminal(tmp_path: Path, environ: dict[str, str], styled: bool) -> None:
    terminal = Terminal(tmp_path, KNOWN, environ)
    shown = terminal.see("HOW")
    assert (re.search(r"\x1b\[[0-9;]*m", shown) is not None) is styled
    terminal.type("s")
    terminal.ends()
