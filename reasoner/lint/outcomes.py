"""An outcome that nothing makes likely, or that no reading can give.

Every outcome but the first is there because it is likelier under one cause than under another: half as likely again
at least. And where a check is measured, each outcome needs its band, or a typed number never gives it.

Good:

    checks:
      plugs:
        outcomes: {same: the same, darker: darker, wet: wet with fuel}
        otherwise: {darker: seldom, wet: almost never}
        given: {leak: {darker: often, wet: sometimes}}

Bad:

    checks:
      plugs:
        outcomes: {same: the same, darker: darker, wet: wet with fuel}
        otherwise: {darker: seldom, wet: almost never}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.context import Context, Finding
from reasoner.network.tables import CheckTable

ID = "unlikely-outcome"
TITLE = "an outcome that nothing makes likely, or no reading gives"
MEND = "say under `given` which fault shows it, or take the outcome out"
TIMES = 1.5  # how many times as likely under one cause as under another: judgement


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    for name, entry in context.book.checks.items():
        tables = [table for car in context.cars if (table := car.table(name))]
        bands = {band.outcome for band in entry.measure.bands} if entry.measure else None
        for number, outcome in enumerate(entry.outcomes):
            if bands is not None and outcome.name not in bands:
                message = f'no reading gives the outcome "{outcome.name}" of "{name}"'
                mend = "give it a band under `measure`"
                yield Finding("checks", name, outcome.place, len(outcome.name), message, mend)
            times = [_times(table, number) for table in tables]
            if number and times and max(times) < TIMES:
                message = f'"{outcome.name}" of "{name}" is much the same whatever is wrong'
                yield Finding("checks", name, outcome.place, len(outcome.name), message)


def _times(table: CheckTable, outcome: int) -> float:
    """How many times likelier the outcome is where it is likeliest than where it is not."""
    seen = [row[outcome] for row in table.rows[table.index].reshape(-1, len(table.outcomes)).tolist()]
    seen.append(float(table.rows[0][outcome]))
    return float(max(seen) / min(seen))
