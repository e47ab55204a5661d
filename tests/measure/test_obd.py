"""Hex replies. SAE J1979 / ISO 15031-5 scalings and examples, from memory unless a source is named."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.measure.obd import (
    ClearedReply,
    Codes,
    Current,
    Monitors,
    RefusedReply,
    code_of,
    decode,
    hex_bytes,
    read_controller_reply,
)
from reasoner.measure.pids import PIDS, readiness
from reasoner.measure.reading import Slip


def codes(text: str) -> list[str]:
    got = read_controller_reply(text)
    assert isinstance(got, Codes), got
    return [c.code for c in got.codes]


def values(text: str) -> dict[str, float | str | None]:
    got = read_controller_reply(text)
    assert isinstance(got, Current), got
    return {v.name: v.value for v in got.values}


@pytest.mark.parametrize(
    ("two", "code"),
    [
        ("01 43", "P0143"),  # ISO 15031-5, example of the encoding (seen in a secondary text)
        ("01 72", "P0172"),
        ("01 75", "P0175"),
        ("21 78", "P2178"),
        ("21 96", "P2196"),
        ("03 01", "P0301"),
        ("2A 00", "P2A00"),
        ("44 20", "C0420"),
        ("81 23", "B0123"),
        ("C1 00", "U0100"),
    ],
)
def test_two_bytes_of_a_code(two: str, code: str) -> None:
    high, low = bytes.fromhex(two)
    assert code_of(high, low) == code and bytes_of(code) == bytes.fromhex(two)


def bytes_of(code: str) -> bytes:
    """The other way round, written from the standard (ISO 15031-6)."""
    return bytes(("PCBU".index(code[0]) << 6 | int(code[1]) << 4 | int(code[2], 16), int(code[3:], 16)))


def test_every_two_bytes_are_one_code() -> None:
    all_codes = {code_of(h, low) for h in range(256) for low in range(256)}
    assert len(all_codes) == 65536
    assert all(code_of(*bytes_of(code)) == code for code in all_codes)


@pytest.mark.parametrize(
    ("reply", "found"),
    [
        ("43 00", []),  # ISO 15765-4 examples of none and one code (seen in a secondary text)
        ("43 01 01 43", ["P0143"]),
        ("43 02 01 72 03 01", ["P0172", "P0301"]),
        ("4302 0172 0301", ["P0172", "P0301"]),
        ("0x43,0x01,0x01,0x72", ["P0172"]),
        ("43 01 72 00 00 00 00", ["P0172"]),  # in threes, without a count
        ("43 01 72 01 75 21 88", ["P0172", "P0175", "P2188"]),
        ("43 00 00 00 00 00 00", []),
        ("43 01 01 72 00 00 00", ["P0172"]),  # counted, and filled up to the end of a frame
        ("43 01 01 72 AA AA AA", ["P0172"]),
        ("47 01 01 72", ["P0172"]),
        ("4A 01 01 72", ["P0172"]),
        ("43 02 01 72 01 72", ["P0172"]),
    ],
)
def test_lists_of_codes(reply: str, found: list[str]) -> None:
    assert codes(reply) == found


def test_the_service_says_the_state() -> None:
    for reply, state in (("43 01 01 72", "stored"), ("47 01 01 72", "pending"), ("4A 01 01 72", "permanent")):
        got = read_controller_reply(reply)
        assert isinstance(got, Codes) and got.codes[0].states == {state}


@pytest.mark.parametrize("reply", ["43", "43 02 01 72", "43 01 72", "43 02 01 72 03", "43 03 01 72 03 01 01"])
def test_a_torn_list_is_not_guessed_at(reply: str) -> None:
    got = read_controller_reply(reply)
    assert isinstance(got, Slip) and "count" in got.expected


@pytest.mark.parametrize(
    ("data", "name", "value"),
    [
        ("04 33", "calculated load", 20.00),
        ("05 7B", "coolant temperature", 83),
        ("05 FF", "coolant temperature", 215),
        ("06 00", "short-term trim, bank 1", -100),
        ("06 80", "short-term trim, bank 1", 0),
        ("07 66", "long-term trim, bank 1", -20.31),
        ("08 72", "short-term trim, bank 2", -10.94),
        ("09 FF", "long-term trim, bank 2", 99.22),
        ("0A 64", "fuel pressure above air", 300),
        ("0B 20", "manifold pressure, absolute", 32),
        ("0C 1A 2C", "engine speed", 1675),
        ("0C FF FF", "engine speed", 16383.75),
        ("0D 28", "road speed", 40),
        ("0F 28", "intake air temperature", 0),
        ("10 01 F4", "airflow", 5.00),
        ("10 FF FF", "airflow", 655.35),
        ("14 91 72", "oxygen sensor, bank 1 sensor 1", 0.725),
        ("14 91 72", "short-term trim, bank 1 sensor 1", -10.94),
        ("18 B4 FF", "short-term trim, bank 2 sensor 1", None),
        ("1F 02 58", "time since start", 600),
        ("22 13 88", "fuel pressure above manifold", 395.0),
        ("23 01 F4", "fuel pressure above air", 5000),
        ("24 7A E1 40 00", "lambda, bank 1 sensor 1", 0.960),
        ("24 7A E1 40 00", "sensor, bank 1 sensor 1", 2.0),
        ("2E 26", "purge, commanded", 14.90),
        ("30 0F", "warm-ups since codes were cleared", 15),
        ("31 00 C8", "distance since codes were cleared", 200),
        ("34 80 00 7E 80", "sensor, bank 1 sensor 1", -1.5),
        ("38 66 66 81 00", "lambda, bank 2 sensor 1", 0.800),
        ("42 3A 98", "controller voltage", 15.0),
        ("43 02 00", "absolute load", 200.8),
        ("44 80 00", "lambda, commanded", 1.0),
        ("4E 00 3C", "time since codes were cleared", 60),
        ("52 D9", "ethanol in the fuel", 85.10),
        ("59 03 E8", "rail pressure, absolute", 10000),
        ("5C 82", "oil temperature", 90),
        ("5E 00 64", "fuel rate", 5.0),
        ("03 02 04", "fuel system 1", "closed loop"),
        ("03 02 04", "fuel system 2", "open loop: load or overrun"),
        ("03 10 00", "fuel system 1", "closed loop with a sensor fault"),
        ("03 03 00", "fuel system 1", "unknown status 03"),
    ],
)
def test_scalings(data: str, name: str, value: float | str | None) -> None:
    got = values("41 " + data)[name]
    if isinstance(value, (int, float)):
        assert got == pytest.approx(value, abs=0.006 if value < 100 else 0.06)
    else:
        assert got == value


def test_lambda_scalings_give_one_exactly_at_the_middle() -> None:
    """2/65536, not the rounded 0.0000305 that many tables print."""
    assert values("41 44 80 00")["lambda, commanded"] == 1.0
    assert values("41 44 FF FF")["lambda, commanded"] == pytest.approx(2, abs=1e-4)


def test_several_in_one_reply() -> None:
    got = values("41 0C 0B B8 05 7B 07 66")
    assert got == {"engine speed": 750, "coolant temperature": 83, "long-term trim, bank 1": -20.3125}


@pytest.mark.parametrize(
    ("data", "lamp", "count", "waiting"),
    [
        ("81 07 65 01", True, 1, {"catalyst"}),
        ("00 07 65 00", False, 0, set()),
        ("00 07 65 21", False, 0, {"catalyst", "oxygen sensor"}),
        ("82 07 61 25", True, 2, {"catalyst", "oxygen sensor"}),  # D bit 2 counts for nothing: no vapour monitor
        ("00 77 00 00", False, 0, {"misfire", "fuel system", "components"}),
    ],
)
def test_readiness(data: str, lamp: bool, count: int, waiting: set[str]) -> None:
    got = read_controller_reply("41 01 " + data)
    assert isinstance(got, Current) and got.readiness
    assert (got.readiness.lamp, got.readiness.codes, set(got.readiness.waiting)) == (lamp, count, waiting)
    assert waiting <= set(got.readiness.supported) and not got.readiness.compression_ignition


def test_supported_numbers() -> None:
    """BE 1F A8 13: a much-printed example of the bits of PID 00 (from memory)."""
    got = read_controller_reply("41 00 BE 1F A8 13")
    wanted = (0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F, 0x20)
    assert isinstance(got, Current) and got.supported == wanted


def test_freeze_frame() -> None:
    got = read_controller_reply("42 02 00 01 72 0C 00 0B B8 07 00 66")
    assert isinstance(got, Current) and got.froze == "P0172" and got.frame == 0
    assert [v.value for v in got.values] == [750, -20.3125]
    none = read_controller_reply("42 02 00 00 00")
    assert isinstance(none, Current) and none.froze == ""


def test_misfire_counts_by_cylinder() -> None:
    got = read_controller_reply("46 A2 0B 24 00 05 00 00 FF FF A4 0C 24 00 64 00 00 00 32")
    assert isinstance(got, Monitors)
    one, three = got.results
    assert (one.monitor, one.test, one.value, one.unit, one.passed) == ("misfire, cylinder 1", 0x0B, 5, "counts", True)
    assert (three.monitor, three.value, three.most, three.passed) == ("misfire, cylinder 3", 100, 50, False)
    signed = read_controller_reply("46 81 80 96 FF FE FF 00 01 00")
    assert isinstance(signed, Monitors)
    assert (signed.results[0].value, signed.results[0].least, signed.results[0].most) == (-2, -256, 256)
    which = read_controller_reply("46 A0 F8 00 00 00")
    assert isinstance(which, Monitors) and which.supported == (0xA1, 0xA2, 0xA3, 0xA4, 0xA5)


def test_refusals_and_clearing() -> None:
    assert read_controller_reply("7F 03 78") == RefusedReply(3, 0x78, "wait: the reply is still to come")
    assert read_controller_reply("7F 0A 99") == RefusedReply(0x0A, 0x99, "reason 99")
    assert read_controller_reply("44") == ClearedReply()


@pytest.mark.parametrize(
    ("text", "mend"),
    [
        ("43 O1 01 72", "43 01 01 72"),
        ("43 0l 01 72", "43 01 01 72"),
        ("43 1", ""),
        ("P0172", ""),
        ("", ""),
        ("43 GG", ""),
    ],
)
def test_what_is_no_hex(text: str, mend: str) -> None:
    got = hex_bytes(text)
    assert isinstance(got, Slip) and got.mend == mend


@pytest.mark.parametrize(
    ("text", "word"),
    [("03", "begins with 43"), ("41 0C 1A", "2 data bytes"), ("41 FF 00", "FF"), ("46 01 02", "nine"), ("50", "41")],
)
def test_what_is_no_reply(text: str, word: str) -> None:
    got = read_controller_reply(text)
    assert isinstance(got, Slip) and word in got.expected


@given(st.one_of(st.text(), st.text("0123456789abcdefABCDEFoOxX ,:-\n"), st.binary(max_size=40).map(bytes.hex)))
def test_never_raises(text: str) -> None:
    got = read_controller_reply(text)
    assert isinstance(got, (Slip, Codes, Current, Monitors, RefusedReply, ClearedReply))


@given(st.sampled_from([0x41, 0x42, 0x43, 0x44, 0x46, 0x47, 0x4A, 0x7F]), st.binary(max_size=30))
def test_any_bytes_decode_or_slip(service: int, data: bytes) -> None:
    got = decode(bytes([service]) + data)
    if isinstance(got, Slip):
        assert got.expected


@given(
    st.lists(st.from_regex(r"P[02][0-9A-F]{3}", fullmatch=True).filter(lambda c: c != "P0000"), max_size=8, unique=True)
)
def test_codes_sent_with_a_count_come_back(sent: list[str]) -> None:
    data = bytes([0x43, len(sent)]) + b"".join(map(bytes_of, sent))
    got = decode(data)
    assert isinstance(got, Codes) and [c.code for c in got.codes] == sent


@pytest.mark.parametrize("pid", sorted(PIDS))
def test_every_pid_takes_its_own_length(pid: int) -> None:
    length = PIDS[pid].length
    for data in (b"\x00" * length, b"\xff" * length):
        assert PIDS[pid].decode(data)
    with pytest.raises(ValueError):
        PIDS[pid].decode(b"\x00" * (length + 1))
    with pytest.raises(ValueError):
        readiness(b"\x00")


@pytest.mark.parametrize("filler", ["00", "55", "AA", "CC", "FF"])
def test_a_frame_filled_up_with_one_byte_is_padded(filler: str) -> None:
    """ISO 15765-2 names CC; 00, 55, AA and FF are common practice, no source. Always one and the same byte."""
    got = decode(bytes.fromhex("43 01 01 72" + 3 * filler))
    assert isinstance(got, Codes) and [c.code for c in got.codes] == ["P0172"]
    mixed = decode(bytes.fromhex("43 01 01 72" + filler + "11" + filler))
    assert not isinstance(mixed, Codes) or [c.code for c in mixed.codes] != ["P0172"]


def test_a_reply_cut_off_after_its_service_is_no_reply() -> None:
    assert isinstance(decode(bytes.fromhex("41")), Slip)
    assert isinstance(decode(bytes.fromhex("46")), Slip)


def test_which_monitors_there_are_is_told_at_every_thirty_second_number() -> None:
    """ISO 15031-5 (from memory): five bytes after 46, the first 00, 20, 40 ...; at any other number they are a piece of
    a record."""
    got = decode(bytes.fromhex("46 20 80 00 00 01"))
    assert isinstance(got, Monitors) and got.supported == (0x21, 0x40)
    assert isinstance(decode(bytes.fromhex("46 21 80 00 00 01")), Slip)


@pytest.mark.parametrize(("scaling", "value"), [("7F", 0xFFFE), ("80", -2), ("FE", -2)])
def test_results_are_signed_from_scaling_80_on(scaling: str, value: int) -> None:
    """ISO 15031-5 (from memory): scalings 01 to 7F are unsigned, 80 to FE two's complement."""
    got = decode(bytes.fromhex(f"46 A2 0B {scaling} FF FE 00 00 FF FF"))
    assert isinstance(got, Monitors)
    (result,) = got.results
    assert (result.value, result.least) == (value, 0)
