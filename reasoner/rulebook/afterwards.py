"""What follows a verdict, as tables of keys: what a repair takes and needs, parts, risks, repair sheets, proof."""

from __future__ import annotations

from typing import Any

from reasoner.rulebook.fields import (
    EMPTY_MAP,
    Key,
    ReaderContext,
    choice,
    distance,
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
from reasoner.rulebook.model import Afterwards, Effort, Guard, Step
from reasoner.rulebook.parts import NAME_KEY, ORIGIN, READ_STATES, WAIVE, caution_names, check_names
from reasoner.yaml_tree import Map, Text

COUNTS = ("one drive", "in a row", "adds up")
repair_names = list_of(name_of("repairs"))
subjects = list_of(name_of("faults", "families"))


EFFORT = key_table(Key("minutes", minutes, paste="minutes: 40"), Key("money", money, paste="money: 0"))
GUARD = key_table(
    Key("excluded", subjects, default=()),
    Key("answered", check_names, default=()),
    Key("beyond", check_names, default=()),
    Key("because", text, default=""),
)
LASTS_KEYS = key_table(Key("from", distance, paste="from: 160000 km"), Key("to", distance, paste="to: 220000 km"))
STEP_KEYS = key_table(
    Key("do", text, paste="do: what is done in this step"),
    Key("cautions", caution_names, default=()),
    Key("figures", list_of(text), default=()),
    Key("each", yes_no, default=False),
)
AFTERWARDS = key_table(
    Key("comeback costs", money, default=Afterwards.comeback_costs),
    Key("hand on costs", money, default=Afterwards.hand_on_costs),
    Key("another visit costs", money, default=Afterwards.another_visit_costs),
    Key("never looked at", percentage(0, 90), default=Afterwards.never_looked_at),
    Key("comeback within", distance, default=Afterwards.comeback_within),
    Key("watch for", distance, default=Afterwards.watch_for),
    Key("excluded below", percentage(0.1, 50), default=Afterwards.excluded_below),
    Key("speaks from", number("decibans", 0, 30), default=Afterwards.speaks_from),
    Key("proof begins at", percentage(0.1, 99.9), default=Afterwards.proof_begins_at),
    Key("proof below", percentage(0.1, 50), default=Afterwards.proof_below),
    Key("most provocations", number("times", 1, 1000), default=Afterwards.most_provocations),
    Key("beside the work", percentage(0, 90), default=Afterwards.beside_the_work),
)
GROUPS = {  # for `right key, wrong level`: keys that are not at home elsewhere too
    "`only after` of a repair": tuple(GUARD)[:-1],
    "a step of a sheet": tuple(STEP_KEYS)[2:],
    "`afterwards` of the settings": tuple(AFTERWARDS),
}

read_afterwards = group(AFTERWARDS, "`afterwards`", Afterwards)

# What a fault, a check, a caution and a repair may say besides.
ANY_WORK = "any"
AFTER_WORK_KEY = Key("after work", list_of(name_of("repairs", also=(ANY_WORK,))), default=())
FAULT_KEYS_AFTER_WORK = (
    AFTER_WORK_KEY,
    Key("nothing wrong", yes_no, default=False),
    Key("gone without repair", frequency),
)
CAUTION = (Key("called for by", list_of(text), default=()),)
REPAIR = (
    Key("part", name_of("parts"), default=""),
    Key("each more", group(EFFORT, "`each more`", Effort)),
    Key("all of", name_of("repairs"), default=""),
    Key("includes", repair_names, default=()),
    Key("instead of", repair_names, default=()),
    Key("cures", frequency),
    Key("only after", group(GUARD, "`only after`", Guard)),
    Key("goes wrong", frequency),
    Key(
        "raises", map_of(name_of("faults"), number("", 0), "faults, and their shares"), default=EMPTY_MAP, by_name=True
    ),
)

PART = key_table(
    NAME_KEY,
    Key("money", money, paste="money: 100"),
    Key("lasts", group(LASTS_KEYS, "`lasts`", lambda **ends: (ends["from"], ends["to"]))),
    *ORIGIN,
    WAIVE,
)
RISK = key_table(
    NAME_KEY,
    Key("costs", money, paste="costs: 500"),
    Key("over", distance, paste="over: 10000 km"),
    Key("not above", percentage(0.01, 100)),
    Key(
        "given",
        map_of(name_of("faults", "families"), frequency, "faults or families, and how often"),
        paste="given: {a fault or a family: seldom}",
        by_name=True,
    ),
    *ORIGIN,
    WAIVE,
)
SHEET = key_table(
    NAME_KEY,
    Key("for", repair_names, into="repairs", paste="for: [the repairs it is about]"),
    Key("at hand", list_of(text), default=()),
    Key("single use", list_of(text), default=()),
    Key(
        "steps", list_of(group(STEP_KEYS, "a step", Step, at_place=True)), paste="steps:\n    - do: what is done first"
    ),
    Key("values", yes_no, default=False),
    Key("learned", list_of(text), default=()),
    *ORIGIN,
    WAIVE,
)
PROOF = key_table(
    NAME_KEY,
    Key("say", text, paste="say: what must be seen"),
    Key("shown by", check_names, default=()),
    Key("at least", number("", 0), into="least"),
    Key("unit", text, default=""),
    Key("counts", choice(*COUNTS), default=COUNTS[-1]),
    Key("cleared", yes_no),
    Key("where read", choice(*READ_STATES), default=""),
    Key("tries of", list_of(name_of("faults")), default=()),
    Key("tries where", check_names, default=()),
    Key("never", yes_no, default=False),
    *ORIGIN,
    WAIVE,
)


def finish_fault(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    """A diagnosis never has the fault that stands for nothing being wrong: it is there after work only."""
    if values["nothing_wrong"] and not values["after_work"]:
        message = "nothing can be wrong only after work"
        context.notes.note(
            "missing-key", node.key("nothing wrong") or name, message, "add the line\n  after work: [any]"
        )


def finish_repair(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    """A cheaper step says what it saves and how often; nothing stands for itself."""
    for one, other in (("instead of", "cures"), ("cures", "instead of")):
        if node.key(one) and not node.key(other):
            context.notes.note(
                "missing-key", node.key(one) or name, f"`{one}` needs `{other}` beside it", f"add {other}"
            )
    for key in ("all of", "includes", "instead of"):
        value = values[key.replace(" ", "_")] or ()
        if name.value in ((value,) if isinstance(value, str) else value):
            context.notes.note("loop", node.key(key) or name, f'"{name.value}" names itself', "delete it here")
    more = values["each_more"]
    if more and values["minutes"] is not None and more.minutes > values["minutes"]:
        message = "a further place takes longer than the first, which has to be reached too"
        context.notes.note(
            "bad-number", node.key("each more") or name, message, f"at most {values['minutes']:g} minutes"
        )


def finish_part(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    """A part as its dataclass."""
    lasts = values["lasts"]
    if lasts and not 0 < lasts[0] < lasts[1]:
        context.notes.note("bad-number", node.key("lasts") or name, "`from` is not below `to`", "swap the two")


def finish_proof(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    """A thing to be proven as its dataclass."""
    if values["least"] is not None and not values["unit"]:
        mend = "add the line\n  unit: s, or whatever is counted"
        context.notes.note("missing-key", node.key("at least") or name, "`at least` needs a unit", mend)
