"""The vehicle: what decides which faults are possible, where they can sit, and which checks make sense.

A bank here is the set of cylinders that one upstream sensor watches, which is what a bank-wide code speaks about:
an inline six may have one or two, a flat four often has one.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from reasoner.mistake import BareSpot, Mistake
from reasoner.rulebook import parts
from reasoner.rulebook.located import load_bytes, parse_bytes
from reasoner.rulebook.model import Filter, Rulebook
from reasoner.rulebook.problem import Notebook, Problem
from reasoner.rulebook.quantity import KM_PER_MILE
from reasoner.yaml_tree import Map, Text

# Properties a person states; the words are those of rule filters, which also know what follows from the layout.
VEHICLE_CHOICES = {name: values for name, values in parts.PROPERTIES.items() if name not in ("layout", "sensors")}
LAYOUTS = parts.PROPERTIES["layout"]
DEFAULTS = {"layout": "inline 4", "injection": "direct", "metering": "airflow"}
VEHICLE_KEYS = (
    "name",
    "layout",
    "upstream sensors",
    "banks",
    "firing order",
    *VEHICLE_CHOICES,
    "displacement",
    "model year",
    "distance",
)
LITRES_PER_CUBIC_INCH = 0.016387064  # exact: international inch, NIST SP 811 (2008) B.8
LITRES_POSSIBLE = (0.3, 10.0)  # of an engine
YEARS = (1960, 2100)  # of a car with a rich code
# What may become known while a case goes on.
FACTS = (*parts.EQUIPMENT, "displacement", "model year", "distance", "charging")


@dataclass(frozen=True)
class Vehicle:
    """banks: the cylinders (numbered from 1) each upstream sensor watches. properties: only what was stated.
    litres: the displacement, None where it was not stated; no rule asks for it, readings do."""

    title: str
    layout: str
    cylinders: int
    banks: tuple[tuple[int, ...], ...]
    properties: Mapping[str, str]
    distance_km: float | None
    fields: Mapping[str, str]
    litres: float | None = None


def vehicle_from(fields: Mapping[str, str]) -> tuple[Vehicle | None, tuple[Mistake, ...]]:
    """A vehicle from its fields as text (as in a vehicle file or a case). All mistakes are returned, none raised."""
    mistakes: list[Mistake] = []
    unknown = [key for key in fields if key not in VEHICLE_KEYS]
    for key in unknown:
        mistakes.append(Mistake(key, f'a vehicle has no "{key}"', "known: " + ", ".join(VEHICLE_KEYS)))
    values = {**DEFAULTS, **{k: " ".join(v.split()) for k, v in fields.items() if k not in unknown and v.strip()}}

    layout = _layout(values["layout"])
    if layout is None:
        mistakes.append(Mistake("layout", f'"{values["layout"]}" is no layout', "one of: " + ", ".join(LAYOUTS)))
        return None, tuple(mistakes)
    cylinders = int(layout.split()[1])
    banks = _banks(values, layout, cylinders, mistakes)

    properties: dict[str, str] = {"layout": layout}
    for key, allowed in VEHICLE_CHOICES.items():
        if key in values:
            if values[key] in allowed:
                properties[key] = values[key]
            else:
                mistakes.append(Mistake(key, f'"{values[key]}" is no {key}', "one of: " + ", ".join(allowed)))
    properties["sensors"] = "one" if len(banks) == 1 else "two"

    order = values.get("firing order")
    if order is not None and sorted(re.findall(r"\d+", order)) != sorted(map(str, range(1, cylinders + 1))):
        mistakes.append(
            Mistake("firing order", f'"{order}" does not name each of {cylinders} cylinders once', "such as 1-3-4-2")
        )
    year = values.get("model year")
    if year is not None and re.fullmatch(r"\d{4}", year) and YEARS[0] <= int(year) <= YEARS[1]:
        properties[parts.YEAR] = year
    elif year is not None:
        mistakes.append(Mistake("model year", f'"{year}" is no model year', "four digits, such as 2014"))
    distance = _distance(values.get("distance"), mistakes)
    litres = _displacement(values.get("displacement"), mistakes)
    if mistakes:
        return None, tuple(mistakes)
    title = values.get("name") or f"{layout}, {properties['injection']} injection"
    return Vehicle(title, layout, cylinders, banks, properties, distance, dict(values), litres), ()


# The sensors before the catalyst, which control the mixture, by any of their names.
_SENSORS = (
    r"(?:(?:upstream|front|lambda|oxygen|o2|pre-?cat(?:alyst)?|narrow[- ]?band|wide[- ]?band) )*(?:sensors?|probes?)"
    r"(?: before the cat(?:alyst)?)?"
)
# How the program itself says which cylinders each watches.
_EACH_FOR = re.compile(r"an upstream sensor each for cylinders ([\d-]+) and ([\d-]+)")
# How people say what a car is, in one line; the first that fits a word or two counts.
_SAID: tuple[tuple[str, str, str], ...] = (
    (r"no return(?: line)?|returnless(?: (?:fuel )?(?:rail|system))?", "return line", "no"),
    (r"regulator (?:and|with)(?: a)? vacuum hose|vacuum regulator|rail vacuum hose", "rail vacuum hose", "yes"),
    (r"no (?:rail )?vacuum hose", "rail vacuum hose", "no"),
    (r"regulator on(?: the)? rail", "return line", "yes"),
    (r"no(?: pulsation)? damper", "pulsation damper", "no"),
    (r"(?:pulsation )?damper", "pulsation damper", "yes"),
    (r"(?:demand|controlled)(?:[- ]controlled)? pump|pump on demand|fuel pump: demand", "fuel pump", "demand"),
    (r"fixed(?:[- ]speed)? pump|fuel pump: fixed", "fuel pump", "fixed"),
    (r"no (?:egr|gas recirculation)(?: valve)?", "gas recirculation", "no"),
    (r"(?:egr|gas recirculation)(?: valve)?", "gas recirculation", "yes"),
    (r"no (?:secondary air|air pump)(?: pump)?", "secondary air", "no"),
    (r"secondary air(?: pump)?|air pump", "secondary air", "yes"),
    (r"no flex(?: fuel)?", "flex fuel", "no"),
    (r"no (?:gas(?: kit| conversion)?|lpg|cng)|not converted", "gas conversion", "no"),
    (r"no (?:remap|tuned)|not (?:tuned|remapped)|untuned", "tuned", "no"),
    (r"no stop[- ]?start", "stop-start", "no"),
    (r"oiled(?: air)? filter|air filter: oiled", "air filter", "oiled"),
    (r"paper(?: air)? filter|air filter: paper", "air filter", "paper"),
    (r"no aftermarket sensors?", "aftermarket sensors", "no"),
    (r"aftermarket sensors?", "aftermarket sensors", "yes"),
    (
        r"(?:maf|airflow) (?:and|&|\+) (?:map|pressure)|(?:map|pressure) (?:and|&|\+) (?:maf|airflow)",
        "metering",
        "both",
    ),
    (r"return(?: line)?", "return line", "yes"),
    (
        r"(?:both(?: of)? )?(?:port(?: and| \+|\+)? ?direct|direct(?: and| \+|\+)? ?port)(?: injection)?"
        r"|dual(?: injection)?|both (?:injections|kinds of injection|injection)|injection both",
        "injection",
        "dual",
    ),
    (r"port(?: injection)?", "injection", "port"),
    (r"direct(?: injection)?", "injection", "direct"),
    (r"not charged|no turbo|natural(?:ly aspirated)?|n/?a", "charging", "natural"),
    (r"turbo or supercharger|turbo(?:charged)?|super(?:charged|charger)|charged", "charging", "charged"),
    (r"(?:air ?flow|air[- ]mass|maf)(?: meter| sensor)?|air meter", "metering", "airflow"),
    (r"(?:(?:manifold )?pressure|map)(?: sensor)?|speed[- ]density", "metering", "pressure"),
    (rf"(?:two|2) (?:(?:exhaust )?banks|{_SENSORS})", "upstream sensors", "2"),
    (rf"(?:one|1) (?:bank|{_SENSORS})", "upstream sensors", "1"),
    (r"flex(?: fuel)?", "flex fuel", "yes"),
    (r"gas (?:conversion|kit)|on gas|converted to gas|lpg|cng", "gas conversion", "yes"),
    (r"remap(?:ped)?|tuned", "tuned", "yes"),
    (r"stop[- ]?start", "stop-start", "yes"),
)
# What sheets say of a car beside that, and no rule goes by.
_SAID_BESIDE = re.compile(
    r"(?<!\w)(?:(?:\d[- ]speed )?(?:manual|automatic|auto|dual[- ]clutch|cvt)(?: gearbox| transmission)?"
    r"|petrol|gasoline|\d{1,2}[- ]?(?:valves?|v))(?![\w-])"
)
_IN_DIGITS = {"three": "3", "four": "4", "five": "5", "six": "6"}
BOTH = {"injection": "dual", "metering": "both"}  # of which `both` may be said, and what it means there
_FIGURES: tuple[tuple[str, str], ...] = (
    (r"(?:banks? )?\d(?:[ ,-]\d)* ?/ ?\d(?:[ ,-]\d)*", "banks"),
    (
        r"(?:inline|straight|flat|boxer|[iv])[ -]?(?:\d+|three|four|five|six)"
        r"|(?:[345]|three|four|five)[ -]?cyl(?:inders?)?",
        "layout",
    ),
    (r"(?:19[6-9]|20\d)\d(?! ?(?:k|cc|mi))", "model year"),
    (r"(?:\d{1,3}(?:[ ',.]\d{3})+|\d+(?:[.,]\d)?k?) ?(?:km|mi(?:les)?)|\d+(?:[.,]\d)?k", "distance"),
    (r"(?:\d[.,]\d+ ?(?:l|litres?|liters?)?|\d ?(?:l|litres?|liters?)|\d{3,4} ?(?:cc|ccm))", "displacement"),
    (r"\d{1,2} ?(?:years?|yrs?)(?: old)?", "age"),
)


def vehicle_words(line: str) -> tuple[dict[str, str], str]:
    """Fields of a vehicle said in one line, such as `inline 4 port turbo 178000 km 2003`; and what was not read.

    `age`, in years, where that was said: whoever has a calendar makes it a model year.
    """
    found: dict[str, str] = {}
    rest = re.sub(r"\((?:maf|map)\)", " ", _EACH_FOR.sub(r"banks \1 / \2", line.lower().replace(";", " "))).rstrip(" .")
    for pattern, key in _FIGURES:
        if match := re.search(rf"(?<![\w.,]){pattern}(?!\w)", rest):
            said = match[0].strip()
            told = {
                "age": re.sub(r"\D", "", said),
                "banks": said.lstrip("banks "),
                "layout": re.sub("|".join(_IN_DIGITS), lambda word: _IN_DIGITS[word[0]], said),
            }
            found[key] = told.get(key, said)
            rest = rest[: match.start()] + " ; " + rest[match.end() :]
    for pattern, key, value in _SAID:
        if match := re.search(rf"(?<!\w)(?:{pattern})(?!\w)", rest):
            found.setdefault(key, value)
            rest = rest[: match.start()] + " ; " + rest[match.end() :]
    open_ = [key for key in BOTH if key not in found]
    if len(open_) == 1 and re.search(r"(?<!\w)both(?!\w)", rest):  # the other of the two was said
        found[open_[0]] = BOTH[open_[0]]
        rest = re.sub(r"(?<!\w)both(?: of them)?(?!\w)", " ; ", rest, count=1)
    return found, " ".join(word for word in re.split(r"[;,\s]+", _SAID_BESIDE.sub(" ", rest)) if word)


def with_facts(vehicle: Vehicle, facts: Mapping[str, str]) -> tuple[Vehicle, tuple[Mistake, ...]]:
    """The same car with what has become known of it (`FACTS`); a fact that cannot be is left out and said."""
    wrong = [key for key in facts if key not in FACTS]
    mistakes = [Mistake(key, f'"{key}" is no fact of a car', "one of: " + ", ".join(FACTS)) for key in wrong]
    known = {key: value for key, value in facts.items() if key not in wrong and value.strip()}
    for key in list(known):
        found = vehicle_from({**vehicle.fields, key: known[key]})[1]
        mistakes += found
        if found:
            del known[key]
    if not known:
        return vehicle, tuple(mistakes)
    found_vehicle, _ = vehicle_from({**vehicle.fields, **known})
    return (found_vehicle or vehicle), tuple(mistakes)


def _layout(text: str) -> str | None:
    """`V6`, `v 6`, `Inline-4`, `i4`, `boxer 4` are read as the one spelling; `4 cylinders` are in line, as nearly all
    of so few are."""
    match = re.fullmatch(r"(inline|i|straight|v|flat|boxer)[ -]?(\d+)", text.lower())
    if match is None and (few := re.fullmatch(r"([345])[ -]?cyl(?:inders?)?", text.lower())):
        return f"inline {few[1]}"
    if not match:
        return None
    kind = {"i": "inline", "straight": "inline", "v": "V", "boxer": "flat"}.get(match[1], match[1])
    layout = f"{kind} {match[2]}"
    return layout if layout in LAYOUTS else None


def _banks(
    values: Mapping[str, str], layout: str, cylinders: int, mistakes: list[Mistake]
) -> tuple[tuple[int, ...], ...]:
    """Cylinders by upstream sensor: as stated, else odd and even for V and flat engines, front and rear half inline.

    Makers number V engines differently: a person whose engine differs states `banks: 1 2 3 / 4 5 6`.
    """
    everything = tuple(range(1, cylinders + 1))
    default = "2" if layout.startswith("V") else "1"
    sensors = values.get("upstream sensors", default)
    if "banks" in values:
        banks = tuple(tuple(int(n) for n in re.findall(r"\d+", part)) for part in values["banks"].split("/"))
        if sorted(n for bank in banks for n in bank) != list(everything) or not 1 <= len(banks) <= 2:
            mistakes.append(
                Mistake(
                    "banks", f'"{values["banks"]}" does not name each of {cylinders} cylinders once', "1 3 5 / 2 4 6"
                )
            )
            return (everything,)
        if "upstream sensors" in values and sensors != str(len(banks)):
            mistakes.append(Mistake("upstream sensors", f"{sensors} sensors but {len(banks)} banks", "make them agree"))
        return banks
    if sensors not in ("1", "2"):
        mistakes.append(Mistake("upstream sensors", f'"{sensors}" upstream sensors', "1 or 2 (one for each bank)"))
        return (everything,)
    if sensors == "1":
        return (everything,)
    if layout.startswith("inline"):
        half = (cylinders + 1) // 2
        return everything[:half], everything[half:]
    return everything[0::2], everything[1::2]


def _distance(text: str | None, mistakes: list[Mistake]) -> float | None:
    if text is None:
        return None
    match = re.fullmatch(r"(\d[\d ']*(?:[.,]\d+)?) ?(k)? ?(km|mi|miles)?", text.lower())
    if not match:
        mistakes.append(Mistake("distance", f'"{text}" is no distance', "such as 198000 km or 123000 mi"))
        return None
    number = float(match[1].replace(" ", "").replace("'", "").replace(",", "."))
    if match[2]:
        number *= 1000  # 90k, 90k mi
    elif number < 1000 and re.search(r"[.,]\d{3}$", match[1]):
        number *= 1000  # 198,000 and 198.000: thousands, not a fraction of a kilometre
    if number > 3_000_000:
        mistakes.append(Mistake("distance", f"{text} is beyond any car", "such as 198000 km"))
    return number * (KM_PER_MILE if match[3] in ("mi", "miles") else 1.0)


def _displacement(text: str | None, mistakes: list[Mistake]) -> float | None:
    """Litres; a bare number from 100 on is taken as cubic centimetres."""
    if text is None:
        return None
    match = re.fullmatch(r"(\d{1,5}(?:[.,]\d+)?) ?(l|litres?|liters?|cc|ccm|cm3|cu in|cubic inches|)", text.lower())
    number = float(match[1].replace(",", ".")) if match else 0.0
    unit = match[2] if match else ""
    if unit.startswith("c"):
        number *= LITRES_PER_CUBIC_INCH if unit.startswith("cu") else 0.001
    elif not unit and number >= 100:
        number *= 0.001
    if not LITRES_POSSIBLE[0] <= number <= LITRES_POSSIBLE[1]:
        mistakes.append(Mistake("displacement", f'"{text}" is no displacement', "such as 2.0 L, 1998 cc or 122 cu in"))
        return None
    return number


# ---- vehicles that the rules cannot tell apart -----------------------------------------------------------------------


def limits(book: Rulebook) -> tuple[float, ...]:
    """Every distance (km) at which some rule begins or ceases to hold."""
    found = {end for only in _filters(book) for end in (only.distance_over, only.distance_under) if end is not None}
    return tuple(sorted(found))


def vehicle_key(limits: tuple[float, ...], vehicle: Vehicle) -> Hashable:
    """A key: equal for two vehicles only where rules with these limits make equal tables of them."""
    far = vehicle.distance_km
    passed = None if far is None else tuple((far > limit) - (far < limit) for limit in limits)
    return vehicle.layout, vehicle.cylinders, vehicle.banks, tuple(sorted(vehicle.properties.items())), passed


def _filters(book: Rulebook) -> Iterator[Filter]:
    for fault in book.faults.values():
        yield fault.only
        yield from (more.when for more in fault.more_likely)
    for check in book.checks.values():
        yield check.only
    for equipment in book.equipment.values():
        yield from (other.when for other in equipment.among)


# ---- from a file -----------------------------------------------------------------------------------------------------


def read_vehicle(path: Path) -> tuple[Vehicle | None, tuple[Problem, ...]]:
    """The vehicle and everything wrong with its file, each with place and mend. No vehicle where anything is wrong."""
    notes, file = Notebook(), str(path)
    content = load_bytes(path, file, notes)
    tree = None if content is None else parse_bytes(content, file, notes)
    if tree is None:
        return None, notes.problems
    vehicle = vehicle_in(tree, notes)
    return (None if notes.problems else vehicle), notes.problems


def vehicle_in(tree: Map, notes: Notebook) -> Vehicle | None:
    """The vehicle that a map of its fields says, what is wrong noted in its place."""
    fields: dict[str, str] = {}
    for key, value in tree.pairs:
        if isinstance(value, Text):
            fields[key.value] = value.value
        else:
            notes.note(
                "bad-shape", value, f'"{key.value}" takes one text here', "write it on one line, in quotes if need be"
            )
    vehicle, mistakes = vehicle_from(fields)
    for mistake in mistakes:
        spot = tree.get(mistake.where) or tree
        if mistake.where not in VEHICLE_KEYS:
            spot = tree.key(mistake.where) or tree
        notes.note("vehicle", BareSpot(spot.place, spot.length), mistake.message, mistake.mend)
    return vehicle
