"""Values as they are copied off a scan tool, in one line: a freeze frame, `rpm 780 load 24 stft -12 ltft -14`, or live
ones in several states, `idle +4 -14 maf 3.1; 2500 +2 -6 maf 9.8; cruise 0 -4`.

Values may come in any order and each may be left out. They get the names and units that the standard's services give
them (`pids`), so that what was typed and what was pasted are the same from there on.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

from reasoner.measure.pids import LOOPS, DecodedValue
from reasoner.rulebook.quantity import KM_PER_MILE

NORMAL_TRIM = 10.0  # % of a total trim either way; common practice, no source
LOOP_NAME, OPEN = "fuel system 1", "open loop"
TRIM_NAMES = ("short-term trim, bank {}", "long-term trim, bank {}")


@dataclass(frozen=True)
class _Kind:
    """name: as the standard's services have it; `{}` stands for the bank. typed: the unit that is meant where none is.

    least, most: what the standard's scaling can say (SAE J1979, 2002; trims, voltages and pressures by their bytes).
    low, high: what is usual; a value beyond is read back (judgement).
    """

    name: str
    unit: str
    typed: str
    least: float
    most: float
    low: float
    high: float


_LOAD = _Kind("calculated load", "%", "%", 0, 100, 5, 100)
_COOLANT = _Kind("coolant temperature", "°C", "°C", -40, 215, -30, 118)
_SPEED = _Kind("road speed", "km/h", "km/h", 0, 255, 0, 200)
_RUN = _Kind("time since start", "s", "s", 0, 65535, 0, 65535)
_SHORT = _Kind(TRIM_NAMES[0], "%", "%", -100, 100, -40, 40)
_LONG = _Kind(TRIM_NAMES[1], "%", "%", -100, 100, -40, 40)
_MANIFOLD = _Kind("manifold pressure, absolute", "kPa", "kPa", 0, 400, 15, 260)
_AIRFLOW = _Kind("airflow", "g/s", "g/s", 0, 655.35, 1, 350)
_INTAKE = _Kind("intake air temperature", "°C", "°C", -40, 215, -30, 85)
_AMBIENT = _Kind("ambient temperature", "°C", "°C", -40, 215, -35, 50)
_LEVEL = _Kind("fuel level", "%", "%", 0, 100, 0, 100)
_BARO = _Kind("air pressure, absolute", "kPa", "kPa", 0, 255, 65, 108)
_RAIL = _Kind("rail pressure, absolute", "kPa", "bar", 0, 655350, 250, 40000)
_PURGE = _Kind("purge, commanded", "%", "%", 0, 100, 0, 100)
_FRONT = _Kind("oxygen sensor, bank {} sensor 1", "V", "V", 0, 1.275, 0, 1.1)
_REAR = _Kind("oxygen sensor, bank {} sensor 2", "V", "V", 0, 1.275, 0, 1.1)
_VOLTS = _Kind("controller voltage", "V", "V", 0, 65.535, 11, 15.5)
_LAMBDA = _Kind("lambda, bank {} sensor 1", "", "", 0, 2, 0.6, 1.5)
_TIMING = _Kind("ignition timing", "°", "°", -64, 63.5, -20, 60)
_OIL = _Kind("oil temperature", "°C", "°C", -40, 215, -30, 150)
_BOOST = _Kind("charge pressure, absolute", "kPa", "kPa", 0, 400, 60, 300)
_LOW_SIDE = _Kind("fuel pressure above air", "kPa", "bar", 0, 5177.265, 150, 1000)
_INJECTION = _Kind("injection time", "ms", "ms", 0, 100, 0.3, 25)
_EGR = _Kind("exhaust gas recirculation, commanded", "%", "%", 0, 100, 0, 100)
_ETHANOL = _Kind("ethanol in the fuel", "%", "%", 0, 100, 0, 100)
MISFIRE_NAME = "misfires, cylinder {}"

# What people write -> the value meant.
SHORT_NAMES: Mapping[str, _Kind] = {
    **dict.fromkeys(
        (
            "load",
            "clv",
            "calculated load",
            "calculated engine load",
            "engine load",
            "calc load",
            "load pct",
            "load_pct",
        ),
        _LOAD,
    ),
    **dict.fromkeys(
        (
            "coolant",
            "ect",
            "clt",
            "coolant temp",
            "coolant temperature",
            "engine coolant temperature",
            "engine temp",
            "engine temperature",
            "water",
            "water temp",
            "water temperature",
            "tcool",
        ),
        _COOLANT,
    ),
    **dict.fromkeys(("rpm", "engine speed", "engine rpm"), _Kind("engine speed", "rpm", "rpm", 0, 16383.75, 400, 7500)),
    **dict.fromkeys(("speed", "road speed", "vehicle speed", "vss"), _SPEED),
    **dict.fromkeys(
        ("run", "run time", "runtime", "runtm", "since start", "time since start", "time since engine start"), _RUN
    ),
    **dict.fromkeys(
        (
            "st",
            "stft",
            "shrtft",
            "sft",
            "st trim",
            "short",
            "short fuel trim",
            "short trim",
            "short-term trim",
            "short term trim",
            "short term fuel trim",
            "short-term fuel trim",
            "integrator",
        ),
        _SHORT,
    ),
    **dict.fromkeys(
        (
            "lt",
            "ltft",
            "longft",
            "lft",
            "lt trim",
            "long",
            "long fuel trim",
            "long trim",
            "long-term trim",
            "long term trim",
            "long term fuel trim",
            "long-term fuel trim",
            "adaptation",
        ),
        _LONG,
    ),
    **dict.fromkeys(("map", "intake map", "manifold", "manifold pressure"), _MANIFOLD),
    **dict.fromkeys(("maf", "airflow", "air mass", "air flow"), _AIRFLOW),
    **dict.fromkeys(("intake", "iat", "intake air", "intake air temperature"), _INTAKE),
    **dict.fromkeys(("ambient", "aat", "outside", "outside air"), _AMBIENT),
    **dict.fromkeys(("throttle", "throttle position", "tps", "tp"), _Kind("throttle", "%", "%", 0, 100, 0, 100)),
    **dict.fromkeys(("fuel level", "fli", "level", "tank", "fuel"), _LEVEL),
    **dict.fromkeys(("baro", "barometer"), _BARO),
    **dict.fromkeys(("rail", "rail pressure"), _RAIL),
    "frp": replace(_RAIL, typed="kPa"),
    "target": replace(_RAIL, name="rail pressure, commanded"),
    **dict.fromkeys(("fuel pressure", "low side", "low rail", "low pressure", "feed pressure"), _LOW_SIDE),
    **dict.fromkeys(("purge", "purge duty", "evap", "evap purge", "evap_pct"), _PURGE),
    **dict.fromkeys(("front", "upstream"), _FRONT),
    **dict.fromkeys(("rear", "downstream"), _REAR),
    **dict.fromkeys(
        (
            "voltage",
            "volt",
            "volts",
            "vbat",
            "vbatt",
            "batt",
            "vpwr",
            "battery",
            "module voltage",
            "system voltage",
            "control unit voltage",
        ),
        _VOLTS,
    ),
    "lambda": _LAMBDA,
    **dict.fromkeys(("ignition", "timing", "advance", "spark", "sparkadv", "spark advance"), _TIMING),
    **dict.fromkeys(("oil", "oil temperature", "eot"), _OIL),
    **dict.fromkeys(("boost", "charge pressure"), _BOOST),
    **dict.fromkeys(("injection", "injection time"), _INJECTION),
    **dict.fromkeys(("egr", "egr_pct"), _EGR),
    **dict.fromkeys(("ethanol", "alch_pct"), _ETHANOL),
}
# Unit as typed -> how a number in it becomes one in the unit of the value.
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "km/h": {"km/h": (1, 0), "kmh": (1, 0), "mph": (KM_PER_MILE, 0)},
    "°C": {
        "°c": (1, 0),
        "c": (1, 0),
        "degc": (1, 0),
        "deg c": (1, 0),
        "°f": (1 / 1.8, -32 / 1.8),
        "f": (1 / 1.8, -32 / 1.8),
    },
    "s": {"s": (1, 0), "sec": (1, 0), "min": (60, 0)},
    "ms": {"ms": (1, 0)},
    "°": {"°": (1, 0), "deg": (1, 0)},
    "": {"": (1, 0)},
    "kPa": {"kpa": (1, 0), "bar": (100, 0), "mpa": (1000, 0), "psi": (6.894757293168, 0), "inhg": (3.386389, 0)},
    "V": {"v": (1, 0), "mv": (0.001, 0)},
    "g/s": {"g/s": (1, 0)},
    "rpm": {"rpm": (1, 0), "/min": (1, 0), "1/min": (1, 0)},
    "%": {"%": (1, 0)},
}
_WRITTEN = "|".join(
    re.escape(u) for u in sorted({u for known in UNITS.values() for u in known if u}, key=len, reverse=True)
)
_NUMBER = r"[+\-\u2212]?\d+(?:[.,]\d+)?"
_TRIM = "stft|ltft|st|lt|short|long"
FRAME_PARTS = re.compile(
    rf"(?<!\w)(({'|'.join(sorted(SHORT_NAMES, key=len, reverse=True))}) ?(?:b|bank ?)?([12](?=[ =:]))? ?[=:]? ?"
    rf"({_NUMBER}) ?({_WRITTEN})?)(?! ?[=:]? ?[+\-]?\d)(?![\w.])"
)
# `-1..+2` or `8 to 20`; with a stroke between them only behind what is never below nothing, for +4-14 is two trims.
FROM_TO = re.compile(rf"({_NUMBER}) ?%?(?: ?(?:\.\.+|…) ?| to (?=[+\-\u2212\d]))({_NUMBER})")
_POSITIVE = r"lambda|front|upstream|rear|downstream|purge|purge duty|boost|rail|map|ignition|timing|rpm"
BETWEEN = re.compile(rf"(?<!\w)({_POSITIVE})( ?[12])? ?[=:]? ?(\d+(?:[.,]\d+)?) ?[-\u2013] ?(\d+(?:[.,]\d+)?)(?![\w.])")
SWINGS = re.compile(
    r"(?<!\w)(front|upstream|rear|downstream)(?: sensors?)?(?: ?(?:b|bank ?)?([12]))? ?[=:]? ?"
    rf"(switching|swinging|swings|switches|({_NUMBER}) ?(?:-|\u2013|\.\.+| to ) ?({_NUMBER})(?: ?v)?)(?![\w.])"
)
SWINGING = 0.3  # V: a sensor's voltage that moves by so much switches, and no one figure is its reading; judgement
BY_CYLINDER = re.compile(r"(?<!\w)(?:misfires?|misfire count(?:er)?s?)[ =:]+(\d+(?:[ ,/]+\d+)*)(?![\w.])")
# Units that only one value has.
UNIT_ALONE = re.compile(rf"(?<![\w.,])({_NUMBER}) ?(rpm|1/min|/min|km/h|kmh|mph|g/s|v)(?!\w)")
BY_UNIT = {
    **dict.fromkeys(("rpm", "1/min", "/min"), "rpm"),
    **dict.fromkeys(("km/h", "kmh", "mph"), "speed"),
    "g/s": "maf",
    "v": "voltage",
}
BOTH_BANKS = re.compile(  # one name, two numbers: bank 1, then bank 2
    rf"(?<!\w)({_TRIM})(?:[ =:]+|(?=[+\-\u2212]))({_NUMBER}) ?%?"
    rf"(?: ?/ ?| (?=[+\-\u2212]))({_NUMBER})(?![\w.])"
)
LOOP_WORDS = re.compile(
    r"(open|closed) loop"
    rf"(?:[ :]+(?:by |with |with a |by a )?(cold|not warm|load(?! ?[=:]? ?{_NUMBER})|overrun|fuel cut|fault))?"
)
FUEL_SYSTEM = re.compile(  # as readers shorten it
    r"(?:fss|fuel ?(?:system|sys)?(?: status)?)(?: ?[12])?[ =:]+"
    r"(?:(cl|ol)(?:[- ]drive)?(?!\w)|(?=(?:closed|open) loop))"
)
SENTENCE_ENDS = re.compile(r"(?<=[\w%\u00b0])\.(?= |$)")
# What readers and people write before a frame's values and between them, and means nothing.
HEADINGS = re.compile(
    r"(?<!\w)(?:freeze(?:[ -]?frame)?|frame|ff|dtcfrzf|dtc|data|values)"
    r"(?: (?:of|for|at))?(?: ?:)?(?!\w)"
)
# Frames that are numbered, `frame 2:`; the first word may have gone with the command.
NUMBERED_FRAME = re.compile(r"(?<!\w)(?:freeze ?)?(?:frame ?\d ?[:)]|(?<!.)\d ?[:)])", re.IGNORECASE)
# What stands beside a code: its state, and the bank that it names itself.
BESIDE_A_CODE = re.compile(
    r"(?<!\w)(?:(?:pending|stored|confirmed|permanent|current|active|history)(?!\w)|\(bank [12]\))"
)
LETTERS = re.compile(r"(?<!\w)([nv]) ?= ?(?=\d)")  # `n=790`, `v=0`: of speeds, as formulas have them
TWO_TRIMS = re.compile(  # `trims -13 and -16`: short and long
    rf"(?<!\w)(?<!short )(?<!long )(?<!term )(?<!fuel )(?:fuel )?trims?[ =:]+({_NUMBER}) ?%?"
    rf"(?: ?and ?| ?, ?| )(?={_NUMBER} ?%?(?: ?,|$| [a-z]{{2}}))"
)
SENSOR_NAMES = re.compile(r"(?<!\w)(?:o2s?|o2 sensor)[ _-]?b?([12])[ _-]?s?([12])(?!\w)")  # `o2s12`: bank 1, sensor 2
BANK_FIRST = re.compile(  # `b2 stft -22 ltft -18`
    rf"(?<!\w)(?:b|bank ?)([12])[ :]+((?:(?:{_TRIM})[ =:]*{_NUMBER} ?%?[ ,]*)+)"
)
CLOCK = re.compile(r"(?<![\d.,:])(\d{1,2}):(\d\d):(\d\d)(?![\d:])")  # a time since the start
OTHER_VALUE = re.compile(
    rf"(?<![\w.,])[a-z][a-z0-9_]*(?: [a-z][a-z0-9_]*)? ?[=:]? ?{_NUMBER} ?(?:%|[a-z/\u00b0]{{1,4}}\b)?(?![\w.])"
)
STATUS = {"cold": 1, "not warm": 1, "load": 4, "overrun": 4, "fuel cut": 4, "fault": 8}
TYPED_CODE = re.compile(r"\b[pbcu][0-3][0-9a-f]{3}\b")


KNOWN_ENOUGH = 3  # values of a line from which others under unknown names are set aside; judgement


@dataclass(frozen=True)
class Frame:
    """values: named as those of the standard's services. codes: whose frame it is, as typed. unread: what was not
    understood. other: values under names that are not known here: no use is made of them.

    wrong: what cannot be, each with what can. odd: name of a value that is not usual -> as it was typed, and its unit.
    """

    values: tuple[DecodedValue, ...]
    codes: tuple[str, ...]
    unread: str
    wrong: tuple[str, ...] = ()
    odd: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    other: tuple[str, ...] = ()


def frames_in(line: str) -> list[str]:
    """The frames of a line, each by itself, where they are numbered in it: `frame 1: load 24; frame 2: load 60`."""
    begins = [match.start() for match in NUMBERED_FRAME.finditer(line)]
    if len(begins) < 2:
        return [line]
    return [line[at:end].strip(" ,;") for at, end in pairwise([*begins, len(line)])]


def begins_a_list(line: str) -> bool:
    """Whether a line is the first of a frame that was copied a value a line: a code, or one value, and no more."""
    frame = read_frame(line)
    return bool(frame.codes or frame.values) and len(frame.values) <= 1 and not (frame.wrong or frame.unread)


def read_frame(line: str) -> Frame:
    """The values of one frame; `stft -11 -12` or `-11 / -12` are both banks. Never raises."""
    text = " ".join(line.lower().replace(";", ",").split())
    codes = tuple(dict.fromkeys(code.upper() for code in TYPED_CODE.findall(text)))
    rest = _one_way_of_writing(TYPED_CODE.sub(" , ", BESIDE_A_CODE.sub(" ", text) if codes else text))
    status = LOOP_WORDS.search(rest)
    rest, swinging = _swinging(LOOP_WORDS.sub(" ", rest))
    rest = FROM_TO.sub(_middle, BETWEEN.sub(_middle, rest))
    rest = BOTH_BANKS.sub(r"\g<1>1 \g<2> \g<1>2 \g<3>", rest)
    values, wrong, odd = [*_loop(status), *swinging], list[str](), dict[str, tuple[str, str]]()
    alone = "".join(
        f" {BY_UNIT[unit]} {number} {unit}" for number, unit in UNIT_ALONE.findall(FRAME_PARTS.sub(" , ", rest))
    )
    left = UNIT_ALONE.sub(" ", FRAME_PARTS.sub(" , ", rest))
    for match in FRAME_PARTS.finditer(f"{rest} ,{alone}" if alone else rest):
        whole, said, bank, number, unit = match.groups()
        kind = SHORT_NAMES[said]
        value = _value(kind, number, unit)
        if value is None or not kind.least <= value <= kind.most:
            wrong.append(f"{whole.strip()} cannot be: {_span(kind)}")
            continue
        name = kind.name.format(bank or 1)
        values.append(DecodedValue(name, value, kind.unit))
        if not kind.low <= value <= kind.high:
            odd[name] = (whole.strip(), unit or kind.typed)
    other = OTHER_VALUE.findall(left) if len(values) >= KNOWN_ENOUGH else []
    left = OTHER_VALUE.sub(" ", left) if other else left
    unread = " ".join(re.sub(r"[,\s]+|(?<![^\s,])[:.=/()|-]+(?![^\s,])", " ", left).split())
    said = tuple(" ".join(each.split()) for each in other)
    return Frame(tuple(values), codes, unread, tuple(wrong), odd, said)


@dataclass(frozen=True)
class State:
    """Live values of one state. words: that stood before them ("" = none). rich: as it was said, else None. odd: as of
    a frame."""

    words: str
    rich: bool | None
    values: tuple[DecodedValue, ...]
    odd: Mapping[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Live:
    """Live values by state, in the order typed. unread, wrong: as of a frame. known_first: the words the line begins
    with are a state or a value."""

    states: tuple[State, ...]
    unread: str = ""
    wrong: tuple[str, ...] = ()
    known_first: bool = True


_PAIR = rf"({_NUMBER}) ?%?(?:[ ,]+|(?=[+\-\u2212]))({_NUMBER}) ?%?(?![\w.])"
_BARE = r"^ ?|(?<=[\d%] )(?=[+\-\u2212]|0 [+\-\u2212])"  # first, or with signs
_NAMED = r"(?<!\w)trims? ?(?:(?:b|bank ?)([12])(?=[ =:]))? ?[=:]? ?"
_BANK_2 = r"(?: ?/ ?|[ ,]+(?=[+\-\u2212]?\d{1,2}\b))"
TRIM_WORDS = re.compile(rf"(?:{_BARE}|{_NAMED}){_PAIR}(?:{_BANK_2}{_PAIR})?")
TOTAL = re.compile(rf"{_NAMED}{_NUMBER}")
RICH_WORDS = re.compile(r"(?<!\w)(not rich|quiet|rich)(?!\w)")


AS_STATE = (
    rf"(?::|(?= (?:not rich|rich|quiet|trims?|{'|'.join(sorted(SHORT_NAMES, key=len, reverse=True))})\b)"
    rf"|(?= ?{_NUMBER} ?%?[ ,]+{_NUMBER}(?![\d.]) ?%?(?![ ,]*[+\-\u2212]?\d)))"
)


def read_live(line: str, states: Collection[str]) -> Live:
    """Live values, `idle +4 -14 maf 3.1 quiet; 2500 ...`. states: the words that a state may have, in lower case.

    Two numbers first, with signs, or after `trim` are short-term and long-term trim; those of bank 2 follow, with a
    stroke between or without. Never raises.
    """
    text = _ranges(" ".join(re.sub(r"[;|\n]", " , ", line.lower()).split()))
    found, unread, wrong = list[State](), list[str](), list[str]()
    for words, said in _parted(text, states):
        rich = RICH_WORDS.search(said)
        said = TRIM_WORDS.sub(_as_two, RICH_WORDS.sub(" ", said).strip(" ,:"))
        if total := TOTAL.search(said):
            wrong.append(f"{total[0].strip()} is one number: short and long are wanted both, such as trim +4 -14")
            continue
        frame = read_frame(said)
        names = [value.name for value in frame.values]
        wrong += frame.wrong
        twice = [name for name in dict.fromkeys(names) if names.count(name) > 1]
        both = sorted(word for word in states if word in SHORT_NAMES and re.search(rf"\b{word}\b", said))
        hint = f"; {both[0]} is a value too: as a state write it with a colon, {both[0]}: 0 -4" if both else ""
        wrong += [f"{name} is there twice{hint}" for name in twice]
        unread += filter(None, (frame.unread, *frame.other, *frame.codes))
        if frame.values:
            found.append(State(words, None if rich is None else rich[1] == "rich", frame.values, frame.odd))
        elif words and not frame.unread:
            wrong.append(f"nothing stands after {words}")
    begins = re.match(r"[a-z][a-z -]*[a-z]", text)
    left = " ".join(unread)
    return Live(tuple(found), left, tuple(wrong), not (begins and left.startswith(begins[0])))


def totals(values: Iterable[DecodedValue]) -> dict[int, float]:
    """Total trim in %, short and long, of every bank of which both are there."""
    known = {value.name: value.value for value in values}
    pairs = {bank: [known.get(name.format(bank)) for name in TRIM_NAMES] for bank in (1, 2)}
    return {
        bank: short + long
        for bank, (short, long) in pairs.items()
        if isinstance(short, float | int) and isinstance(long, float | int)
    }


def with_meaning(values: Iterable[DecodedValue]) -> tuple[DecodedValue, ...]:
    """Without the trims where the loop was open: they stand still then, and say nothing of the mixture."""
    known = tuple(values)
    trims = {name.format(bank) for name in TRIM_NAMES for bank in (1, 2)}
    open_loop = any(v.name == LOOP_NAME and str(v.value).startswith(OPEN) for v in known)
    return tuple(v for v in known if v.name not in trims) if open_loop else known


def runs_rich(values: Iterable[DecodedValue]) -> bool | None:
    """Whether the trims say that it was rich when they were read; None where they say nothing."""
    found = totals(with_meaning(values))
    return min(found.values()) < -NORMAL_TRIM if found else None


def _parted(text: str, states: Collection[str]) -> list[tuple[str, str]]:
    """The words of each state, with what follows them. A word that is also the name of a value is a state before a
    colon, two numbers or the name of another value: `load 0 15 maf 88`, but `load 24`, `load 24 +4 -14`."""
    words = sorted(states, key=len, reverse=True)
    named = "|".join(re.escape(word) + (AS_STATE if word in SHORT_NAMES else r"(?=[ :,]|$)") for word in words)
    marks = list(re.finditer(rf"(?<![\w.+\-\u2212])(?<!rpm )(?<!rpm: )(?:{named}):?", text)) if words else []
    ends = [*(mark.start() for mark in marks), len(text)]
    parts = [("", text[: ends[0]])]
    for mark, end in zip(marks, ends[1:], strict=True):
        word = mark[0].strip(" :")
        before, nothing = parts[-1]
        if before and word[0].isdigit() and not nothing.strip(" ,:"):  # `cruise 2500 rpm`: at that speed
            parts[-1] = (before, f"rpm {word.split()[0]} {text[mark.end() : end].strip()}")
        else:
            parts.append((word, text[mark.end() : end]))
    return [(words, said) for words, said in parts if words or said.strip(" ,")]


def _as_two(match: re.Match[str]) -> str:
    bank, *numbers = match.groups()
    pairs = zip((bank or "1", "2"), (numbers[:2], numbers[2:]), strict=True)
    return "".join(f" stft b{place} {two[0]} ltft b{place} {two[1]} " for place, two in pairs if two[0])


def _one_way_of_writing(text: str) -> str:
    """A frame as readers show it and people copy it, with one name and one form for what has several."""
    text = HEADINGS.sub(" , ", SENTENCE_ENDS.sub(" ,", NUMBERED_FRAME.sub(" ", text)))
    text = TWO_TRIMS.sub(r"stft \1 ltft ", text)
    text = LETTERS.sub(lambda m: {"n": "rpm ", "v": "speed "}[m[1]], text)
    text = SENSOR_NAMES.sub(lambda m: f"{'rear' if m[2] == '2' else 'front'}{m[1]}", text)
    text = BANK_FIRST.sub(_of_bank, text)
    text = FUEL_SYSTEM.sub(lambda m: {"cl": "closed loop ,", "ol": "open loop ,"}.get(m[1], " "), text)
    return CLOCK.sub(lambda m: f"{(int(m[1]) * 60 + int(m[2])) * 60 + int(m[3])}", text)


def _of_bank(match: re.Match[str]) -> str:
    """Trims after the name of their bank, each with that bank."""
    return re.sub(rf"(?<!\w)({_TRIM})(?=[ =:\d+\-\u2212])", rf"\g<1>{match[1]}", match[2])


def _loop(status: re.Match[str] | None) -> list[DecodedValue]:
    """Open loop without a word why is kept as that: it may be either of three."""
    if status is None:
        return []
    if status[1] == "open" and not status[2]:
        return [DecodedValue(LOOP_NAME, OPEN)]
    number = STATUS[status[2]] if status[1] == "open" else 16 if status[2] == "fault" else 2
    return [DecodedValue(LOOP_NAME, LOOPS[number])]


def _swinging(text: str) -> tuple[str, list[DecodedValue]]:
    """Sensors that were seen to switch, as text, and what is left: `front 0.1-0.8`, `front switching`. Misfires by
    cylinder, `misfires 0 0 12 0`."""
    found = list[DecodedValue]()

    def kept(match: re.Match[str]) -> str:
        word, bank, _, low, high = match.groups()
        if low and abs(_number(high) - _number(low)) < SWINGING:
            return match[0]
        kind = SHORT_NAMES[word]
        found.append(DecodedValue(kind.name.format(bank or 1), f"{low} to {high} V" if low else "switching"))
        return " "

    def counted(match: re.Match[str]) -> str:
        counts = re.findall(r"\d+", match[1])
        if len(counts) == 1:  # of all cylinders
            found.append(DecodedValue("misfires", float(counts[0])))
            return " "
        found.extend(DecodedValue(MISFIRE_NAME.format(place), float(count)) for place, count in enumerate(counts, 1))
        return " "

    return BY_CYLINDER.sub(counted, SWINGS.sub(kept, text)), found


def _ranges(text: str) -> str:
    """With the middle of every range, but for sensors that switch."""
    pieces, at = list[str](), 0
    for match in SWINGS.finditer(text):
        pieces += [FROM_TO.sub(_middle, text[at : match.start()]), match[0]]
        at = match.end()
    return "".join([*pieces, FROM_TO.sub(_middle, text[at:])])


def _middle(match: re.Match[str]) -> str:
    """The middle of the two figures between which a value moved; the name before it stays."""
    *before, low, high = match.groups()
    return " ".join([*filter(None, before), f"{(_number(low) + _number(high)) / 2:g}"])


def _number(text: str) -> float:
    return float(text.replace(",", ".").replace("\u2212", "-"))


def _value(kind: _Kind, number: str, unit: str | None) -> float | None:
    """In the unit of its kind; None where the unit typed is of another."""
    known = UNITS[kind.unit]
    scale = known.get(unit or kind.typed.lower())
    return None if scale is None else _number(number) * scale[0] + scale[1]


def _span(kind: _Kind) -> str:
    factor = UNITS[kind.unit][kind.typed.lower()][0]
    return f"{kind.least / factor:g} to {kind.most / factor:g} {kind.typed}"
