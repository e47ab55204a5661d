"""What a person types in answer to a check, read into outcomes and readings by place. Pure.

2                  the second outcome              2 think so, 2 t, 2?    not quite sure
3=2   3=wet        cylinder 3; the rest is 1       2 guess, 2 g, 2??      a guess
all=1, a           every place                     0, d                   can't tell (0 is a reading where one is asked)
cyl 3, cyl 3 wet   the same, in words
bank 1 wet         every cylinder of bank 1
3,4=2 rest=1       several at once                 4=0                    this one was not looked at
-18   1=-18 2=-2   a reading, by bank              rich                   an outcome by its word or its beginning
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from reasoner.measure.reading import Reading, Slip, placed_measure, read_measure
from reasoner.rulebook.model import Measure
from reasoner.session.document import OutcomeDoc
from reasoner.session.plain import shortened

CANT_TELL = (
    "d",
    "0",
    "can't tell",
    "cant tell",
    "cannot tell",
    "can not tell",
    "don't know",
    "dont know",
    "no idea",
    "dunno",
)
NOTHING_FOUND = ("a", "none", "nothing", "all alike", "all the same", "no difference")
SURENESS = {"sure": "sure", "t": "think so", "?": "think so", "g": "guess", "guess": "guess", "??": "guess"}
_SURE = re.compile(r"(.+?)(?:[\s,]+(i think so|think so|i think|think|guess|sure|t|g)|\s*(?<!=)(\?{1,2}))", re.I)
_PLACES = r"(?:all|the rest|rest|\d+(?:\s*[,+&]\s*\d+)*)"
_PAIR = re.compile(rf"({_PLACES})\s*=\s*(.*?)\s*(?=$|[\s,;]{_PLACES}\s*=)", re.I)
_LIKE_NUMBER = re.compile(r"[+\-\u2212\u2013.,]?\s*\d")


class Unclear(ValueError):
    """What was typed cannot be taken as an answer: one clear line."""


@dataclass(frozen=True)
class Form:
    """What can be answered: places by number (0 = the whole engine), outcomes in order, a reading if it takes one.

    one_by_one: the check is done place by place, so a place that is not named was not tried; in any other check such a
    place has the first outcome. banks: the cylinders of each, where there are several: what is said of a bank is so at
    each of its cylinders.
    """

    at: str
    places: Mapping[int, str]
    outcomes: Sequence[OutcomeDoc]
    measure: Measure | None = None
    one_by_one: bool = False
    banks: Mapping[int, Sequence[int]] = field(default_factory=dict)


@dataclass(frozen=True)
class Reply:
    """values: outcome name by place. readings: by place. read_back: it is to be confirmed before it is kept."""

    values: Mapping[int, str] = field(default_factory=dict)
    readings: Mapping[int, Reading] = field(default_factory=dict)
    sure: str = "sure"
    read_back: bool = False
    cant_tell: bool = False

    @property
    def numbers(self) -> dict[int, float]:
        return {place: reading.value for place, reading in self.readings.items()}

    @property
    def reading(self) -> str:
        """The readings as they are kept: `-18 %`, `1: -18 %, 2: -2 %`, `5 psi = 34.5 kPa`."""
        texts = {p: r.note or f"{r.value:g} {r.unit}".strip() for p, r in sorted(self.readings.items())}
        return ", ".join(f"{place}: {text}" if place else text for place, text in texts.items())


def read_reply(line: str, form: Form) -> Reply:
    """The answer that was typed. Raises Unclear."""
    text = " ".join(line.replace("\u2019", "'").split()).strip(" .;")
    if text.lower() in CANT_TELL and not (text == "0" and form.measure):
        return Reply(cant_tell=True)
    text, sure = _sureness(text)
    if not text:
        raise Unclear("An answer is what the list says, such as a number; h shows all that can be typed.")
    text = re.sub(r"(?<=\d)\s*:\s*", "=", text)
    reply = _reply(text, form)
    if reply.readings and sure != "sure":
        raise Unclear(f'A number is taken as it is: leave "{sure}" out, or answer by a word, such as {_words(form)}.')
    return replace(reply, sure=sure)


def _reply(text: str, form: Form) -> Reply:
    text = _place_named(text, form)
    if "=" in text and list(form.places) == [0]:
        raise Unclear("This is about the whole engine, not about one cylinder or bank: just the answer, without =.")
    by_word = any(_same(text.lower(), o) for o in form.outcomes)
    if form.measure is not None and not by_word and not re.search(r"=\s*[^\W\d_]", text) and re.search(r"\d", text):
        return _readings(text, form, form.measure)
    if "=" in text:
        return _by_place(text, form)
    if len(form.places) == 1:
        return Reply(dict.fromkeys(form.places, match_outcome(text, form)))
    return _unplaced(text, form)


_NAMED_PLACE = {"cylinder": re.compile(r"(?:cyl(?:inders?)?\b\.?|#)\s*(\d+)\s*(.*)", re.I),
                "bank": re.compile(r"bank\s*(\d+)\s*(.*)", re.I)}  # fmt: skip


_OF_A_BANK = re.compile(r"\bbank\s*(\d)\s*[=:]?\s*(?=[^\W_])", re.I)


def _cylinders(bank: int, form: Form) -> str:
    if bank not in form.banks:
        raise Unclear(f"There is no bank {bank}: {' or '.join(map(str, form.banks))}.")
    return ",".join(map(str, form.banks[bank])) + "="


def _place_named(text: str, form: Form) -> str:
    """`cyl 3` as `3=2` where there are two answers, `cyl 3 wet` as `3=wet`, `bank 1 wet` as `1,3=wet`; anything else as
    it is."""
    if form.at == "cylinder" and form.banks and form.measure is None:
        text = _OF_A_BANK.sub(lambda match: _cylinders(int(match[1]), form), text)
    named = _NAMED_PLACE.get(form.at)
    match = named.fullmatch(text) if named and form.measure is None and len(form.places) > 1 else None
    if match is None or re.match(r"[=,+&]", match[2]):
        return re.sub(r"^\D+", "", text) if match else text
    what = match[2] or ("2" if len(form.outcomes) == 2 else "")
    return f"{match[1]}={what}" if what else match[1]


def _sureness(text: str) -> tuple[str, str]:
    match = _SURE.fullmatch(text)
    if not match:
        return text, "sure"
    word = (match[2] or match[3]).lower()
    return match[1].strip(" ,"), SURENESS.get(word, "think so")


# ---- readings --------------------------------------------------------------------------------------------------------


def _readings(text: str, form: Form, measure: Measure) -> Reply:
    """Numbers, alone or by place. Places not named were not read."""
    if len(form.places) == 1 and "=" not in text:
        place = next(iter(form.places))
        reading = _taken(read_measure(text, measure))
        as_choice = text.isdecimal() and int(text) <= len(form.outcomes)  # may be meant as the number of an answer
        return Reply(readings={place: reading}, read_back=bool(reading.note) or as_choice)
    found = placed_measure(text, measure, list(form.places))
    if found.slips:
        raise Unclear(found.slips[0].line)
    if not found.values:
        return Reply(cant_tell=True)
    return Reply(readings=dict(sorted(found.values.items())), read_back=len(form.places) > 1)


def _taken(found: Reading | Slip) -> Reading:
    if isinstance(found, Slip):
        raise Unclear(found.line)
    return found


# ---- outcomes --------------------------------------------------------------------------------------------------------


def match_outcome(text: str, form: Form) -> str:
    """An outcome by its number (where no reading is asked), name, wording, or the beginning of either."""
    wanted = text.lower()
    if wanted.isdecimal() and form.measure is None:
        number = int(wanted[:6])
        if 1 <= number <= len(form.outcomes):
            return form.outcomes[number - 1].name
        raise Unclear(f"{shortened(text, 12)} is not on the list: {_choices(form)}.")
    if wanted in ("y", "n"):
        wanted = {"y": "yes", "n": "no"}[wanted]
    for alike in (_same, _begins_so, _begins, _contains):
        found = [o.name for o in form.outcomes if alike(wanted, o)]
        if len(found) == 1:
            return found[0]
    raise Unclear(f'"{shortened(text, 24)}" is not on the list: {_choices(form)}.')


def _same(wanted: str, outcome: OutcomeDoc) -> bool:
    return wanted in (outcome.name.lower(), outcome.name.lower().replace("-", " "), outcome.text.lower())


def first_word(outcome: OutcomeDoc) -> str:
    """The word that the text of an answer begins with: `no` of `no, near its dry weight`."""
    return re.split(r"\W", outcome.text.lower(), maxsplit=1)[0]


def _begins_so(wanted: str, outcome: OutcomeDoc) -> bool:
    return wanted in ("yes", "no") and first_word(outcome) == wanted


def _begins(wanted: str, outcome: OutcomeDoc) -> bool:
    """By its beginning, of three letters or more: a letter that slipped in is never an answer."""
    return len(wanted) > 2 and any(
        t.lower().startswith(wanted) for t in (outcome.name, outcome.name.replace("-", " "), outcome.text)
    )


def _contains(wanted: str, outcome: OutcomeDoc) -> bool:
    return len(wanted) > 2 and wanted in outcome.text.lower()


def _choices(form: Form) -> str:
    """What may be typed, by number: the texts stand on the screen, and here there is no room for them."""
    if form.measure:
        return f"a number in {form.measure.unit}, or {_words(form)}"
    return f"1 to {len(form.outcomes)}, or 0 if you can't tell"


def _words(form: Form) -> str:
    return ", ".join(o.name for o in form.outcomes)


def _by_place(text: str, form: Form) -> Reply:
    """`3=2`, `3,4=wet rest=1`, and readings among them. A place not named has the first outcome, or was not read."""
    values: dict[int, str] = {}
    readings: dict[int, Reading] = {}
    skipped: set[int] = set()
    rest: str | None = None
    end = 0
    for match in _PAIR.finditer(text):
        if text[end : match.start()].strip(" ,;"):
            break
        end = match.end()
        who, what = match[1].lower(), match[2].strip(" ,;")
        if not what:
            raise Unclear(f"What is it at {who}? {_example(form)}")
        if not who[0].isdigit():
            if rest is not None:
                raise Unclear("All, or the rest, is named twice.")
            rest = match_outcome(what, form)
            continue
        for number in re.findall(r"\d+", who):
            place = _place(number, form)
            if place in values or place in readings or place in skipped:
                raise Unclear(f"{form.places[place].capitalize()} is named twice.")
            if what in ("0", "?"):
                skipped.add(place)
            elif form.measure and _LIKE_NUMBER.match(what):
                readings[place] = _taken(read_measure(what, form.measure))
            else:
                values[place] = match_outcome(what, form)
    left = text[end:].strip(" ,;")
    if left:
        raise Unclear(f'"{shortened(left, 24)}" is not clear. {_example(form)}')
    # A reading and what provokes are done place by place; a look takes in all of them.
    if rest is not None or not (form.measure or form.one_by_one):
        others = [p for p in form.places if p not in values and p not in readings and p not in skipped]
        values.update(dict.fromkeys(others, rest or form.outcomes[0].name))
    if not values and not readings:
        return Reply(cant_tell=True)
    return Reply(dict(sorted(values.items())), dict(sorted(readings.items())), read_back=True)


def _place(number: str, form: Form) -> int:
    place = int(number[:6])
    if place not in form.places:
        known = [str(p) for p in form.places]
        span = f"{known[0]} to {known[-1]}" if len(known) > 1 else f"only {known[0]}"
        raise Unclear(f"There is no {form.at} {shortened(number, 12)} to be asked about here: {span}.")
    return place


def _unplaced(text: str, form: Form) -> Reply:
    """An answer without a place, where there are several."""
    first = form.outcomes[0].name
    if text.lower() in NOTHING_FOUND:
        return Reply(dict.fromkeys(form.places, first), read_back=True)
    if text.isdecimal():
        place = int(text[:6])
        if place in form.places and len(form.outcomes) == 2:  # "Which one?" - "3": the only thing it can mean
            if 1 <= place <= 2:  # but 1 and 2 stand on the screen as answers too
                raise Unclear(
                    f"{place} alone may be the {form.at} or the answer. {place}=2: answer 2 at {form.places[place]},"
                    f" {_the_rest(form)}. all={place}: answer {place} at all of them."
                )
            named = [place] if form.one_by_one else form.places
            return Reply({p: form.outcomes[int(p == place)].name for p in named}, read_back=True)
        raise Unclear(f"Which {form.at}, and what? {_example(form, place)}")
    outcome = match_outcome(text, form)
    if outcome != first:
        raise Unclear(f"Which {form.at}? {_example(form)}")
    return Reply(dict.fromkeys(form.places, outcome), read_back=True)


def _example(form: Form, typed: int = 0) -> str:
    """How to answer by place. typed: a number that was typed alone, of a place or of an answer; its own example."""
    last = list(form.places)[-1]
    if form.measure is not None:
        return f"Such as {' '.join(f'{p}=...' for p in form.places)}, each {_choices(form)}."
    everywhere = typed if 0 < typed <= len(form.outcomes) else 1
    place = typed if typed in form.places else last
    number = 2 if typed in form.places or everywhere == 1 else typed
    example = f"{place}={number} (answer {number} at {form.places[place]}, {_the_rest(form)})"
    return f"Such as {example}, or all={everywhere}."


def _the_rest(form: Form) -> str:
    """What a place that is not named is taken to have."""
    return "the rest not tried" if form.one_by_one else "1 at the rest"
