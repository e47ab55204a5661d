"""The car in the shop: a stretch in one of the rules' conditions, with what acts in it and everything to read.

Conditions are the rules' own by name; what each means for the engine is said here from its text.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from random import Random

from tests.model import engine
from tests.model.car import Broken, Car
from tests.model.engine import CRUISE, IDLE, LOAD, OFF, OVERRUN, RAISED, Memory, Now, Point, State
from tests.model.weeks import SMELLS, Past, acting

HOT_BAY = 45.0  # K over the outside while it stands or idles long
# Condition -> (point, circumstances as they are on a fully warm engine unless said, what of it matters to a bad part).
MEANS: Mapping[str, tuple[Point, Mapping[str, object], tuple[str, ...]]] = {
    "engine-off": (OFF, {"cold": True}, ()),
    "cold-soaked": (OFF, {"cold": True}, ("cold",)),
    "cold-start": (IDLE, {"cold": True, "minutes": 1.0}, ("cold", "idle")),
    "warm-up": (IDLE, {"coolant": 55.0, "oil": 35.0, "minutes": 6.0}, ("cold", "idle")),
    "warm-idle": (IDLE, {"settled": 5.0}, ("idle",)),
    "long-idle": (IDLE, {"minutes": 35.0, "settled": 12.0, "hot": True}, ("hot", "idle")),
    "raised-speed": (RAISED, {}, ()),
    "cruise": (CRUISE, {}, ("shaken",)),
    "load": (LOAD, {}, ("shaken",)),
    "overrun": (OVERRUN, {}, ("shaken",)),
    "hot-soak": (OFF, {"hot": True, "soaked": 18.0, "hot_soaked": True}, ("hot",)),
    "hot-restart": (
        IDLE,
        {"hot": True, "soaked": 18.0, "hot_soaked": True, "minutes": 1.5, "settled": 1.5},
        ("hot", "soaked", "idle"),
    ),
    "after-refuelling": (IDLE, {"minutes": 8.0, "refuelled": True}, ("idle",)),
    "after-hard-run": (IDLE, {"minutes": 40.0, "settled": 4.0, "hot": True, "oil": 105.0}, ("hot", "hard", "idle")),
    "open-loop-idle": (OFF, {}, ("idle",)),
    "cleared-idle": (OFF, {}, ("idle",)),
}


@dataclass(frozen=True)
class Bench:
    """A spell: condition (rules' name, or None where nothing was said) and how many of its kind came before.

    cleared: learned values were cleared in an earlier spell. check: what is being looked at, for its own dice.
    """

    car: Car
    past: Past
    condition: str | None
    number: int = 0
    cleared: bool = False
    check: str = ""
    place: int = 0  # the place that a test is made at, where it is made place by place
    ever: bool = False

    @property
    def meant(self) -> tuple[Point, Mapping[str, object], tuple[str, ...]]:
        return MEANS[self.condition or "engine-off"]

    def dice(self, *more: object) -> Random:
        when = () if self.ever else (self.condition, self.number)
        return self.car.dice("seen", self.check, *when, *more)

    @cached_property
    def act(self) -> float:
        circumstance = (*self.meant[2], *(("damp",) if self.past.damp else ()))
        return acting(self.car, ("shop", self.condition, self.number), circumstance)

    @cached_property
    def broken(self) -> Broken:
        return self.car.broken.scaled(self.act)

    @cached_property
    def memory(self) -> Memory:
        return Memory() if self.cleared else Memory(self.past.memory)

    @cached_property
    def now(self) -> Now:
        point, said, _ = self.meant
        ambient = self.car.ambient
        changes = {k: v for k, v in said.items() if k not in ("cold", "hot")}
        if said.get("cold"):
            changes |= {"coolant": ambient + (4 if point is IDLE else 0), "oil": ambient}
        bay = ambient + (HOT_BAY if said.get("hot") else 25 if not said.get("cold") else 0)
        canister = min(1.0, self.past.canister + (0.3 if said.get("refuelled") else 0.0))
        base = Now(point, ambient=ambient, bay=bay, canister=canister, oil_fuel=self.past.oil_fuel)
        return replace(base, **changes)

    @cached_property
    def state(self) -> State:
        return engine.run(self.car, self.broken, self.now, self.memory)

    def with_(self, memory: Memory | None = None, broken: Broken | None = None, **changes: object) -> State:
        """The same stretch with something done to it."""
        return engine.run(
            self.car,
            self.broken if broken is None else broken,
            replace(self.now, **changes),  # type: ignore[arg-type]
            self.memory if memory is None else memory,
        )

    def drive(self, *points: Point) -> list[State]:
        """One after the other in one go, so that what acts, acts in all of them."""
        return [self.with_(point=p, settled=2.0) for p in points]

    # ---- what is read often ------------------------------------------------------------------------------------------

    @property
    def cylinders(self) -> range:
        return range(1, self.car.profile.cylinders + 1)

    @property
    def banks(self) -> range:
        return range(1, len(self.car.profile.banks) + 1)

    @property
    def rich_now(self) -> bool:
        """As somebody with a scan tool and a nose has it: the trim is away, or it is so rich that people notice. A
        mixture that is less rich behind a positive trim is seen by nobody without a gas analyser."""
        s = self.state
        return s.running and (min(s.trim) < -0.09 or min(s.behind) < SMELLS)

    def bank_of(self, cylinder: int) -> int:
        return next(b for b, cs in enumerate(self.car.profile.banks, start=1) if cylinder in cs)

    def by_cylinder(self, of: Callable[[int], str]) -> dict[int, str]:
        return {c: of(c) for c in self.cylinders}

    def by_bank(self, of: Callable[[int], str]) -> dict[int, str]:
        return {b: of(b) for b in self.banks}

    def half_life(self) -> float:
        """Minutes until the rail's pressure has halved after a stop here: the leak, and in a hot soak the heat that
        first holds it up (or the cooling that lets it down)."""
        leak = engine.sealed_leak(self.car, self.broken, self.now)
        from tests.model.physics import half_life

        return half_life(engine.RAIL_LITRES, 5.0, leak * (0.5**0.5))
