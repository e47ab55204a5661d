"""Pasted lines of hex. Frames by ISO 15765-2 and the checksums of ISO 9141-2 and 14230-2, worked by hand."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reasoner.measure.obd import Codes, Current, Pasted, RefusedReply, crc, looks_pasted, read_pasted


def codes(found: Pasted) -> list[str]:
    assert not found.slips, found.slips
    return [code.code for reply in found.replies if isinstance(reply, Codes) for code in reply.codes]


@pytest.mark.parametrize(
    "line",
    [
        "43 01 01 72",
        "430101 72",
        "> 43 01 01 72",
        "7E8 04 43 01 01 72",
        "7E804430101720000 00",
        "18 DA F1 10 04 43 01 01 72 AA AA AA",
        "18DAF110 04 43 01 01 72",
        "48 6B 10 43 01 72 00 00 00 00 79",  # 48 + 6B + 10 + 43 + 01 + 72 = 179
        "48 6B 10 43 01 72 00 00 00 00 92",  # with its CRC
        "87 F1 10 43 01 72 00 00 00 00 3E",  # 87 + F1 + 10 + 43 + 01 + 72 = 23E
    ],
)
def test_a_reply_in_whatever_it_was_sent(line: str) -> None:
    assert looks_pasted(line)
    assert codes(read_pasted(line)) == ["P0172"]


def test_a_long_reply_is_put_together() -> None:
    """Eight bytes of three codes (43 03 ...): a first frame of six, a consecutive one of two and padding."""
    text = "7E8 10 08 43 03 01 72 21 88\n7E9 02 47 00\n7E8 21 03 01 AA AA AA AA AA"
    assert codes(read_pasted(text)) == ["P0172", "P2188", "P0301"]


@pytest.mark.parametrize(
    "text",
    [
        "7E8 10 08 43 03 01 72 21 88",
        "7E8 10 08 43 03 01 72 21 88\n7E8 22 03 01 AA AA AA AA AA",
        "7E8 21 03 01 AA AA AA AA AA",
    ],
)
def test_a_torn_reply_is_refused(text: str) -> None:
    found = read_pasted(text)
    assert not found.replies and found.slips and all(slip.expected for slip in found.slips)


def test_a_wrong_checksum_is_no_reply() -> None:
    found = read_pasted("48 6B 10 43 01 72 00 00 00 00 7A")
    assert not found.replies and len(found.slips) == 1


def test_crc_of_a_known_string() -> None:
    """The catalogued check value of CRC-8/SAE-J1850 over the digits 1 to 9 is 4B (from memory)."""
    assert crc(b"123456789") == 0x4B


def test_what_was_asked_is_passed_over() -> None:
    found = read_pasted("03\n43 01 01 72\n\n>07\r\n47 00\r\n0A\n7F 0A 11\n01 0C\n41 0C 0B B8")
    assert [type(reply) for reply in found.replies] == [Codes, Codes, RefusedReply, Current] and not found.slips


@pytest.mark.parametrize("line", ["P0172", "P0172 pending", "0172", "none", "rich at idle", "", "FF FF", "12 34"])
def test_what_is_no_reply(line: str) -> None:
    assert not looks_pasted(line)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.text(max_size=20),
            st.binary(max_size=12).map(lambda data: data.hex(" ")),
            st.binary(max_size=9).map(lambda data: "7E8 " + data.hex(" ")),
        ),
        max_size=6,
    )
)
def test_anything_pasted_gives_replies_or_lines(lines: list[str]) -> None:
    found = read_pasted("\n".join(lines))
    assert all(slip.expected for slip in found.slips)
    for line in lines:
        looks_pasted(line)
