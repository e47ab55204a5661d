"""The room itself: plain numbers, no arrays, nothing read or written."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOM = Path(__file__).parents[2] / "reasoner" / "repair"


@pytest.mark.parametrize("path", sorted(ROOM.glob("*.py")), ids=lambda path: path.name)
def test_no_arrays_no_files(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported = {n.name.split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.Import) for n in node.names}
    imported |= {(node.module or "").split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert not imported & {"numpy", "networkx", "rich", "click", "pathlib", "os", "io", "time", "datetime", "random"}
    called = {node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
    assert "open" not in called and "print" not in called
