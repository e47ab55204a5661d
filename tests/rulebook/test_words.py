"""Frequencies, numbers with units, near names, filters, and how a mistake is shown."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.mistake import Place, shorten
from reasoner.rulebook import quantity
from reasoner.rulebook.model import Filter
from reasoner.rulebook.parts import passes
from reasoner.rulebook.problem import Problem, Unreadable, choices_of, levels_of, near, problem_text

# ---- how often -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "cases"),
    [
        ("12 %", 0.12, None),
        ("12.5%", 0.125, None),
        ("0 %", 0.0, None),
        ("100 %", 1.0, None),
        ("7 of 9", 7 / 9, 9),
        ("0 of 4", 0.0, 4),
        (" almost   never ", quantity.FREQUENCY_WORDS["almost never"], None),
    ],
)
def test_frequencies(text: str, value: float, cases: float | None) -> None:
    assert quantity.how_often(text) == (pytest.approx(value), cases)


def test_words_have_the_published_numbers() -> None:
    """Mosteller & Youtz 1990, Statistical Science 5(1):2-34, Table 2, medians of science writers, in per cent, as a
    public transcription gives them (the paper itself was not seen)."""
    published = {
        "always": 99.7, "almost always": 91.7, "very often": 82.8, "usually": 75.1, "often": 72.5,
        "more often than not": 59.8, "as often as not": 50.0, "less often than not": 40.0, "sometimes": 25.0,
        "occasionally": 20.0, "seldom": 10.2, "rarely": 7.2, "very seldom": 4.9, "very rarely": 3.0,
        "almost never": 2.9, "never": 0.3,
    }  # fmt: skip
    assert {word: 100 * value for word, value in quantity.FREQUENCY_WORDS.items()} == pytest.approx(published)


def test_every_word_is_a_probability_and_none_is_certain() -> None:
    assert all(0 < value < 1 for value in quantity.FREQUENCY_WORDS.values())
    assert all(quantity.how_often(word) == (value, None) for word, value in quantity.FREQUENCY_WORDS.items())
    assert list(quantity.FREQUENCY_WORDS.values()) == sorted(quantity.FREQUENCY_WORDS.values(), reverse=True)


@pytest.mark.parametrize(
    ("text", "mend"),
    [
        ("1", "write 100 %"),
        ("0.3", "write 30 %"),
        (".3", "write 30 %"),
        ("0,3", "write 30 %"),
        ("30", "write 30 %"),
        ("7/9", "`7 of 9`"),
        ("7 in 9", "`7 of 9`"),
        ("101 %", "at most 100 %"),
        ("9 of 7", "of all that were looked at"),
        ("0 of 0", "of all that were looked at"),
        ("Often", '"often"'),
        ("almost-always", '"almost always"'),
        ("nevr", '"never"'),
        ("quite a lot", "one of: always,"),
        ("-5 %", "one of: always,"),
        ("", "one of: always,"),
    ],
)
def test_what_is_no_frequency_says_what_would_be(text: str, mend: str) -> None:
    with pytest.raises(Unreadable) as caught:
        quantity.how_often(text)
    assert mend in caught.value.mend


@given(st.integers(0, 1000), st.integers(1, 1000))
def test_percentages_and_counts_are_what_they_say(one: int, other: int) -> None:
    assert quantity.how_often(f"{one / 10:g} %") == (pytest.approx(one / 1000), None)
    seen, of = min(one, other), max(one, other)
    value, cases = quantity.how_often(f"{seen} of {of}")
    assert 0 <= value <= 1 and cases == of
    assert abs(value - seen / of) <= 1 / of  # a count is drawn towards the middle by at most one case


@given(st.text(max_size=12) | st.from_regex(r"[0-9., %of]{0,12}", fullmatch=True))
def test_any_text_is_a_probability_or_unreadable(text: str) -> None:
    try:
        value, cases = quantity.how_often(text)
    except Unreadable as wrong:
        assert wrong.message and wrong.mend
    else:
        assert 0 <= value <= 1 and (cases is None or cases >= 1)


# ---- numbers ---------------------------------------------------------------------------------------------------------


def test_numbers() -> None:
    assert quantity.parse_number("-2.5") == -2.5
    assert quantity.parse_minutes("40") == 40
    assert quantity.parse_money("250.5") == 250.5
    assert quantity.parse_percent("0.5 %") == pytest.approx(0.005)


def test_distances() -> None:
    """A mile is 1609.344 m exactly (NIST SP 811, 2008, appendix B.8)."""
    assert quantity.parse_distance("160000 km") == 160000
    assert quantity.parse_distance("100000 mi") == pytest.approx(160934.4, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "band"), [("below -10", (None, -10)), ("-10 to 10", (-10, 10)), ("above 10", (10, None))]
)
def test_bands(text: str, band: tuple[float | None, float | None]) -> None:
    assert quantity.band(text) == band


@pytest.mark.parametrize(
    ("parser", "text", "mend"),
    [
        (quantity.parse_minutes, "40 min", "write 40"),
        (quantity.parse_minutes, "1.5 h", "write 90"),
        (quantity.parse_minutes, "90 s", "write 1.5"),
        (quantity.parse_minutes, "-1", "at least 0"),
        (quantity.parse_minutes, "nan", "write digits"),
        (quantity.parse_minutes, "1e400", "without a unit"),
        (quantity.parse_minutes, "9" * 400, "at most"),
        (quantity.parse_number, "1,5", "write 1.5"),
        (quantity.parse_money, "€ 12", "alone: 12"),
        (quantity.parse_money, "12 EUR", "alone: 12"),
        (quantity.parse_money, "-3", "at least 0"),
        (quantity.parse_percent, "12", "write 12 %"),
        (quantity.parse_percent, "0.12", "write 12 %"),
        (quantity.parse_percent, "120 %", "from 0 % to 100 %"),
        (quantity.parse_percent, "often", "such as 12 %"),
        (quantity.parse_distance, "160000", "160000 km or 160000 mi"),
        (quantity.parse_distance, "160,000 km", "write 160000 km"),
        (quantity.parse_distance, "160 000 miles", "write 160000 mi"),
        (quantity.parse_distance, "far", "such as 160000 km"),
        (quantity.band, "10 to -10", "`-10 to 10`"),
        (quantity.band, "over 9", "such as `below -10`"),
        (quantity.band, "below ten", "write digits"),
    ],
)
def test_what_is_no_quantity_says_what_would_be(parser: object, text: str, mend: str) -> None:
    with pytest.raises(Unreadable) as caught:
        parser(text)  # type: ignore[operator]
    assert mend in caught.value.mend


@given(st.text(max_size=12) | st.from_regex(r"[0-9.,+ -]{0,12}(km|mi|%|to|below)?", fullmatch=True))
def test_any_text_is_a_finite_number_or_unreadable(text: str) -> None:
    for parser in (
        quantity.parse_number,
        quantity.parse_minutes,
        quantity.parse_money,
        quantity.parse_percent,
        quantity.parse_distance,
    ):
        try:
            assert math.isfinite(parser(text))
        except Unreadable as wrong:
            assert wrong.message and wrong.mend


# ---- near words ------------------------------------------------------------------------------------------------------


def test_near() -> None:
    known = ["bring about", "minutes", "hot-soak", "hot-restart"]
    assert near("bring_about", known) == "bring about"
    assert near("Hot Soak", known) == "hot-soak"
    assert near("hot-soack", known) == "hot-soak"
    assert near("minute", known) == "minutes"
    assert near("bri", known) == "bring about"
    assert near("colour", known) is None
    assert near("", known) is None


def test_levels_and_lists() -> None:
    assert levels_of("share", {"a fault": ["share"], "a check": ["ask"]}) == ("a fault",)
    assert choices_of([]) == "none"
    assert choices_of(["a"]) == "a"
    assert choices_of(["a", "b", "c"]) == "a, b or c"
    assert choices_of("abcd", most=2) == "a, b, ..."
    assert shorten("a\n b" * 30).endswith("...") and len(shorten("ab" * 50)) == 40


# ---- filters ---------------------------------------------------------------------------------------------------------


def test_filters() -> None:
    only = Filter({"injection": ("direct", "dual"), "charging": ("charged",)})
    car = {"injection": "direct", "charging": "charged"}
    assert passes(only, car, None, unknown=False)
    assert not passes(only, {**car, "injection": "port"}, None, unknown=True)
    assert passes(only, {"injection": "dual"}, None, unknown=True)
    assert not passes(only, {"injection": "dual"}, None, unknown=False)
    assert passes(Filter(), {}, None, unknown=False)


def test_filters_by_distance() -> None:
    only = Filter({}, distance_over=100.0, distance_under=200.0)
    seen = [passes(only, {}, distance, unknown=False) for distance in (99, 100, 101, 199, 200, 201, None)]
    assert seen == [False, False, True, True, False, False, False]
    assert passes(only, {}, None, unknown=True)
    assert not passes(Filter({"injection": ("port",)}, 100.0), {"injection": "direct"}, None, unknown=True)


# ---- how a mistake is shown ------------------------------------------------------------------------------------------


def test_a_mark_keeps_tabs() -> None:
    problem = Problem(Place("x.yaml", 3, 3), "what", "do this\nor that", "\t ab", 2, "some-kind")
    assert problem_text(problem) == "\n".join(
        ["x.yaml:3:3: error: what   [some-kind]", "    3 | \t ab", "      | \t ^^", "   do this", "   or that"]
    )


def test_a_long_line_is_cut_around_the_mark() -> None:
    line = "a" * 500 + "HERE" + "b" * 500
    shown = problem_text(Problem(Place("x.yaml", 1, 501), "what", "", line, 4, "some-kind")).splitlines()
    start = shown[2].index("^")
    assert shown[1][start : start + 4] == "HERE" and shown[2].count("^") == 4
    assert max(map(len, shown)) < 130


def test_no_line_no_mark() -> None:
    assert problem_text(Problem(Place("x.yaml", 1), "what", "", "", 1, "some-kind", "warning")).count("\n") == 0
