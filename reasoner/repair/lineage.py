"""Which families a fault acts as, by the rules alone: nearest first, each with its wider ones after it."""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.rulebook.model import Rulebook


def lineage(book: Rulebook, name: str) -> tuple[str, ...]:
    """A fault or family, then the families it belongs to."""

    def walk(names: tuple[str, ...]) -> Iterator[str]:
        for wider in names:
            yield wider
            yield from walk(book.families[wider].part_of)

    fault = book.faults.get(name)
    return tuple(dict.fromkeys((name, *walk(fault.acts_as if fault else book.families[name].part_of))))


def members_of(book: Rulebook, name: str) -> frozenset[str]:
    """A fault or family, and every fault and family that belongs to it."""
    made: dict[str, frozenset[str]] = book.__dict__.setdefault("_within", {})  # rules never change
    if name not in made:
        made[name] = frozenset(n for n in (*book.faults, *book.families) if name in lineage(book, n))
    return made[name]
