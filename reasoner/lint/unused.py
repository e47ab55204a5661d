"""An entry that nothing uses.

A source that nothing names, not even a `because`; a tool nothing needs, a caution shown before nothing, a family no
fault acts as, a repair no fault gets, a condition in which no check is made.

Good:

    tools:
      lamp: {name: inspection lamp}
    checks:
      plugs: {needs: [lamp]}

Bad:

    tools:
      lamp: {name: inspection lamp}
    sources:
      another-study: {cite: "Nobody, Another study that was never made, 2001", seen: from memory}
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from reasoner.lint.context import Context, Finding, at, statements
from reasoner.repair.lineage import lineage
from reasoner.rulebook.fields import ONE
from reasoner.rulebook.model import Place, Rulebook

ID = "unused"
TITLE = "an entry that nothing uses"
MEND = "use it, or delete it"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    used, places = _used(context.book), _places(context.book)
    for section, names in used.items():
        for name, place in places[section].items():
            if name not in names:
                yield at(section, name, place, f'nothing uses the {ONE[section]} "{name}"')


def _places(book: Rulebook) -> dict[str, dict[str, Place]]:
    return {
        "sources": {name: source.place for name, source in book.sources.items()},
        "tools": {name: tool.place for name, tool in book.tools.items()},
        "cautions": {name: caution.origin.place for name, caution in book.cautions.items()},
        "families": {name: family.origin.place for name, family in book.families.items()},
        "repairs": {name: repair.origin.place for name, repair in book.repairs.items()},
        "conditions": {name: condition.origin.place for name, condition in book.conditions.items()},
    }


def _used(book: Rulebook) -> dict[str, set[str]]:
    checks, conditions, faults = book.checks.values(), book.conditions.values(), book.faults.values()
    repairs, cautions, families = book.repairs.values(), book.cautions.values(), book.families.values()
    origins = [book.settings.origin, *(said.origin for check in checks for _, said in statements(check))]
    later = (book.parts.values(), book.risks.values(), book.sheets.values(), book.proofs.values())
    for entries in (checks, conditions, faults, repairs, cautions, families, *later):
        origins += [entry.origin for entry in entries]
    anywhere = any(not check.conditions for check in checks if check.sees == "now")
    reasons = " ".join(origin.because for origin in origins)
    return {
        "sources": {origin.source for origin in origins} | {n for n in book.sources if re.search(rf"\b{n}\b", reasons)},
        "tools": {name for needs in (*(c.needs for c in checks), *(c.needs for c in conditions)) for name in needs},
        "cautions": {
            name
            for told in (
                *(c.cautions for c in checks),
                *(c.cautions for c in conditions),
                *(r.cautions for r in repairs),
                *(step.cautions for sheet in book.sheets.values() for step in sheet.steps),
            )
            for name in told
        },
        "families": {name for fault in faults for name in lineage(book, fault.name)[1:]},
        "repairs": {fault.repair for fault in faults} | {repair.name for repair in repairs if repair.instead_of},
        "conditions": set(book.conditions) if anywhere else {name for check in checks for name in check.conditions},
    }
