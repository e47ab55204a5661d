"""Bytes of a file to lines of text: what encoding it is in, and whether it is text at all. Never raises."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

LARGEST = 400_000_000  # bytes; ten hours at 50 rows a second are some 200 MB
LOOKED_AT = 65536  # bytes or characters that decide what a file is
STRANGE = 0.02  # share of control characters beyond which it is no text

_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_PACKED = (b"PK\x03\x04", b"\x1f\x8b", b"7z\xbc\xaf", b"BZh", b"\xfd7zXZ", b"\x28\xb5\x2f\xfd")
_CONTROL = re.compile("[\x00-\x08\x0b\x0e-\x19\x1b-\x1f\x7f]")


@dataclass(frozen=True)
class Lines:
    """lines: without their ends. whole: the last one had an end. encoding: in plain words."""

    lines: list[str]
    whole: bool
    encoding: str


def lines_of(content: bytes) -> Lines | str:
    """The lines of a file, or why it cannot be read."""
    if len(content) > LARGEST:
        return f"the file is larger than {LARGEST // 1_000_000} MB: cut it into drives"
    if content.startswith(_PACKED):
        return "a packed file: unpack it first"
    text, encoding = _text(content)
    text = text.rstrip("\x00\x1a")  # a power cut leaves zeros where the last rows should be
    if not text.strip():
        return "there is nothing in the file"
    looked = text[:LOOKED_AT]
    if len(_CONTROL.findall(looked)) > STRANGE * len(looked):
        return "not a text file: export the log as text (CSV)"
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    whole = text.endswith("\n")
    lines = text.split("\n")
    if whole:
        lines.pop()
    return Lines(lines, whole, encoding)


def _text(content: bytes) -> tuple[str, str]:
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return content[len(mark) :].decode(encoding, "replace"), encoding.upper()
    wide = _without_mark(content[:LOOKED_AT])
    if wide:
        return content.decode(wide, "replace"), wide.upper()
    try:
        return content.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError as error:
        if len(content) - error.start < 4:  # only the last character is cut
            return content[: error.start].decode("utf-8"), "UTF-8"
        return content.decode("cp1252", "replace"), "Windows-1252"


def _without_mark(head: bytes) -> str:
    """UTF-16 without a byte order mark: every second byte of mostly Latin text is zero."""
    half = len(head) // 2
    if half < 8:
        return ""
    even, odd = head[0 : 2 * half : 2].count(0), head[1 : 2 * half : 2].count(0)
    if odd > 0.7 * half and even < 0.1 * half:
        return "utf-16-le"
    if even > 0.7 * half and odd < 0.1 * half:
        return "utf-16-be"
    return ""
