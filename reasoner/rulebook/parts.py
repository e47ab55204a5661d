"""Readers shared by several sections: vehicles, shares, places, ways into a condition, and who says so."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from reasoner.mistake import Spot, shorten
from reasoner.rulebook import shapes
from reasoner.rulebook.fields import (
    RULE_NAME,
    FieldReader,
    Key,
    ReaderContext,
    as_map,
    choice,
    distance,
    fields,
    frequency,
    key_table,
    list_of,
    map_of,
    minutes,
    name_of,
    number,
    object_of,
    text,
    text_of_node,
)
from reasoner.rulebook.model import Among, Filter, MoreLikely, Origin, Reach
from reasoner.rulebook.shapes import Shaped, shape_of
from reasoner.yaml_tree import List, Map, Node

# ---- Which vehicles a rule is about ----------------------------------------------------------------------------------

# What a filter may name, and the values each can have.
PROPERTIES: dict[str, tuple[str, ...]] = {
    "layout": ("inline 3", "inline 4", "inline 5", "inline 6", "V 6", "V 8", "flat 4", "flat 6"),
    "injection": ("port", "direct", "dual"),
    "charging": ("natural", "charged"),
    "metering": ("airflow", "pressure", "both"),
    "sensors": ("one", "two"),
    "return line": ("yes", "no"),
    "flex fuel": ("yes", "no"),
    "gas recirculation": ("yes", "no"),
    "rail vacuum hose": ("yes", "no"),
    "pulsation damper": ("yes", "no"),
    "fuel pump": ("demand", "fixed"),
    "secondary air": ("yes", "no"),
    "air filter": ("oiled", "paper"),
    "gas conversion": ("yes", "no"),
    "tuned": ("yes", "no"),
    "aftermarket sensors": ("yes", "no"),
    "stop-start": ("yes", "no"),
}
# What a car has or has not got, as built or as altered: a fact that can be looked up or seen, and may be unknown.
EQUIPMENT = tuple(PROPERTIES)[tuple(PROPERTIES).index("return line") :]
YEAR = "model year"


def passes(only: Filter, properties: Mapping[str, str], distance_km: float | None, unknown: bool) -> bool:
    """Whether a vehicle passes. `unknown` is what a property that the vehicle does not state counts as.

    A rule's `only` lets the unknown through (unknown=True); its `more likely` does not.
    """
    for name, allowed in only.values.items():
        stated = properties.get(name)
        if not (unknown if stated is None else stated in allowed):
            return False
    year = float(properties[YEAR]) if YEAR in properties else None
    far = _within(distance_km, only.distance_over, only.distance_under, unknown)
    return far and _within(year, only.year_over, only.year_under, unknown)


def _within(value: float | None, over: float | None, under: float | None, unknown: bool) -> bool:
    if over is None and under is None:
        return True
    if value is None:
        return unknown
    return (over is None or value > over) and (under is None or value < under)


# ---- Readers shared by several sections ------------------------------------------------------------------------------
# Filters, shares, places, ways into a condition, and who says so.

EVERY_VEHICLE = Filter()
INJECTION = PROPERTIES["injection"]
READ_STATES = ("stored", "pending", "permanent", "history")  # of a code, as people say them
PLACE = re.compile(r"(engine)|(bank|cylinder) ([1-9]\d?)")


def one_or_more(*words: str) -> FieldReader:
    """One of these words, or a list of them, as a tuple."""
    one, several = choice(*words), list_of(choice(*words))

    def read(context: ReaderContext, node: Node) -> Any:
        if isinstance(node, List):
            return several(context, node)
        word = one(context, node)
        return None if word is None else (word,)

    return Shaped(read, shapes.either(shape_of(one), shape_of(several)))


def _as_named(context: ReaderContext, node: Node) -> str | None:
    """A name of something that is not known here, such as a warning of the program."""
    found = text_of_node(context, node, "one name")
    if found is None:
        return None
    if RULE_NAME.fullmatch(found.value):
        return found.value
    mend = "lower case letters, digits and dashes"
    context.notes.note("bad-name", found, f'"{shorten(found.value)}" is no name', mend)
    return None


as_named = Shaped(_as_named, shapes.text_like(RULE_NAME.pattern))
positive = number("", 0)
check_names, caution_names, tool_names = (list_of(name_of(section)) for section in ("checks", "cautions", "tools"))
family_names = list_of(name_of("families"))
shows = map_of(name_of("conditions", also=("any",)), frequency, "conditions, and how often it acts in each")

FILTER = key_table(
    *(Key(name, one_or_more(*words)) for name, words in PROPERTIES.items()),
    Key("distance over", distance),
    Key("distance under", distance),
    Key("year over", number("", 1900, 2100)),
    Key("year under", number("", 1900, 2100)),
)
AMONG = FILTER | key_table(Key("chance", frequency, paste="chance: 20 %"))
MORE_LIKELY = FILTER | key_table(Key("times", number("times", 0.001, 1000), paste="times: 2"))
SHARES = key_table(*(Key(name, positive) for name in INJECTION))
REACH = key_table(Key("minutes", minutes, paste="minutes: 2"), Key("wait", minutes, default=0.0))
ORIGIN = (
    Key("source", name_of("sources", also=("practice", "judgement")), paste="source: judgement"),
    Key("weight", number("cases", 0.1, 1e6)),
    Key("because", text, default=""),
)
WAIVE = Key("waive", map_of(as_named, text, "what is not to be warned of any more, and why"), by_name=True)
NAME_KEY = Key("name", text, into="title", paste="name: what people call it")
MEANS_KEY = Key("means", text, paste="means: what it is, in a sentence or two")


def origin(context: ReaderContext, values: dict[str, Any], spot: Spot) -> Origin:
    """Takes source, weight and because out of the values."""
    source, weight, because = (values.pop(key.attribute) for key in ORIGIN)
    return Origin(source, context.weight_of(source) if weight is None else weight, spot.place, because)


def _read_filter(context: ReaderContext, node: Node) -> Filter | None:
    """`only`: properties with the values they may have, and a range of distance."""
    found = as_map(context, node, "a property and its values", "such as {injection: direct}")
    return None if found is None else _filter(context, found, fields(context, FILTER, found, found, "a filter"))


read_filter = Shaped(_read_filter, object_of(FILTER))


def _filter(context: ReaderContext, spot: Spot, values: Mapping[str, Any]) -> Filter:
    over, under = values["distance_over"], values["distance_under"]
    if over is not None and under is not None and over >= under:
        context.notes.note("bad-number", spot, "no distance is over the one and under the other", "swap the two")
    since, until = values["year_over"], values["year_under"]
    if since is not None and until is not None and since >= until:
        context.notes.note("bad-number", spot, "no year is over the one and under the other", "swap the two")
    named = {name: values[FILTER[name].attribute] for name in PROPERTIES}
    return Filter({name: allowed for name, allowed in named.items() if allowed}, over, under, since, until)


def _read_more_likely(context: ReaderContext, node: Node) -> MoreLikely | None:
    found = as_map(context, node, "a property and `times`", "such as {injection: direct, times: 2}")
    if found is None:
        return None
    values = fields(context, MORE_LIKELY, found, found, "`more likely`")
    if not any(found.key(name) for name in FILTER):
        mend = "add a property, such as injection: direct"
        context.notes.note("missing-key", found, "`more likely` does not say for which vehicles", mend)
    return MoreLikely(_filter(context, found, values), values["times"], found.place)


read_more_likely = Shaped(_read_more_likely, object_of(MORE_LIKELY))


def _read_among(context: ReaderContext, node: Node) -> Among | None:
    found = as_map(context, node, "a property and `chance`", "such as {injection: direct, chance: 5 %}")
    if found is None:
        return None
    values = fields(context, AMONG, found, found, "`among`")
    return Among(_filter(context, found, values), values["chance"])


read_among = Shaped(_read_among, object_of(AMONG))


def _read_share(context: ReaderContext, node: Node) -> Mapping[str, float] | None:
    """One number for every injection, or one for each that is named."""
    if isinstance(node, Map):
        values = fields(context, SHARES, node, node, "`share`")
        return {name: value for name, value in values.items() if value is not None}
    share: float | None = positive(context, node)
    return None if share is None else dict.fromkeys(INJECTION, share)


read_share = Shaped(_read_share, shapes.either(shape_of(positive), object_of(SHARES)))


def _read_reach(context: ReaderContext, node: Node) -> Reach | None:
    found = as_map(context, node, "minutes and wait", "such as {minutes: 2, wait: 20}")
    return None if found is None else Reach(**fields(context, REACH, found, found, "`from`"))


read_reach = Shaped(_read_reach, object_of(REACH))


def _read_place(context: ReaderContext, node: Node) -> tuple[str, int] | None:
    """`engine`, `bank 2`, `cylinder 3` as (kind, number); the engine's number is 0."""
    found = text_of_node(context, node, "a place")
    if found is None:
        return None
    match = PLACE.fullmatch(found.value)
    if match:
        return match[1] or match[2], int(match[3] or 0)
    mend = "such as engine, bank 1, cylinder 3"
    context.notes.note("bad-choice", found, f'"{shorten(found.value)}" is no place', mend)
    return None


read_place = Shaped(_read_place, shapes.text_like(PLACE.pattern))
