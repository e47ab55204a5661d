"""What a shop pays and charges. Whatever it does not say is taken from the rules, and marked so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from reasoner.rulebook.fields import NOTHING, Desk, Key, distance, fields, map_of, minutes, money, name_of, table, text
from reasoner.rulebook.located import parse_bytes
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Notebook, Problem

PRICES = table(
    Key("currency", text),
    Key("hour", money),
    Key("parts", map_of(name_of("parts"), money, "parts, and what each costs"), default=NOTHING),
    Key(
        "access minutes", map_of(name_of("repairs"), minutes, "repairs, and the minutes to get there"), default=NOTHING
    ),
    Key("comeback costs", money),
    Key("comeback within", distance),
    Key("watch for", distance),
)
EXAMPLE = """\
# What this shop pays and charges. Every line may be left out; the rules' own figure is used then, and marked so.
currency: EUR
hour: 85
parts:                    # what a part costs the customer
  direct-injector: 310
access minutes:           # to get there and back, before the first part is touched
  replace-injector: 150
comeback costs: 200       # a car that comes back: looking again, goodwill, a lent car
comeback within: 20000 km
watch for: 1000 km        # driven when nothing is done yet
"""


@dataclass(frozen=True)
class Prices:
    """Money in `currency`; hour: for an hour of work; parts by name; access: minutes to get there, by repair.

    comeback: for a car that comes back, before any repair; within: km that count as coming back; watch: km driven
    when nothing is done yet. said: which of these the shop has said itself (a part or repair by its name).
    """

    currency: str
    hour: float
    parts: Mapping[str, float]
    access: Mapping[str, float]
    comeback: float
    within: float
    watch: float
    said: frozenset[str] = field(default_factory=frozenset)


def usual(book: Rulebook) -> Prices:
    """The figures of the rules."""
    after = book.settings.afterwards
    parts = {part.name: part.money for part in book.parts.values()}
    return Prices("", book.settings.hour_costs, parts, {}, after.comeback_costs, after.comeback_within, after.watch_for)


def prices_of(content: bytes, file: str, book: Rulebook) -> tuple[Prices | None, tuple[Problem, ...]]:
    """A shop's prices from the bytes of its YAML file, and everything wrong with it. None where anything is."""
    notes = Notebook()
    tree = parse_bytes(content, file, notes)
    if tree is None:
        return None, notes.problems
    known = {"parts": {p.name: p.origin.place for p in book.parts.values()}}
    known["repairs"] = {r.name: r.origin.place for r in book.repairs.values()}
    said = fields(Desk(notes, known), PRICES, tree, tree, "a list of prices")
    if notes.problems:
        return None, notes.problems
    rules = usual(book)
    names = {"currency": "currency", "hour": "hour", "comeback_costs": "comeback"}
    names |= {"comeback_within": "within", "watch_for": "watch"}
    plain = {name: said[key] for key, name in names.items() if said[key] is not None}
    own = frozenset((*plain, *said["parts"], *said["access_minutes"]))
    values = {"hour": rules.hour, "comeback": rules.comeback, "within": rules.within, "watch": rules.watch}
    merged = {"currency": "", **values, **plain}
    return Prices(parts={**rules.parts, **said["parts"]}, access=said["access_minutes"], said=own, **merged), ()
