"""Codes as a person types them off the reader: read, what could not be taken said, completeness asked."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from reasoner.measure.codes import CodeList, TypedCode, described, read_codes
from reasoner.session.plain import shortened
from reasoner.session.workup import Workup
from reasoner.terminal.blocks import para
from reasoner.terminal.desk import Desk
from reasoner.terminal.prompting import ask

MORE = re.compile(r"(?:[\s,;]+(?:and )?more|\s*(?:\+|\.\.\.))\.?$", re.I)  # at the end of a list that is not all
Listed = Mapping[str, tuple[str, ...]]  # states by code, in the order typed


def slip_lines(listed: CodeList) -> list[str]:
    """One clear line for everything that could not be taken."""
    lines = [slip.line for slip in listed.slips[:3]]
    return lines + ([f"And {len(listed.slips) - 3} more of that kind."] if len(listed.slips) > 3 else [])


def code_lines(workup: Workup, codes: Iterable[str]) -> list[str]:
    """Each code with its name; of one these rules do not have, whose it is."""
    known = workup.book.codes
    return [
        f"{code} {known[code].title}" if code in known else f"{described(code)}. No rule speaks of it."
        for code in codes
    ]


def merged(codes: Listed, typed: Iterable[TypedCode]) -> dict[str, tuple[str, ...]]:
    """The codes with those typed, each with all the states it was ever said to be in."""
    found = dict(codes)
    for one in typed:
        found[one.code] = tuple(sorted({*found.get(one.code, ()), *one.states}))
    return found


def ask_rest(desk: Desk, workup: Workup, codes: Listed) -> tuple[dict[str, tuple[str, ...]], bool]:
    """Whether these are all the reader shows: only then does a code that is not there count as absent.

    Further codes may be typed or pasted there, a line each: the codes with those, and the answer.
    """
    found = dict(codes)
    while True:
        prompt = f"Is that all it shows ({shortened(', '.join(found), 40)})? Enter: yes, n: there may be more > "
        line = ask(desk, prompt, "Only then does a code that is not there count as absent. Or type the further codes.")
        if line.lower() in ("", "y", "yes", "n", "no"):
            return found, line.lower() not in ("n", "no")
        listed = read_codes(line)
        if not listed.codes:
            desk.say(f'"{shortened(line, 20)}" is not clear: Enter for yes, n for no, or further codes.')
            continue
        for told in (*slip_lines(listed), *code_lines(workup, (c.code for c in listed.codes))):
            desk.show(para(told))
        found = merged(found, listed.codes)
