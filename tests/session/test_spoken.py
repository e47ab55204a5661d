"""What a spoken word can stand for."""

from __future__ import annotations

import pytest

from reasoner.session.spoken import Ear, as_said, phrase_words


def ear() -> Ear:
    return Ear({"reek": ("smell",), "needle": ("gauge",)}, frozenset(("smell", "temperature", "gauge", "rain")))


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("smells", "smell"), ("smoking", "smoke"), ("idling", "idle"), ("stopped", "stop"), ("engine's", "engine"),
        ("reeking", "smell"), ("needles", "gauge"), ("tempreature", "temperature"), ("temperture", "temperature"),
        ("accelerating", "accelerat"),
    ],
)  # fmt: skip
def test_a_word_stands_for_what_it_is_a_form_of_and_for_what_means_the_same(said: str, meant: str) -> None:
    assert meant in ear().means(said)


@pytest.mark.parametrize(
    ("said", "other"),
    [
        ("stop-start", "stop"),  # of a compound no part
        ("oiled", "oil"),
        ("smell", "reek"),  # not the other way round
        ("train", "rain"), ("raid", "rain"),  # too short to be a slip
        ("temperament", "temperature"),  # more than one letter away
        ("hot", "hotel"),
    ],
)  # fmt: skip
def test_a_word_does_not_stand_for_another(said: str, other: str) -> None:
    assert other not in ear().means(said)


def test_a_slip_that_may_be_of_two_words_is_none() -> None:
    two = Ear({}, frozenset(("heater", "heated")))
    assert "heater" not in two.means("heatet") and "heated" not in two.means("heatet")


def test_what_denies_is_a_word_of_its_own() -> None:
    assert as_said("It won\u2019t start, CAN'T idle and doesn't smell; cannot") == (
        "it will not start, can not idle and does not smell; can not"
    )


def test_articles_need_not_be_said_but_a_phrase_is_never_one_word() -> None:
    assert phrase_words("at the lights") == ("at", "lights")
    assert phrase_words("is the same") == ("is", "the", "same")
