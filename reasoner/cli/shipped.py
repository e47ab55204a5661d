"""Where the rules and the solved cases are: beside the package in a checkout, inside it when installed from a wheel."""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent


def folder(name: str) -> Path:
    """`rules` or `cases`."""
    installed = PACKAGE / "shipped" / name
    return installed if installed.is_dir() else PACKAGE.parent / name
