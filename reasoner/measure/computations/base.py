"""What every computation is: its name, what it asks for, and a function from inputs to a Finding."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from reasoner.measure.asks import Ask, Inputs, Setting, take_inputs
from reasoner.measure.finding import Finding, listed
from reasoner.measure.fuel import PETROL, Fuel, blend
from reasoner.measure.uncertain import Estimate
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At

RECTANGULAR = 1 / math.sqrt(3)  # standard error of what lies within +-1 and is else unknown: JCGM 100:2008, 4.3.7

NOW = "now: "  # before the name of a live value of this car, at a warm idle that was not rich

Result = Finding | Mistake
Compute = Callable[[Inputs, Setting], Result]


@dataclass(frozen=True)
class Computation:
    """name: as in rules. at: the places it finds something about. says: what it is for, in a line.

    frame: its live quantities are those of a freeze frame. picked: it has many figures, of which those are said that
    a check goes by.
    """

    name: str
    at: At
    says: str
    asks: tuple[Ask, ...]
    work: Compute
    frame: bool = False
    picked: bool = False

    def run(self, texts: Mapping[str, str], setting: Setting) -> Finding | tuple[Mistake, ...]:
        """The finding of inputs as typed, or everything that is wrong with them. Never raises."""
        given = take_inputs(self.asks, texts, setting)
        if isinstance(given, tuple):
            return given
        try:
            found = self.work(given, setting)
        except (ValueError, OverflowError, ZeroDivisionError) as error:
            return (Mistake("", f"these numbers together make no sense: {error}", "read them off again"),)
        return (found,) if isinstance(found, Mistake) else found


ETHANOL_SHARE = Ask("ethanol", "Ethanol in the fuel", "%", 0, 100, car=True, live=("ethanol in the fuel",))
DISPLACEMENT = Ask("litres", "Displacement of the engine", "L", 0.3, 10, car=True)


def fuel_of(given: Inputs) -> Fuel:
    """The fuel as said; without a word, petrol without ethanol."""
    return blend(given.one("ethanol", 0.0) / 100) if given.get("ethanol") else PETROL


def within_limit(value: float, share: float, least: float = 0.0) -> Estimate:
    """A reading whose maker's limit of error is `share` of it, or `least`, whichever is more."""
    return Estimate(value, max(abs(value) * share, least) * RECTANGULAR)


def numbered_places(places: list[int], kind: str) -> str:
    """`bank 1`, `cylinders 2 and 3`."""
    return listed([f"{kind} {place}" for place in places])


def odds(chance: float) -> str:
    """A chance in words and figures: `under 1 in 1000`, `1 in 30`, `60 %`."""
    if chance < 0.001:
        return "under 1 in 1000"
    return f"1 in {1 / chance:.0f}" if chance < 0.1 else f"{100 * chance:.0f} %"
