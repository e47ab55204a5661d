"""Pasted lines of hex -> the replies in them: addresses, lengths and checksums taken off, long replies put together.

CAN: identifiers 7E8 to 7EF, or 18 DA F1 xx (ISO 15765-4), then the length or the number of the frame (ISO 15765-2).
Elsewhere: three bytes of header and one at the end that checks them: the sum (ISO 9141-2, ISO 14230-2) or a CRC (SAE
J1850). All from memory. A line that is a reply by itself (`43 01 01 72`) is taken unchanged; what was asked (`03`)
is passed over.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from reasoner.measure.obd import ControllerReply, decode, hex_bytes
from reasoner.measure.slip import Slip, as_typed

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
