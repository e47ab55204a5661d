"""A sitting at a terminal for the tests: `python -m tests.terminal.play RULES JOURNAL [LAYOUT]`.

Events go to JOURNAL, one JSON object a line, flushed before the next question; an existing journal is gone on with.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from reasoner.casebook.events import Event, event_as_written
from reasoner.casebook.shape import read_event
from reasoner.network.vehicle import vehicle_from
from reasoner.report.text import RichPages
from reasoner.rulebook.read import read_rules
from reasoner.session.workup import Workup, begin
from reasoner.terminal.console import Console, Leave
from reasoner.terminal.intake import ask_vehicle, intake
from reasoner.terminal.loop import run_loop


def main(rules: str, journal: str, layout: str = "inline 4") -> None:
    console = Console.of_process()
    path = Path(journal)
    fields = {"layout": layout} if layout != "ask" else dict(ask_vehicle(console, {}))
    vehicle, _ = vehicle_from(fields)
    assert vehicle is not None
    events = [read_event(json.loads(line)) for line in path.read_text().splitlines()] if path.exists() else []
    workup = begin(read_rules([Path(rules)]), vehicle, events)
    console.resume = f"play {path.name}"

    def keep(new: Sequence[Event]) -> Workup:
        nonlocal workup
        with path.open("a", encoding="utf-8") as file:
            for event in new:
                file.write(json.dumps(event_as_written(event)) + "\n")
            file.flush()
            os.fsync(file.fileno())
        workup = workup.after(new)
        return workup

    if not events:
        intake(workup, keep, console)
    run_loop(workup, keep, console, RichPages())
    print(f"left: {console.left}", file=sys.stderr)


if __name__ == "__main__":
    try:
        main(*sys.argv[1:])
    except Leave as leave:
        print(f"left: {leave.how}", file=sys.stderr)
