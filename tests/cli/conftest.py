"""The program as a person runs it: a process of its own, with a folder of its own for cases."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import traceback
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryFile
from types import ModuleType

import pytest

from reasoner.cli import loading, main, shop
from reasoner.rulebook.problem import Notebook
from reasoner.session.concluding import next_document
from reasoner.session.workup import begin

Run = Callable[..., subprocess.CompletedProcess[str]]
TABLES = (main.COMMANDS, main.CASES_COMMANDS, main.MEASURE_COMMANDS, main.RULES_COMMANDS)


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
    """Where only the environment of Python itself is another, a new interpreter; else `forked`."""

    def run(*arguments: str, stdin: str = "", **more: str) -> subprocess.CompletedProcess[str]:
        env = {**environ, **more}
        if hasattr(os, "fork") and not any(key.startswith(("PYTHON", "LC_", "LANG")) for key in more):
            return forked(arguments, stdin, env)
        command = [sys.executable, "-m", "reasoner", *arguments]
        return subprocess.run(
            command,
            input=stdin,
            capture_output=True,
            timeout=300,
            env=env,
            encoding="utf-8",
            errors="surrogateescape",
        )

    return run


def forked(arguments: Sequence[str], stdin: str, env: Mapping[str, str]) -> subprocess.CompletedProcess[str]:
    """The program in a copy of this process: streams, status and all else are its own, and nothing has to be loaded.
    What it loads by itself, `test_others.py` looks at in interpreters of their own."""
    _ready()
    with TemporaryFile() as given, TemporaryFile() as out, TemporaryFile() as err:
        given.write(stdin.encode("utf-8", "surrogateescape"))
        given.seek(0)
        child = os.fork()
        if not child:
            _be_the_program([given.fileno(), out.fileno(), err.fileno()], arguments, env)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        out.seek(0)
        err.seek(0)
        said = [file.read().decode().replace("\r\n", "\n") for file in (out, err)]
    return subprocess.CompletedProcess(arguments, status, *said)


@cache
def _ready() -> None:
    """Everything loaded, the shipped rules read (`rules_read_once` keeps them) and the first question of the usual car
    worked out, which stays with the rules."""
    for table in TABLES:
        for where, _ in table.values():
            import_module(f"reasoner.cli.{where.partition(':')[0]}")
    book = loading.read_layers(shop.layers((), False, {}), Notebook())
    assert book is not None
    next_document(begin(book, loading.vehicle(None)))


def _be_the_program(streams: Sequence[int], arguments: Sequence[str], env: Mapping[str, str]) -> None:
    """Never returns: whatever happens, this copy ends here."""
    status = 1
    try:
        for number, stream in enumerate(streams):
            os.dup2(stream, number)
        sys.stdin = io.TextIOWrapper(io.FileIO(0, closefd=False), encoding="utf-8", errors="surrogateescape")
        sys.stdout = io.TextIOWrapper(io.FileIO(1, "w", closefd=False), encoding="utf-8", errors="surrogateescape")
        sys.stderr = io.TextIOWrapper(io.FileIO(2, "w", closefd=False), encoding="utf-8", errors="backslashreplace")
        os.environ.clear()
        os.environ.update(env)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        sys.modules["__main__"] = begun = ModuleType("__main__")  # as `python -m reasoner` would have it
        begun.__package__ = "reasoner"
        sys.argv = [str(Path(main.__file__).parents[1] / "__main__.py"), *arguments]
        try:
            main.main()
        except SystemExit as ended:
            status = ended.code if isinstance(ended.code, int) else 0
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:
        traceback.print_exc()
        sys.stderr.flush()
    finally:
        os._exit(status)
