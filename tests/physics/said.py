"""What the shipped rules say, by name: how often an outcome is seen under a fault, and how often a fault shows."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from reasoner.rulebook.model import Rulebook, Statement
from tests.shipped import book

RULES = Path(__file__).parents[2] / "rules"


@lru_cache
def rules() -> Rulebook:
    return book()


def speakers(book: Rulebook, subject: str) -> tuple[str, ...]:
    """The fault or family, then what it takes its words from: each family with its wider ones after it."""
    found: dict[str, None] = {}

    def walk(name: str) -> None:
        if name not in found:
            found[name] = None
            for wider in book.faults[name].acts_as if name in book.faults else book.families[name].part_of:
                walk(wider)

    walk(subject)
    return tuple(found)


def statement(book: Rulebook, check: str, subject: str) -> Statement:
    """The nearest statement of a check about a fault or family; `otherwise` where nothing is said."""
    entry = book.checks[check]
    found = next((entry.given[name] for name in speakers(book, subject) if name in entry.given), None)
    return entry.otherwise if found is None else found


def chance(book: Rulebook, check: str, outcome: str, subject: str = "") -> float:
    """How often the outcome is seen here while the fault shows; with no subject, with nothing to be seen.

    As the tables have it: outcomes not named take what `otherwise` says, the first takes the rest.
    """
    entry = book.checks[check]
    names = [o.name for o in entry.outcomes]
    otherwise = {n: f.value for n, f in entry.otherwise.here.items()}
    said = {n: f.value for n, f in (statement(book, check, subject) if subject else entry.otherwise).here.items()}
    seen = {n: said.get(n, otherwise.get(n, book.settings.unlikeliest)) for n in names[1:]}
    return seen[outcome] if outcome != names[0] else 1.0 - sum(seen.values())


def shows(book: Rulebook, subject: str, condition: str) -> float:
    """How often a fault or family acts in a condition."""
    for name in speakers(book, subject):
        said = (book.faults[name] if name in book.faults else book.families[name]).shows
        if condition in said:
            return said[condition].value
        if "any" in said:
            return said["any"].value
    return book.settings.shows_unless_said.value
