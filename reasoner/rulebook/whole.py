"""What only shows when all the rules are there: loops, and the one fault that stands for anything else."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from reasoner.rulebook.fields import Desk
from reasoner.rulebook.model import Check, Family, Fault, Place
from reasoner.rulebook.problem import Mark


def no_loops(desk: Desk, families: Mapping[str, Family], checks: Mapping[str, Check]) -> None:
    """Families that are part of themselves, checks that wait for or stand for each other."""
    part_of = {name: family.part_of for name, family in families.items()}
    _no_loop(desk, families, part_of, "a family is part of itself", "take one of the steps out")
    after = {name: check.after for name, check in checks.items()}
    _no_loop(desk, checks, after, "checks wait for each other", "take one `after` out")
    better = {name: check.stands_for for name, check in checks.items()}
    _no_loop(desk, checks, better, "checks stand for each other", "keep the better one's `stands for`")


def _no_loop(
    desk: Desk,
    entries: Mapping[str, Family] | Mapping[str, Check],
    steps: Mapping[str, tuple[str, ...]],
    message: str,
    mend: str,
) -> None:
    for loop in loops(steps):
        spot = Mark(entries[loop[0]].origin.place, len(loop[0]))
        desk.notes.note("loop", spot, f"{message}: {' -> '.join(loop)}", mend)


def loops(steps: Mapping[str, tuple[str, ...]]) -> Iterator[tuple[str, ...]]:
    """Each loop once, as the names along it with the first repeated at the end."""
    done: set[str] = set()
    for start in steps:
        path: list[str] = []
        pending: list[tuple[str, int]] = [(start, 0)]  # a name, and how long the path was when it was met
        while pending:
            name, length = pending.pop()
            del path[length:]
            if name in path:
                yield (*path[path.index(name) :], name)
            elif name not in done:
                path.append(name)
                done.add(name)
                pending += [(wider, len(path)) for wider in reversed(steps.get(name, ()))]


def one_spare(desk: Desk, faults: Mapping[str, Fault], checks: Mapping[str, Check], here: Place) -> None:
    """Exactly one fault stands for anything else, as there always is something; it says nothing of its own."""
    spare = [fault for fault in faults.values() if fault.anything_else]
    if not spare:
        mend = "add a fault with the line\n  anything else: yes"
        desk.notes.note("missing-key", Mark(here), "no fault stands for anything else", mend)
    for fault in spare[1:]:
        first = spare[0].origin.place
        message = f"a second fault stands for anything else; first {spare[0].name} ({first.file}:{first.line})"
        desk.notes.note("same-twice", Mark(fault.origin.place, len(fault.name)), message, "keep one of the two")
    for check in checks.values():
        for name in [fault.name for fault in spare if fault.name in check.given]:
            message = f"this would not be used: {name} behaves like the mean of all other faults"
            desk.notes.note("not-used", Mark(check.given[name].origin.place, len(name)), message, "delete it")


def one_subject_a_name(desk: Desk) -> None:
    """`given` names a fault or a family, so no name may be both."""
    for name, place in desk.known["faults"].items():
        other = desk.known["families"].get(name)
        if other:
            message = f'"{name}" is a family too ({other.file}:{other.line})'
            desk.notes.note("same-twice", Mark(place, len(name)), message, "give one of them another name")
