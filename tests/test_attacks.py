"""Damaged files, messages and typed lines, thrown at the commands that read them: whatever comes, one clear error.

Never a traceback, never the status of a fault of the program, never half a file, never an escape on the screen.
Sixty attacks in the run; REASONER_ATTACKS=20000 makes it that many, shared out over the kinds.
"""

from __future__ import annotations

import os
import random
import re
import shutil
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from reasoner.cli import exits, loading
from reasoner.cli.main import cli
from tests.terminal.consoles import sit

ROOT = Path(__file__).parents[1]
ATTACKS = int(os.environ.get("REASONER_ATTACKS", "60"))
SMALL = ROOT / "tests" / "rulebook" / "small"
CASES = sorted((ROOT / "cases").glob("*.yaml"))
KNOWN = {value for name, value in vars(exits).items() if name.isupper()} - {exits.OURS}
PIECES = [  # what breaks readers
    *(b"\x1b[2J", b"\x00", b"\xff", "\u202e".encode(), b"'", b'"', b"{", b"}", b"[", b"]", b":", b"- ", b"\t", b"\n"),
    *(b"&a ", b"*a ", b"!!python/object ", b"<<: ", b"null", b"true", b"-1", b"1e999", b"nan", b"9" * 20, b"[]", b"{}"),
    *(b'"\\u0000"', b"%", b"#", b"|", b"---\n", b"...\n", b"\r", b"\xef\xbb\xbf"),
]


def mutated(data: bytes, chance: random.Random) -> bytes:
    """One to four small damages: a piece put in, a stretch cut, doubled or moved, a token changed for another."""
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        at, length = chance.randrange(len(data) + 1), chance.choice((1, 1, 2, 8, 40, 400))
        piece = data[at : at + length]
        kind = chance.randrange(6)
        if kind == 0:
            data = data[:at] + chance.choice(PIECES) + data[at:]
        elif kind == 1:
            data = data[:at] + data[at + length :]
        elif kind == 2:
            data = data[:at] + piece + data[at:]
        elif kind == 3:
            data = data[:at]
        else:
            words = list(re.finditer(rb"[\w.-]+", data))
            if len(words) > 1:
                one, other = chance.sample(words, 2)
                new = other[0] if kind == 4 else chance.choice(PIECES)
                data = data[: one.start()] + new + data[one.end() :]
    return data or b"\n"


def attacked(*arguments: str, typed: bytes = b"") -> None:
    """Run a command; whatever was in its way it has told in words, with a status of its own."""
    found = CliRunner().invoke(cli, list(arguments), input=typed)
    error = found.exception
    if error is not None and not isinstance(error, SystemExit | click.exceptions.Exit | click.ClickException):
        raise error
    assert found.exit_code in KNOWN, (arguments, found.output)
    for stream in (found.stdout, found.stderr):
        assert "\x1b" not in stream and "\u202e" not in stream and "\x00" not in stream, arguments
        assert "Traceback" not in stream
    if found.exit_code not in (exits.FINE, exits.PROBLEMS):
        assert found.stderr.strip(), (arguments, found.exit_code)


def of_rules(folder: Path, chance: random.Random) -> None:
    rules = folder / "rules"
    shutil.copytree(SMALL, rules, dirs_exist_ok=True)
    path = chance.choice(sorted(rules.glob("*.yaml")))
    path.write_bytes(mutated(path.read_bytes(), chance))
    use = ("--rules", str(rules), "--only-rules")
    command = chance.choice((("check",), ("check", "--json"), ("list",), ("graph",), ("tables",), ("show", "leaky")))
    attacked("rules", *command, *use)


def of_cases(folder: Path, chance: random.Random) -> None:
    path = folder / "odd.yaml"
    path.write_bytes(mutated(chance.choice(CASES).read_bytes(), chance))
    before = path.read_bytes()
    where = ("--cases", str(folder))
    for command in chance.sample(
        [
            ("cases", "show", "odd", *where),
            ("cases", "list", *where),
            ("cases", "find", "warm", *where),
            ("cases", "anonymise", "odd", "--to", str(folder / "copy.yaml"), *where),
            ("decide", "odd", *where),
            ("decide", "odd", "--json", *where),
            ("sheet", "odd", *where),
            ("prove", "odd", *where),
            ("diagnose", "new", "--answers", str(path), *where),
        ],
        3,
    ):
        attacked(*command)
    assert path.read_bytes() == before, "a case that is looked at stays as it is"
    assert not list(folder.glob("*.lock"))


LOG = "\n".join(
    [
        "time (s),engine speed (rpm),coolant (C),short trim 1 (%),long trim 1 (%),air flow (g/s),loop",
        *(f"{i / 2},{800 + i % 7},{88 + i % 2},{-9 + i % 3},{-4},{3 + i % 2 / 10},2" for i in range(240)),
    ]
).encode()


def of_logs(folder: Path, chance: random.Random) -> None:
    path = folder / "drive.csv"
    path.write_bytes(mutated(LOG, chance))
    attacked("measure", *chance.choice((("log",), ("log", "--json"), ("columns",))), str(path))


MESSAGES = b"\n".join(
    [
        b'{"type": "codes", "codes": {"P0172": ["pending"]}, "complete": true}',
        b'{"type": "condition", "condition": "warm-idle"}',
        b'{"type": "answer", "outcome": "yes", "sure": 0.8}',
        b'{"type": "answer", "check": "injector-leak-down", "values": {"3": {"leaks": 1.0}}, "rest": "first"}',
        b'{"type": "work out", "inputs": {"short": "-12 %", "long": {"1": -4}}}',
        b'{"type": "pass"}',
        b'{"type": "why", "cause": "purge-valve-leaks"}',
        b'{"type": "choose", "check": "when-it-happens"}',
        b'{"type": "decide", "prices": {"hour": 60}}',
        b'{"type": "take", "kind": "best"}',
        b'{"type": "take back"}',
        b'{"type": "stop"}',
    ]
)


def of_messages(folder: Path, chance: random.Random) -> None:
    attacked("diagnose", "--json", "--cases", str(folder), typed=mutated(MESSAGES, chance))


TABLE = (
    b"Job,Layout,Complaint,Code,Fault,Place\n7,V6,smells,P0172,purge-valve-leaks,\n8,inline 4,lamp,P0172 pending,,\n"
    b'9,"inline 4","a ""word""",P0175,injector-leaks,cylinder 3\n'
)


def of_tables(folder: Path, chance: random.Random) -> None:
    table, columns = folder / "jobs.csv", folder / "columns.yaml"
    columns.write_bytes(b"case: Job\nlayout: Layout\ncomplaint: Complaint\ncodes: Code\nfault: Fault\nplace: Place\n")
    table.write_bytes(TABLE)
    path = chance.choice((table, table, columns))
    path.write_bytes(mutated(path.read_bytes(), chance))
    attacked("cases", "import", str(table), "--columns", str(columns), "--cases", str(folder / "made"))


TYPED = "1 2 3 0 x b h m v n t o w c q ? why back 3=2 1=2,3=1 guess sure 2 think so P0172 -18 1=-18 +4 n/a y"


def of_typed_lines(folder: Path, chance: random.Random) -> None:
    lines = []
    for _ in range(40):
        line = " ".join(chance.choices(TYPED.split(), k=chance.choice((1, 1, 1, 2, 3))))
        if chance.random() < 0.1:
            line = mutated(line.encode(), chance).decode("utf-8", "replace").replace("\n", " ")
        lines.append(line)
    _, screen, _ = sit(*lines)
    # What is typed is echoed as it was: at a terminal the terminal does that.
    assert "Traceback" not in screen and screen.count("\x1b") <= sum(line.count("\x1b") for line in lines)


KINDS: dict[str, tuple[Callable[[Path, random.Random], None], float]] = {  # with its share of the attacks
    "rules": (of_rules, 0.3),
    "cases": (of_cases, 0.25),
    "logs": (of_logs, 0.2),
    "messages": (of_messages, 0.1),
    "tables": (of_tables, 0.1),
    "typed lines": (of_typed_lines, 0.05),
}


@pytest.fixture
def same_rules(monkeypatch: pytest.MonkeyPatch) -> None:
    """The shipped rules are read once for all attacks that do not change them."""
    plain = loading.rules
    cached = lru_cache(maxsize=2)(lambda layers: plain(layers))

    def rules(layers: tuple[Path, ...]) -> object:
        return plain(layers) if layers and any("pytest" in str(path) for path in layers) else cached(tuple(layers))

    monkeypatch.setattr(loading, "rules", rules)


@pytest.mark.usefixtures("same_rules")
@pytest.mark.parametrize("kind", KINDS)
def test_attacked(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    attack, share = KINDS[kind]
    monkeypatch.setenv("REASONER_CASES", str(tmp_path / "none"))
    for seed in range(max(3, round(share * ATTACKS))):
        folder = tmp_path / str(seed)
        folder.mkdir()
        try:
            attack(folder, random.Random(seed))
        except Exception as error:
            error.add_note(f"attack {seed} of {kind}; its files: {folder}")
            raise
        shutil.rmtree(folder)
