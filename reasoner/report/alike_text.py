"""Cases that looked alike, as blocks."""

from __future__ import annotations

from rich.console import RenderableType
from rich.text import Text

from reasoner.history.alike import Alike, Likeness, Shared
from reasoner.report.pictures import bar
from reasoner.report.shapes import QUIET, columns, count, head, item, para
from reasoner.session.plain import clean
from reasoner.session.words import percent


def alike_blocks(document: Alike, blocks: bool = True) -> list[RenderableType]:
    a = clean(document)
    if not a.nearest:
        return [para(f"None of {count(a.looked_at, 'solved case')} can be held against {a.case}.")]
    found: list[RenderableType] = [
        head(f"most like {a.case}", f"of {count(a.looked_at, 'solved case')}"),
        para(
            "= the same there; / otherwise there. In brackets: on how many cars with a rich code the rules expect it."
            " The rarer, the more it counts.",
            QUIET,
        ),
    ]
    for one in a.nearest:
        found += _one(one, blocks)
    found += [Text(), head("what they turned out to be", "weighed by how alike")]
    found.append(
        columns([(percent(share), f"{count(n, 'case')}", title) for title, share, n in a.turned_out], right=(0,))
    )
    return found


def _one(one: Likeness, blocks: bool) -> list[RenderableType]:
    where = "" if one.where in ("engine", "") else f", {one.where}"
    return [
        Text(),
        Text(f"  {bar(one.alike, 10, blocks)} {percent(one.alike)}  {one.case}: {one.vehicle}"),
        para(f"{one.title}{where} ({one.state}); {count(one.both, 'thing')} seen in both", indent=4),
        *(item(text, "=", 4) for text in dict.fromkeys(_seen(s) for s in one.agrees if s.bits >= 0.5)),
        *(item(text, "/", 4) for text in dict.fromkeys(_otherwise(s) for s in one.differs if s.bits >= 0.5)),
        *([para("nothing that says much was seen in both", QUIET, 4)] if not _telling(one) else []),
    ]


def _telling(one: Likeness) -> bool:
    return any(s.bits >= 0.5 for s in (*one.agrees, *one.differs))


def _seen(shared: Shared) -> str:
    return f"{shared.text} ({percent(2**-shared.bits)})"


def _otherwise(shared: Shared) -> str:
    return f"{shared.text}; there: {_after(shared.other)}"


def _after(text: str) -> str:
    """The answer without the name of the check, which has just been said."""
    return text.partition(": ")[2] or text
