"""The sections of the rules as tables of keys, and one entry of each as its dataclass."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from reasoner.rulebook import afterwards
from reasoner.rulebook.checks import CHECK, MEASURE, STATEMENT, finish_check
from reasoner.rulebook.fields import (
    EMPTY_MAP,
    ONE,
    Key,
    ReaderContext,
    as_map,
    choice,
    fields,
    frequency,
    group,
    key_table,
    list_of,
    map_of,
    minutes,
    money,
    name_of,
    number,
    percentage,
    text,
    yes_no,
)
from reasoner.rulebook.model import (
    Afterwards,
    At,
    Caution,
    Check,
    Code,
    Condition,
    Equipment,
    Family,
    Fault,
    Part,
    Proof,
    Reach,
    Repair,
    Risk,
    Settings,
    Sheet,
    Source,
    Synonym,
    Tool,
)
from reasoner.rulebook.parts import (
    EQUIPMENT,
    EVERY_VEHICLE,
    FILTER,
    INJECTION,
    MEANS_KEY,
    MORE_LIKELY,
    NAME_KEY,
    ORIGIN,
    WAIVE,
    caution_names,
    check_names,
    family_names,
    origin,
    read_among,
    read_filter,
    read_more_likely,
    read_reach,
    read_share,
    shows,
    tool_names,
)
from reasoner.rulebook.problem import choices_of
from reasoner.yaml_tree import Map, Node, Text

CODE = re.compile(r"[PBCU][0-3][0-9A-F]{3}")  # ISO 15031-6 / SAE J2012: a letter and four hexadecimal digits
MEAN_OF_ALL = ("shows", "acts as", "pairs")  # what the fault that stands for anything else does not say itself


def _condition(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    values["reach"] = Reach(values.pop("minutes"), values.pop("wait"))
    values["engine_runs"] = values.pop("engine") == "runs"


def _fault(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    if node.key("at") is None and not values["anything_else"]:
        context.notes.note("missing-key", name, 'a fault needs "at"', "add the line\n  at: cylinder")
    if values["alike"] and name.value in values["alike"]:
        context.notes.note("loop", node.key("alike") or name, f'"{name.value}" names itself', "delete it here")
    for key in MEAN_OF_ALL if values["anything_else"] else ():
        if written := node.key(key):
            message = f"`{key}` would not be used: anything else behaves like the mean of all other faults"
            context.notes.note("not-used", written, message, "delete it")
    afterwards.finish_fault(context, name, node, values)
    values["at"] = At(values["at"] or At.ENGINE)
    share, only = values["share"], values["only"] or EVERY_VEHICLE
    if share is None:
        return
    missing = [kind for kind in INJECTION if kind not in share and kind in only.values.get("injection", INJECTION)]
    spot = node.get("share")
    if missing and isinstance(spot, Map) and all(key.value in INJECTION for key, _ in spot.pairs):
        mend = f"such as {missing[0]}: 10, or {missing[0]}: 0 where it does not occur"
        context.notes.note("missing-key", spot, f"`share` says nothing of {choices_of(missing)}", mend)
    values["share"] = {kind: share.get(kind, 0.0) for kind in INJECTION}


def _equipment(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    named = tuple(key.replace(" ", "-") for key in EQUIPMENT)
    if name.value not in named:
        context.notes.note("bad-name", name, f'no vehicle has "{name.value}"', "one of: " + ", ".join(named))
    if values["among"] and values["chance"] is None:
        context.notes.note("missing-key", name, "`among` needs a `chance` for all the others", "add chance: 20 %")


def _nothing_more(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    """Its keys say it all."""


@dataclass(frozen=True)
class Section:
    """make: the dataclass of an entry. keys: what it may say. finish: what needs several values at once."""

    make: Callable[..., Any]
    keys: Mapping[str, Key]
    finish: Callable[[ReaderContext, Text, Map, dict[str, Any]], None] = _nothing_more


SECTIONS: dict[str, Section] = {
    "conditions": Section(
        Condition,
        key_table(
            NAME_KEY,
            MEANS_KEY,
            Key("bring about", text, paste="bring about: what to do to get there"),
            Key("minutes", minutes, paste="minutes: 10"),
            Key("wait", minutes, default=0.0),
            Key("from", map_of(name_of("conditions"), read_reach), into="came_from", default=EMPTY_MAP, by_name=True),
            Key("engine", choice("runs", "off"), paste="engine: runs"),
            Key("needs", tool_names, default=()),
            Key("cautions", caution_names, default=()),
            Key("after", check_names, default=()),
            Key("typed as", list_of(text), default=()),
            Key("road", yes_no, default=False),
            *ORIGIN,
            WAIVE,
        ),
        _condition,
    ),
    "families": Section(
        Family,
        key_table(
            NAME_KEY,
            MEANS_KEY,
            Key("part of", family_names, default=()),
            Key("shows", shows, default=EMPTY_MAP, by_name=True),
            *ORIGIN,
            WAIVE,
        ),
    ),
    "faults": Section(
        Fault,
        key_table(
            NAME_KEY,
            MEANS_KEY,
            Key("at", choice(*At)),
            Key("share", read_share, paste="share: 10", by_name=True),
            Key("only", read_filter, default=EVERY_VEHICLE),
            Key("more likely", list_of(read_more_likely), default=()),
            Key("pairs", frequency),
            Key("shows", shows, default=EMPTY_MAP, by_name=True),
            Key("acts as", family_names, default=()),
            Key("repair", name_of("repairs"), paste="repair: the name of a repair"),
            Key("confirmed by", check_names, default=()),
            Key("driving on", text, paste="driving on: what it means to drive on with it"),
            Key("anything else", yes_no, default=False),
            Key(
                "alike",
                map_of(name_of("faults"), text, "faults that look the same, and why"),
                default=EMPTY_MAP,
                by_name=True,
            ),
            *afterwards.FAULT_KEYS_AFTER_WORK,
            *ORIGIN,
            WAIVE,
        ),
        _fault,
    ),
    "checks": Section(Check, CHECK, finish_check),
    "repairs": Section(
        Repair,
        key_table(
            NAME_KEY,
            Key("do", text, paste="do: what is done"),
            Key("proof", check_names, paste="proof: [the checks that must be normal afterwards]"),
            Key("minutes", minutes, paste="minutes: 60"),
            Key("money", money, paste="money: 0"),
            Key("cautions", caution_names, default=()),
            *afterwards.REPAIR,
            *ORIGIN,
            WAIVE,
        ),
        afterwards.finish_repair,
    ),
    "parts": Section(Part, afterwards.PART, afterwards.finish_part),
    "risks": Section(Risk, afterwards.RISK),
    "sheets": Section(Sheet, afterwards.SHEET),
    "proofs": Section(Proof, afterwards.PROOF, afterwards.finish_proof),
    "cautions": Section(
        Caution,
        key_table(
            Key("say", text, paste="say: what to be told before the step"),
            Key("hazard", yes_no, default=False),
            *afterwards.CAUTION,
            *ORIGIN,
            WAIVE,
        ),
    ),
    "tools": Section(Tool, key_table(NAME_KEY, Key("common", yes_no, default=False), WAIVE)),
    "equipment": Section(
        Equipment,
        key_table(
            NAME_KEY,
            Key("ask", text, paste="ask: one line that asks for it"),
            Key("how", text, default=""),
            Key("chance", frequency),
            Key("among", list_of(read_among), default=()),
            Key("without", list_of(name_of("equipment")), default=()),
            Key("told by", check_names, default=()),
            *ORIGIN,
            WAIVE,
        ),
        _equipment,
    ),
    "synonyms": Section(
        Synonym, key_table(Key("also", list_of(text), paste="also: [words that are heard as it]"), WAIVE)
    ),
    "sources": Section(
        Source,
        key_table(
            Key("cite", text, paste='cite: "Author, title, year, section"'),
            Key("seen", choice("text", "abstract", "secondary", "from memory"), paste="seen: from memory"),
            WAIVE,
        ),
    ),
    "codes": Section(Code, {}),
}

_likely = percentage(0.1, 99.9)
REPORT_RIGHT = key_table(*(Key(how, _likely, into=how, paste=f"{how}: 80 %") for how in ("sure", "think so", "guess")))
WEIGHT_KEYS = key_table(
    *(Key(k, number("cases", 0.1, 1e6), paste=f"{k}: 10") for k in ("published", "practice", "judgement"))
)


SETTINGS_KEYS = key_table(
    Key(
        "report right",
        group(REPORT_RIGHT, "`report right`"),
        by_name=True,
        paste="report right: {sure: 98 %, think so: 80 %, guess: 60 %}",
    ),
    Key(
        "weights",
        group(WEIGHT_KEYS, "`weights`"),
        by_name=True,
        paste="weights: {published: 40, practice: 20, judgement: 8}",
    ),
    Key("unlikeliest", percentage(0.001, 10), paste="unlikeliest: 0.5 %"),
    Key("dominates", percentage(50, 99.9), paste="dominates: 90 %"),
    Key("lead", number("times", 1), paste="lead: 4"),
    Key("least gain", number("bits", 0, 10), paste="least gain: 0.02"),
    Key("waiting counts", percentage(), paste="waiting counts: 15 %"),
    Key("waiting at most", minutes, into="waiting_most", default=20.0),
    Key("looks dearer", number("times", 1), default=1.5),
    Key("hazard minutes", minutes, paste="hazard minutes: 15"),
    Key("asking minutes", minutes, paste="asking minutes: 1"),
    Key("owner minutes", minutes, default=0.0),
    Key("hour costs", money, default=60.0),
    Key("shows unless said", frequency, paste="shows unless said: seldom"),
    Key("activity varies", number("natural logarithms of the odds", 0, 3), default=0.7),
    Key("same again", percentage(0, 100), default=0.67),
    Key("same everywhere", percentage(0, 100), default=0.25),
    Key("same at banks", percentage(0, 100), default=0.0),
    Key("two faults", percentage(0, 50), default=0.0),
    Key("two faults from", number("decibans", 0, 100), default=13.0),
    Key("afterwards", afterwards.read_afterwards, by_name=True, default=Afterwards()),
    *ORIGIN,
)

# Every level with its keys, for `right key, wrong level`. Names of levels as a message says them.
SETTING_LEVELS: dict[str, tuple[str, ...]] = {
    "the left margin of a file": ("format", "settings", *SECTIONS),
    **{f"a {ONE[name]}": tuple(section.keys) for name, section in SECTIONS.items()},
    "`settings`": tuple(SETTINGS_KEYS),
    "`measure` of a check": tuple(MEASURE),
    "what a check says under `given`": tuple(STATEMENT)[:2],
    "`only`": tuple(FILTER),
    "`more likely` of a fault": tuple(set(MORE_LIKELY) - set(FILTER)),
    "`among` of a piece of equipment": ("chance",),
    **afterwards.GROUPS,
}


CASCADE = 3  # mistakes from which on one slip is likelier


def read_entry(context: ReaderContext, section: str, name: Text, node: Node) -> Any:
    """One entry as its dataclass, or None when it has a mistake (all of them noted)."""
    spec, before = SECTIONS[section], len(context.notes)
    if section == "codes":
        title = text(context, node)
        return None if title is None else Code(name.value, title, name.place)
    body = as_map(context, node, f"what this {ONE[section]} is")
    if body is None:
        return None
    if other := _meant_for(section, body):
        message = f"this reads as a {ONE[other]}, and is written under `{section}`"
        context.notes.note("wrong-level", name, message, f"write it under `{other}:`, at the left margin")
        return None
    values = fields(context, spec.keys, body, name, f"a {ONE[section]}")
    spec.finish(context, name, body, values)
    if len(context.notes) > before:
        return None
    if waived := values.pop("waive", None):
        context.waived[section, name.value] = waived
    where = {"origin": origin(context, values, name)} if "source" in spec.keys else {"place": name.place}
    return spec.make(name=name.value, **where, **values)


def _meant_for(section: str, body: Map) -> str:
    """The section whose entries have all the keys that this one has, where its own would make many mistakes of it."""
    written, own = {name.value for name, _ in body.pairs}, SECTIONS[section].keys
    mistakes = len(written - own.keys()) + sum(key.name not in written for key in own.values() if key.paste)
    if mistakes < CASCADE or written <= own.keys():
        return ""
    fits = [other for other, spec in SECTIONS.items() if written <= spec.keys.keys()]
    return min(fits, key=lambda other: sum(bool(key.paste) for key in SECTIONS[other].keys.values()), default="")


def read_settings(context: ReaderContext, name: Text, node: Node) -> Settings | None:
    """The settings; their weights are put in the context, as every other entry needs them."""
    before = len(context.notes)
    body = as_map(context, node, "the settings")
    if body is None:
        return None
    values = fields(context, SETTINGS_KEYS, body, name, "`settings`")
    context.weights = {kind: value for kind, value in (values["weights"] or {}).items() if value is not None}
    if len(context.notes) > before:
        return None
    return Settings(origin=origin(context, values, name), **values)
