"""The conversation with another program over standard input and output, one JSON object a line."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Any, BinaryIO, TextIO

from reasoner.casebook.casefile import STRICT_JSON
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import exits
from reasoner.cli.keeper import Keeper
from reasoner.session.acts import Refused
from reasoner.session.logged import Fetch, no_files
from reasoner.session.protocol import Message, Talk, hear

LONGEST_MESSAGE = 1_000_000  # bytes of one message


def read_message(line: bytes) -> Any:
    """The message on a line. Raises ValueError, and RecursionError where it is nested too deep."""
    if len(line) > LONGEST_MESSAGE:
        raise ValueError(f"more than {LONGEST_MESSAGE} bytes")
    return STRICT_JSON.decode(line.decode("utf-8"))


def message_lines(source: BinaryIO) -> Iterator[bytes]:
    """Line by line; of one that is too long only so much that this can be seen."""
    while line := source.readline(LONGEST_MESSAGE + 1):
        rest = line
        while len(rest) > LONGEST_MESSAGE and not rest.endswith(b"\n"):
            rest = source.readline(LONGEST_MESSAGE + 1)
        yield line


def talk(kept: Keeper, source: BinaryIO, out: TextIO, fetch: Fetch = no_files, first: Sequence[Message] = ()) -> int:
    """Say the state, then answer every message until `stop` or the end of input. Returns the status to end with.

    first: messages that are heard before anything is asked.
    """

    def say(thing: dict[str, Any]) -> None:
        out.write(json.dumps(thing) + "\n")
        out.flush()

    def say_state() -> None:
        say({**here.state(), "case": kept.journal.path.stem, "notes": list(kept.notes)})
        kept.notes.clear()

    here, mistakes = Talk(kept.workup, fetch=fetch, events=tuple(kept.case.events)), []
    for message in first:
        try:
            then, events, _ = hear(here, message)
            kept.keep(events)
            here = then
        except Refused as refused:
            mistakes.append({"type": "error", "message": refused.message, "mend": refused.mend})
    say_state()
    for mistake in mistakes:
        say(mistake)
    for line in message_lines(source):
        if not line.strip():
            continue
        try:
            then, events, reply = hear(here, read_message(line))
            kept.keep(events)  # on disk before anything is said about it
        except Refused as refused:
            say({"type": "error", "message": refused.message, "mend": refused.mend})
            continue
        except CasebookError as error:
            say({"type": "error", "message": error.one_line, "mend": error.mend})
            return exits.CASE_UNUSABLE
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
