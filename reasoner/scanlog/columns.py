"""What a log can hold, and headers to quantities, places and units, by their words; what is not clear is left open.

A header is cut into words; the set of words of a quantity that covers most of it wins. `Short Term Fuel Trim - Bank 1
(%)`, `short_trim_b1 [%]` and `SHRTFT1` are one quantity. Lambda of PIDs 24-2B, 34-3B and 44 is below 1 when rich, also
where a header calls it an equivalence ratio (SAE J1979, from memory). Wording of the parameters of service 01 in SAE
J1979 / ISO 15031-5, annex B, and their short names in the same annex (SHRTFT1, EVAP_PCT, ...); from memory. Bounds are
what a sensor of this kind can say of a petrol car: common practice, no source."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from reasoner.measure import units
from reasoner.measure.reading import as_typed
from reasoner.scanlog.tongues import english

# ---- what a log can hold ---------------------------------------------------------------------------------------------


TIME, DATE = "time", "date"
SPEED, ROAD, SINCE_START = "engine speed", "road speed", "time since start"
COOLANT, INTAKE, OUTSIDE, OIL = (
    "coolant temperature",
    "intake air temperature",
    "ambient temperature",
    "oil temperature",
)
AIRFLOW, MANIFOLD, BAROMETER = "airflow", "manifold pressure, absolute", "air pressure, absolute"
LOAD, ABSOLUTE_LOAD, THROTTLE, PEDAL = "calculated load", "absolute load", "throttle", "accelerator"
SHORT, LONG, TOTAL, LOOP = "short-term trim", "long-term trim", "total trim", "fuel system"
LAMBDA, LAMBDA_WANTED, SENSOR = "lambda", "lambda, commanded", "oxygen sensor"
PURGE, LEVEL, ETHANOL, FUEL_RATE = "purge, commanded", "fuel level", "ethanol in the fuel", "fuel rate"
NOT_KNOWN = "not known"  # the note of a column whose name says nothing
RAIL, RAIL_WANTED, VOLTAGE, MISFIRES = "rail pressure", "rail pressure, commanded", "controller voltage", "misfires"
IGNITION, BEHIND, CODES, LAMP = "ignition advance", "sensor behind the catalyst", "codes", "warning lamp"


@dataclass(frozen=True)
class Quantity:
    """unit: what it is kept in. least, most: what can be, in that unit. usual: where its median lies in any log.

    at: "engine", "bank" or "cylinder". words: each entry a set of words that name it; a header has all of one set.
    never: words that say it is something else.
    """

    name: str
    unit: str
    least: float
    most: float
    words: tuple[str, ...]
    at: str = "engine"
    never: str = ""
    usual: tuple[float, float] | None = None

    @property
    def sets(self) -> tuple[frozenset[str], ...]:
        return tuple(frozenset(w.split()) for w in self.words)

    @property
    def not_with(self) -> frozenset[str]:
        return frozenset(self.never.split())


_LAMBDA_WORDS = (
    "lambda",
    "equivalence ratio",
    "eq rat",
    "fuel air equivalence ratio",
    "air fuel ratio",
    "afr",
    "lambda afr",
    "oxygen sensor lambda",
    "oxygen sensor equivalence ratio",
    "oxygen sensor wide range equivalence ratio",
)

QUANTITIES: tuple[Quantity, ...] = (
    Quantity(TIME, "s", -1e12, 1e12, ("time", "timestamp", "elapsed", "elapsed time", "clock", "clock time", "seconds",
                                      "log time", "date time", "unix", "unix time", "unix timestamp", "epoch",
                                      "epoch time"), never="since start run"),
    Quantity(DATE, "", 0, 1e9, ("date",), never="time"),
    Quantity(SPEED, "rpm", 0, 16384, ("engine speed", "rpm", "engine rpm", "engine revolutions", "revs"),
             never="vehicle road turbine commanded"),
    Quantity(ROAD, "km/h", 0, 400, ("vehicle speed", "road speed", "vss", "speed", "vehicle speed sensor"),
             never="engine"),
    Quantity(SINCE_START, "s", 0, 1e6, ("time since start", "time since engine start", "run time", "engine run time",
                                        "runtm")),
    Quantity(COOLANT, "°C", -45, 150, ("coolant temperature", "engine coolant temperature", "ect", "coolant",
    "engine temperature",
                                  "water temperature", "clt"),
             usual=(-40, 125)),
    Quantity(INTAKE, "°C", -45, 150, ("intake air temperature", "intake temperature", "iat"), usual=(-40, 90)),
    Quantity(OUTSIDE, "°C", -50, 70, ("ambient air temperature", "ambient temperature", "outside temperature",
                                      "outside air temperature", "aat"), usual=(-40, 50)),
    Quantity(OIL, "°C", -45, 180, ("engine oil temperature", "oil temperature", "eot"), usual=(-40, 150)),
    Quantity(AIRFLOW, "g/s", 0, 700, ("air flow rate", "mass air flow", "mass airflow", "mass air flow rate", "airflow",
                                      "air flow", "maf", "maf air flow rate", "air mass", "airmass"),
             never="temperature voltage commanded frequency", usual=(1.2, 150)),
    Quantity(MANIFOLD, "kPa", 0, 400, ("manifold absolute pressure", "intake manifold absolute pressure",
                                       "manifold pressure", "intake manifold pressure", "map"),
             never="commanded", usual=(15, 250)),
    Quantity(BAROMETER, "kPa", 45, 115, ("barometric pressure", "barometer", "ambient pressure", "ambient air pressure",
                                         "air pressure absolute", "barometric"), usual=(55, 108)),
    Quantity(LOAD, "%", 0, 255, ("calculated load", "calculated engine load", "engine load", "load", "load pct"),
             never="absolute"),
    Quantity(ABSOLUTE_LOAD, "%", 0, 500, ("absolute load", "load abs")),
    Quantity(THROTTLE, "%", 0, 101, ("throttle", "throttle position", "absolute throttle position",
    "absolute throttle", "tp", "tps"),
             never="commanded actuator accelerator relative"),
    Quantity(PEDAL, "%", 0, 101, ("accelerator", "accelerator pedal position", "accelerator position", "pedal",
                                  "pedal position", "app", "accelerator pedal")),
    Quantity(SHORT, "%", -100, 100, ("short trim", "short fuel trim", "short term trim", "short term fuel trim",
                                     "stft", "shrtft"), "bank", never="secondary downstream oxygen"),
    Quantity(LONG, "%", -100, 100, ("long trim", "long fuel trim", "long term trim", "long term fuel trim",
                                    "ltft", "longft"), "bank", never="secondary downstream oxygen"),
    Quantity(TOTAL, "%", -100, 100, ("total trim", "total fuel trim"), "bank"),
    Quantity(LOOP, "", 0, 255, ("fuel system", "fuel system status", "fuelsys", "loop", "loop status", "closed loop"),
             "bank"),
    Quantity(LAMBDA, "", 0.3, 4, _LAMBDA_WORDS, "bank", never="commanded"),
    Quantity(LAMBDA_WANTED, "", 0.3, 4, tuple(f"commanded {w}" for w in _LAMBDA_WORDS)),
    Quantity(SENSOR, "V", 0, 5, ("oxygen sensor voltage", "oxygen sensor", "oxygen sensor output voltage",
                                 "oxygen voltage"), "bank", never="lambda equivalence current heater trim downstream"),
    Quantity(BEHIND, "V", 0, 5, ("oxygen sensor downstream", "oxygen downstream", "lambda downstream",
                                 "downstream sensor", "oxygen sensor voltage downstream",
                                 "sensor downstream voltage"), "bank",
             never="equivalence current heater trim commanded temperature"),
    Quantity(PURGE, "%", 0, 101, ("purge", "evaporative purge", "commanded purge", "commanded evaporative purge",
                                  "evaporative", "canister purge", "purge duty", "purge valve duty"),
             never="pressure"),
    Quantity(LEVEL, "%", 0, 101, ("fuel level", "fuel level input", "fuel tank level", "fli")),
    Quantity(ETHANOL, "%", 0, 101, ("ethanol", "alcohol fuel", "ethanol fuel", "alcohol fuel percentage", "alch pct")),
    Quantity(FUEL_RATE, "L/h", 0, 400, ("fuel rate", "engine fuel rate")),
    Quantity(RAIL, "kPa", 0, 60000, ("rail pressure", "fuel rail pressure", "fuel pressure", "fuel rail gauge pressure",
                                     "fuel rail absolute pressure", "frp"), never="commanded", usual=(150, 45000)),
    Quantity(RAIL_WANTED, "kPa", 0, 60000, ("commanded rail pressure", "commanded fuel rail pressure",
                                            "commanded fuel pressure", "commanded frp"), usual=(150, 45000)),
    Quantity(VOLTAGE, "V", 0, 36, ("controller voltage", "control module voltage", "vpwr", "battery voltage", "battery",
                                   "supply voltage")),
    Quantity(MISFIRES, "", 0, 65535, ("misfires", "misfire", "misfire count", "misfire counts", "misfires cylinder",
                                      "misfire cylinder", "misfire count cylinder"), "cylinder"),
    Quantity(IGNITION, "deg", -64, 64, ("ignition advance", "ignition timing", "ignition timing advance",
                                        "ignition angle", "timing", "timing advance", "spark advance", "spark angle",
                                        "spark timing"),
             never="commanded knock retard"),
    Quantity(CODES, "", 0, 255, ("codes", "trouble codes", "dtc", "dtcs", "dtc count", "fault codes", "stored codes")),
    Quantity(LAMP, "", 0, 1, ("lamp", "mil", "mil on", "warning lamp", "malfunction indicator lamp", "check light",
                              "warning light"), never="distance"),
)  # fmt: skip

BY_NAME = {q.name: q for q in QUANTITIES}


@dataclass(frozen=True, order=True)
class PlacedQuantity:
    """A quantity at a place: bank or cylinder from 1, 0 for the whole engine."""

    quantity: str
    place: int = 0

    def __str__(self) -> str:
        return f"{self.quantity}, {BY_NAME[self.quantity].at} {self.place}" if self.place else self.quantity


# ---- what a header says ----------------------------------------------------------------------------------------------


LONGEST_HEADER = 200  # characters of a header that are looked at

_SYNONYMS = {
    "temp": "temperature", "press": "pressure", "pres": "pressure", "spd": "speed", "veh": "vehicle", "eng": "engine",
    "abs": "absolute", "calc": "calculated", "baro": "barometric", "cmd": "commanded", "cmnd": "commanded",
    "target": "commanded", "desired": "commanded", "wanted": "commanded", "setpoint": "commanded",
    "specified": "commanded", "rear": "downstream", "post": "downstream", "behind": "downstream", "after": "downstream",
    "equiv": "equivalence", "evap": "evaporative", "trims": "trim", "ft": "trim",
    "ign": "ignition", "adv": "advance", "misf": "misfires", "o2": "oxygen", "o2s": "oxygen", "λ": "lambda",
    "cyl": "cylinder", "accel": "accelerator", "volts": "voltage", "sys": "system",
    "pos": "position",
}  # fmt: skip
_FILLING = frozenset(
    {"sensor", "value", "actual", "measured", "current", "input", "output", "position", "the", "of", "from", "in", "at",
     "by", "a", "b", "for", "and", "term", "duty", "status", "percent", "percentage", "pct", "level", "relative",
     "degree", "engine", "fuel", "bank", "system", "total", "raw", "number", "valve", "module", "upstream", "front",
     "wide", "range", "band", "factor",
     "gauge", "vacuum", "rate", "to", "pid", "mode", "service", "catalyst", "cat", "cold", "warm", "flow"}
)  # fmt: skip
_SHORT_NAME = re.compile(r"(SHRTFT|LONGFT|FUELSYS|O2S|EQ[_ ]RAT|LAMBDA)[_ ]?([12])?([1-4])?", re.I)
_SHORT_NAMES = {  # SAE J1979 annex B, from memory: without a number, EQ_RAT and LAMBDA are what is commanded
    "SHRTFT": "shrtft", "LONGFT": "longft", "FUELSYS": "fuelsys", "O2S": "oxygen sensor", "EQ_RAT": "lambda",
    "LAMBDA": "lambda",
}  # fmt: skip
_TURNS = re.compile(
    r"(?<![A-Za-z])(?:rpm[ _])?(?:(?:U|tr|r|rev|giri|obr|omw)[ _/]?min|1[ _/]min|min-1)(?![a-z0-9])", re.I
)
_TRIM = re.compile(r"(?<![a-z])(st|lt)[ _]?(?=(?:fuel[ _])?(?:trim|ft))", re.I)
_RUN_TOGETHER = {
    "gps": "g/s", "gs": "g/s", "kgh": "kg/h", "kgph": "kg/h", "lbmin": "lb/min", "lbm": "lb/min", "lph": "L/h",
    "kmh": "km/h", ":1": "lambda", "volt": "V", "volts": "V", "pct": "%", "perc": "%", "prc": "%", "prozent": "%",
    "procent": "%",
}  # fmt: skip
_PLAIN = frozenset({"factor", "ratio", "afr", ":1", "fraction", "-", "1"})  # in brackets: a plain number
_NO_UNITS = frozenset({"at", "in", "a", "b", "m", "d", "h", "l", "g", "r", "min", "o", "lambda"})
_MEANT = {  # what a unit says that the words leave out
    "temperature": frozenset({"temperature"}), "pressure": frozenset({"pressure"}), "voltage": frozenset({"voltage"}),
    "time": frozenset({"time"}), "rotation": frozenset({"engine", "speed"}),
    "length/time": frozenset({"vehicle", "speed"}),
}  # fmt: skip
_RATES = frozenset({"mass/time", "length/time", "volume/time", "rotation"})
_CLOCK = re.compile(r"[\[(]?\bhh?[:.]mm(?:[:.]ss(?:[.,][a-z0-9]+)?)?\b[\])]?", re.I)  # `Time (HH:MM:SS)`
_UNKNOWN = re.compile(r"[\[(]\s*([a-zµ]{1,4}\s?/\s?[a-zµ.]{2,8})\s*[\])]", re.I)  # `[mg/stroke]`
_ON_THE_WORD = re.compile(r"(?<![a-z])(stft|ltft|shrtft|longft|lambda|afr|trim|o2|o2s)[ _.#-]?([12])(?![0-9a-z])", re.I)
_SENSOR_PAIR = re.compile(r"(?<![a-z])o2s?[ _]?([12])[ _]?([1-4])(?![0-9])", re.I)
_BANK = re.compile(r"(?<![a-z])(?:bank|bnk|b)[ _.#-]?([12])(?![0-9])", re.I)
_SENSOR = re.compile(r"(?<![a-z])(?:sensor|sens|s)[ _.#-]?([1-4])(?![0-9])", re.I)
_BOTH = re.compile(r"(?<![a-z])b([12])[ _-]?s([1-4])(?![0-9])", re.I)
_CYLINDER = re.compile(r"(?<![a-z])(?:cylinder|cyl|zyl|misf)[ _.#-]*([0-9]{1,2})(?![0-9])", re.I)
_SYSTEM = re.compile(r"(?<![a-z])(?:system(?:[ _]status)?|loop(?:[ _]status)?)[ _.#-]?([12])(?![0-9])", re.I)
_UNIT = re.compile(r"[\[(<{]([^\])>}]*)[\])>}]")
_WORD = re.compile(r"[a-z]+[0-9]?(?![a-z0-9])|[a-zλ]+|[0-9]+")


@dataclass(frozen=True)
class ColumnUse:
    """One column of the file. key: None where it is not used. unit: of the numbers in the file.

    unit_from: "header", "row below", "mapping", "assumed" (the standard's), "values" (no other unit is possible).
    note: why it is not used, or what was taken for granted.
    """

    header: str
    key: PlacedQuantity | None
    unit: str = ""
    unit_from: str = ""
    note: str = ""


@lru_cache(4096)
def recognise(header: str) -> ColumnUse:
    """What one header says. Never raises."""
    shown = as_typed(header)
    text = _TURNS.sub("rpm", unicodedata.normalize("NFKC", header[:LONGEST_HEADER]).strip().strip("\"'"))
    found = _said(text)
    if isinstance(found, str):
        foreign = _said(english(text))
        found = found if isinstance(foreign, str) else foreign
    if isinstance(found, str):
        return ColumnUse(shown, None, note=found)
    quantity, place, sensor, unit = found
    if sensor > 1 and quantity.name in (SENSOR, LAMBDA):
        if quantity.name == LAMBDA and not (unit and unit.dimension == "voltage"):
            return ColumnUse(shown, None, note="lambda behind the catalyst: not used")
        quantity = _BY[BEHIND]
    if sensor > 2:
        return ColumnUse(shown, None, note="a third sensor of the bank: not used")
    place = {"engine": 0, "bank": place or 1}.get(quantity.at, place)
    name = unit.name if unit else quantity.unit
    return ColumnUse(shown, PlacedQuantity(quantity.name, place), name, "header" if unit else "assumed")


def _said(text: str) -> tuple[Quantity, int, int, units.Unit | None] | str:
    """The quantity of a header, its place, which sensor of the bank (0 = not said) and the unit; or why there is none.

    The unit may stand in brackets, at the end, or anywhere among the words: whichever leaves words that name a quantity
    it can be of.
    """
    text = _CLOCK.sub(" ", text).strip()
    if text.lower() == "t":
        return _BY[TIME], 0, 0, None
    foreign = _UNKNOWN.search(text)
    if foreign and units.find_unit(foreign[1]) is None and _unit_of(re.split(r"(/)", foreign[1])) is None:
        return f"{foreign[1]} is no unit that is known here"  # a quantity of another kind, such as air for each stroke
    rest, unit = _unit(text)
    place, sensor, words = _place(rest)
    found = _best(_words(words), unit)
    if isinstance(found, str) and unit is not None:  # `engine rpm`: the unit is one of the words
        again = _best(_words(_place(text)[2]), unit)
        found = found if isinstance(again, str) else again
    if isinstance(found, str) and unit is not None and unit.dimension == "temperature":  # `intake air °C`
        again = _best(_words(words) | {"temperature"}, unit)
        found = found if isinstance(again, str) else again
    if unit is None or isinstance(found, str):
        for left, other in _units_within(text):
            spot, number, words = _place(left)
            for tokens in (_words(words), _words(words) | _MEANT.get(other.dimension, frozenset())):
                again = _best(frozenset(tokens - {"t", "n", "v"}), other)
                if (
                    not isinstance(again, str)
                    and unit_fits(other, again)
                    and (isinstance(found, str) or found is again)
                ):
                    return again, spot, number, other
    return found if isinstance(found, str) else (found, place, sensor, unit)


def _units_within(text: str) -> Iterator[tuple[str, units.Unit]]:
    """Units that stand anywhere among the words of a header (`x_kg_h`, `flow g s meas`), the longest first, with what
    is left of it. Words that are hardly ever meant as a unit (`at`, `in`) are none."""
    parts = []
    for word in text.replace("_", " ").replace("-", " ").split():
        word = word.strip("[](){}<>,;:")
        parts += [word] if units.find_unit(word) else re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", word).split()
    for length in (3, 2, 1):
        for i in range(len(parts) - length, -1, -1):
            unit = _unit_of(parts[i : i + length])
            if unit is not None:
                yield " ".join([*parts[:i], *parts[i + length :]]), unit


def _unit_of(parts: Sequence[str]) -> units.Unit | None:
    small = [p.lower() for p in parts]
    if len(parts) == 1:
        name = _RUN_TOGETHER.get(small[0], parts[0])
        return (
            None if small[0] in _NO_UNITS or name.isdigit() else units.find_unit(name.upper() if name == "k" else name)
        )
    if len(parts) == 2 and small[0] in ("deg", "degree", "degrees") and small[1] in ("c", "f"):
        return units.find_unit(small[1])
    if len(parts) == 3 and small[1] != "per":
        return None
    unit = units.find_unit(f"{small[0]}/{small[-1]}")
    return unit if unit is not None and unit.dimension in _RATES else None


def assign(headers: Sequence[str], below: Sequence[str] = ()) -> tuple[ColumnUse, ...]:
    """Every column of a header row; the first of two that are the same quantity is used. below: a row of units."""
    uses: list[ColumnUse] = []
    met: dict[PlacedQuantity, str] = {}
    for i, header in enumerate(headers):
        use = recognise(header)
        if use.key is not None and use.unit_from == "assumed" and i < len(below):
            unit = units.find_unit(below[i].strip().strip("[](){}<>"))
            if unit is not None and unit_fits(unit, _BY[use.key.quantity]):
                use = ColumnUse(use.header, use.key, unit.name, "row below")
        uses.append(once(use, met))
    return tuple(uses)


def once(use: ColumnUse, met: dict[PlacedQuantity, str]) -> ColumnUse:
    """The use itself, or as not used where `met` (key to header) has the same quantity already."""
    if use.key is None:
        return use
    if use.key in met:
        return ColumnUse(use.header, None, use.unit, use.unit_from, f"the same as `{met[use.key]}`, which is used")
    met[use.key] = use.header
    return use


def unit_fits(unit: units.Unit, quantity: Quantity) -> bool:
    """Whether numbers in this unit can be this quantity."""
    own = units.find_unit(quantity.unit) if quantity.unit else None
    if own is None:
        return unit.dimension in ("number", "share") or unit.name == quantity.unit
    return unit.dimension == own.dimension


_BY: Mapping[str, Quantity] = {q.name: q for q in QUANTITIES}


def _unit(text: str) -> tuple[str, units.Unit | None]:
    """The header without its unit, and the unit: in brackets, or the last word after a blank or an underscore."""
    for match in reversed(list(_UNIT.finditer(text))):
        inside = match[1].strip()
        if inside.lower() in _PLAIN:
            return f"{text[: match.start()]} {text[match.end() :]}".strip(), units.find_unit("lambda")
        unit = units.find_unit(inside) if inside else None
        if unit is None and inside.lower() in ("deg c", "deg f", "degc", "degf"):
            unit = units.find_unit(inside[-1])
        if unit is not None:
            kept = "lambda" if unit.dimension == "number" else ""
            return f"{text[: match.start()]} {kept} {text[match.end() :]}".strip(), unit
    for cut in (r"(.*\S)[\s_]+(\S{1,8})$", r"(.*\S)\s*[,;:/]\s*(\S{1,8})$"):
        last = re.match(cut, text)
        if last and not last[2].isdigit() and len(last[1]) > 1:
            unit = units.find_unit("g/s" if last[2].lower() == "gps" else last[2])
            letter = len(last[2]) == 1 and last[2] not in "%Vs" and "temp" not in text.lower()
            if unit is not None and unit.dimension != "number" and not letter:
                return last[1], unit
    return text, None


def _place(text: str) -> tuple[int, int, str]:
    """Bank or cylinder (0 = not said), sensor (0 = not said), and the text without them."""
    short = _SHORT_NAME.fullmatch(text)
    if short:
        words = _SHORT_NAMES[short[1].upper().replace(" ", "_")]
        commanded = short[1].upper().replace(" ", "_") == "EQ_RAT" and not short[2]
        return int(short[2] or 0), int(short[3] or 0), f"commanded {words}" if commanded else words
    place = sensor = 0
    both = _BOTH.search(text)
    if both:
        return int(both[1]), int(both[2]), _BOTH.sub(" ", text)
    pair = _SENSOR_PAIR.search(text)
    if pair:
        return int(pair[1]), int(pair[2]), _SENSOR_PAIR.sub(" oxygen sensor ", text)
    worded = _ON_THE_WORD.search(text)
    if worded:
        place = int(worded[2])
        text = _ON_THE_WORD.sub(r" \1 ", text)
    for pattern in (_CYLINDER, _BANK, _SYSTEM):
        match = pattern.search(text)
        if match:
            place = int(match[1])
            text = (
                pattern.sub(_cylinder_word if pattern is _CYLINDER else " ", text) if pattern is not _SYSTEM else text
            )
            break
    found = _SENSOR.search(text)
    if found:
        sensor = int(found[1])
        text = _SENSOR.sub(" sensor ", text)
    return place, sensor, text


def _cylinder_word(match: re.Match[str]) -> str:
    return " misfires cylinder " if match[0].lower().startswith("misf") else " cylinder "


def _words(text: str) -> frozenset[str]:
    text = _TRIM.sub(lambda m: "short " if m[1].lower() == "st" else "long ", text)
    text = re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", text).replace("_", " ").replace("%", " pct ").lower()
    found = [_SYNONYMS.get(w, w) for w in _WORD.findall(text)]
    if "trim" in found:
        found = [{"st": "short", "lt": "long"}.get(w, w) for w in found]
    return frozenset(w for w in found if not w.isdigit())


def _best(tokens: frozenset[str], unit: units.Unit | None) -> Quantity | str:
    """The quantity whose words cover the header best, or why there is none."""
    if not tokens:
        return "no words in the header"
    scores: dict[str, float] = {}
    wrong = ""
    for quantity in QUANTITIES:
        if tokens & quantity.not_with:
            continue
        score = max((_score(tokens, words) for words in quantity.sets), default=0.0)
        if score <= 0.5:
            continue
        if unit is not None and not unit_fits(unit, quantity) and not _other_scale(quantity, unit):
            wrong = f"reads like {quantity.name}, but {unit.name} is no unit of it"
            continue
        scores[quantity.name] = score
    if not scores:
        return wrong or NOT_KNOWN
    most = max(scores.values())
    best = [name for name, score in scores.items() if score > most - 0.25]
    if len(best) > 1:
        return "could be " + " or ".join(best)
    return _BY[best[0]]


def _score(tokens: frozenset[str], words: frozenset[str]) -> float:
    """Words of the quantity that are there, all of them needed, less what else is there and says something."""
    return len(words) - 0.6 * len(tokens - words - _FILLING) if words <= tokens else 0.0


def _other_scale(quantity: Quantity, unit: units.Unit) -> bool:
    """Time may be in any unit of time; trims as a plain ratio."""
    return quantity.name == "date" or (quantity.unit == "%" and unit.dimension == "number")
