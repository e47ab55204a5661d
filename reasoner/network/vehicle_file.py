"""A vehicle from a YAML file: its keys stand at the top level, as in `KEYS` of `vehicle`."""

from __future__ import annotations

from pathlib import Path

from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.rulebook.located import Text, load, parse_bytes
from reasoner.rulebook.problem import Mark, Notebook, Problem


def read_vehicle(path: Path) -> tuple[Vehicle | None, tuple[Problem, ...]]:
    """The vehicle and everything wrong with its file, each with place and mend. No vehicle where anything is wrong."""
    notes, file = Notebook(), str(path)
    content = load(path, file, notes)
    tree = None if content is None else parse_bytes(content, file, notes)
    if tree is None:
        return None, notes.problems
    fields: dict[str, str] = {}
    for key, value in tree.pairs:
        if isinstance(value, Text):
            fields[key.value] = value.value
        else:
            notes.note(
                "bad-shape", value, f'"{key.value}" takes one text here', "write it on one line, in quotes if need be"
            )
    vehicle, mistakes = vehicle_from(fields)
    for mistake in mistakes:
        spot = tree.get(mistake.key) or tree
        if mistake.unknown:
            spot = tree.key(mistake.key) or tree
        notes.note("vehicle", Mark(spot.place, spot.length), mistake.message, mistake.mend)
    return (None if notes.problems else vehicle), notes.problems
