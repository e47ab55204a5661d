"""What is known before the first question: the vehicle, the complaint, codes, tools, live values, the car's state now.

About a minute. Everything can be skipped with Enter; what is wrong is said in one line and asked again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date

from reasoner.measure.codes import read_codes
from reasoner.measure.obd import looks_pasted
from reasoner.network.vehicle import DEFAULTS, LAYOUTS, VEHICLE_CHOICES, Vehicle, vehicle_from, vehicle_words
from reasoner.rulebook.model import At
from reasoner.rulebook.parts import EQUIPMENT
from reasoner.session import acts
from reasoner.session.after_work import AfterWork
from reasoner.session.document import Verdict, Why
from reasoner.session.plain import shortened
from reasoner.session.protocol import Talk
from reasoner.session.workup import Workup
from reasoner.terminal.blocks import QUIET, head, numbered, para, rows
from reasoner.terminal.console import Console
from reasoner.terminal.pasted import MORE, code_lines, merged, slip_lines, take_pasted
from reasoner.terminal.picking import Back, numbers_in, pick_several
from reasoner.terminal.picking import ask as ask_line
from reasoner.terminal.sitting import Keep, Sitting
from reasoner.terminal.step import condition_rows
from reasoner.terminal.telling import (
    ask_frame,
    ask_heard,
    ask_live,
    ask_story,
    ask_work,
    open_parts,
    take_back_last,
    take_back_since,
    told_since,
)

# ---- the vehicle -----------------------------------------------------------------------------------------------------

# What a value of a vehicle's property is called on the screen.
CHOICE_AS_CALLED = {
    "port": "port",
    "direct": "direct",
    "dual": "both",
    "natural": "none",
    "charged": "turbo or supercharger",
    "airflow": "air-mass meter (MAF)",
    "pressure": "pressure sensor (MAP)",
    "both": "both of them",
    "gas recirculation": "EGR",
}


USUAL_CAR_HELP = "Of this one: 198000 km, 2014, 3.0 L; or another car, V6 port airflow 198000 km; a: ask me one by one"
IN_ONE_LINE = (
    "Or all in one line: V6 port turbo airflow 198000 km 2003 3.0 L return line. Port and direct injection: both."
)


@dataclass(frozen=True)
class _Ask:
    """One question about the vehicle. choices: values by number; else text is typed. matters: asked only then."""

    key: str
    question: str
    choices: tuple[str, ...] = ()
    matters: Callable[[Mapping[str, str]], bool] = lambda fields: True


def _several_sensors_possible(fields: Mapping[str, str]) -> bool:
    """A short inline engine has one upstream sensor; any other may have one or two."""
    vehicle, _ = vehicle_from({k: v for k, v in fields.items() if k == "layout"})
    return vehicle is not None and not (vehicle.layout.startswith("inline") and vehicle.cylinders < 5)


def _either_number(fields: Mapping[str, str]) -> bool:
    """A long inline engine has one upstream sensor as often as two; a V or a flat one has what its layout says."""
    vehicle, _ = vehicle_from({k: v for k, v in fields.items() if k == "layout"})
    return vehicle is not None and vehicle.layout.startswith("inline") and _several_sensors_possible(fields)


def _two_banks(fields: Mapping[str, str]) -> bool:
    """Two upstream sensors: then it matters which cylinders each watches, and makers number them differently."""
    vehicle, _ = vehicle_from({k: v for k, v in fields.items() if k in ("layout", "upstream sensors")})
    return vehicle is not None and len(vehicle.banks) == 2


VEHICLE = (
    _Ask("layout", "Cylinders and layout (such as inline 4, V6, flat 4)"),
    _Ask("upstream sensors", "Sensors before the catalyst, 1 or 2", ("1", "2"), _several_sensors_possible),
    _Ask("banks", "Cylinders of bank 1 / of bank 2", matters=_two_banks),
    _Ask("injection", "Injection", VEHICLE_CHOICES["injection"]),
    _Ask("charging", "Charging", VEHICLE_CHOICES["charging"]),
    _Ask("metering", "Air is measured by", VEHICLE_CHOICES["metering"]),
    _Ask("distance", "Mileage (such as 198000 km or 123000 mi)"),
)


def ask_vehicle(console: Console, usual: Mapping[str, str]) -> Mapping[str, str]:
    """The fields of a vehicle, for `vehicle_from`. Enter takes the default; `b` goes one question back.

    usual: what most cars here are; then one Enter takes all of it. Raises Leave, after the last line was said.
    """
    with console.leavable():
        found = _usual_car(console, usual) if usual else None
        return _ask_vehicle(console, usual) if found is None else found


def _usual_car(console: Console, usual: Mapping[str, str]) -> Mapping[str, str] | None:
    """The shop's usual car, with what is typed of this one; None where it is to be asked step by step."""
    vehicle, mistakes = vehicle_from(usual)
    assert vehicle is not None, mistakes  # settings with a mistake in them are refused before
    console.show(head("The car"), para(f"Most cars here: {_read_back(vehicle)}"), para(USUAL_CAR_HELP, style=QUIET))
    helps = "Such as 198000 km 2014, or another car: V6 port airflow 198000 km."
    while True:
        try:
            line = ask_line(console, "Enter: like that; or what is known of this one > ", helps)
        except Back:
            continue
        if line.lower() in ("a", "ask"):
            return None
        said, unread = vehicle_words(line)
        if unread:
            console.say(_unclear_car(unread))
            continue
        said = _dated(said)
        alone = vehicle_from({"layout": said.get("layout", "")})[0]
        other = "layout" in said and alone is not None and alone.layout != vehicle.layout
        fields = {**DEFAULTS, **({} if other else usual), **said}
        found, mistakes = vehicle_from(fields)
        if found is None:
            console.say(f"{mistakes[0].message} ({mistakes[0].mend}).")
            continue
        console.show(para(_read_back(found), style=QUIET))
        return fields


def _dated(fields: Mapping[str, str]) -> dict[str, str]:
    """With the model year of a car of which the age was told."""
    found = dict(fields)
    age = found.pop("age", "")
    if age:
        found.setdefault("model year", str(date.today().year - int(age)))
    return found


def _unclear_car(unread: str) -> str:
    return f'"{shortened(unread, 30)}" is not clear; such as: V6 port turbo airflow 178000 km 2003 3.0 L.'


def _ask_vehicle(console: Console, defaults: Mapping[str, str]) -> Mapping[str, str]:
    console.show(head("The car", "Enter takes what is in [ ]; b back, h help, q leave"), para(IN_ONE_LINE, style=QUIET))
    fields = {**DEFAULTS, **defaults}
    asked: list[int] = []
    number, said = 0, set[str]()
    while number < len(VEHICLE):
        ask = VEHICLE[number]
        if ask.key in said or not ask.matters(fields):
            number += 1
            continue
        default = fields.get(ask.key, "") or _without_saying(fields, ask)
        if ask.choices:
            named = numbered(CHOICE_AS_CALLED.get(c, c) for c in ask.choices)
            listed = "" if ask.choices == ("1", "2") else ": " + "  ".join(f"{n} {text}" for n, text in named)
            prompt = f"{ask.question}{listed} [{CHOICE_AS_CALLED.get(default, default) or 'not known'}] > "
        else:
            prompt = f"{ask.question} [{default or 'not known'}] > "
        try:
            line = ask_line(console, prompt, "A number of the list, or the word. Enter takes what is in [ ].")
        except Back:
            number, said = asked.pop() if asked else number, set()
            continue
        if ask.key == "layout" and line and (whole := _whole(console, line)) is not None:
            if whole:
                fields |= {"banks": "", "upstream sensors": "", **whole}
                unsaid = {"banks", "upstream sensors"} if _either_number(whole) else {"banks"}
                said |= whole.keys() | {a.key for a in VEHICLE if a.key not in unsaid}
                asked.append(number)
                number += 1
            continue
        value = _chosen(line, ask) if line else default
        problem = _problem(fields, ask, value) if value else ""
        if problem:
            console.say(problem)
            continue
        if line:
            fields[ask.key] = value
            if ask.key in ("layout", "upstream sensors"):
                fields.pop("banks", None)
            if ask.key == "layout":
                fields.pop("upstream sensors", None)
        asked.append(number)
        number += 1
    found, mistakes = vehicle_from(fields)
    if found is None:  # the defaults themselves were wrong
        for mistake in mistakes:
            console.say(f"{mistake.message} ({mistake.mend})")
            fields.pop(mistake.where, None)
        return _ask_vehicle(console, {k: v for k, v in fields.items() if v != DEFAULTS.get(k)})
    console.show(para(_read_back(found), style=QUIET))
    return fields


def _whole(console: Console, line: str) -> dict[str, str] | None:
    """The car in one line; empty where that was said to be wrong, None where the line is about the layout alone."""
    fields, unread = vehicle_words(line)
    if "layout" not in fields or (len(fields) == 1 and not unread):
        return None
    if unread:
        console.say(_unclear_car(unread))
        return {}
    fields = _dated(fields)
    _, mistakes = vehicle_from(fields)
    if mistakes:
        console.say(f"{mistakes[0].message} ({mistakes[0].mend}).")
        return {}
    return fields


def _read_back(vehicle: Vehicle) -> str:
    """`inline 4, direct injection, turbo or supercharger, 1.4 L, no gas recirculation; one upstream sensor.`: all that
    was said of it, so that nobody wonders whether it was understood."""
    said = [CHOICE_AS_CALLED.get(vehicle.properties.get(key, ""), "") for key in ("injection", "charging", "metering")]
    said[1] = {"none": "not charged"}.get(said[1], said[1])
    distance = f"{vehicle.distance_km:.0f} km" if vehicle.distance_km is not None else ""
    banks = " and ".join("-".join(map(str, bank)) for bank in vehicle.banks)
    sensors = "one upstream sensor" if len(vehicle.banks) == 1 else f"an upstream sensor each for cylinders {banks}"
    injection = f"{said[0]} injection" if said[0] != "both" else "port and direct injection"
    words = {"yes": "{}", "no": "no {}"}
    told = ((CHOICE_AS_CALLED.get(key, key), vehicle.fields.get(key, "")) for key in EQUIPMENT)
    also = [words.get(value, "{}: " + value).format(key) for key, value in told if value]
    litres = f"{vehicle.litres:g} L" if vehicle.litres is not None else ""
    year = vehicle.fields.get("model year", "")
    said = [vehicle.layout, injection, *said[1:], litres, *also, year, distance]
    return f"{', '.join(filter(None, said))}; {sensors}."


def _without_saying(fields: Mapping[str, str], ask: _Ask) -> str:
    """What is taken where nothing is said: the sensors that follow from the layout, and the cylinders of each."""
    vehicle, _ = vehicle_from(fields)
    if vehicle is None or ask.key not in ("upstream sensors", "banks"):
        return ""
    if ask.key == "upstream sensors":
        return str(len(vehicle.banks))
    return " / ".join(" ".join(map(str, bank)) for bank in vehicle.banks)


def _chosen(line: str, ask: _Ask) -> str:
    """The value meant by a number, a value, or its name on the screen or the beginning of it; else what was typed."""
    if not ask.choices:
        return line
    chosen = numbers_in(line, len(ask.choices))
    if chosen is not None and len(chosen) == 1:
        return ask.choices[chosen[0] - 1]
    meant = [
        c for c in ask.choices if c.startswith(line.lower()) or CHOICE_AS_CALLED.get(c, c).startswith(line.lower())
    ]
    return meant[0] if len(meant) == 1 else line


def _problem(fields: Mapping[str, str], ask: _Ask, value: str) -> str:
    """What is wrong with one field, in one line, or ""."""
    if ask.key == "layout" and value.isdecimal():
        possible = [name for name in LAYOUTS if name.split()[1] == value]
        return f"{shortened(value, 12)} what? One of: {', '.join(possible or LAYOUTS)}."
    void = {"layout": ("banks", "upstream sensors"), "upstream sensors": ("banks",)}.get(ask.key, ())
    trial = {k: v for k, v in fields.items() if k not in void}
    _, mistakes = vehicle_from({**trial, ask.key: value})
    mine = next((m for m in mistakes if m.where == ask.key), None)
    if mine is None:
        return ""
    if ask.key == "banks":
        return f"{mine.message}: such as {_without_saying(fields, ask)}."
    mend = mine.mend.removeprefix("one of: ")
    if ask.choices == ("1", "2"):
        return f'"{shortened(value, 24)}" is not possible here: 1 or 2.'
    names = ", ".join(f"{n} {text}" for n, text in numbered(CHOICE_AS_CALLED.get(c, c) for c in ask.choices))
    return f'"{shortened(value, 24)}" is not possible here: {names or mend}.'


# ---- the case --------------------------------------------------------------------------------------------------------


Tools = tuple[Sequence[str], Sequence[str]]  # there, and not there


def intake(workup: Workup, keep: Keep, console: Console, own_tools: Tools | None = None) -> Workup:
    """Complaint, codes, tools, live values, state. What is already known is not asked again; after finished work only
    codes and state: the rest is known. own_tools: as the shop's settings say, so that they are not asked.

    Raises Leave, after the last line was said; everything answered is kept by then.
    """
    sitting = Sitting(Talk(workup), keep, console, _NoPages())
    after = isinstance(workup, AfterWork)
    with console.leavable():
        parts: tuple[Callable[[Sitting], None], ...] = (_codes, _state)
        if not after:
            parts = (_complaint, _heard, _codes, lambda s: _tools(s, own_tools), _pasted_values, _state)
        before = [workup.record.steps] * len(parts)  # the steps there were when each part was begun
        stopped = [False] * len(parts)  # whether it asked for anything: back goes to one that did
        number = 0
        while number < len(parts):
            before[number], asked = sitting.workup.record.steps, console.asked
            try:
                parts[number](sitting)
                stopped[number] = console.asked > asked
                number += 1
            except Back:
                number = next((n for n in reversed(range(number)) if stopped[n]), number)
                take_back_since(sitting, before[number])
            for line in sitting.said:
                console.say(line)
            sitting.said.clear()
    return sitting.workup


class _NoPages:
    """Nothing is concluded while taking in."""

    def verdict(self, document: Verdict, console: Console) -> None:
        raise NotImplementedError

    def why(self, document: Why, console: Console) -> None:
        raise NotImplementedError


def _complaint(sitting: Sitting) -> None:
    if sitting.workup.record.complaint:
        return
    sitting.console.show(head("What is known", "Enter skips any of it; b back, h help, q leave"))
    helps = "What the owner says: when, how often, what it does, what it smells of. Enter skips it."
    text = ask_line(sitting.console, "The complaint, in the owner's words > ", helps)
    sitting.keep(acts.tell(sitting.workup, "" if text == "0" else text))


def _heard(sitting: Sitting) -> None:
    """What the complaint says by the rules' words; also where it was left before that was confirmed. A part of its own,
    so that b takes the ticks back before the words."""
    record = sitting.workup.record
    if record.complaint and not (record.given or record.codes or record.codes_complete):
        ask_heard(sitting)


def _codes(sitting: Sitting) -> None:
    """All the codes in one line: what is not on it counts as absent, unless it ends with `more`."""
    console, record = sitting.console, sitting.workup.record
    if record.codes or record.codes_complete:
        return
    prompt = (
        "All codes on the scan tool with their state (P0172 pending), or none; + after them if there may be more > "
    )
    helps = (
        "Each code with its state, such as P0172 pending, P0301 stored. What is not on the list counts as absent,"
        " unless it ends with + or more. none: no code at all. Enter: not read yet."
    )
    line = ""
    while True:
        line = line or ask_line(console, prompt, helps)
        if not line:
            console.say("They are the cheapest thing to know: t P0172 pending, say, tells them at any question.")
            return
        if looks_pasted(line):
            take_pasted(sitting, line)
            if sitting.workup.record.codes or sitting.workup.record.codes_complete:
                return
            line = ""
            continue
        listed = read_codes(MORE.sub("", line))
        for slip in slip_lines(listed):
            console.say(slip)
        if listed.none and not listed.slips:
            sitting.keep(acts.list_codes(sitting.workup, []), "Kept: no codes at all.")
            return
        if not listed.codes:
            line = ""
            continue
        for told in code_lines(sitting.workup.book, (c.code for c in listed.codes)):
            console.show(para(told))
        if listed.slips:
            line = ask_line(console, "Enter keeps these, or type the whole list again > ", helps)
            if line:
                continue
        other = _of_no_bank(sitting.workup, [c.code for c in listed.codes])
        if other:
            console.say(
                f"{', '.join(other)}: of a bank that this car was said not to have. If it has two sensors before the "
                'catalyst: reasoner cases correct CASE --vehicle "upstream sensors=2" --because ...'
            )
        complete = MORE.search(line) is None
        sitting.keep(acts.list_codes(sitting.workup, list(merged({}, listed.codes).items()), complete))
        console.say("Kept; there may be more." if not complete else "Kept as all there are; b if there may be more.")
        return


def _of_no_bank(workup: Workup, codes: Sequence[str]) -> list[str]:
    """Codes that the rules know of another bank only than this car has."""
    places: dict[str, set[int]] = {}
    for check in workup.book.checks.values():
        for place, known in check.codes.items():
            for code in known:
                places.setdefault(code, set()).add(place if check.at is At.BANK else 0)
    banks = len(workup.vehicle.banks)
    return [code for code in codes if places.get(code) and min(places[code]) > banks]


def _more_codes(sitting: Sitting, line: str) -> bool:
    """Codes of a list that was pasted one a line: those that come after the first are added to it."""
    record, listed = sitting.workup.record, read_codes(line)
    if not record.codes or not listed.codes or listed.slips:
        return False
    codes = merged(dict(record.codes), listed.codes)
    for told in code_lines(sitting.workup.book, (c.code for c in listed.codes)):
        sitting.console.show(para(told))
    return sitting.keep(acts.list_codes(sitting.workup, list(codes.items()), record.codes_complete))


def _tools(sitting: Sitting, own: Tools | None) -> None:
    """Uncommon tools only; common ones are taken to be there. All that any check needs, so that a tool has the same
    number on every car. own: known."""
    workup, console = sitting.workup, sitting.console
    book = workup.book
    used = set().union(*(c.needs for c in book.checks.values()), *(c.needs for c in book.conditions.values()))
    rare = [t for t in book.tools.values() if t.name in used and not t.common]
    if not rare or workup.record.at_hand:
        return
    if own is not None:
        sitting.keep(acts.usual_tools(workup, *own))
        here = sum(tool.name in own[0] for tool in rare)
        console.say(f"Tools: as your settings say, {here} of the {len(rare)} uncommon ones; k shows them.")
        return
    console.show(
        head("Any of these at hand?", "for good: reasoner settings --write"), rows(numbered(t.title for t in rare))
    )
    prompt = "Their numbers (1 3), or their words, Enter: none of them > "
    while _more_codes(
        sitting, line := ask_line(console, prompt, "Type their numbers, with spaces between; words with commas.")
    ):
        pass
    if line.lower() in ("none", "no", "0"):
        return
    words = [f"{tool.name} {tool.title}" for tool in rare]
    chosen = pick_several(console, prompt, len(rare), line, goes_back=True, named=words) if line else ()
    if chosen:
        sitting.keep(acts.tools(sitting.workup, at_hand=[rare[n - 1].name for n in chosen]))


def _pasted_values(sitting: Sitting) -> None:
    """Live values that were pasted with the codes."""
    if sitting.live and sitting.workup.record.condition is None:
        ask_live(sitting)


def _state(sitting: Sitting) -> None:
    """The condition the car is in now, and whatever else is known, by letters; with values just read, Enter means the
    same occasion. b takes back what was told last here, one thing at a time, before it leaves."""
    console, since = sitting.console, sitting.workup.record.steps
    if sitting.workup.record.condition is not None and not sitting.workup.record.given:
        return
    names: Sequence[str] = list(sitting.workup.book.conditions)
    helps = "The number of what the car is doing now. Or a letter, or several (w f), to tell that first."
    shown = False
    while True:
        here, parts = sitting.workup.record.condition, _also_known(sitting)
        if not shown:
            console.show(head("What is the car doing now?"), rows(condition_rows(sitting.workup.book)))
        shown = True
        for told in sitting.said:
            console.say(told)
        sitting.said.clear()
        if parts:
            also = "   ".join(f"{letter} {title}" for letter, (title, _) in parts.items())
            console.show(para(f"Also known?  {also}", 0))
        enter = f"still {sitting.condition_title(here)}, as just read" if here else "not known"
        letters = f" (or {', '.join(parts)} first)" if parts else ""
        try:
            line = ask_line(console, f"Its number{letters}, Enter: {enter} > ", helps)
        except Back:
            if not told_since(sitting, since):
                raise
            take_back_last(sitting)
            continue
        if not line:
            return
        if _more_codes(sitting, line):
            continue
        chosen = numbers_in(line, len(names))
        if chosen is not None and len(chosen) == 1:
            sitting.keep(acts.still_in(sitting.workup, names[chosen[0] - 1]))
            return
        words = line.lower().replace(",", " ").split()
        in_line = {"f": ask_frame, "l": ask_live, "w": ask_work, "p": ask_story}
        if words[0] in in_line and words[0] in parts and not parts.keys() >= set(words):
            with suppress(Back):
                in_line[words[0]](sitting, line[1:].strip())
        elif parts.keys() >= set(words):
            with suppress(Back):
                for letter in words:
                    parts[letter][1](sitting)
            shown = False
        else:
            one = f", or of {' '.join(parts)}" if parts else ""
            console.say(f'"{shortened(line, 20)}" is not clear: one of 1 to {len(names)}{one}.')


def _also_known(sitting: Sitting) -> dict[str, tuple[str, Callable[[Sitting], object]]]:
    """What can be told of this car and was not yet, by its letter."""
    none = sitting.workup.record.live or not acts.typed_words(sitting.workup.book)
    values: dict[str, tuple[str, Callable[[Sitting], object]]] = (
        {} if none else {"l": ("live values, such as trims", ask_live)}
    )
    return {**open_parts(sitting), **values}
