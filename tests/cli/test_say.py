"""What reaches a screen or a pipe: nothing a terminal obeys, JSON in ASCII, and a status for what cannot be written."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from reasoner.cli import exits, loading, shop
from reasoner.rulebook.problem import Notebook
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]
ESCAPE, TURNED = "\x1b", "\u202e"  # starts what a terminal obeys; turns the reading order


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop's rules with escapes in every text a person wrote, read by now (`rules_read_once`)."""
    path = tmp_path_factory.mktemp("rules") / "own.yaml"
    path.write_text(
        r'faults: {purge-valve-leaks: {name: "Purge \e[2J\u202evalve", because: "seen \e]0;x\a often"}}' + "\n",
        encoding="utf-8",
    )
    assert loading.read_layers(shop.layers((path,), False, {}), Notebook()) is not None
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


# ---- help and completion ---------------------------------------------------------------------------------------------


def completed(reasoner: Run, *words: str) -> list[str]:
    """What a shell would offer for the last word."""
    more = {
        "_REASONER_COMPLETE": "bash_complete",
        "COMP_WORDS": " ".join(["reasoner", *words]),
        "COMP_CWORD": str(len(words)),
    }
    command = [sys.executable, "-c", "from reasoner.cli.main import cli; cli(prog_name='reasoner')"]
    found = subprocess.run(command, capture_output=True, text=True, env={**os.environ, **more}, timeout=60, check=False)
    return [line.partition(",")[2] for line in found.stdout.splitlines()]


def test_a_shell_completes_commands_cases_rules_and_conditions(reasoner: Run) -> None:
    assert "diagnose" in completed(reasoner, "dia")
    cases = str(ROOT / "cases")
    assert completed(reasoner, "cases", "--cases", cases, "show", "estate-h") == ["estate-hot-restart"]
    assert completed(reasoner, "decide", "--cases", cases, "estate-h") == ["estate-hot-restart"]
    assert "purge-valve-leaks" in completed(reasoner, "rules", "show", "purge-valve")
    assert completed(reasoner, "prove", "x", "--clean", "hot-r") == ["hot-restart"]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_printed_and_installed(environ: dict[str, str], tmp_path: Path, shell: str) -> None:
    def run(*more: str) -> subprocess.CompletedProcess[str]:
        line = [sys.executable, "-m", "reasoner", "completion", shell, *more]
        return subprocess.run(
            line, capture_output=True, text=True, env={**environ, "HOME": str(tmp_path)}, timeout=60, check=False
        )

    printed = run()
    if printed.returncode != exits.FINE and shell == "bash":
        pytest.skip("this machine's bash is too old for completion, and click says so")
    assert "_REASONER_COMPLETE" in printed.stdout
    done = run("--install")
    (path,) = [p for p in tmp_path.rglob("*reasoner*") if p.is_file()]
    assert done.returncode == exits.FINE and str(path) in done.stdout
    assert path.read_text(encoding="utf-8").strip() == printed.stdout.strip()


def test_help_is_a_command_too(reasoner: Run) -> None:
    found = reasoner("help", "cases", "find")
    assert found.returncode == exits.FINE and "Example: reasoner cases find" in found.stdout
    assert "Did you mean 'rules'?" in reasoner("help", "rulse").stderr
    assert reasoner("-V").stdout == reasoner("--version").stdout != ""


def test_a_choice_on_no_list_gets_the_near_one(reasoner: Run) -> None:
    assert "Did you mean 'faults'?" in reasoner("rules", "list", "fualts").stderr
