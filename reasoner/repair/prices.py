"""What a shop says of itself: tools, usual car, what it pays and charges. What it does not say is taken from the rules,
and marked so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from reasoner.mistake import Place, shorten
from reasoner.network.vehicle import vehicle_from, vehicle_in, vehicle_words
from reasoner.rulebook.fields import (
    EMPTY_MAP,
    Key,
    ReaderContext,
    distance,
    fields,
    key_table,
    list_of,
    map_of,
    minutes,
    money,
    name_of,
    text,
    text_of_node,
)
from reasoner.rulebook.located import parse_bytes
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Notebook, Problem
from reasoner.yaml_tree import Map, Node, Text

PRICES = key_table(
    Key("currency", text),
    Key("hour", money),
    Key("parts", map_of(name_of("parts"), money, "parts, and what each costs"), default=EMPTY_MAP),
    Key(
        "access minutes",
        map_of(name_of("repairs"), minutes, "repairs, and the minutes to get there"),
        default=EMPTY_MAP,
    ),
    Key("comeback costs", money),
    Key("comeback within", distance),
    Key("watch for", distance),
)


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


@dataclass(frozen=True)
class Shop:
    """tools: the uncommon ones that are there; None: not said, so it is asked. lacking: common ones that are not.

    car: fields of the vehicle that is proposed; empty: not said. lines: every key that was said -> its line.
    """

    prices: Prices
    tools: tuple[str, ...] | None = None
    lacking: tuple[str, ...] = ()
    car: Mapping[str, str] = field(default_factory=dict)
    lines: Mapping[str, int] = field(default_factory=dict)


def prices_of(content: bytes, file: str, book: Rulebook) -> tuple[Prices | None, tuple[Problem, ...]]:
    """Prices alone from the bytes of a YAML or JSON text, and everything wrong with them. None where anything is."""
    notes = Notebook()
    tree = parse_bytes(content, file, notes)
    if tree is None:
        return None, notes.problems
    said = fields(ReaderContext(notes, _names(book)), PRICES, tree, tree, "a list of prices")
    return (None if notes.problems else _prices(said, book)), notes.problems


def shop_of(content: bytes, file: str, book: Rulebook) -> tuple[Shop | None, tuple[Problem, ...]]:
    """A shop's settings from the bytes of its file, and everything wrong with it. None where anything is.

    A file in which every line is a comment says nothing, and is as good as none.
    """
    notes = Notebook()
    lines = (line.strip() for line in content.decode("utf-8-sig", errors="replace").splitlines())
    if all(not line or line.startswith("#") for line in lines):
        return Shop(usual(book)), ()
    tree = parse_bytes(content, file, notes)
    if tree is None:
        return None, notes.problems
    said = fields(ReaderContext(notes, _names(book)), {**PRICES, **SHOP}, tree, tree, "a settings file")
    if notes.problems:
        return None, notes.problems
    where = {name.value: name.place.line for name, _ in tree.pairs}
    return Shop(_prices(said, book), said["tools"], said["tools_missing"], said["car"], where), ()


def usual_shop(book: Rulebook) -> Shop:
    """A shop that has said nothing of itself."""
    return Shop(usual(book))


def _names(book: Rulebook) -> dict[str, dict[str, Place]]:
    return {
        "parts": {part.name: part.origin.place for part in book.parts.values()},
        "repairs": {repair.name: repair.origin.place for repair in book.repairs.values()},
        "tools": {tool.name: tool.place for tool in book.tools.values()},
    }


def _prices(said: Mapping[str, Any], book: Rulebook) -> Prices:
    """What was said, over the rules' usual figures."""
    rules = usual(book)
    names = {"currency": "currency", "hour": "hour", "comeback_costs": "comeback"}
    names |= {"comeback_within": "within", "watch_for": "watch"}
    plain = {name: said[key] for key, name in names.items() if said[key] is not None}
    own = frozenset((*plain, *said["parts"], *said["access_minutes"]))
    values = {"hour": rules.hour, "comeback": rules.comeback, "within": rules.within, "watch": rules.watch}
    merged = {"currency": "", **values, **plain}
    return Prices(parts={**rules.parts, **said["parts"]}, access=said["access_minutes"], said=own, **merged)


def _car(context: ReaderContext, node: Node) -> Mapping[str, str] | None:
    """A car in one line, or by the keys of a vehicle file."""
    if isinstance(node, Map):
        found = vehicle_in(node, context.notes)
        texts = {key.value: value.value for key, value in node.pairs if isinstance(value, Text)}
        return None if found is None else texts
    words = text_of_node(context, node, "a car in one line")
    if words is None:
        return None
    said, unread = vehicle_words(words.value)
    unread = unread or said.pop("age", "")  # an age goes on; what most cars here are does not
    if unread:
        mend = "such as: inline 4 direct turbo airflow, or the keys of a vehicle file"
        context.notes.note("vehicle", words, f'"{shorten(unread)}" is not clear of a car', mend)
        return None
    mistakes = vehicle_from(said)[1]
    for mistake in mistakes:
        context.notes.note("vehicle", words, mistake.message, mistake.mend)
    return None if mistakes else said


SHOP = key_table(
    Key("tools", list_of(name_of("tools"))),
    Key("tools missing", list_of(name_of("tools")), default=()),
    Key("car", _car, default=EMPTY_MAP),
)


def example(book: Rulebook) -> str:
    """A settings file in which nothing is said yet: every line a comment, with what the rules know and take."""
    after, tools = book.settings.afterwards, book.tools.values()
    rows = [
        ("tools:", "uncommon tools that are here, not asked for again; [] for none"),
        *((f"  - {tool.name}", tool.title) for tool in tools if not tool.common),
        ("tools missing:", "common tools that are not here"),
        *((f"  - {tool.name}", tool.title) for tool in tools if tool.common),
        ("car: inline 4 direct turbo airflow", "what most cars here are: Enter takes it"),
        ("currency: EUR", "said behind every sum"),
        (f"hour: {book.settings.hour_costs:g}", "what an hour of work costs the customer"),
        (f"comeback costs: {after.comeback_costs:g}", "a car that comes back: looking again, goodwill, a lent car"),
        (f"comeback within: {after.comeback_within:g} km", "what counts as coming back"),
        (f"watch for: {after.watch_for:g} km", "driven when nothing is done yet"),
        ("parts:", "what a part costs the customer"),
        *((f"  {part.name}: {part.money:g}", part.title) for part in book.parts.values()),
        ("access minutes:", "to get there and back, before the part itself is touched"),
        *(
            (f"  {repair.name}: {repair.minutes - repair.each_more.minutes:g}", repair.title)
            for repair in book.repairs.values()
            if repair.each_more is not None
        ),
    ]
    wide = max(len(line) for line, _ in rows)
    return HEAD + "".join(f"# {line:<{wide}}  # {why}".rstrip() + "\n" for line, why in rows)


HEAD = """\
# Settings of this shop. To use a line, take the "# " in front of it away and put in your own.
# A list goes on over the lines below its name. What is left out is as the rules have it.
# What holds, and where it comes from: reasoner settings

"""
