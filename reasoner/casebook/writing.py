"""Plain data as text that JSON and YAML read alike, and files written whole or not at all."""

from __future__ import annotations

import json
import math
import os
import re
import secrets
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

# ---- A file written whole or not at all ------------------------------------------------------------------------------
# Beside its final name first, flushed, then renamed.
#
# Whatever ends the program meanwhile (a kill, a full disk, a power cut), the final name holds what it held before.
# rename(2) replaces a name in one step (POSIX.1-2017, rename); Python's os.replace does the same on Windows.

BESIDE = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


def write_whole(path: Path, text: str) -> None:
    """Put UTF-8 text under a name, replacing what is there. Raises OSError; the old content is then still there."""
    path = Path(os.path.realpath(path))
    if path.exists() and not path.is_file():  # a pipe or a device takes what comes; a folder refuses
        path.write_bytes(text.encode())
        return
    beside = _written(path, text.encode())
    try:
        with suppress(OSError):  # there may be none to keep, and not every disk keeps rights
            os.chmod(beside, os.stat(path).st_mode & 0o7777)
        os.replace(beside, path)
    except BaseException:
        _remove(beside)
        raise


def write_new(path: Path, data: bytes) -> None:
    """Put data under a name that must be free. Raises FileExistsError, OSError; nothing is then left of it."""
    beside = _written(path, data)
    try:
        os.link(beside, path)
    except FileExistsError:
        raise
    except OSError:  # a disk without links: a look before has to do
        if os.path.lexists(path):
            raise FileExistsError(f"{path} is there already") from None
        os.rename(beside, path)
    finally:
        _remove(beside)


def _written(path: Path, data: bytes) -> Path:
    """A flushed file in the same folder, with a name that lists of cases pass over."""
    beside = path.with_name(f".{path.name[:40]}-{secrets.token_hex(8)}")
    fd = os.open(beside, BESIDE, 0o666)
    try:
        while data:
            data = data[os.write(fd, data) :]
        os.fsync(fd)
    except BaseException:
        _remove(beside)
        raise
    finally:
        os.close(fd)
    return beside


def _remove(path: Path) -> None:
    with suppress(OSError):
        os.unlink(path)


# ---- Plain data as text that JSON and YAML read alike ----------------------------------------------------------------
# An event is one line, `- {...}`. JSON (RFC 8259) is nearly YAML already; what is done here covers the rest:
# characters that YAML forbids, or that YAML 1.1 takes for line breaks, are escaped; a number with an exponent gets
# its decimal point (YAML 1.1 reads `1e+16` as text); keys stay under YAML 1.1's limit of 1024 characters; and what
# JSON cannot say is refused rather than bent.

RawEvent = Mapping[str, Any]  # an event as read from a file; `shape` makes it one of `events`

LONGEST_KEY = 1000  # characters of a key as written; YAML's limit is 1024
DEEPEST_DATA = 50  # levels of nesting
ESCAPED = re.compile("[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")
LONE = re.compile("[\ud800-\udfff]")  # half a character, which no UTF-8 file can hold
BARE_TEXT = re.compile(r"[A-Za-z](?:[A-Za-z0-9 _./-]*[A-Za-z0-9_/-])?")
QUOTED_WORDS = {
    "y",
    "n",
    "yes",
    "no",
    "on",
    "off",
    "true",
    "false",
    "null",
}  # what some reader takes for something else


def event_line(event: RawEvent) -> str:
    """The line of an event, with its line end. Raises TypeError or ValueError for what is no plain data."""
    if not isinstance(event, Mapping):
        raise TypeError(f"an event is a mapping, not a {type(event).__name__}")
    return f"- {flow(event)}\n"


def flow(value: object, depth: int = 0) -> str:
    """Any plain value on one line. Half characters (lone surrogates) become U+FFFD."""
    if depth > DEEPEST_DATA:
        raise ValueError(f"nested more than {DEEPEST_DATA} deep")
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, int):
        return int.__repr__(value)
    if isinstance(value, float):
        return number_text(value)
    if isinstance(value, Mapping):
        pairs = {key_text(key): flow(item, depth + 1) for key, item in value.items()}
        if len(pairs) < len(value):
            raise ValueError("two keys are written alike")
        return "{" + ", ".join(f"{key}: {item}" for key, item in pairs.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(flow(item, depth + 1) for item in value) + "]"
    raise TypeError(f"a {type(value).__name__} is no plain value")


def number_text(value: float) -> str:
    """A number as JSON and YAML 1.1 both read it. Raises ValueError for one that is not finite."""
    if not math.isfinite(value):
        raise ValueError(f"{value} is no number that JSON can say")
    mantissa, exponent, power = float.__repr__(value).partition("e")
    return mantissa + (".0" if exponent and "." not in mantissa else "") + exponent + power


def key_text(key: object) -> str:
    """A key in quotes. Raises TypeError for no text, ValueError for one too long."""
    if not isinstance(key, str):
        raise TypeError(f"a key is text, not a {type(key).__name__}")
    written = quoted(key)
    if len(written) > LONGEST_KEY:
        raise ValueError(f"a key longer than {LONGEST_KEY} characters")
    return written


def quoted(text: str) -> str:
    """Text in quotes, with everything escaped that YAML forbids or breaks lines at."""
    text = json.dumps(LONE.sub("\ufffd", text), ensure_ascii=False)
    return ESCAPED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def head_text(head: Mapping[str, object]) -> str:
    """The head of a case file as block YAML, to `events:`. Its values are text, mappings and lists of text."""
    return block(head) + "events:\n"


def block(head: Mapping[str, object], indent: str = "") -> str:
    """Mappings in mappings as block YAML. Raises TypeError for what the head of a case does not hold."""
    lines = []
    for key, value in head.items():
        written = key if isinstance(key, str) and is_bare(key) else key_text(key)
        if isinstance(value, Mapping) and value:
            lines.append(f"{indent}{written}:\n{block(value, indent + '  ')}")
        else:
            lines.append(f"{indent}{written}: {head_value(value)}\n")
    return "".join(lines)


def head_value(value: object) -> str:
    """One value of the head of a case. Raises TypeError for what it does not hold."""
    if isinstance(value, str):
        return value if is_bare(value) else quoted(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(head_value(item) for item in value) + "]"
    if isinstance(value, Mapping) and not value:
        return "{}"
    raise TypeError(f"the head of a case holds text, not a {type(value).__name__}")


def is_bare(text: str) -> bool:
    """Whether every reader of YAML takes it for text without quotes."""
    return len(text) < LONGEST_KEY and BARE_TEXT.fullmatch(text) is not None and text.lower() not in QUOTED_WORDS
