"""`python -m tests.model --cars 100 --seed 1`: cars of the model through the real session, and how well it did.

The table is that of `reasoner rules trial`, fault by fault as the cars are broken. --named: one car of every breakage.
--bare: with common tools only, as an owner has, and not with what a small workshop has beside them. --silent: the
owner has gone and the frame is not typed in: all of it is asked one thing at a time. --jsonl: every car
as a line, with all that was asked and seen.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict
from multiprocessing import Pool
from pathlib import Path
from statistics import median

from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from reasoner.trial.trialled import FIRM_CLAIM, trialled
from tests.model.fleet import car_with_complaint, named_cars
from tests.model.play import SHOP, Played, play, truth, where

MOST_SHOWN = 20
RULES = Path(__file__).parents[2] / "rules"


def _book() -> Rulebook:
    found = read_rules([RULES])
    assert found is not None
    return found


_here: dict[str, Rulebook] = {}  # read once a process


def _one(work: tuple[int, int, bool, bool, bool]) -> Played:
    seed, number, named, bare, silent = work
    if "book" not in _here:
        _here["book"] = _book()
    car, past = named_cars()[number] if named else car_with_complaint(seed, number)
    return play(_here["book"], car, past, number, () if bare else SHOP, silent)


def played(
    cars: int, seed: int, jobs: int = 1, named: bool = False, bare: bool = False, silent: bool = False
) -> Iterator[Played]:
    """Cars in order. bare: worked on with common tools only. silent: nothing is told before it is asked."""
    count = len(named_cars()) if named else cars
    work = [(seed, n, named, bare, silent) for n in range(count)]
    if jobs == 1:
        yield from map(_one, work)
        return
    with Pool(jobs) as pool:
        yield from pool.imap(_one, work, chunksize=4)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.model", description=__doc__)
    parser.add_argument("--cars", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--named", action="store_true")
    parser.add_argument("--bare", action="store_true")
    parser.add_argument("--silent", action="store_true")
    parser.add_argument("--jsonl", type=Path)
    said = parser.parse_args()
    _here["book"] = book = _book()  # once: they may be edited while cars are played
    runs = []
    for one in played(said.cars, said.seed, said.jobs, said.named, said.bare, said.silent):
        runs.append(one)
        if said.jsonl:  # as it goes: what was played is kept, whatever happens to the rest
            with said.jsonl.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line(one)) + "\n")
    show(runs, book, said.seed)


def line(one: Played) -> dict[str, object]:
    """A car as plain values: what it had, what was said of it, what was asked and seen."""
    run = one.run
    return {
        "car": one.car.name,
        "profile": one.car.profile.name,
        "breakage": one.car.breakage,
        "where": run.where,
        "kind": run.kind,
        "said": [run.said_fault, run.said_where],
        "claimed": round(run.firmness, 3),
        "right": run.right_class,
        "mends": one.mends,
        "paid": one.paid and round(one.paid),
        "least": one.least and round(one.least),
        "minutes": round(run.minutes, 1),
        "codes": dict(one.past.codes),
        "slips": one.slips,
        "broken": {k: v for k, v in asdict(one.car.broken).items() if v},
        "acts": asdict(one.car.acts),
        "steps": [
            [
                s.check,
                s.condition,
                s.text,
                s.leading,
                round(s.chance, 3),
                round(s.bits, 2),
                round(s.minutes, 1),
                s.fresh,
            ]
            for s in run.steps
        ],
    }


def show(found: list[Played], book: Rulebook, seed: int) -> None:
    """The trial's own table, then what it does not say: right in fault and place over all cars, and firm and wrong."""
    from rich.console import Console

    from reasoner.report.rules_text import trial_blocks

    runs = [one.run for one in found]
    console = Console(width=120)
    shown = trial_blocks([trialled("model", runs, book)], f"an engine model; seed {seed}", False)
    for block in [*shown[:2], *shown[3:]]:  # not the remark that they come from rules
        console.print(block)
    right = sum(r.right_class for r in runs)
    fault = sum(r.right_fault for r in runs)
    firm = sum(r.given and r.firmness >= FIRM_CLAIM and not r.right for r in runs)
    print(
        f"\nof {len(runs)} cars: right in fault and place {right} ({100 * right / len(runs):.0f} %),"
        f" in the fault {fault}"
    )
    print(f"firm and wrong {firm} ({100 * firm / len(runs):.1f} % of all cars)")
    paid = [(one.paid, one.least) for one in found if one.paid is not None and one.least is not None]
    mends = sum(one.mends for one in found)
    print(f"what is recommended in the end mends {mends} of {len(found)} ({100 * mends / len(runs):.0f} %)")
    if paid:
        all_in_all, least = (sum(each) / len(paid) for each in zip(*paid, strict=True))
        print(f"looks, work and what comes later: {all_in_all:.0f} a car; {least:.0f} if it were known at once")
    unnamed = Counter(one.car.breakage for one in found if book.faults[truth(book, one.car)].anything_else)
    if unnamed:
        print("the rules have no name for: " + ", ".join(f"{name} ({n})" for name, n in unnamed.items()))
    unseen = Counter(check for one in found for check in one.unseen)
    if unseen:
        print("asked without an observer: " + ", ".join(f"{name} ({n})" for name, n in unseen.items()))
    print("\nby what is broken (right in fault and place, of cars; median minutes)")
    for name in sorted({one.car.breakage for one in found}):
        mine = [one.run for one in found if one.car.breakage == name]
        right = sum(r.right_class for r in mine)
        print(f"  {name:28} {right:3} of {len(mine):3}   {median(r.minutes for r in mine):4.0f}")
    print("\nanswers that spoke most against what was wrong (bits off its repair, slips left out)")
    slipped = {(id(one), slip) for one in found for slip in one.slips}
    against = [
        (s.bits, s.check, s.condition, s.text, one)
        for one in found
        for s in one.run.steps
        if s.bits < -0.7 and (id(one), f"{s.check}: {s.text}") not in slipped
    ]
    for bits, check, condition, text, one in sorted(against, key=lambda a: a[0])[:MOST_SHOWN]:
        print(
            f"  {bits:5.1f}  {check} {condition}: {text[:60]}   {one.car.name} ({one.car.breakage}, {where(one.car)})"
        )
    wrong = [one for one in found if one.run.given and one.run.firmness >= FIRM_CLAIM and not one.run.right]
    for one in wrong:
        said = f"{one.run.said_fault} {one.run.said_where} at {one.run.firmness:.2f}"
        print(f"  firm and wrong: {one.car.name} ({one.car.breakage}, {where(one.car)}) was called {said}")


if __name__ == "__main__":
    main()
