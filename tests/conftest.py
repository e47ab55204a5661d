"""What all tests share: no rules or settings of whoever runs them are used, and no test hangs on how busy the
machine is."""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Iterator, Sequence
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from reasoner.cli import loading
from reasoner.rulebook import read
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Notebook
from reasoner.yaml_tree import Map

for variable in ("REASONER_RULES", "REASONER_SETTINGS"):  # also for what tests start as programs of their own
    os.environ[variable] = ""

gc.set_threshold(50_000)  # as the program does: the rules are many small things that are never thrown away

settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")

Parse = Callable[[bytes, str, Notebook], Map | None]
Gather = Callable[[Sequence[Path], Path | None, Sequence[Path], Notebook], Rulebook | None]


@pytest.fixture(autouse=True, scope="session")
def rules_read_once() -> Iterator[None]:
    """Commands run in this process, or in a copy of it, read rule files with the same bytes once; and a file that comes
    again with others laid over it is made a tree once. Programs of their own read them as always."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(loading, "gather", remembered(loading.gather))
        patch.setattr(read, "parse_bytes", made_once(read.parse_bytes))
        yield


def made_once(parse: Parse) -> Parse:
    """A tree never changes, so that many books may be made of one."""
    known: dict[tuple[bytes, str], tuple[Map, Sequence[str]]] = {}

    def tree(content: bytes, file: str, notes: Notebook) -> Map | None:
        if (content, file) in known:
            found, notes.lines[file] = known[content, file]
            return found
        before = len(notes)
        made = parse(content, file, notes)
        if made is not None and len(notes) == before:
            known[content, file] = made, notes.lines[file]
        return made

    return tree


def remembered(gather: Gather) -> Gather:
    known: dict[object, tuple[Rulebook, dict[str, Sequence[str]]]] = {}

    def book(paths: Sequence[Path], shown_from: Path | None, over: Sequence[Path], notes: Notebook) -> Rulebook | None:
        try:
            files = [sorted(p.rglob("*")) if p.is_dir() else [p] for p in (*paths, *over)]
            content = tuple((str(f), sha256(f.read_bytes()).digest()) for own in files for f in own if f.is_file())
        except OSError:
            return gather(paths, shown_from, over, notes)
        key = tuple(map(str, paths)), str(shown_from), tuple(map(str, over)), content
        if key not in known:
            made = gather(paths, shown_from, over, notes)
            if made is None or len(notes):
                return made
            known[key] = made, dict(notes.lines)
        notes.lines.update(known[key][1])
        return known[key][0]

    return book
