"""Ten thousand cases, and what cases teach: `python -m tests.bench.bench_cases [scale] [learning]`. Asserts nothing.

scale: 10 000 cases of virtual cars of a shop's mix, 18 answers each, mended and closed, on disk; whole processes, warm
disk cache. Seconds of processor are those of all processes together.
learning: cars drawn from perturbed rules (one truth for a shop, within the rules' own uncertainty); numbers learned
from 500 and from 5 of them, judged on 500 others by log2 P(what was wrong) after 18 answers.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from reasoner.casebook.events import Closed
from reasoner.casebook.shape import Case
from reasoner.history.learning import Total, learn, lesson, log_score
from reasoner.history.overlay import overlaid
from reasoner.inference.credible_range import perturbed
from reasoner.network.tables import Tables
from reasoner.network.vehicle import Vehicle, limits, vehicle_key
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from reasoner.session.chapters import Garage, cause_name
from reasoner.session.workup import Workup
from tests.fleet import a_case, a_vehicle, mix, write

ROOT = Path(__file__).parent.parent.parent
CASES = 10_000
CARS = 500
LOTS = [range(5 * lot, 5 * lot + 5) for lot in range(20)]


def main() -> None:
    wanted = sys.argv[1:] or ["scale", "learning"]
    if "scale" in wanted:
        scale()
    if "learning" in wanted:
        learning()


# ---- ten thousand cases ----------------------------------------------------------------------------------------------


def scale() -> None:
    book = read_rules([ROOT / "rules"])
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        garage = Garage(book)
        started = time.perf_counter()
        vehicles = [(number, a_vehicle(**mix(number))) for number in range(CASES)]
        vehicles.sort(key=lambda pair: str(vehicle_key(limits(book), pair[1])))
        for number, vehicle in vehicles:
            write(
                a_case(book, vehicle, garage.tables(vehicle), 1, number, name=f"car-{number:05d}", mended=True), folder
            )
        kinds = len({vehicle_key(limits(book), vehicle) for _, vehicle in vehicles})
        took = time.perf_counter() - started
        print(f"{CASES} cases of {kinds} kinds of vehicle written in {took:.0f} s (not counted)", flush=True)
        time.sleep(3)  # what was written just now is not trusted by the index
        show("list, first time (reads every file)", folder, "list")
        show("list", folder, "list")
        show("find", folder, "find", "lamp", "--fault", "injector", "--since", "2026-06")
        show("replay of all", folder, "replay")
        show("review of all", folder, "review")
        show("learn from all", folder, "learn")
        show("alike", folder, "alike", "car-00042")


def show(what: str, folder: Path, *arguments: str) -> None:
    command = [sys.executable, "-m", "reasoner", "cases", arguments[0], "--cases", str(folder), *arguments[1:]]
    started, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=False)
    seconds, after = time.perf_counter() - started, resource.getrusage(resource.RUSAGE_CHILDREN)
    work = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    memory = f"most memory of any process so far {after.ru_maxrss / 1024:5.0f} MB"
    print(f"{what:<36} {seconds:7.2f} s   {work:7.2f} s of processor   {memory}", flush=True)
    if done.returncode > 1:
        print(done.stderr.decode(errors="replace")[-2000:], flush=True)


# ---- learning --------------------------------------------------------------------------------------------------------


def learning() -> None:
    book = read_rules([ROOT / "rules"])
    vehicle = a_vehicle(layout="inline 4", injection="direct", distance="150000 km")
    garage = Garage(book)
    tables = garage.tables(vehicle)
    print("log2 P(what was wrong) on 500 other cars, bits a car; gain (standard error, or least to most)")
    for loosened, what in ((1.0, "within the rules' uncertainty"), (4.0, "four times beyond it")):
        for seed in range(3):
            truth = perturbed(tables, 100 + seed, loosened)
            others = [a_case(book, vehicle, truth, seed, 100_000 + i) for i in range(CARS)]
            before = scores(book, vehicle, garage.tables(vehicle), others)
            best = scores(book, vehicle, truth, others)
            many, error = gained(book, vehicle, garage, [range(CARS)], truth, seed, others, before)
            few, _ = gained(book, vehicle, garage, LOTS, truth, seed, others, before)
            print(
                f"{what}, shop {seed}: as written {mean(before):.3f}, the truth itself {mean(best):.3f}; learned from"
                f" {CARS}: {many[0]:+.3f} ({error:.3f}); from 5, {len(LOTS)} times: {mean(few):+.3f}"
                f" ({min(few):+.3f} to {max(few):+.3f})",
                flush=True,
            )


def gained(
    book: Rulebook,
    vehicle: Vehicle,
    garage: Garage,
    lots: Sequence[range],
    truth: Tables,
    seed: int,
    others: Sequence[Case],
    before: Sequence[float],
) -> tuple[list[float], float]:
    """Bits gained on other cars by learning from each lot of cars; the standard error over the cars, of the last."""
    found, error = [], 0.0
    for lot in lots:
        total = Total()
        for number in lot:
            total.add(lesson(a_case(book, vehicle, truth, seed, number), garage))
        learned = overlaid(book, learn(book, total))
        after = scores(learned, vehicle, Garage(learned).tables(vehicle), others)
        gain = [a - b for a, b in zip(after, before, strict=True)]
        error = statistics.stdev(gain) / len(gain) ** 0.5
        found.append(mean(gain))
    return found, error


def scores(book: Rulebook, vehicle: Vehicle, tables: Tables, cases: Sequence[Case]) -> list[float]:
    found = []
    for case in cases:
        closed = case.events[-1]
        assert isinstance(closed, Closed)
        workup = Workup(book, vehicle, tables, case.events)
        found.append(log_score(workup, cause_name(closed.fault, closed.where)))
    return found


def mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


if __name__ == "__main__":
    main()
