"""Checks found by words, for what somebody tells without being asked."""

from __future__ import annotations

import re

from reasoner.rulebook.model import Check
from reasoner.session.workup import Workup

MOST_FOUND = 9
STEM_AGREES = 4  # letters that have to agree: `smell` finds `smells`, `idling` finds `idle` no longer
_FILLER = "a an and are as at be by for from has have i in is it its my no not of on or so the to was with"
SAME_WORD = {
    "hood": "bonnet",
    "ground": "earth",
    "grounds": "earth",
    "gasoline": "petrol",
    "trunk": "boot",
}  # when typed
FILLER = frozenset(_FILLER.split(" "))


def find_checks(workup: Workup, text: str) -> tuple[Check, ...]:
    """Checks of this vehicle that speak of the words, the best match first, at most `MOST_FOUND`.

    A word counts more in a title or among a check's own words than in its question or its outcomes. A check that has
    more of the words always comes before one that has fewer.
    """
    wanted = _words(text)
    if not wanted:
        return ()
    found = []
    for number, check in enumerate(workup.book.checks.values()):
        if check.name in workup.tables.check_number:
            hits = [_weight(check, word) for word in wanted]
            if any(hits):
                found.append((-sum(h > 0 for h in hits), -sum(hits), number, check))
    return tuple(check for *_, check in sorted(found, key=lambda f: f[:3])[:MOST_FOUND])


def _weight(check: Check, word: str) -> float:
    fields = (
        (3.0, " ".join((check.title, check.name, *check.words))),
        (2.0, " ".join((check.ask, *(o.text for o in check.outcomes)))),
        (0.5, check.how),
    )
    return max((weight for weight, text in fields if any(_alike(word, other) for other in _words(text))), default=0.0)


def _words(text: str) -> list[str]:
    return list(dict.fromkeys(SAME_WORD.get(w, w) for w in re.findall(r"\w+", text.lower()) if w not in FILLER))


def _alike(one: str, other: str) -> bool:
    short = min(len(one), len(other))
    return one == other or (
        short >= STEM_AGREES and one[: max(STEM_AGREES, short - 2)] == other[: max(STEM_AGREES, short - 2)]
    )
