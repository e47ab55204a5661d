"""Help, demo, list of cases, and the documents that promise them."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import click
import pytest

from reasoner.cli import exits
from reasoner.cli.main import COMMANDS
from tests.cli.conftest import Run

ROOT = Path(__file__).parent.parent.parent


def commands() -> list[tuple[str, ...]]:
    """Every command and sub-command there is."""
    from reasoner.cli.main import cli

    found: list[tuple[str, ...]] = [()]
    for name in COMMANDS:
        found.append((name,))
        command = cli.get_command(click.Context(cli), name)
        found += [(name, sub) for sub in getattr(command, "table", {})]
    return found


@pytest.mark.parametrize("command", commands(), ids=" ".join)
def test_every_command_explains_itself_with_an_example(reasoner: Run, command: tuple[str, ...]) -> None:
    found = reasoner(*command, "--help")
    assert found.returncode == exits.FINE
    assert "Example: reasoner" in found.stdout
    documents = "".join(
        (ROOT / n).read_text(encoding="utf-8") for n in ("README.md", "DEVELOPERS.md", "rules/README.md")
    )
    assert f"reasoner {' '.join(command)}".strip() in documents, "no document speaks of it"


def test_a_misspelt_command_gets_the_near_one(reasoner: Run) -> None:
    found = reasoner("diagnoze")
    assert found.returncode == exits.USAGE
    assert "diagnose" in found.stderr


def test_demo_plays_the_real_loop_and_says_it_is_invented(reasoner: Run, environ: dict[str, str]) -> None:
    found = reasoner("demo")
    assert found.returncode == exits.FINE, found.stderr
    assert "invented" in found.stdout
    assert "LIKELIEST NOW" in found.stdout
    assert "WHAT TO DO NEXT" in found.stdout
    assert "cylinder 3" in found.stdout
    assert max(map(len, found.stdout.splitlines())) <= 80  # a prompt too long for a line is broken between words
    assert not Path(environ["REASONER_CASES"]).exists()  # nothing is kept


def test_cases_lists_good_ones_beside_damaged_ones(reasoner: Run, environ: dict[str, str]) -> None:
    folder = Path(environ["REASONER_CASES"])
    folder.mkdir()
    shutil.copy(ROOT / "cases" / "estate-hot-restart.yaml", folder)
    (folder / "broken.yaml").write_text("<<<<<<< ours\n")
    found = reasoner("cases")
    assert found.returncode == exits.PROBLEMS
    assert re.search(r"^estate-hot-restart +2026-03-09 +proven +Estate, two-litre turbo$", found.stdout, re.M)
    assert "broken: damaged: " in found.stderr
    assert found.stdout.count("\n") == 1


def test_cases_of_an_empty_folder(reasoner: Run) -> None:
    found = reasoner("cases")
    assert found.returncode == exits.FINE
    assert found.stdout == ""


def test_a_closed_pipe_ends_quietly(environ: dict[str, str]) -> None:
    import subprocess
    import sys

    command = f"{sys.executable} -m reasoner rules tables --json | head -c 10"
    found = subprocess.run(["bash", "-c", command], capture_output=True, text=True, env=environ)
    assert "Traceback" not in found.stderr
    assert "Error" not in found.stderr
