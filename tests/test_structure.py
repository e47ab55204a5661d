"""The shape of the code: layers, types, style, and what may be imported when."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=900)


def test_style() -> None:
    found = run(sys.executable, "-m", "ruff", "check", ".")
    assert found.returncode == 0, found.stdout


def test_format() -> None:
    found = run(sys.executable, "-m", "ruff", "format", "--check", ".")
    assert found.returncode == 0, found.stdout


def test_types() -> None:
    found = run(sys.executable, "-m", "mypy")
    assert found.returncode == 0, found.stdout


def test_layers() -> None:
    found = run(sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()")
    assert found.returncode == 0, found.stdout


def loaded_by(statement: str) -> set[str]:
    """Top-level modules loaded after a statement in a fresh interpreter."""
    code = f"{statement}\nimport sys; print('\\n'.join(sorted({{m.split('.')[0] for m in sys.modules}})))"
    found = run(sys.executable, "-c", code)
    assert found.returncode == 0, found.stderr
    return set(found.stdout.split())


def test_a_public_name_is_defined_once() -> None:
    """What is found by searching for a name is the one thing of that name, whoever reads the code."""
    where: dict[str, set[str]] = {}
    for file in (ROOT / "reasoner").rglob("*.py"):
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            names: list[str] = []
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                names = [node.name]
            elif isinstance(node, ast.Assign | ast.AnnAssign):
                targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                names = [target.id for target in targets if isinstance(target, ast.Name)]
            for name in names:
                where.setdefault(name, set()).add(str(file.relative_to(ROOT)))
    assert len(where) > 1500
    twice = {name: files for name, files in where.items() if len(files) > 1 and not name.startswith("_")}
    assert not twice, twice


def test_every_public_function_and_type_says_what_it_is() -> None:
    for file in (ROOT / "reasoner").rglob("*.py"):
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                assert ast.get_docstring(node), f"{file.relative_to(ROOT)}:{node.lineno} {node.name}"


HEAVY = {"numpy", "networkx", "rich", "yaml"}


def test_importing_the_package_loads_nothing() -> None:
    assert not loaded_by("import reasoner") & (HEAVY | {"click"})


@pytest.mark.parametrize("arguments", ["['--help']", "['rules', '--help']"])
def test_help_loads_nothing_heavy(arguments: str) -> None:
    loaded = loaded_by(
        "import contextlib, io\nfrom reasoner.cli.main import cli\n"
        f"with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n    cli({arguments})"
    )
    assert not loaded & HEAVY


def test_top_level_holds_what_it_should() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "reasoner", "rules", "tests", "cases"}
    found = {p.name for p in ROOT.iterdir() if not p.name.startswith(".") and p.name not in ("build", "dist")}
    assert {n for n in found if not n.endswith(".egg-info")} <= allowed


@pytest.mark.parametrize(
    "room",
    ["rulebook", "casebook", "inference", "network", "session", "measure", "scanlog", "repair", "history", "trial"],
)
def test_reasoning_names_no_rule(room: str) -> None:
    """Rules are data: no fault, check or condition of the rule base is named in the program."""
    import re

    names: set[str] = set()
    for file in (ROOT / "rules").glob("*.yaml"):
        names |= set(re.findall(r"^  ([a-z][a-z0-9]*(?:-[a-z0-9]+)+):\s*$", file.read_text(encoding="utf-8"), re.M))
    assert len(names) > 50
    for file in (ROOT / "reasoner" / room).glob("*.py"):
        text = file.read_text(encoding="utf-8")
        assert not [n for n in names if f'"{n}"' in text or f"'{n}'" in text], file


def test_a_new_case_loads_neither_what_follows_a_verdict_nor_all_computations() -> None:
    """The first question is waited for: see tests/bench/bench_commands.py."""
    code = "import reasoner.cli.diagnose, reasoner.cli.converse, sys; print(*sys.modules)"
    found = run(sys.executable, "-c", code)
    assert found.returncode == 0, found.stderr
    loaded = set(found.stdout.split())
    assert "reasoner.session.protocol" in loaded
    # What acting would cost is weighed against every question; sheet, proof and what comes after work are not.
    later = {f"reasoner.repair.{name}" for name in ("sheet", "proof", "rounds", "followup", "break_even")}
    assert not loaded & {*later, "reasoner.measure.computations.air"}
