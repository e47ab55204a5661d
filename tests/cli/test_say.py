"""What reaches a screen or a pipe: nothing a terminal obeys, JSON in ASCII, and a status for what cannot be written."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from reasoner.cli import exits
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]
ESCAPE, TURNED = "\x1b", "\u202e"  # starts what a terminal obeys; turns the reading order


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A shop's rules with escapes in every text a person wrote."""
    path = tmp_path / "own.yaml"
    path.write_text(
        r'faults: {purge-valve-leaks: {name: "Purge \e[2J\u202evalve", because: "seen \e]0;x\a often"}}' + "\n",
        encoding="utf-8",
    )
    return path


@pytest.mark.parametrize(
    "command",
    [
        ("rules", "list"),
        ("rules", "list", "--json"),
        ("rules", "show", "purge-valve-leaks"),
        ("rules", "show", "purge-valve-leaks", "--json"),
        ("rules", "graph", "--format", "dot"),
        ("rules", "graph", "--format", "graphml"),
        ("rules", "graph", "--format", "json"),
        ("rules", "tables"),
        ("rules", "check"),
    ],
    ids=" ".join,
)
def test_texts_of_rules_are_inert(reasoner: Run, own: Path, command: tuple[str, ...]) -> None:
    found = reasoner(*command, "--rules", str(own))
    assert found.stdout
    for stream in (found.stdout, found.stderr):
        assert ESCAPE not in stream and "\a" not in stream and TURNED not in stream
    if "--json" in command:
        assert found.stdout.isascii()


def test_a_quoted_line_of_a_bad_file_is_inert(reasoner: Run, tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text(f"faults: {{x: {{name: 'a{TURNED}b', shaer: 3}}}}\n", encoding="utf-8")
    found = reasoner("rules", "check", "--rules", str(path))
    assert found.returncode != exits.FINE and "shaer" in found.stdout + found.stderr
    assert TURNED not in found.stdout + found.stderr


def test_what_was_typed_wrong_is_quoted_inert(reasoner: Run) -> None:
    found = reasoner("rules", "graph", "--format", f"dot{ESCAPE}[2J")
    assert found.returncode == exits.USAGE and ESCAPE not in found.stderr


COMMANDS = (
    ("--help",),
    ("rules", "list"),
    ("measure", "trims", "--help"),
    ("cases", "--cases", str(ROOT / "cases"), "list"),
    ("decide", "--cases", str(ROOT / "cases"), "estate-hot-restart"),
)


def started(environ: dict[str, str], command: tuple[str, ...], **more: int) -> subprocess.Popen[str]:
    line = [sys.executable, "-m", "reasoner", *command]
    return subprocess.Popen(line, stderr=subprocess.PIPE, text=True, env=environ, **more)  # type: ignore[call-overload, no-any-return]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("command", [*COMMANDS, ("demo",)], ids=" ".join)
def test_a_full_disk_under_standard_output(environ: dict[str, str], command: tuple[str, ...]) -> None:
    with open("/dev/full", "w") as full:
        process = started(environ, command, stdout=full.fileno())
        said = process.communicate(timeout=300)[1]
    assert process.returncode == exits.OUTPUT and "the disk is full" in said and "fault of the program" not in said


@pytest.mark.skipif(sys.platform == "win32", reason="pipes end otherwise there")
@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_nobody_reads(environ: dict[str, str], command: tuple[str, ...]) -> None:
    process = started(environ, command, stdout=subprocess.PIPE)
    assert process.stdout is not None
    process.stdout.close()
    said = process.communicate(timeout=300)[1]
    assert process.returncode == exits.UNREAD and "Error" not in said and "Traceback" not in said
