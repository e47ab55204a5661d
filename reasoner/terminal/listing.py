"""Codes as a person types them off the reader: read, what could not be taken said, completeness asked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from reasoner.measure.codes import CodeList, described
from reasoner.session.plain import shortened
from reasoner.session.workup import Workup
from reasoner.terminal.desk import Desk


def slip_lines(listed: CodeList) -> list[str]:
    """One clear line for everything that could not be taken."""
    lines = [
        f'"{slip.stood}" is not taken. Wanted: {slip.expected}.' + (f" Perhaps: {slip.mend}" if slip.mend else "")
        for slip in listed.slips[:3]
    ]
    return lines + ([f"And {len(listed.slips) - 3} more of that kind."] if len(listed.slips) > 3 else [])


def code_lines(workup: Workup, codes: Iterable[str]) -> list[str]:
    """Each code with its name; of one these rules do not have, whose it is."""
    known = workup.book.codes
    return [
        f"{code} {known[code].title}" if code in known else f"{described(code)}. No rule speaks of it."
        for code in codes
    ]


def ask_codes_complete(desk: Desk, codes: Sequence[str]) -> bool:
    """Whether these are all the reader shows: only then does a code that is not there count as absent."""
    while True:
        line = desk.ask(
            f"Is that all it shows ({shortened(', '.join(codes), 40)})? Enter: yes, n: there may be more > "
        )
        if line.lower() in ("", "y", "yes", "n", "no"):
            return line.lower() not in ("n", "no")
        desk.say(f'"{shortened(line, 20)}" is not clear: Enter for yes, n for no.')
