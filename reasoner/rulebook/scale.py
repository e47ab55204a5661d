"""How often, in words: one table with the published number for each word, and how frequencies are read.

Source: F. Mosteller and C. Youtz, "Quantifying probabilistic expressions", Statistical Science 5(1), 1990, 2-34:
medians given by about 230 science writers (their Table 2), in per cent. The figures were taken from a public
transcription of that table; the paper itself was not seen.
"""

from __future__ import annotations

import re

from reasoner.rulebook.near import near
from reasoner.rulebook.problem import Unreadable
from reasoner.rulebook.quantity import PERCENT

SOURCE = "Mosteller & Youtz 1990, Table 2, medians of science writers, by a transcription"
WORDS: dict[str, float] = {
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
CHOICES = f"one of: {', '.join(WORDS)};\na percentage, such as 12 %; or a count, such as 7 of 9"

# Also goes into the schema for editors.
COUNT = r"(\d{1,9}) of (\d{1,9})"

_PERCENT = re.compile(PERCENT)
_COUNT = re.compile(COUNT)
_OTHER_COUNT = re.compile(r"(\d{1,9}) ?(?:out of|in|/) ?(\d{1,9})")
_BARE = re.compile(r"[-+]?\d*[.,]?\d+")


def parse(text: str) -> tuple[float, float | None]:
    """A frequency as (value in 0..1, cases it is worth or None). Raises Unreadable with what would mend it."""
    text = " ".join(text.split())
    if text in WORDS:
        return WORDS[text], None
    if match := _PERCENT.fullmatch(text):
        return _percent(text, float(match[1])), None
    if match := _COUNT.fullmatch(text):
        return _count(text, int(match[1]), int(match[2]))
    if match := _OTHER_COUNT.fullmatch(text):
        raise Unreadable(f'"{text}" is no frequency', f"a count is written `{match[1]} of {match[2]}`", "bad-frequency")
    if _BARE.fullmatch(text):
        raise Unreadable(f'"{text}" alone is no frequency', _bare(text), "bad-frequency")
    meant = near(text, WORDS)
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
