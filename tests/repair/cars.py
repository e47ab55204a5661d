"""Cases to decide on: the small rules, where everything can be listed, and the shipped ones, as people meet them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from reasoner.network.vehicle import vehicle_from
from reasoner.repair.choices import Stake
from reasoner.repair.jobs import Job
from reasoner.repair.prices import Prices, usual
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from reasoner.session import acts
from reasoner.session.deciding import Decision, decide
from reasoner.session.words import places_of
from reasoner.session.workup import Workup, begin

HERE = Path(__file__).parent
SHIPPED = HERE.parents[1] / "rules"


@lru_cache
def book(path: Path = SHIPPED) -> Rulebook:
    return read_rules([path])


@lru_cache
def car(path: Path = SHIPPED, **fields: str) -> Workup:
    vehicle, mistakes = vehicle_from({k.replace("_", " "): v for k, v in fields.items()})
    assert vehicle is not None, mistakes
    return begin(book(path), vehicle)


def small_car(**fields: str) -> Workup:
    return car(HERE / "small.yaml", **fields)


def answered(workup: Workup, check: str, seen: str | Mapping[int, str] = "", condition: str = "") -> Workup:
    """With one more answer; places not named look like a sound car's."""
    if condition and condition != workup.record.condition:
        workup = workup.after(acts.change_condition(workup, condition))
    entry = workup.book.checks[check]
    usual_one = entry.outcomes[0].name
    places = places_of(workup.vehicle, entry)
    values = {p: seen.get(p, usual_one) if isinstance(seen, Mapping) else seen or usual_one for p in places}
    return workup.after(acts.answer(workup, check, values))


def stake(workup: Workup, **prices: object) -> Stake:
    """With the rules' usual prices, but for those given; `part=310` is the price of every part. No doubts in it."""
    found: Prices = usual(workup.book)
    part = prices.pop("part", None)
    if part is not None:
        found = replace(found, parts=dict.fromkeys(found.parts, float(str(part))))
    found = replace(found, **prices)  # type: ignore[arg-type]
    return replace(workup, prices=found).outlook.bare


def job(repair: str, *cylinders: int) -> Job:
    return Job(repair, frozenset(f"cylinder {n}" for n in cylinders) or frozenset(("engine",)))


def till_work(workup: Workup, truth: Mapping[str, str | Mapping[int, str]], prices: Prices | None = None) -> Decision:
    """Tests as long as testing on is recommended; what the truth does not name looks like a sound car."""
    prices = usual(workup.book) if prices is None else prices
    for _ in range(60):
        decision = decide(workup, prices)
        if decision.best.check is None:
            return decision
        option = decision.best.check
        asked = option.check if option.first is None else option.first
        check = workup.book.checks[workup.tables.checks[asked].name]
        seen, usual_one = truth.get(check.name, {}), check.outcomes[0].name
        places = [p for p in places_of(workup.vehicle, check) if option.place is None or p == option.place + 1]
        values = {p: seen.get(p, usual_one) if isinstance(seen, Mapping) else seen for p in places}
        workup = workup.after(acts.answer(workup, check.name, values, option=option if option.first is None else None))
    raise AssertionError("never done with testing")
