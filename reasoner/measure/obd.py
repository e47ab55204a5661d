"""Pasted lines of hex to the replies in them, and replies of a controller to services 01, 02, 03, 06, 07 and 0A."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from reasoner.measure.codes import PENDING, PERMANENT, STORED, Control, TypedCode, control
from reasoner.measure.pids import PIDS, DecodedValue, Readiness, readiness, word
from reasoner.measure.reading import Slip, as_typed

# ---- Pasted lines of hex -> the replies in them ----------------------------------------------------------------------
# Addresses, lengths and checksums taken off, long replies put together.
#
# CAN: identifiers 7E8 to 7EF, or 18 DA F1 xx (ISO 15765-4), then the length or the number of the frame (ISO 15765-2).
# Elsewhere: three bytes of header and one at the end that checks them: the sum (ISO 9141-2, ISO 14230-2) or a CRC
# (SAE J1850). All from memory. A line that is a reply by itself (`43 01 01 72`) is taken unchanged; what was asked
# (`03`) is passed over.

MOST_LINES = 2000
REQUESTS = range(0x01, 0x0B)  # services that are asked for; their replies have 40 more
REPLIES = frozenset({0x41, 0x42, 0x43, 0x44, 0x46, 0x47, 0x4A, 0x7F})
TO_TESTER = frozenset({0x6B, 0xF1})  # second byte of the header of a reply

_CAN = re.compile(r"(7E[89A-F]|18\s?DA\s?F1\s?[0-9A-F]{2})[\s:]*((?:[0-9A-F]{2}\s*)+)", re.I)
_SINGLE, _FIRST, _NEXT = 0, 1, 2


@dataclass(frozen=True)
class Pasted:
    """replies: in order. slips: lines that are none."""

    replies: tuple[ControllerReply, ...] = ()
    slips: tuple[Slip, ...] = ()


@dataclass
class _Long:
    """A reply of several frames from one sender. due: its length in bytes; at: the number of the next frame."""

    due: int
    data: bytearray = field(default_factory=bytearray)
    at: int = 1


def looks_pasted(line: str) -> bool:
    """Whether a line is hex bytes of a reply, with or without its address (or a service asked for), and no code."""
    text = line.strip(" >\t\r")
    if _CAN.fullmatch(text):
        return True
    data = hex_bytes(text)
    return isinstance(data, bytes) and (
        (len(data) == 1 and data[0] in REQUESTS) or (len(data) > 1 and _bare(data)[0] in REPLIES)
    )


def read_pasted(text: str) -> Pasted:
    """All replies of a pasted text. Never raises."""
    replies: list[ControllerReply] = []
    slips: list[Slip] = []
    open_: dict[str, _Long] = {}
    for line in text.splitlines()[:MOST_LINES]:
        line = line.strip(" >\t\r")
        if not line:
            continue
        found = _line(line, open_)
        if isinstance(found, bytes):
            reply = decode(found)
            (slips if isinstance(reply, Slip) else replies).append(reply)  # type: ignore[arg-type]
        elif found is not None:
            slips.append(found)
    for sender, long in open_.items():
        had, due = len(long.data), long.due
        slips.append(Slip(f"the reply of {sender}", f"{due} bytes in all, not {had}", "paste the lines that follow it"))
    return Pasted(tuple(replies), tuple(slips))


def _line(line: str, open_: dict[str, _Long]) -> bytes | Slip | None:
    """The reply that a line completes, or None."""
    can = _CAN.fullmatch(line)
    if can:
        return _frame(re.sub(r"\s", "", can[1]).upper(), bytes.fromhex(re.sub(r"\s", "", can[2])), open_, line)
    data = hex_bytes(line)
    if isinstance(data, Slip):
        return data
    if data[0] in REQUESTS and len(data) <= 3:
        return None  # what was asked
    return _bare(data)


def _frame(sender: str, data: bytes, open_: dict[str, _Long], line: str) -> bytes | Slip | None:
    kind, low = data[0] >> 4, data[0] & 15
    if kind == _SINGLE and 1 <= low <= len(data) - 1:
        return data[1 : 1 + low]
    if kind == _FIRST and len(data) > 2:
        open_[sender] = _Long(low << 8 | data[1], bytearray(data[2:]))
        return None
    long = open_.get(sender)
    if kind == _NEXT and long is not None and low == long.at % 16:
        long.data += data[1:]
        long.at += 1
        if len(long.data) < long.due:
            return None
        del open_[sender]
        return bytes(long.data[: long.due])
    if kind == _NEXT:
        open_.pop(sender, None)
        return Slip(as_typed(line), "the frames of a reply in order, the first before it", "paste all of its lines")
    return Slip(as_typed(line), "a frame with its length before the reply (ISO 15765-2)")


def _bare(data: bytes) -> bytes:
    """Without three bytes of header and the one that checks them, where there are any."""
    headed = len(data) >= 6 and data[1] in TO_TESTER and data[3] in REPLIES
    return data[3:-1] if headed and data[-1] in (sum(data[:-1]) & 0xFF, crc(data[:-1])) else data


def crc(data: bytes) -> int:
    """CRC-8 of SAE J1850: x8 + x4 + x3 + x2 + 1, begun with ones, inverted."""
    found = 0xFF
    for byte in data:
        found ^= byte
        for _ in range(8):
            found = (found << 1 ^ 0x1D) & 0xFF if found & 0x80 else found << 1
    return found ^ 0xFF


# ---- Replies of a controller to services 01, 02, 03, 06, 07 and 0A, typed or pasted as hex bytes ---------------------
# SAE J1979 / ISO 15031-5 and ISO 15031-6 (two bytes of a code), from memory. A reply is its data alone, without
# addresses, lengths or checksums: `43 01 01 72`. On CAN a count follows 43, 47 and 4A; elsewhere codes come in
# threes, filled up with 00 00. Length and codes that can be tell which it was.

LONGEST_REPLY = 4095  # bytes of one reply (ISO 15765-2)
STATE_OF = {0x43: STORED, 0x47: PENDING, 0x4A: PERMANENT}
REFUSALS = {
    0x10: "general refusal",
    0x11: "service not supported",
    0x12: "not supported like this",
    0x21: "busy, ask again",
    0x22: "not under these conditions",
    0x78: "wait: the reply is still to come",
}
_BYTES = re.compile(r"(?:0[xX])?[0-9A-Fa-f]{2}(?:[\s,;:-]*(?:0[xX])?[0-9A-Fa-f]{2})*")


@dataclass(frozen=True)
class Codes:
    """Services 03, 07, 0A. An empty tuple means that there is none. state: which of them, as a state of codes."""

    codes: tuple[TypedCode, ...]
    state: str = field(default="", compare=False)


@dataclass(frozen=True)
class Current:
    """Services 01 and 02. readiness: from PID 01. frame: freeze frame number; froze: its code, or "".

    supported: PIDs that the car has, where the reply says so (PIDs 00, 20, 40, ...).
    """

    values: tuple[DecodedValue, ...] = ()
    supported: tuple[int, ...] = ()
    readiness: Readiness | None = None
    frame: int | None = None
    froze: str = ""


@dataclass(frozen=True)
class MonitorResult:
    """Service 06 on CAN. test, scaling: as sent. value, least, most: in `unit`, or as sent where that is ""."""

    monitor: str
    monitor_id: int
    test: int
    scaling: int
    value: float
    least: float
    most: float
    unit: str = ""

    @property
    def passed(self) -> bool:
        return self.least <= self.value <= self.most


@dataclass(frozen=True)
class Monitors:
    """Service 06: every result in the reply. supported: monitor numbers, where the reply says which there are."""

    results: tuple[MonitorResult, ...] = ()
    supported: tuple[int, ...] = ()


@dataclass(frozen=True)
class RefusedReply:
    """A negative reply: 7F, the service asked for, why."""

    service: int
    code: int
    why: str


@dataclass(frozen=True)
class ClearedReply:
    """Service 04 was done: codes, freeze frame, readiness and test results are gone. Permanent codes are not."""


ControllerReply = Codes | Current | Monitors | RefusedReply | ClearedReply


def code_of(high: int, low: int) -> str:
    """The code of two bytes (ISO 15031-6): letter in the two highest bits, a digit in the next two, three nibbles."""
    return f"{'PCBU'[high >> 6]}{high >> 4 & 3}{high & 15:X}{low:02X}"


def hex_bytes(text: str) -> bytes | Slip:
    """Bytes typed as pairs of hex digits, blanks and commas between at will. Never raises."""
    typed = text.strip()
    if len(typed) <= 8 * LONGEST_REPLY and typed.isascii() and _BYTES.fullmatch(typed):
        found = bytes.fromhex(re.sub(r"0[xX](?=[0-9A-Fa-f]{2})|[\s,;:-]", "", typed))
        if len(found) <= LONGEST_REPLY:
            return found
    mended = re.sub(r"[oO]", "0", re.sub(r"[lI]", "1", typed[:80]))
    good = mended != typed and mended.isascii() and _BYTES.fullmatch(mended)
    return Slip(as_typed(text), "pairs of hex digits, such as 43 01 01 72", as_typed(mended) if good else "")


def read_controller_reply(text: str) -> ControllerReply | Slip:
    """A reply typed as hex bytes. Never raises."""
    data = hex_bytes(text)
    return data if isinstance(data, Slip) else decode(data)


def decode(data: bytes) -> ControllerReply | Slip:
    """The reply that these bytes are; a Slip where they are none, or end too soon. Never raises."""
    if not data:
        return Slip("", "a reply, such as 43 01 01 72")
    service, rest = data[0], data[1:]
    if service in STATE_OF:
        return _codes(data)
    if service == 0x41:
        return _current(data, rest)
    if service == 0x42:
        return _frozen(data, rest)
    if service == 0x46:
        return _tests(data, rest)
    if service == 0x44 and not rest:
        return ClearedReply()
    if service == 0x7F and len(rest) == 2:
        return RefusedReply(rest[0], rest[1], REFUSALS.get(rest[1], f"reason {rest[1]:02X}"))
    if service in (0x01, 0x02, 0x03, 0x06, 0x07, 0x0A):
        return _slip(data, f"a reply: that is the question; its reply begins with {service + 0x40:02X}")
    return _slip(data, "a reply that begins with 41, 42, 43, 44, 46, 47, 4A or 7F")


def _slip(data: bytes, expected: str) -> Slip:
    return Slip(as_typed(data.hex(" ").upper()), expected)


def _codes(data: bytes) -> Codes | Slip:
    """With a count (CAN, perhaps padded to the end of a frame) or in threes: the form whose codes can be.

    Neither has reserved codes in it; emission codes are nearly always of powertrain or network.
    """
    forms = []
    if len(data) >= 2 and len(data) >= 2 + 2 * data[1] and _padding(data[2 + 2 * data[1] :]):
        forms.append(_pairs(data[2 : 2 + 2 * data[1]]))
    if len(data) > 1 and len(data) % 6 == 1:
        forms.append(_pairs(data[1:]))
    sound = [form for form in forms if all(control(code) is not Control.RESERVED for code in form)]
    likely = [form for form in sound if all(code[0] in "PU" for code in form)] or sound
    if not likely:
        return _slip(data, "a count and as many codes of two bytes, or codes in threes filled up with 00 00")
    if any(form != likely[0] for form in likely):
        return _slip(data, f"one meaning: {' '.join(likely[0])} with a count, or {' '.join(likely[1])} without")
    state = STATE_OF[data[0]]
    return Codes(tuple(TypedCode(code, frozenset({state})) for code in likely[0]), state)


def _pairs(data: bytes) -> tuple[str, ...]:
    """Codes of two bytes, once each; 00 00 only fills up."""
    return tuple(dict.fromkeys(code_of(a, b) for a, b in zip(data[::2], data[1::2], strict=True) if a or b))


def _padding(data: bytes) -> bool:
    return len(data) < 7 and len(set(data)) <= 1 and set(data) <= {0x00, 0x55, 0xAA, 0xCC, 0xFF}


def _current(data: bytes, rest: bytes) -> Current | Slip:
    """One or more PIDs, each with its data."""
    values: list[DecodedValue] = []
    ready, supported = None, list[int]()
    if not rest:
        return _slip(data, "a PID after 41")
    while rest:
        pid, rest = rest[0], rest[1:]
        if pid == 0x01:
            if len(rest) < 4:
                return _slip(data, "4 data bytes for PID 01")
            ready, rest = readiness(rest[:4]), rest[4:]
        elif pid % 0x20 == 0 and len(rest) >= 4:
            supported += _supported(pid, rest[:4])
            rest = rest[4:]
        elif pid not in PIDS:
            return _slip(data, f"a PID that is known here; {pid:02X} is not, nor where its data end")
        elif len(rest) < PIDS[pid].length:
            return _slip(data, f"{PIDS[pid].length} data bytes for PID {pid:02X}, not {len(rest)}")
        else:
            values += PIDS[pid].decode(rest[: PIDS[pid].length])
            rest = rest[PIDS[pid].length :]
    return Current(tuple(values), tuple(supported), ready)


def _frozen(data: bytes, rest: bytes) -> Current | Slip:
    """One or more PIDs, each with its frame number and data. PID 02 is the code that froze the frame."""
    values: list[DecodedValue] = []
    froze, frame = "", None
    if not rest:
        return _slip(data, "a PID and a frame number after 42")
    while rest:
        length = 2 if rest[0] == 0x02 else PIDS[rest[0]].length if rest[0] in PIDS else None
        if length is None:
            return _slip(data, f"a PID that is known here; {rest[0]:02X} is not, nor where its data end")
        if len(rest) < 2 + length:
            return _slip(data, f"a frame number and {length} data bytes for PID {rest[0]:02X}")
        frame, part = rest[1], rest[2 : 2 + length]
        if rest[0] == 0x02:
            froze = code_of(part[0], part[1]) if any(part) else ""
        else:
            values += PIDS[rest[0]].decode(part)
        rest = rest[2 + length :]
    return Current(tuple(values), frame=frame, froze=froze)


MONITORS = {
    0x3D: "purge flow",
    0x81: "fuel system, bank 1",
    0x82: "fuel system, bank 2",
    0xA1: "misfire, all cylinders",
    **{0xA1 + n: f"misfire, cylinder {n}" for n in range(1, 13)},
}


def _tests(data: bytes, rest: bytes) -> Monitors | Slip:
    """Records of nine bytes: monitor, test, scaling, value, least, most. On CAN; elsewhere the maker defines it."""
    if len(rest) == 5 and rest[0] % 0x20 == 0:
        return Monitors(supported=_supported(rest[0], rest[1:]))
    if not rest or len(rest) % 9:
        return _slip(
            data, "records of nine bytes after 46 (on CAN); elsewhere service 06 is maker-defined, not interpreted"
        )
    return Monitors(tuple(_result(rest[i : i + 9]) for i in range(0, len(rest), 9)))


def _supported(base: int, four: bytes) -> tuple[int, ...]:
    """The numbers after `base` whose bit is set, the highest bit first."""
    bits = int.from_bytes(four, "big")
    return tuple(base + i for i in range(1, 33) if bits >> (32 - i) & 1)


def _result(record: bytes) -> MonitorResult:
    """Scaling 24 counts one by one; others are left as sent (from 80 on as signed numbers), with their limits."""
    monitor, test, scaling = record[:3]
    value, least, most = (word(record, i) for i in (3, 5, 7))
    if scaling >= 0x80:
        value, least, most = (n - 0x10000 if n & 0x8000 else n for n in (value, least, most))
    name = MONITORS.get(monitor, f"monitor {monitor:02X}, not interpreted")
    return MonitorResult(name, monitor, test, scaling, value, least, most, "counts" if scaling == 0x24 else "")
