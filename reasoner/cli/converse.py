"""The conversation with another program over standard input and output, one JSON object a line."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, TextIO

from reasoner.casebook.trouble import CasebookError
from reasoner.cli import exits
from reasoner.cli.keeper import Keeper
from reasoner.session.acts import Refused
from reasoner.session.logged import Fetch, no_files
from reasoner.session.protocol import Talk, hear

LONGEST = 1_000_000  # characters of one message


def talk(kept: Keeper, source: TextIO, out: TextIO, fetch: Fetch = no_files, logs: Sequence[str] = ()) -> int:
    """Say the state, then answer every message until `stop` or the end of input. Returns the status to end with.

    logs: files of scan logs, taken in before anything is asked.
    """

    def say(thing: dict[str, Any]) -> None:
        out.write(json.dumps(thing) + "\n")
        out.flush()

    def say_state() -> None:
        say({**here.state(), "case": kept.journal.path.stem, "notes": list(kept.notes)})
        kept.notes.clear()

    here, mistakes = Talk(kept.workup, fetch=fetch, events=tuple(kept.journal.case.events)), []
    for file in logs:
        try:
            then, events, _ = hear(here, {"type": "log", "file": file})
            kept.keep(events)
            here = then
        except Refused as refused:
            mistakes.append({"type": "error", "message": refused.message, "mend": refused.mend})
    say_state()
    for mistake in mistakes:
        say(mistake)
    while line := source.readline(LONGEST):
        if not line.strip():
            continue
        try:
            message = json.loads(line)
            then, events, reply = hear(here, message)
            kept.keep(events)  # on disk before anything is said about it
        except Refused as refused:
            say({"type": "error", "message": refused.message, "mend": refused.mend})
            continue
        except CasebookError as error:
            say({"type": "error", "message": error.one_line, "mend": error.mend})
            return exits.CASE
        except (ValueError, RecursionError) as error:
            say({"type": "error", "message": f"this line is no JSON: {error}", "mend": "one object on one line"})
            continue
        here = then
        if reply is not None:
            say(reply)
            if reply["type"] == "stopped":
                return exits.FINE
        else:
            say_state()
    return exits.FINE
