"""Cars that come in: drawn by chance with a complaint, and one named car for every breakage."""

from __future__ import annotations

from functools import lru_cache

from tests.model.breakages import BREAKAGES, any_car, drawn
from tests.model.car import PROFILES, Car
from tests.model.weeks import Past, simulate

MOST_TRIES = 60


def car_with_complaint(seed: int, number: int) -> tuple[Car, Past]:
    """Car `number` of a seed: drawn anew until one comes to the shop with a complaint of running rich."""
    for attempt in range(MOST_TRIES):
        car = any_car(seed, number, attempt)
        past = simulate(car)
        if past.comes:
            return car, past
    raise RuntimeError("no car comes in")


@lru_cache
def named_cars() -> tuple[tuple[Car, Past], ...]:
    """For every breakage a car that has it and comes in, named after both."""
    found = []
    for breakage in BREAKAGES:
        for attempt in range(MOST_TRIES):
            fits = [p for p in PROFILES if breakage.fits(p)]
            profile = fits[attempt % len(fits)]
            car = drawn(breakage, profile, f"named/{attempt}", f"{profile.name}, {breakage.name}")
            past = simulate(car)
            if past.comes:
                found.append((car, past))
                break
        else:
            raise RuntimeError(f"{breakage.name} brings no car in")
    return tuple(found)
