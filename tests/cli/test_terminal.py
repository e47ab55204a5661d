"""The whole program at a real terminal: left by Ctrl-C, in a session and in work over many cases."""

from __future__ import annotations

import multiprocessing
import os
import shlex
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from reasoner.cli import exits

pexpect = pytest.importorskip("pexpect")

ROOT = Path(__file__).parents[2]


def at_terminal(*arguments: str, term: str = "dumb") -> Any:
    environ = {**os.environ, "TERM": term, "NO_COLOR": "1", "PYTHONPATH": str(ROOT)}
    command = ["-m", "reasoner", *arguments]
    return pexpect.spawn(
        sys.executable,
        command,
        dimensions=(24, 200),
        env=environ,
        encoding="utf-8",
        timeout=300,
        preexec_fn=_hears_ctrl_c,
    )


def _hears_ctrl_c() -> None:
    """Also where the tests run in the background of a shell, which has what it starts there ignore it."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


def status(run: Any) -> int:
    """As a shell says it: Python ends by the signal itself where Ctrl-C met it in the middle of an import."""
    return 128 + run.signalstatus if run.signalstatus else run.exitstatus


def test_the_line_printed_on_leaving_goes_on(tmp_path: Path) -> None:
    first = at_terminal("diagnose", "my car", "--cases", str(tmp_path / "shop"))
    for _ in range(5):  # the vehicle
        first.expect("> $")
        first.sendline("")
    first.expect("words > $")
    first.sendline("stumbles when hot")
    first.expect("> $")
    first.sendintr()
    first.expect("To go on: reasoner (.*)\r\n")
    line = first.match[1]
    first.expect(pexpect.EOF)
    first.close()
    assert status(first) == exits.INTERRUPTED
    assert shlex.split(line) == ["diagnose", "my car", "--cases", str(tmp_path / "shop")]

    again = at_terminal(*shlex.split(line))
    again.expect("HEARD IN IT")  # the complaint is known; what was not reached is asked
    again.expect("> $")
    again.sendeof()
    again.expect(pexpect.EOF)
    again.close()
    assert again.exitstatus == exits.FINE
    assert "stumbles when hot" in (tmp_path / "shop" / "my car.yaml").read_text()


def test_a_long_list_is_shown_a_screen_at_a_time_and_may_be_left() -> None:
    """With 24 lines; a list that fits, or goes to a file, is not held up."""
    whole = subprocess.run(
        [sys.executable, "-m", "reasoner", "rules", "list"], capture_output=True, encoding="utf-8", timeout=300
    ).stdout.splitlines()
    run = at_terminal("rules", "list")
    run.expect("Enter: more, q: enough > ")
    assert run.before.splitlines() == whole[:23]
    run.sendline("")
    run.expect("Enter: more, q: enough > ")
    assert run.before.splitlines()[-1] == whole[45]
    run.sendline("q")
    run.expect(pexpect.EOF)
    run.close()
    assert run.exitstatus == 0


def test_beginning_anew_names_the_case_that_was_left_open(tmp_path: Path) -> None:
    """Somebody who was interrupted types the same command again: the answers are in the case of before."""
    shop = tmp_path / "shop"
    shop.mkdir()
    text = (ROOT / "cases" / "saloon-short-trips.yaml").read_text(encoding="utf-8")
    (shop / "saloon-short-trips.yaml").write_text(text, encoding="utf-8")
    said = []
    for _ in range(2):
        run = at_terminal("diagnose", "--cases", str(shop))
        run.expect("THE CAR")
        said.append(run.before)
        for _ in range(5):
            run.expect("> $")
            run.sendline("")
        run.expect("words > $")
        run.sendline("stumbles when hot")
        run.expect("> $")
        run.sendintr()
        run.expect(pexpect.EOF)
        run.close()
    name = min(path.stem for path in shop.glob("2*.yaml"))
    assert "not closed" not in said[0]  # the one that was there is
    assert f"The last one is not closed: reasoner diagnose {name} --cases" in said[1]


def test_a_long_replay_shows_how_far_it_is_and_is_left_by_ctrl_c(tmp_path: Path) -> None:
    text = (ROOT / "cases" / "saloon-short-trips.yaml").read_text(encoding="utf-8")
    for number in range(60):
        name = f"saloon-{number}"
        (tmp_path / f"{name}.yaml").write_text(text.replace("case: saloon-short-trips", f"case: {name}"), "utf-8")
    replay = at_terminal("cases", "replay", "--asked-again", "--cases", str(tmp_path), term="xterm")
    replay.expect("replaying.* 0/60 ")
    replay.sendintr()
    replay.expect(pexpect.EOF)
    replay.close()
    assert status(replay) == exits.INTERRUPTED and "Traceback" not in replay.before


@pytest.mark.skipif(multiprocessing.get_start_method() != "fork", reason="processes do not begin by a fork here")
def test_ctrl_c_in_the_middle_of_starting_processes_is_not_lost() -> None:
    """What is raised in a hook of a fork is dropped by Python; a signal there once let the work run to its end."""
    code = (
        "import os, signal\n"
        "from reasoner.cli.workers import pooled\n"
        "os.register_at_fork(before=lambda: os.kill(os.getpid(), signal.SIGINT))\n"
        "try:\n"
        "    print(sum(pooled(sorted, [([1, 2],)] * 9, 2, int)))\n"
        "except KeyboardInterrupt:\n"
        "    print('left')\n"
    )
    environ = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=environ, timeout=300)
    assert (done.stdout, done.stderr) == ("left\n", "")


def test_the_demonstration_says_at_each_answer_what_enter_types() -> None:
    demo = at_terminal("demo")
    demo.expect(r"> \(Enter types \d+\) $")
    demo.sendline("q")
    demo.expect("That was the demonstration")
    demo.expect(pexpect.EOF)
    demo.close()
    assert status(demo) == exits.FINE
