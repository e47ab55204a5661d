"""A program that is killed at any moment loses nothing that it had accepted.

A child appends events and reports each one over a pipe after `append` has returned; the parent kills it. The short form
runs always; REASONER_KILLS=1000 makes it that many kills.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import yaml

from reasoner.casebook import journal
from reasoner.casebook.casefile import load_case
from tests.casebook.small import HEAD

ROOT = Path(__file__).parent.parent.parent
KILLS = int(os.environ.get("REASONER_KILLS", "20"))
A_CASE = 5  # kills on the same file, so that later ones find what earlier ones left
LONG = 400_000  # bytes of a long event, which the kernel takes in many pieces
ROOM = journal.FULL_CASE - 2 * LONG  # a quick disk fills a case before the kill: the child then only waits for it

CHILD = """
import sys
import time
from pathlib import Path
from reasoner.casebook import journal
kept = journal.resume(Path(sys.argv[1]))
number = len(kept.case.events)
print("open", number, flush=True)
while kept.path.stat().st_size < ROOM:
    kept.append({"event": "note", "number": number, "text": "ü" * (LONG // 2 if number % 8 == 7 else 20)})
    print(number, flush=True)
    number += 1
time.sleep(60)
""".replace("LONG", str(LONG)).replace("ROOM", str(ROOM))


def run_and_kill(path: Path, delay: float) -> int:
    """Let the child work for `delay` seconds, then kill it. How many events it had accepted, counted from the first."""
    with subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as child:
        assert child.stdout and child.stderr
        opened = child.stdout.readline().split()
        assert opened and opened[0] == b"open", child.stderr.read()
        time.sleep(delay)
        os.kill(child.pid, signal.SIGKILL)
        reported = [int(line) for line in child.stdout.read().split(b"\n")[:-1]]
        error = child.stderr.read()
    assert child.returncode == -signal.SIGKILL, error
    before = int(opened[1])
    assert reported == list(range(before, before + len(reported)))
    return before + len(reported)


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX only")
def test_nothing_accepted_is_lost(tmp_path: Path) -> None:
    chance = random.Random(20261125)
    accepted, path, torn = 0, tmp_path, 0
    for kill in range(KILLS):
        if kill % A_CASE == 0 or path.stat().st_size > ROOM // 2:
            path = tmp_path / f"{kill}.yaml"
            journal.create(path, HEAD).close()
        accepted = run_and_kill(path, chance.uniform(0, 0.02))
        case = load_case(path)
        numbers = [event["number"] for event in case.events]
        assert numbers[:accepted] == list(range(accepted)), f"kill {kill}: an accepted event is lost"
        assert len(numbers) <= accepted + 1, "at most the one that was being written is there beyond that"
        torn += bool(case.notes)
        if kill % A_CASE == A_CASE - 1:
            journal.resume(path).close()
            assert [event["number"] for event in yaml.load(path.read_bytes(), yaml.CSafeLoader)["events"]] == numbers
    print(f"{KILLS} kills, {torn} of them in the middle of a line")
