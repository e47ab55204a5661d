"""Codes as typed. Form and ownership: SAE J2012 / ISO 15031-6, from memory."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.measure.codes import CODE_STATES, CodeList, Control, control, described, nearest_code, read_codes
from reasoner.measure.reading import QUOTED_LENGTH

ALL = frozenset(CODE_STATES)


def said(text: str) -> dict[str, set[str]]:
    """The codes of a text without slips, with their states."""
    found = read_codes(text)
    assert not found.slips, found.slips
    return {c.code: set(c.states) for c in found.codes}


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("P0172 pending, P0172 permanent", {"P0172": {"pending", "permanent"}}),
        ("p0172 p0301", {"P0172": set(), "P0301": set()}),
        ("P0172(pending); P0175", {"P0172": {"pending"}, "P0175": set()}),
        ("P0172\nP0175\r\np2188", {"P0172": set(), "P0175": set(), "P2188": set()}),
        ("P0172 stored pending", {"P0172": {"stored", "pending"}}),
        ("P0171 history, P0172 stored", {"P0171": {"history"}, "P0172": {"stored"}}),
        ("History: P0171; pending: none; P0172 stored", {"P0171": {"history"}, "P0172": {"stored"}}),
        ("P0172 conf., P0175 perm", {"P0172": {"stored"}, "P0175": {"permanent"}}),
        ("P0172 pending and P0175 stored", {"P0172": {"pending"}, "P0175": {"stored"}}),
        ("pending P0172, stored P0301", {"P0172": {"pending"}, "P0301": {"stored"}}),
        ("pending P0172 stored P0301", {"P0172": {"pending"}, "P0301": {"stored"}}),
        ("pending P0172 permanent", {"P0172": {"pending", "permanent"}}),
        ("Stored codes: P0172 P0175; Pending: P0301", {"P0172": {"stored"}, "P0175": {"stored"}, "P0301": {"pending"}}),
        ("pending\nP0172\nP0175\nstored\nP0301", {"P0172": {"pending"}, "P0175": {"pending"}, "P0301": {"stored"}}),
        ("stored: P0172, P0301 pending", {"P0172": {"stored"}, "P0301": {"pending"}}),
        ("P0172, pending", {"P0172": {"pending"}}),
        ("P0172: pending", {"P0172": {"pending"}}),
        ("P0172/P0175 + P219A & U0100", {"P0172": set(), "P0175": set(), "P219A": set(), "U0100": set()}),
        ("P 0172, p-0175", {"P0172": set(), "P0175": set()}),
        ("P0172 P0301 pending", {"P0172": set(), "P0301": {"pending"}}),  # the nearest
    ],
)
def test_what_people_type(text: str, codes: dict[str, set[str]]) -> None:
    assert said(text) == codes


def test_order_is_kept_and_a_code_stands_once() -> None:
    found = read_codes("P0301, P0172 stored, P0301 pending")
    assert [c.code for c in found.codes] == ["P0301", "P0172"]


@pytest.mark.parametrize("text", ["none", "No codes", "no fault codes found.", "nothing", "NIL", "no DTCs"])
def test_an_explicit_empty_list(text: str) -> None:
    found = read_codes(text)
    assert found.none and found.empty == ALL and not found.slips


def test_no_history_says_nothing_of_what_is_stored() -> None:
    assert read_codes("history: none").empty == frozenset() and not read_codes("history: none").none


@pytest.mark.parametrize("text", ["", "  \n", "no idea", "not yet", "P0172"])
def test_saying_nothing_is_not_saying_none(text: str) -> None:
    assert not read_codes(text).none


def test_none_of_one_state() -> None:
    assert read_codes("P0172 stored; pending: none") == CodeList(
        read_codes("P0172 stored").codes, frozenset({"pending"})
    )
    alone = read_codes("no pending codes")
    assert not alone.none and alone.empty == {"pending"}
    assert [s.expected for s in alone.slips] == ["stored and permanent too"]


@pytest.mark.parametrize("text", ["none, P0172", "P0172 pending, none pending"])
def test_none_beside_codes_is_a_slip_and_the_codes_stay(text: str) -> None:
    found = read_codes(text)
    assert [c.code for c in found.codes] == ["P0172"]
    assert len(found.slips) == 1 and not found.none


@pytest.mark.parametrize(
    ("typed", "codes"),
    [
        ("P0172-00 confirmed, P2187-13", {"P0172": {"stored"}, "P2187": set()}),  # with the type of failure
        ("stored: P0172, P0118. pending: none", {"P0172": {"stored"}, "P0118": {"stored"}}),
        ("P0172 P0300 all stored, none pending", {"P0172": {"stored"}, "P0300": {"stored"}}),
        ("P0172 P0175 both pending", {"P0172": {"pending"}, "P0175": {"pending"}}),
        ("P0174 pending only", {"P0174": {"pending"}}),
        ("P0172. P0175 pending.", {"P0172": set(), "P0175": {"pending"}}),
    ],
)
def test_as_workshops_write_them_down(typed: str, codes: dict[str, set[str]]) -> None:
    found = read_codes(typed)
    assert {code.code: set(code.states) for code in found.codes} == codes and not found.slips


def test_a_state_that_is_denied_is_none_of_the_code_and_said() -> None:
    found = read_codes("P2188 stored; P0172 not stored")
    assert {code.code: set(code.states) for code in found.codes} == {"P2188": {"stored"}, "P0172": set()}
    assert [slip.stood for slip in found.slips] == ["not-stored"]


@pytest.mark.parametrize(
    ("piece", "mend"),
    [
        ("PO172", "P0172"),  # letter O
        ("P01722", "P0172"),
        ("P00172", "P0172"),
        ("X0172", "P0172"),
        ("0172", "P0172"),
        ("172", "P0172"),
        ("PO1I2", "P0112"),
        ("P017", "P017_"),
        ("P0172-0", "P0172"),
        ("P01\x0072", "P0172"),
        ("\x1b[1;31mP0172\x1b[0m", "P0172"),
        ("P\u200b0172", "P0172"),
        ("\u04200172", "P0172"),  # Cyrillic R looks like P
        ("P9999", ""),
        ("p5", None),  # too short to be meant for a code: a word
    ],
)
def test_malformed_pieces_are_values_and_the_good_ones_kept(piece: str, mend: str | None) -> None:
    found = read_codes(f"P0301, {piece}, P0175 pending")
    assert [c.code for c in found.codes] == ["P0301", "P0175"]
    (slip,) = found.slips
    assert slip.stood.isprintable() and slip.expected
    if mend is not None:
        assert slip.mend == mend and "SAE J2012" in slip.expected


def test_names_copied_along_are_one_slip_a_piece() -> None:
    found = read_codes("P0172 - System Too Rich (Bank 1)\nP0301 pendign")
    assert [c.code for c in found.codes] == ["P0172", "P0301"]
    assert [(s.stood, s.mend) for s in found.slips] == [
        ("System Too Rich Bank 1", "leave it out"),
        ("pendign", "pending"),
    ]


@pytest.mark.parametrize(
    ("codes", "owner"),
    [
        ("P0172 P0FFF P2188 P2A00 P3400 P3999 B0001 C0420 U0100 U3003", Control.STANDARD),
        ("P1172 P1FFF P3000 P33FF B1000 B2000 C1200 C2200 U1000 U2100", Control.MAKER),
        ("P3A00 P3FFF B3000 C3200", Control.RESERVED),
    ],
)
def test_who_defines_it(codes: str, owner: Control) -> None:
    assert {control(code) for code in codes.split()} == {owner}


def test_a_maker_defined_code_is_kept_and_named_as_such() -> None:
    assert said("P1172 stored") == {"P1172": {"stored"}}
    assert "maker-defined" in described("P1172") and "not interpreted" in described("P1172")
    assert "standard code" in described("P0172") and "reserved" in described("P3A00")


@pytest.mark.parametrize("text", ["P017", "p0172", "X0172", "", "P0172 "])
def test_ownership_of_no_code(text: str) -> None:
    with pytest.raises(ValueError, match="is no code"):
        control(text)


CODES = st.from_regex(r"[PCBU][0-3][0-9A-F]{3}", fullmatch=True)
WORDS = st.sampled_from(
    [
        "P0172",
        "p0301",
        "pending",
        "stored:",
        "none",
        "no",
        ";",
        ",",
        "\n",
        "PO172",
        ":",
        "(",
        "\x00",
        "\x1b[0m",
        "-",
        "P",
        " ",
    ]
)


@given(st.one_of(st.text(), st.lists(WORDS).map(" ".join), st.lists(WORDS).map("".join)))
def test_never_raises_and_every_part_is_sound(text: str) -> None:
    found = read_codes(text)
    assert len({c.code for c in found.codes}) == len(found.codes)
    for typed in found.codes:
        control(typed.code)
        assert typed.states <= ALL and not (typed.states & found.empty)
    for slip in found.slips:
        assert slip.stood.isprintable() and len(slip.stood) <= 8 * QUOTED_LENGTH and slip.expected


@given(st.lists(st.tuples(CODES, st.sampled_from(CODE_STATES)), min_size=1))
def test_typed_plainly_nothing_is_lost(pairs: list[tuple[str, str]]) -> None:
    wanted: dict[str, set[str]] = {}
    for code, state in pairs:
        wanted.setdefault(code, set()).add(state)
    assert said(", ".join(f"{code.lower()} {state}" for code, state in pairs)) == wanted


def test_a_very_long_text_is_read() -> None:
    for text, codes, slips in ((":", 0, 0), ("P0172 ", 1, 0), ("x,", 0, 1), ("pending: ", 0, 0)):
        found = read_codes(text * 50_000)
        assert (len(found.codes), len(found.slips)) == (codes, slips)


@given(CODES, st.integers(2, 4))
def test_a_letter_o_for_a_zero_is_mended(code: str, at: int) -> None:
    meant = code[:at] + "0" + code[at + 1 :]
    assert nearest_code(code[:at] + "O" + code[at + 1 :]) == meant
