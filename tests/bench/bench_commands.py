"""Whole-process figures: `python -m tests.bench.bench_commands`. Medians of several runs; nothing is asserted."""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

V8 = "layout: V 8\ninjection: direct\ncharging: charged\ndistance: 200000 km\n"
RUNS = 7


def timed(action: Callable[[], object], runs: int = RUNS) -> float:
    action()
    found = []
    for _ in range(runs):
        start = time.perf_counter()
        action()
        found.append(time.perf_counter() - start)
    return statistics.median(found)


def child(*command: str) -> Callable[[], object]:
    return lambda: subprocess.run([sys.executable, *command], capture_output=True, stdin=subprocess.DEVNULL, check=True)


def conversation(folder: Path, *arguments: str) -> tuple[float, float, int]:
    """Seconds to the first question of a new case; median to each next one; most memory of the child, in kB."""
    command = [sys.executable, "-m", "reasoner", "diagnose", "--json", *arguments]
    start = time.perf_counter()
    with subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "REASONER_CASES": str(folder)},
        text=True,
    ) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        state = json.loads(process.stdout.readline())
        first = time.perf_counter() - start
        nexts = []
        for _ in range(12):
            question = state["next"]
            if question["type"] != "question":
                break
            normal = question["outcomes"][0]["name"]
            message = {"type": "answer", "values": dict.fromkeys(question["places"], normal)}
            start = time.perf_counter()
            process.stdin.write(json.dumps(message) + "\n")
            process.stdin.flush()
            state = json.loads(process.stdout.readline())
            nexts.append(time.perf_counter() - start)
        process.stdin.close()
        process.wait()
    return first, statistics.median(nexts), resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss


def main() -> None:
    bare = timed(child("-c", "import click"))
    help_ = timed(child("-m", "reasoner", "--help"))
    print(f"bare interpreter with click  {bare * 1000:7.0f} ms")
    print(f"reasoner --help              {help_ * 1000:7.0f} ms   {help_ / bare:.2f} x")
    print(f"reasoner rules check         {timed(child('-m', 'reasoner', 'rules', 'check'), 3) * 1000:7.0f} ms")
    with tempfile.TemporaryDirectory() as folder:
        car = Path(folder, "v8.yaml")
        car.write_text(V8)
        for name, arguments in (("four", ()), ("V8", ("--vehicle", str(car)))):
            runs = [conversation(Path(folder), *arguments) for _ in range(5)]
            first, following, memory = (statistics.median(column) for column in zip(*runs, strict=True))
            print(f"first question, {name:<4}         {first * 1000:7.0f} ms   (from process start)")
            print(f"next question, {name:<4}          {following * 1000:7.0f} ms   (answer on disk, belief with range)")
            print(f"memory, {name:<4}                 {memory / 1024:7.0f} MB")


if __name__ == "__main__":
    main()
