"""Text made harmless, and times and ranges in words."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.session.plain import (
    clean,
    effort_text,
    glued,
    harmless,
    shortened,
    time_text,
    unglued,
)
from reasoner.session.words import range_text


@given(st.text())
def test_nothing_a_terminal_obeys_is_left(text: str) -> None:
    found = harmless(text)
    assert {unicodedata.category(c) for c in found if c not in "\n\u200d"}.isdisjoint({"Cc", "Cf", "Cs", "Zl", "Zp"})
    assert harmless(found) == found


@given(st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126)))
def test_plain_text_stays_as_it_is(text: str) -> None:
    assert harmless(text) == text


@dataclass(frozen=True)
class _Inner:
    text: str
    number: float


@dataclass(frozen=True)
class _Outer:
    inner: tuple[_Inner, ...]
    words: dict[int, str]


def test_a_document_is_cleaned_to_its_last_text() -> None:
    dirty = _Outer((_Inner("a\x07", 1.5), _Inner("b", 2.0)), {1: "\x1b[31m"})
    assert clean(dirty) == _Outer((_Inner("a\ufffd", 1.5), _Inner("b", 2.0)), {1: "\ufffd[31m"})


@pytest.mark.parametrize(
    ("minutes", "text"), [(0, "1 min"), (0.4, "1 min"), (35, "35 min"), (60, "1 h"), (95, "1 h 35 min"), (480, "8 h")]
)
def test_times(minutes: float, text: str) -> None:
    assert time_text(minutes) == text


def test_work_and_waiting() -> None:
    assert effort_text(20, 0) == "20 min"
    assert effort_text(20, 480) == "20 min work and 8 h waiting"


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [(0.2, 0.45, "20 to 45 %"), (0.0, 1.0, "under 1 to over 99 %"), (0.001, 0.004, "under 1 %")],
)
def test_a_range_never_says_never_or_certain(low: float, high: float, text: str) -> None:
    assert range_text(low, high) == text


def test_shortened_is_one_line() -> None:
    assert shortened("a\nb  c", 10) == "a b c"
    assert shortened("x" * 50, 10) == "xxxxxxx..."


@given(st.text(st.characters(exclude_characters="\ue000")))
def test_glue_comes_off_again(text: str) -> None:
    assert unglued(glued(text)) == text


def test_a_number_and_its_unit_stay_together() -> None:
    assert glued("now 36 %, 20 min, 1 h").split(" ") == ["now", "36\ue000%,", "20\ue000min,", "1\ue000h"]
    assert glued("20 minutes of 4 hot restarts") == "20 minutes of 4 hot restarts"
