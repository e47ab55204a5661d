"""The one way from a command to the screen: harmless text, JSON in plain ASCII; and a fault of this program told."""

from __future__ import annotations

import json
import platform
import sys
import tempfile
import traceback
from collections.abc import Sequence
from dataclasses import asdict, is_dataclass
from pathlib import Path
from shutil import get_terminal_size
from typing import Any

import click

from reasoner import __version__
from reasoner.session.plain import harmless

# ---- The one way from a command to the screen ------------------------------------------------------------------------
# Text in which a terminal finds nothing to obey, and JSON in plain ASCII.


def say(text: str = "", err: bool = False, nl: bool = True) -> None:
    """Print text; control characters and escape sequences in it are made visible. nl: end the line."""
    click.echo(harmless(text), err=err, nl=nl)


def say_long(lines: Sequence[str]) -> None:
    """Print many lines; at a terminal a screen at a time, as long as more is wanted."""
    size = get_terminal_size()
    room = size.lines - 1 if sys.stdin.isatty() and sys.stdout.isatty() else None
    used = 0
    for line in lines:
        takes = 1 + (len(line) - 1) // max(1, size.columns) if line else 1
        if room is not None and used and used + takes > room:
            if not _more():
                return
            used = 0
        say(line)
        used += takes


def say_pages(text: str) -> None:
    """Print a text of any length; at a terminal a screen at a time."""
    say_long(text.removesuffix("\n").split("\n"))


def _more() -> bool:
    try:
        return input("Enter: more, q: enough > ").strip().lower() in ("", "m", "more", "y")
    except EOFError:
        say()
        return False


def say_json(document: Any, indent: int | None = None) -> None:
    """Print a document (a dataclass or plain values) as JSON. What is not ASCII is escaped (RFC 8259, section 7)."""
    plain = asdict(document) if is_dataclass(document) and not isinstance(document, type) else document
    click.echo(json.dumps(plain, ensure_ascii=True, indent=indent).replace("\x7f", "\\u007f"))


# ---- A fault of this program -----------------------------------------------------------------------------------------
# One line for the person, the details in a file to pass on.


def crash_report(error: Exception) -> str:
    """Write the details beside the system's temporary files; return what to tell the person."""
    text = "\n".join(
        [
            "# A fault of reasoner",
            "",
            f"version {__version__}, Python {platform.python_version()}, {platform.platform()}",
            f"command: {' '.join(sys.argv[1:])}",
            "",
            *("    " + line.rstrip("\n") for part in traceback.format_exception(error) for line in part.splitlines()),
            "",
        ]
    )
    line = f"Error: this is a fault of the program, not yours ({type(error).__name__}: {error}). All answers are kept."
    try:
        with tempfile.NamedTemporaryFile("w", prefix="reasoner-", suffix=".md", delete=False, encoding="utf-8") as file:
            file.write(text)
        return f"{line}\nDetails to pass on: {Path(file.name)}"
    except OSError:
        return line
