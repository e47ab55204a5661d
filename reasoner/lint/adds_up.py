"""Likelihoods that do not add up.

Outcomes that are not named take what `otherwise` says, the first takes the rest. Where these pass 100 %, all are
scaled down (words are rough), and something else is used than what was written.

Good:

    checks:
      flame:
        name: Colour of the flame
        kind: look
        ask: What colour is the flame?
        sees: now
        in: [warm-idle]
        outcomes: {blue: blue, yellow: yellow, white: white}
        otherwise: {yellow: seldom, white: sometimes}
        given: {leak: {yellow: very often, white: rarely}}
        minutes: 5
        source: practice

Bad:

    checks:
      flame:
        name: Colour of the flame
        kind: look
        ask: What colour is the flame?
        sees: now
        in: [warm-idle]
        outcomes: {blue: blue, yellow: yellow, white: white}
        otherwise: {yellow: seldom, white: sometimes}
        given: {leak: {yellow: very often}, meter-high: {yellow: seldom, white: rarely}}
        minutes: 5
        source: practice
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from reasoner.lint.context import Context, Finding, statements
from reasoner.network.tables import distribution
from reasoner.rulebook.model import Check, Frequency

ID = "does-not-add-up"
TITLE = "likelihoods that do not add up to 100 %"
MEND = "name every outcome that differs from `otherwise`, with less for one of them"
ROUNDING = 0.005  # per cent are written as whole numbers


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    floor = context.book.settings.unlikeliest
    for name, entry in context.book.checks.items():
        base = distribution(entry, entry.otherwise.here, [floor] * len(entry.outcomes), floor)
        for subject, statement in statements(entry):
            for where, named in (("", statement.here), (" elsewhere", statement.elsewhere)):
                if named and (said := _departs(entry, named, base, floor)):
                    message = f'"{name}" under {subject}{where}: {said}'
                    yield Finding("checks", name, statement.origin.place, len(subject), message)


def _departs(entry: Check, named: Mapping[str, Frequency], base: list[float], floor: float) -> str:
    """What was written and what is used instead, where the two differ; else nothing."""
    first, *others = (outcome.name for outcome in entry.outcomes)
    meant = {other: named[other].value if other in named else base[i] for i, other in enumerate(others, start=1)}
    if first in named:
        meant[first] = named[first].value
    total = sum(meant.values())
    if total <= 1 + ROUNDING and (first not in named or total >= 1 - ROUNDING):
        return ""
    used = dict(zip((first, *others), distribution(entry, named, base, floor), strict=True))
    changed = ", ".join(f"{o} {100 * p:.0f} % used as {100 * used[o]:.0f} %" for o, p in meant.items())
    return f"the outcomes add up to {100 * total:.0f} %: {changed}"
