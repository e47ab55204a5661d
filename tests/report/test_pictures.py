"""Small pictures: what they show is the number, whatever the screen can do."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.report.lines import EIGHTHS, bar, steps, stream_shows_blocks


@pytest.mark.parametrize(
    ("share", "blocks", "plain"),
    [
        (0, "    ", "...."),
        (1, "████", "####"),
        (0.5, "██  ", "##.."),
        (0.53, "██▏ ", "##.."),
        (2, "████", "####"),
        (-1, "    ", "...."),
    ],
)
def test_bars(share: float, blocks: str, plain: str) -> None:
    assert bar(share, 4) == blocks
    assert bar(share, 4, blocks=False) == plain


@given(st.floats(0, 1), st.integers(1, 40))
def test_a_bar_is_as_long_as_its_share(share: float, width: int) -> None:
    drawn = bar(share, width)
    assert len(drawn) == width
    length = sum(EIGHTHS.index(mark) / 8 for mark in drawn)
    assert abs(length - share * width) <= 1 / 16 + 1e-9


def test_steps_rise_with_the_shares() -> None:
    assert steps([0, 0.2, 0.4, 0.6, 0.8, 1.0]) == "▁▂▄▅▇█"
    assert steps([0, 1.0], blocks=False) == "_@"
    assert steps([]) == ""


@given(st.lists(st.floats(0, 1), min_size=61, max_size=300))
def test_of_too_many_steps_the_first_and_the_last_are_shown(shares: list[float]) -> None:
    drawn = steps(shares, width=60)
    assert len(drawn) == 60
    assert (drawn[0], drawn[-1]) == (steps(shares[:1]), steps(shares[-1:]))


def test_what_a_stream_can_show() -> None:
    assert stream_shows_blocks(io.TextIOWrapper(io.BytesIO(), encoding="utf-8"))
    assert not stream_shows_blocks(io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    assert not stream_shows_blocks(io.TextIOWrapper(io.BytesIO(), encoding="latin-1"))
