"""`python -m tests.model.compare`: where cars of the model and the rules part, check by check.

For every breakage some cars that came in are looked at with the fault acting, in the first two conditions of a check;
how often each outcome was there at the faulty place is held against the probability that the rules give it while
showing. Printed, the furthest apart first; nothing is tuned by it. Distance: half the sum of differences (total
variation).
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from reasoner.measure.uncertain import soften
from reasoner.network.tables import Tables
from reasoner.rulebook.model import Check, Rulebook
from tests.model.__main__ import _book
from tests.model.bench import Bench
from tests.model.breakages import BREAKAGES, Breakage, drawn
from tests.model.car import Car
from tests.model.observers import OBSERVERS
from tests.model.play import start, truth, where
from tests.model.weeks import Past, simulate


@dataclass(frozen=True)
class Apart:
    """model, rules: chance by outcome, at the faulty place. cars: how many were looked at."""

    breakage: str
    fault: str
    check: str
    condition: str
    distance: float
    model: Mapping[str, float]
    rules: Mapping[str, float]
    cars: int


def cars_of(breakage: Breakage, count: int) -> list[tuple[Car, Past]]:
    """Cars with a breakage that came in."""
    from tests.model.car import PROFILES

    fits = [p for p in PROFILES if breakage.fits(p)]
    found: list[tuple[Car, Past]] = []
    for attempt in range(5 * count):
        car = drawn(breakage, fits[attempt % len(fits)], f"compare/{attempt}")
        past = simulate(car)
        if past.comes:
            found.append((car, past))
        if len(found) == count:
            break
    return found


def apart(book: Rulebook, breakage: Breakage, count: int) -> Iterator[Apart]:
    """Every check that both the model and the rules have for a breakage."""
    cars = cars_of(breakage, count)
    for check in book.checks.values():
        if check.name not in OBSERVERS or check.codes:
            continue
        for condition in (check.conditions or ("warm-idle",))[:2]:
            model, rules, seen = Counter[str](), Counter[str](), 0
            for car, past in cars:
                tables = start(book, car.profile).tables
                said = _rules(tables, check, truth(book, car), where(car))
                there = _model(check, car, past, condition)
                if said is None or there is None:
                    continue
                seen += 1
                for name, part in there.items():
                    model[name] += part  # type: ignore[assignment]
                for name, part in said.items():
                    rules[name] += part  # type: ignore[assignment]
            if seen >= 3:
                ours = {name: n / seen for name, n in model.items()}
                theirs = {name: n / seen for name, n in rules.items()}
                names = {o.name for o in check.outcomes}
                distance = 0.5 * sum(abs(ours.get(n, 0.0) - theirs.get(n, 0.0)) for n in names)
                fault = truth(book, cars[0][0])
                yield Apart(breakage.name, fault, check.name, condition, distance, ours, theirs, seen)


def _model(check: Check, car: Car, past: Past, condition: str) -> Mapping[str, float] | None:
    ever = str(check.sees) == "ever"
    acting = car if ever else replace(car, acts=replace(car.acts, base=1.0))
    there = OBSERVERS[check.name](Bench(acting, past, condition, check=check.name, ever=ever))
    if there is None:
        return None
    value = there if not isinstance(there, Mapping) else there.get(car.broken.place if str(check.at) != "engine" else 0)
    if value is None and isinstance(there, Mapping):
        value = there[min(there)]
        if str(check.at) == "bank" and car.broken.place:
            value = there[next(b for b, cs in enumerate(car.profile.banks, 1) if car.broken.place in cs)]
    if isinstance(value, str):
        return {value: 1.0}
    assert check.measure is not None and value is not None
    return dict(soften(check.measure, float(value)))


def _rules(tables: Tables, check: Check, fault: str, place: str) -> Mapping[str, float] | None:
    number = tables.check_number.get(check.name)
    cause = next((i for i, c in enumerate(tables.causes) if c.fault == fault and c.where == place), None)
    if number is None or cause is None:
        return None
    table = tables.checks[number]
    # The faulty place of a check that has such places; else the first, or the bank that the place is in.
    first = place.replace("cylinders", "cylinder").split(" and ")[0]
    position = table.places.index(first) if first in table.places else 0
    row = table.rows[table.index[cause, position]]
    return {name: float(p) for name, p in zip(table.outcomes, row, strict=True)}


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.model.compare", description=__doc__)
    parser.add_argument("--cars", type=int, default=8)
    parser.add_argument("--beyond", type=float, default=0.4, help="Distance from which a pair is printed.")
    said = parser.parse_args()
    book = _book()
    found = [one for b in BREAKAGES for one in apart(book, b, said.cars) if one.distance >= said.beyond]
    for one in sorted(found, key=lambda a: (a.fault, -a.distance)):
        print(
            f"- {one.fault} ({one.breakage}) | {one.check} in {one.condition} | model {_words(one.model)}"
            f" | rules {_words(one.rules)} | {one.cars} cars"
        )


def _words(chances: Mapping[str, float]) -> str:
    ordered = sorted(chances.items(), key=lambda item: -item[1])
    return ", ".join(f"{name} {100 * p:.0f}" for name, p in ordered if p >= 0.03)


if __name__ == "__main__":
    main()
