"""What the tests share of what is shipped: the rules read once, the tables of each kind of car made once, the cases;
and which of them the short form of the run takes, where each takes seconds.

The short form takes every so many, from a fixed one on. REASONER_LONG=1 takes all, everywhere; REASONER_EVERY_CASE=1
all that is thinned here."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import TypeVar

from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from reasoner.session.chapters import Garage

ROOT = Path(__file__).parents[1]
RULES = ROOT / "rules"
SHOP_RULES = ROOT / "cases" / "shop-rules"
CASES = sorted((ROOT / "cases").glob("*.yaml"))
LONG = bool(os.environ.get("REASONER_LONG"))
EVERY_CASE = LONG or bool(os.environ.get("REASONER_EVERY_CASE"))
T = TypeVar("T")


@cache
def book(shop: bool = False) -> Rulebook:
    """The shipped rules; with those of the shop of the solved cases laid over them."""
    return read_rules([RULES], over=[SHOP_RULES] if shop else [])


@cache
def garage(shop: bool = False) -> Garage:
    return Garage(book(shop))


def car(**fields: str) -> Vehicle:
    """A vehicle by its fields; for a name with a space an underscore."""
    found, mistakes = vehicle_from({key.replace("_", " "): value for key, value in fields.items()})
    assert found is not None, mistakes
    return found


def thinned(all_of_them: Sequence[T], every: int, start: int = 0) -> list[T]:
    """Every so many of them, from this one on; all in the long form."""
    return list(all_of_them if EVERY_CASE else all_of_them[start::every])


def some(start: int, every: int = 3) -> list[Path]:
    """Every third case from this one on (0, 1, 2), so that different tests look at different ones."""
    return thinned(CASES, every, start)
