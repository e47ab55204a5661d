"""A fault of this program: one line for the person, the details in a file to pass on."""

from __future__ import annotations

import platform
import sys
import tempfile
import traceback
from pathlib import Path

from reasoner import __version__


def report(error: Exception) -> str:
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
