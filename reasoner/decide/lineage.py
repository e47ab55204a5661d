"""Which families a fault acts as, by the rules alone: nearest first, each with its wider ones after it."""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.rulebook.model import Rulebook


def lineage(book: Rulebook, fault: str) -> tuple[str, ...]:
    """The fault itself, then its families."""

    def walk(names: tuple[str, ...]) -> Iterator[str]:
        for name in names:
            yield name
            yield from walk(book.families[name].part_of)

    return tuple(dict.fromkeys((fault, *walk(book.faults[fault].acts_as))))
