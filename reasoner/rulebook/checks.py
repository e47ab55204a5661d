"""One check: its outcomes, how often each is seen under what, its bands, its codes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from reasoner.mistake import Spot, shorten
from reasoner.rulebook import computed, quantity, shapes
from reasoner.rulebook.afterwards import AFTER_WORK_KEY
from reasoner.rulebook.fields import (
    EMPTY_MAP,
    OFTEN,
    RULE_NAME,
    FieldReader,
    Key,
    ReaderContext,
    as_it_is,
    as_map,
    choice,
    fields,
    frequency,
    key_table,
    list_of,
    map_of,
    minutes,
    money,
    name_of,
    number,
    object_of,
    parsed,
    percentage,
    text,
    unknown_key,
    yes_no,
)
from reasoner.rulebook.model import At, Band, Frequency, Measure, Origin, Outcome, Sees, Statement
from reasoner.rulebook.parts import (
    EVERY_VEHICLE,
    NAME_KEY,
    ORIGIN,
    PLACE,
    READ_STATES,
    WAIVE,
    caution_names,
    check_names,
    read_filter,
    read_place,
    tool_names,
)
from reasoner.rulebook.problem import near
from reasoner.rulebook.shapes import Shaped, shape_of
from reasoner.yaml_tree import List, Map, Node, Text

ONLY_WHILE_RICH = "only"  # of `while rich`: no outcome says that it is not
CHECK_KINDS = ("told", "code", "reading", "look", "test")
FREE_KINDS = ("told", "code")  # take no minutes of their own; what any question takes is in the settings
MOST_OUTCOMES, MOST_AT_CYLINDERS = 7, 3  # more would make the joint table of eight cylinders too large
UNBOUNDED = float("inf")
ROUGH = 0.15  # words are rough: outcomes may add up to this much more (or less) than 1 before it is a mistake


def _read_outcomes(context: ReaderContext, node: Node) -> tuple[Outcome, ...] | None:
    """Outcomes with the text that is shown for each, in the order written."""
    mend = "such as {normal: as it should be, high: higher than that}; the first is what a sound car shows"
    found = as_map(context, node, "the outcomes, each with its text", mend)
    if found is None:
        return None
    if not 2 <= len(found.pairs) <= MOST_OUTCOMES:
        message = f"a check has 2 to {MOST_OUTCOMES} outcomes, not {len(found.pairs)}"
        context.notes.note("outcome-count", found, message, "split the check in two" if len(found.pairs) > 2 else mend)
    outcomes = []
    for name, value in found.pairs:
        shown = text(context, value)
        if not RULE_NAME.fullmatch(name.value) or name.value in STATEMENT:
            message = f'"{shorten(name.value)}" cannot be the name of an outcome'
            mend = "lower case, digits and dashes; none of " + ", ".join(STATEMENT)
            context.notes.note("bad-name", name, message, mend)
        outcomes.append(Outcome(name.value, shown or "", name.place))
    return tuple(outcomes)


_TEXTS = {"minProperties": 2, "maxProperties": MOST_OUTCOMES}
read_outcomes = Shaped(_read_outcomes, {**shapes.map_shape(shapes.text_like(RULE_NAME.pattern), shapes.TEXT), **_TEXTS})


def _read_measure(context: ReaderContext, node: Node) -> dict[str, Any] | None:
    found = as_map(context, node, "quantity, unit, bands and spread")
    return None if found is None else fields(context, MEASURE, found, found, "`measure`") | {"spot": found}


_band = parsed(quantity.band, shapes.text_like(quantity.BAND))
BANDS = shapes.map_shape(shapes.text_like(RULE_NAME.pattern), shape_of(_band))
SEEN_SHAPE = shapes.map_shape(shapes.text_like(RULE_NAME.pattern), OFTEN)  # outcomes, and how often each is seen
MEASURE = key_table(
    Key("quantity", text, paste="quantity: what is read"),
    Key("unit", text, paste='unit: "%"'),
    Key("bands", as_it_is, wanted=BANDS, paste="bands: {low: below 3, normal: above 3}"),
    Key("spread", number("spread", 1e-9), paste="spread: 1"),
    Key("from", number(), into="least"),
    Key("to", number(), into="most"),
)
measure_reader = Shaped(_read_measure, object_of(MEASURE))
OWN = key_table(*(replace(key, paste="") for key in ORIGIN))
PLACED = (
    Key("here", as_it_is, paste="here: {one outcome: often}", wanted=SEEN_SHAPE),
    Key("elsewhere", as_it_is, wanted=SEEN_SHAPE),
)
STATEMENT = key_table(*PLACED) | OWN
SUBJECT = name_of("faults", "families")
GIVEN = shapes.map_shape(shape_of(SUBJECT), {**object_of(STATEMENT, others=OFTEN), "required": []})
codes_reader: FieldReader = map_of(read_place, list_of(name_of("codes", also=("any",))), "places and their codes")
CHECK = key_table(
    NAME_KEY,
    Key("kind", choice(*CHECK_KINDS), paste="kind: look"),
    Key("ask", text, paste="ask: What is asked?"),
    Key("how", text, default=""),
    Key("at", choice(*At), default="engine"),
    Key("sees", choice(*Sees), paste="sees: now"),
    Key("in", list_of(name_of("conditions")), into="conditions", default=()),
    Key("only", read_filter, default=EVERY_VEHICLE),
    Key("outcomes", read_outcomes, paste="outcomes: {normal: as it should be, high: higher than that}"),
    Key("otherwise", as_it_is, paste="otherwise: {high: seldom}", wanted=SEEN_SHAPE),
    Key("given", as_it_is, by_name=True, wanted=GIVEN),
    Key("minutes", minutes, default=0.0),
    Key("wait", minutes, default=0.0),
    Key("money", money, default=0.0),
    Key("needs", tool_names, default=()),
    Key("cautions", caution_names, default=()),
    Key("stands for", check_names, default=()),
    Key("after", check_names, default=()),
    Key(
        "not where",
        map_of(name_of("checks"), list_of(text), "checks, and outcomes of each"),
        default=EMPTY_MAP,
        by_name=True,
    ),
    Key("provokes", yes_no, default=False),
    Key("leaves", name_of("conditions"), default=""),
    Key("codes", codes_reader, default=EMPTY_MAP, by_name=True),
    Key("codes of", name_of("checks"), default=""),
    Key(
        "code states",
        map_of(text, list_of(choice(*READ_STATES)), "outcomes, and states"),
        default=EMPTY_MAP,
        by_name=True,
    ),
    Key("measure", measure_reader),
    Key("worked out by", as_it_is, into="computed", wanted=computed.SHAPE),
    Key("words", list_of(text), default=()),
    Key(
        "owners say", map_of(text, list_of(text), "outcomes, and how owners say them"), default=EMPTY_MAP, by_name=True
    ),
    Key("not meant", list_of(text), default=()),
    Key(
        "happens in",
        map_of(text, list_of(name_of("conditions")), "outcomes, and the conditions that each names"),
        default=EMPTY_MAP,
        by_name=True,
    ),
    Key("two show", map_of(text, list_of(text), "outcomes, and two others of each"), default=EMPTY_MAP, by_name=True),
    Key("while rich", text, default=""),
    Key("said rich", text, default=""),
    Key("elsewhere in", choice("bank", "engine"), default="engine"),
    Key("all alike", percentage(0, 100), default=0.0),
    Key("intake", choice("work", "renewed", "since", "mended", "pattern", "also", "manner"), default=""),
    AFTER_WORK_KEY,
    *ORIGIN,
    WAIVE,
)


def finish_check(context: ReaderContext, name: Text, node: Map, values: dict[str, Any]) -> None:
    """What needs several values at once: statements, bands and codes speak of the outcomes and of the place."""
    where = At(values["at"] or "engine")
    values["at"], values["sees"] = where, values["sees"] and Sees(values["sees"])
    if node.key("minutes") is None and values["kind"] not in (*FREE_KINDS, None):
        message = f'a check of the kind "{values["kind"]}" needs "minutes"'
        context.notes.note("missing-key", name, message, "add the line\n  minutes: 10")
    for key in ("stands for", "after"):
        if name.value in (values[key.replace(" ", "_")] or ()):
            context.notes.note("loop", node.key(key) or name, f'"{name.value}" names itself', "delete it here")
    if where is At.ENGINE and node.key("all alike") is not None:
        message = "a check of the whole engine has one place, and nothing that could be alike"
        context.notes.note("wrong-level", node.key("all alike") or name, message, "delete it")
    if where is not At.CYLINDER and node.key("elsewhere in") is not None:
        message = "only a check at cylinders says how far `elsewhere` reaches"
        context.notes.note(
            "wrong-level", node.key("elsewhere in") or name, message, "delete it, or write\n  at: cylinder"
        )
    _codes(context, node, values, where)
    outcomes: tuple[Outcome, ...] | None = values["outcomes"]
    if outcomes is None:
        return
    if where is At.CYLINDER and len(outcomes) > MOST_AT_CYLINDERS:
        message = f"a check at cylinders has at most {MOST_AT_CYLINDERS} outcomes, not {len(outcomes)}"
        context.notes.note("outcome-count", node.get("outcomes") or name, message, "put two of them together")
    names = tuple(outcome.name for outcome in outcomes)
    says = _Says(values["source"] or "judgement", values["weight"], values["because"], names, where)
    otherwise, given = values["otherwise"], values["given"]
    if otherwise is not None:
        named = read_distribution(context, otherwise, says.outcomes)
        values["otherwise"] = Statement(named, None, _origin(context, says, EMPTY_MAP, (named,), otherwise))
    values["given"] = _given(context, given, says) if given is not None else EMPTY_MAP
    _owners_say(context, node, names, where is At.ENGINE and values["sees"] is Sees.EVER)
    _while_rich(context, node, names, values["sees"])
    _said_rich(context, node, names)
    _two_show(context, node, names)
    _names_outcomes(context, node, "happens in", names)
    _names_outcomes(context, node, "code states", names)
    for one, other in (("code states", "codes of"), ("codes of", "code states")):
        if node.key(one) and not node.key(other):
            mend = f"add {other}, or delete it"
            context.notes.note("missing-key", node.key(one) or name, f"`{one}` needs `{other}` beside it", mend)
    if values["measure"] is not None:
        values["measure"] = _measure(context, values["measure"], says.outcomes)
    if values["computed"] is not None:
        values["computed"] = computed.read_computed(context, values["computed"], names, where, values["measure"])


def _codes(context: ReaderContext, node: Map, values: dict[str, Any], where: At) -> None:
    """Codes by number of the place; every place must be of the kind that the check looks at."""
    written = node.get("codes")
    for key, _ in written.pairs if isinstance(written, Map) else ():
        if PLACE.fullmatch(key.value) and key.value.split()[0] != where:
            fitting = "engine" if where is At.ENGINE else f"{where} 1"
            message = f'"{key.value}" does not fit a check at {where}'
            context.notes.note("bad-choice", key, message, f"such as {fitting}: [...], or change `at`")
    values["codes"] = {number_: codes for (_, number_), codes in (values["codes"] or EMPTY_MAP).items()}


def _owners_say(context: ReaderContext, node: Node, outcomes: tuple[str, ...], fits: bool) -> None:
    """Words of owners are of outcomes, and of what is remembered of the whole car. fits: whether the check is."""
    written = node.get("owners say") if isinstance(node, Map) else None
    for name, _ in written.pairs if isinstance(written, Map) else ():
        if name.value not in outcomes:
            _unknown_outcome(context, name, outcomes)
        elif not fits:
            mend = "delete it, or give the check `at: engine` and `sees: ever`"
            context.notes.note("wrong-level", name, "what an owner says is about the whole car, whenever it was", mend)


def _names_outcomes(context: ReaderContext, node: Node, key: str, outcomes: tuple[str, ...]) -> None:
    """What names conditions, or states of a code, is an outcome."""
    written = node.get(key) if isinstance(node, Map) else None
    for name, _ in written.pairs if isinstance(written, Map) else ():
        if name.value not in outcomes:
            _unknown_outcome(context, name, outcomes)


def _two_show(context: ReaderContext, node: Node, outcomes: tuple[str, ...]) -> None:
    """What two faults show together: an outcome, and the two others that it stands for."""
    _names_outcomes(context, node, "two show", outcomes)
    written = node.get("two show") if isinstance(node, Map) else None
    for together, others in written.pairs if isinstance(written, Map) else ():
        items = [item for item in others.items if isinstance(item, Text)] if isinstance(others, List) else []
        for item in items:
            if item.value not in outcomes:
                _unknown_outcome(context, item, outcomes)
        if len({together.value, *(item.value for item in items)}) != 3 or len(items) != 2:
            message = f"two outcomes are expected beside {together.value}, one of each fault"
            mend = "such as\n  two show: {partly: [same, recovers]}"
            context.notes.note("outcome-count", others, message, mend)


def _said_rich(context: ReaderContext, node: Node, outcomes: tuple[str, ...]) -> None:
    """The outcome that is meant where somebody only says that it is rich now."""
    said = node.get("said rich") if isinstance(node, Map) else None
    if isinstance(said, Text) and said.value not in outcomes:
        _unknown_outcome(context, said, outcomes)


def _while_rich(context: ReaderContext, node: Node, outcomes: tuple[str, ...], sees: Sees | None) -> None:
    """`only`, or the outcome that says that it is not rich."""
    said = node.get("while rich") if isinstance(node, Map) else None
    if not isinstance(said, Text):
        return
    if said.value not in (*outcomes, ONLY_WHILE_RICH):
        meant = near(said.value, (*outcomes, ONLY_WHILE_RICH))
        mend = (
            f'did you mean "{meant}"?' if meant else f"{ONLY_WHILE_RICH}, or the outcome that says that it is not rich"
        )
        context.notes.note("unknown-name", said, f'the check has no outcome "{shorten(said.value)}"', mend)
    elif sees is Sees.EVER:
        context.notes.note("wrong-level", said, "what is seen at any time needs no rich mixture now", "delete it")


# ---- how often each outcome is seen ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Says:
    """What the statements of one check have in common."""

    source: str
    weight: float | None
    because: str
    outcomes: tuple[str, ...]
    at: At


def read_distribution(context: ReaderContext, node: Node, outcomes: tuple[str, ...]) -> Mapping[str, Frequency]:
    """The outcomes named, with how often each is seen. Only what was written."""
    found = as_map(context, node, "outcomes, and how often each is seen", f"such as {{{outcomes[-1]}: seldom}}")
    if found is None:
        return EMPTY_MAP
    named: dict[str, Frequency] = {}
    for name, value in found.pairs:
        if name.value not in outcomes:
            _unknown_outcome(context, name, outcomes)
        elif (seen := frequency(context, value)) is not None:
            named[name.value] = seen
    total = sum(seen.value for seen in named.values())
    together = " + ".join(f"{name} {seen.value * 100:g} %" for name, seen in named.items())
    if total > 1 + ROUGH:
        message = f"the outcomes add up to {total * 100:.0f} %"
        context.notes.note("too-much", found, message, f"{together}: lower one of them")
    elif total < 1 - ROUGH and len(named) == len(outcomes) > 1:
        mend = f'{together}: leave "{outcomes[0]}" away, and it takes the rest'
        context.notes.note("too-little", found, f"the outcomes add up to {total * 100:.0f} % only", mend)
    return named


def _unknown_outcome(context: ReaderContext, name: Text, outcomes: tuple[str, ...]) -> None:
    if name.value in context.levels.get("a check", ()) and not near(name.value, outcomes):
        unknown_key(context, name, outcomes, "a list of outcomes")
        return
    meant = near(name.value, outcomes)
    mend = f'did you mean "{meant}"?' if meant else "its outcomes: " + ", ".join(outcomes)
    context.notes.note("unknown-name", name, f'the check has no outcome "{shorten(name.value)}"', mend)


def _given(context: ReaderContext, node: Node, says: _Says) -> Mapping[str, Statement]:
    found = as_map(context, node, "faults or families, and what is seen under each")
    named: dict[str, Statement] = {}
    for name, value in found.pairs if found else ():
        known = SUBJECT(context, name)
        if known is None and not isinstance(value, Map):
            continue  # a key of the check with too large a margin: that has been said
        said = _statement(context, name, value, says)
        if known and said:
            named[known] = said
    return named


def _statement(context: ReaderContext, name: Text, node: Node, says: _Says) -> Statement | None:
    """Outcomes, or `here` and `elsewhere` with outcomes; beside them who says so, where it is not as for the check."""
    found = as_map(context, node, "outcomes, and how often each is seen", f"such as {{{says.outcomes[-1]}: often}}")
    if found is None:
        return None
    keys = {key.value: key for key, _ in found.pairs}
    placed = keys.keys() & {"here", "elsewhere"}
    loose = [key for word, key in keys.items() if word not in STATEMENT and (not placed or word in says.outcomes)]
    if placed and loose:
        for key in loose:
            message = f'"{key.value}" stands beside `{min(placed, key=list(STATEMENT).index)}`'
            context.notes.note("wrong-level", key, message, f"write here: {{{key.value}: ...}}")
        return None
    values = fields(context, STATEMENT if placed else OWN, _only(found, lambda k: k not in loose), name, "a statement")
    here = read_distribution(context, values.get("here") or _only(found, lambda k: k in loose), says.outcomes)
    elsewhere = None
    if values.get("elsewhere"):
        elsewhere = read_distribution(context, values["elsewhere"], says.outcomes)
        if says.at is At.ENGINE:
            message = "a check of the whole engine has no elsewhere"
            mend = "delete it, or give the check `at: bank` or `at: cylinder`"
            context.notes.note("wrong-level", keys["elsewhere"], message, mend)
    return Statement(here, elsewhere, _origin(context, says, values, (here, elsewhere or EMPTY_MAP), name))


def _only(found: Map, wanted: Callable[[Text], bool]) -> Map:
    return Map(tuple(pair for pair in found.pairs if wanted(pair[0])), found.place, found.length)


def _origin(
    context: ReaderContext, says: _Says, own: Mapping[str, Any], said: tuple[Mapping[str, Frequency], ...], spot: Spot
) -> Origin:
    """Who says so: the statement itself, else the check. Weight: stated, else counted, else by the kind of source.

    Of several counts the smallest counts, so that nothing is taken for firmer than its weakest part.
    """
    source = own.get("source") or says.source
    counts = [seen.cases for named in said for seen in named.values() if seen.cases is not None]
    weight = own.get("weight")
    if weight is None and counts:
        weight = min(counts)
    if weight is None and not own.get("source"):
        weight = says.weight
    if weight is None:
        weight = context.weight_of(source)
    return Origin(source, weight, spot.place, own.get("because") or says.because)


# ---- readings --------------------------------------------------------------------------------------------------------


def _measure(context: ReaderContext, values: dict[str, Any], outcomes: tuple[str, ...]) -> Measure | None:
    spot, least, most = values["spot"], values["least"], values["most"]
    if least is not None and most is not None and least >= most:
        context.notes.note("bad-number", spot.key("from"), "`from` is not less than `to`", "swap the two")
    found = values["bands"] and as_map(context, values["bands"], "outcomes and their ranges")
    if found is None:
        return None
    bands: list[tuple[Text, Band]] = []
    for name, value in found.pairs:
        bounds = _band(context, value)
        if name.value not in outcomes:
            _unknown_outcome(context, name, outcomes)
        elif bounds is not None:
            bands.append((name, Band(name.value, *bounds)))
    if len(bands) == len(found.pairs):
        _no_gaps(context, found, bands, least, most)
    return Measure(values["quantity"], values["unit"], tuple(b for _, b in bands), values["spread"], least, most)


def _no_gaps(
    context: ReaderContext, spot: Spot, bands: list[tuple[Text, Band]], least: float | None, most: float | None
) -> None:
    """Every reading from `least` to `most` must fall into exactly one band."""
    start, end = -UNBOUNDED if least is None else least, UNBOUNDED if most is None else most
    ranges = []
    for name, band in bands:
        low, high = -UNBOUNDED if band.low is None else band.low, UNBOUNDED if band.high is None else band.high
        if low >= end or high <= start:
            message = f'"{name.value}" lies outside the readings there can be'
            context.notes.note("bad-bands", name, message, f"readings go {_range(start, end)}: see `from` and `to`")
        else:
            ranges.append((max(low, start), min(high, end), name))
    reached = start
    for low, high, name in sorted(ranges, key=lambda r: r[:2]):
        if low > reached:
            _gap(context, name, reached, low)
        elif low < reached:
            message = f'"{name.value}" lies over another band {_range(low, min(reached, high))}'
            context.notes.note("bad-bands", name, message, "let every band begin where the one before ends")
        reached = max(reached, high)
    if reached < end:
        _gap(context, spot, reached, end)


def _gap(context: ReaderContext, spot: Spot, low: float, high: float) -> None:
    mend = "let the bands touch, and the first and the last be open or end at `from` and `to`"
    context.notes.note("bad-bands", spot, f"no band holds readings {_range(low, high)}", mend)


def _range(low: float, high: float) -> str:
    if low == -UNBOUNDED:
        return f"below {high:g}"
    return f"above {low:g}" if high == UNBOUNDED else f"from {low:g} to {high:g}"
