"""`python -m tests.model.two`: cars with two faults at once: one that comes and goes as its breakage does, and one
beside it that is always there.

Both are broken in one engine, so what they do together is physics: nothing here knows how the reasoner puts two
together.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from reasoner.rulebook.read import read_rules
from reasoner.session.document import Verdict
from tests.model.breakages import BY_NAME, drawn
from tests.model.car import AMOUNTS, KEPT, PROFILES, Broken, Car
from tests.model.play import played_through
from tests.model.weeks import Past, simulate

RULES = Path(__file__).parents[2] / "rules"

MOST_TRIES = 12
# One that comes and goes, one that stays, in which kind of car. At most one of the two sits at a cylinder or bank.
TWO = (
    ("seat-dribbles", "coolant-sensor-plug-green", "white four"),
    ("tip-dribbles-hot", "meter-disturbed", "silver turbo four"),
    ("driver-holds-open", "purge-valve-sticks", "grey six"),
    ("port-seat-dribbles", "meter-disturbed", "blue four"),
    ("plug-misses", "purge-valve-sticks", "white four"),
    ("coolant-sensor-plug-loose", "regulator-sticks", "green six"),
    ("purge-valve-sticks", "copy-of-an-air-meter", "white four"),
    ("boost-hose-leaks", "pump-seal-weeps", "silver turbo four"),
    ("pressure-valve-sticks", "air-sensor-plug-green", "grey six"),
    ("port-needle-late", "diaphragm-holed", "blue four"),
    ("egr-sticks-open", "coolant-sensor-plug-green", "brown four"),
    ("needle-late", "rail-sensor-drifted", "black turbo four"),
)


@dataclass(frozen=True)
class WithAnother(Broken):
    """beside: what is broken as well, and does not come and go."""

    beside: Broken = field(default_factory=Broken)

    def scaled(self, part: float) -> Broken:
        first = {name: part * getattr(self, name) for name in AMOUNTS}
        both = {name: first[name] + getattr(self.beside, name) for name in AMOUNTS}
        kept = {name: getattr(self, name) or getattr(self.beside, name) for name in KEPT}
        return Broken(**both, **kept)


def two_faults(first: str, second: str, profile: str, attempt: int = 0) -> Car:
    """A car of a kind with two breakages; `breakage` is that of the one that comes and goes."""
    kind = next(p for p in PROFILES if p.name == profile)
    both = f"{profile}: {first} and {second}"
    one, other = (drawn(BY_NAME[name], kind, f"two/{attempt}", both) for name in (first, second))
    fields = {name: getattr(one.broken, name) for name in (*AMOUNTS, *KEPT)}
    return replace(one, broken=WithAnother(**fields, beside=other.broken))


def places(car: Car) -> tuple[str, str]:
    """Where the two are."""
    assert isinstance(car.broken, WithAnother)
    first, second = car.name.split(": ")[1].split(" and ")
    kinds = BY_NAME[first].at, BY_NAME[second].at
    numbers = car.broken.place, car.broken.beside.place
    one, other = (k if k == "engine" else f"{k} {n}" for k, n in zip(kinds, numbers, strict=True))
    return one, other


def cars_with_two() -> Iterator[tuple[Car, Past]]:
    """Each of TWO, drawn anew until it comes in with a complaint."""
    for first, second, profile in TWO:
        for attempt in range(MOST_TRIES):
            car = two_faults(first, second, profile, attempt)
            past = simulate(car)
            if past.comes:
                yield car, past
                break


def main() -> None:
    """Each car with and without two faults at once being weighed: how it ended, and how likely both faults are."""
    book = read_rules([RULES])
    without = replace(book, settings=replace(book.settings, two_faults=0.0))
    for car, past in cars_with_two():
        wanted = [BY_NAME[name].called for name in car.name.split(": ")[1].split(" and ")]
        print(f"{car.name} ({', '.join(places(car))})")
        for title, rules in (("with pairs", book), ("without", without)):
            talk, *_ = played_through(rules, car, past)
            causes, chances = talk.workup.tables.causes, talk.workup.belief.probability.tolist()
            both = sum(
                p
                for cause, p in zip(causes, chances, strict=True)
                if all(any(each.fault in names for each in cause.each) for names in wanted)
            )
            asked = talk.next()
            said = asked.sentence if isinstance(asked, Verdict) else "it would ask on"
            print(f"  {title}: both {both:.0%}; {len(talk.workup.record.given)} answers; {said}", flush=True)


if __name__ == "__main__":
    main()
