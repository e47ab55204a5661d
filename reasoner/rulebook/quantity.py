"""Numbers as people write them, with the units the format asks for; and how often, in words with published numbers."""

from __future__ import annotations

import math
import re

from reasoner.rulebook.problem import Unreadable, near

# ---- Numbers as people write them, with the units the format asks for ------------------------------------------------
# Each parser raises Unreadable with a mend.

KM_PER_MILE = 1.609344  # exact: international mile, NIST SP 811 (2008) B.8
LARGEST_NUMBER = 1e9  # beyond this a number is a slip

MOST_MINUTES = 100_000  # ten weeks

# The patterns that also go into the schema for editors.
PERCENT = r"(\d+(?:\.\d+)?) ?%"
DISTANCE = r"(\d+(?:\.\d+)?) ?(km|mi)"
BAND = r"(below|above) (\S+)|(\S+) to (\S+)"

_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")
_WITH_UNIT = re.compile(r"([-+]?\d+(?:[.,]\d+)?) ?(\D.*)")
_COMMA = re.compile(r"[-+]?\d+,\d+")
_DISTANCE = re.compile(DISTANCE)
_MINUTES = {"min": 1, "mins": 1, "minute": 1, "minutes": 1, "h": 60, "hr": 60, "hour": 60, "hours": 60, "s": 1 / 60}
_BAND = re.compile(BAND)


def parse_number(text: str, unit: str = "", least: float = -LARGEST_NUMBER, most: float = LARGEST_NUMBER) -> float:
    """A plain finite number without its unit, within bounds. `unit` is what it counts, for the messages."""
    text = " ".join(text.split())
    counted = f" of {unit}" if unit else ""
    if not _NUMBER.fullmatch(text):
        raise Unreadable(f'"{text[:40]}" is no plain number{counted}', _plainer(text, unit), "bad-number")
    value = float(text)
    if not math.isfinite(value) or not least <= value <= most:
        low = value < least
        message = f"{text[:40]} is too {'low' if low else 'high'}" + (f" for {unit}" if unit else "")
        raise Unreadable(message, f"at least {least:g}" if low else f"at most {most:g}", "bad-number")
    return value


def _plainer(text: str, unit: str) -> str:
    """What would mend a number written with its unit or with a comma."""
    if _COMMA.fullmatch(text):
        return f"write {text.replace(',', '.')}"
    match = _WITH_UNIT.fullmatch(text)
    if not match:
        return "write digits, with a point for the fraction"
    value = float(match[1].replace(",", "."))
    if unit == "minutes":
        factor = _MINUTES.get(match[2].strip())
        if factor is None:
            return f"write minutes, without a unit: {value:g}"
        return f"this key is in minutes already: write {value * factor:g}"
    return f"write the number alone: {value:g}"


def parse_minutes(text: str) -> float:
    """Minutes, at least 0."""
    return parse_number(text, "minutes", 0, MOST_MINUTES)


def parse_money(text: str) -> float:
    """Money in whatever the shop counts in, at least 0."""
    if re.fullmatch(r"[^\d\s+-]+ ?\d+(?:\.\d+)?", text):
        raise Unreadable(f'"{text}" is no plain number', f"write the number alone: {text.lstrip('€$£ ')}", "bad-number")
    return parse_number(text, "", 0)


def parse_percent(text: str, least: float = 0, most: float = 100) -> float:
    """`12 %` as 0.12, within bounds given in per cent."""
    text = " ".join(text.split())
    match = re.fullmatch(PERCENT, text)
    if not match:
        bare = re.fullmatch(r"\d*\.?\d+", text)
        value = float(text) if bare else 0.0
        mend = f"write {value * 100 if value < 1 else value:g} %" if bare else "such as 12 %"
        raise Unreadable(f'"{text[:40]}" is no percentage', mend, "bad-number")
    if not least <= float(match[1]) <= most:
        raise Unreadable(f"{text} is out of bounds", f"from {least:g} % to {most:g} %", "bad-number")
    return float(match[1]) / 100


def parse_distance(text: str) -> float:
    """`160000 km` or `100000 mi` in km."""
    text = " ".join(text.split())
    match = _DISTANCE.fullmatch(text)
    if match:
        return float(match[1]) * (KM_PER_MILE if match[2] == "mi" else 1.0)
    digits = re.sub(r"[ ',.](?=\d{3}\b)", "", text)
    match = re.fullmatch(r"(\d+) ?(km|mi|miles|kilometres)?", digits)
    if match and match[2]:
        mend = f"write {match[1]} {'mi' if match[2].startswith('mi') else 'km'}"
    else:
        mend = f"say the unit: {match[1]} km or {match[1]} mi" if match else "such as 160000 km or 100000 mi"
    raise Unreadable(f'"{text[:40]}" is no distance', mend, "bad-number")


def band(text: str) -> tuple[float | None, float | None]:
    """`below -10`, `-10 to 10`, `above 10` as (low, high); None is open."""
    text = " ".join(text.split())
    match = _BAND.fullmatch(text)
    if not match:
        raise Unreadable(f'"{text[:40]}" is no range', "such as `below -10`, `-10 to 10`, `above 10`", "bad-number")
    if match[1]:
        bound = parse_number(match[2])
        return (None, bound) if match[1] == "below" else (bound, None)
    low, high = parse_number(match[3]), parse_number(match[4])
    if low >= high:
        raise Unreadable(f'"{text}" is empty', f"the smaller number first: `{high:g} to {low:g}`", "bad-number")
    return low, high


# ---- How often, in words ---------------------------------------------------------------------------------------------
# One table with the published number for each word, and how frequencies are read.
#
# Source: F. Mosteller and C. Youtz, "Quantifying probabilistic expressions", Statistical Science 5(1), 1990, 2-34:
# medians given by about 230 science writers (their Table 2), in per cent. The figures were taken from a public
# transcription of that table; the paper itself was not seen.

WORDS_SOURCE = "Mosteller & Youtz 1990, Table 2, medians of science writers, by a transcription"
FREQUENCY_WORDS: dict[str, float] = {
    "always": 0.997,
    "almost always": 0.917,
    "very often": 0.828,
    "usually": 0.751,
    "often": 0.725,
    "more often than not": 0.598,
    "as often as not": 0.500,
    "less often than not": 0.400,
    "sometimes": 0.250,
    "occasionally": 0.200,
    "seldom": 0.102,
    "rarely": 0.072,
    "very seldom": 0.049,
    "very rarely": 0.030,
    "almost never": 0.029,
    "never": 0.003,
}
CHOICES = f"one of: {', '.join(FREQUENCY_WORDS)};\na percentage, such as 12 %; or a count, such as 7 of 9"

# Also goes into the schema for editors.
COUNT = r"(\d{1,9}) of (\d{1,9})"

_PERCENT = re.compile(PERCENT)
_COUNT = re.compile(COUNT)
_OTHER_COUNT = re.compile(r"(\d{1,9}) ?(?:out of|in|/) ?(\d{1,9})")
_BARE = re.compile(r"[-+]?\d*[.,]?\d+")


def how_often(text: str) -> tuple[float, float | None]:
    """A frequency as (value in 0..1, cases it is worth or None). Raises Unreadable with what would mend it."""
    text = " ".join(text.split())
    if text in FREQUENCY_WORDS:
        return FREQUENCY_WORDS[text], None
    if match := _PERCENT.fullmatch(text):
        return _percent(text, float(match[1])), None
    if match := _COUNT.fullmatch(text):
        return _count(text, int(match[1]), int(match[2]))
    if match := _OTHER_COUNT.fullmatch(text):
        raise Unreadable(f'"{text}" is no frequency', f"a count is written `{match[1]} of {match[2]}`", "bad-frequency")
    if _BARE.fullmatch(text):
        raise Unreadable(f'"{text}" alone is no frequency', _bare(text), "bad-frequency")
    meant = near(text, FREQUENCY_WORDS)
    mend = f'did you mean "{meant}"?\n{CHOICES}' if meant else CHOICES
    raise Unreadable(
        f'"{text[:40]}" is no frequency' if text else "no frequency is written here", mend, "bad-frequency"
    )


def _percent(text: str, value: float) -> float:
    if value > 100:
        raise Unreadable(f"{text} is more than every time", "at most 100 %", "bad-frequency")
    return value / 100


def _count(text: str, part: int, whole: int) -> tuple[float, float]:
    if whole == 0 or part > whole:
        raise Unreadable(
            f'"{text}" is no share', "the cases in which it was seen, of all that were looked at", "bad-frequency"
        )
    return part / whole, float(whole)


def _bare(text: str) -> str:
    value = float(text.replace(",", "."))
    if value == 1:
        return "write 100 % (or `always`); 1 % if one in a hundred is meant"
    if 0 <= value < 1:
        return f"write {value * 100:g} %"
    return f"write {value:g} %" if 1 < value <= 100 else CHOICES
