"""Trees of YAML, with all that is wrong with them, for tests that look at nothing else."""

from __future__ import annotations

from pathlib import Path

from reasoner.rulebook.located import load_bytes, parse_bytes, parse_tree
from reasoner.rulebook.problem import Notebook, Problem
from reasoner.yaml_tree import Map


def read_text(text: str, file: str) -> tuple[Map | None, tuple[Problem, ...]]:
    """The tree of a YAML text and what is wrong with it. No tree when it could not be read to the end."""
    notes = Notebook()
    return parse_tree(text, file, notes), notes.problems


def read_file(path: Path, shown_as: str = "") -> tuple[Map | None, tuple[Problem, ...]]:
    """`read_text` of a file. A file that cannot be opened is a problem like any other."""
    notes = Notebook()
    file = shown_as or str(path)
    content = load_bytes(path, file, notes)
    return (None if content is None else parse_bytes(content, file, notes)), notes.problems
