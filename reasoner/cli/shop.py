"""Where the shipped rules and cases are, where a shop keeps its own and its settings, and which lie over which."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

# ---- Where the rules and the solved cases are ------------------------------------------------------------------------
# Beside the package in a checkout, inside it when installed from a wheel.

PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder(name: str) -> Path:
    """`rules` or `cases`."""
    installed = PACKAGE / "shipped" / name
    return installed if installed.is_dir() else PACKAGE.parent / name


# ---- Where a shop keeps its own rules and its settings, and which rules lie over which -------------------------------
# The folder for a user's settings: XDG Base Directory Specification (freedesktop.org) on Linux and its kin;
# `~/Library/Application Support` on macOS (Apple, File System Programming Guide); the known folder RoamingAppData on
# Windows (Microsoft, KNOWNFOLDERID).

VARIABLE = "REASONER_RULES"
SETTINGS_VARIABLE = "REASONER_SETTINGS"


def shop_folder(environ: Mapping[str, str], platform: str = sys.platform) -> Path | None:
    """The default place of a shop's own rules, there or not. None where nobody knows a home."""
    own = _own(environ, platform)
    return own / "rules" if own else None


def settings_file(environ: Mapping[str, str], platform: str = sys.platform) -> tuple[Path | None, str]:
    """Where a shop's settings are, or would be, and who says so. REASONER_SETTINGS names the file; set to nothing, it
    means none. None too where nobody knows a home.
    """
    said = environ.get(SETTINGS_VARIABLE)
    if said is not None:
        return (Path(said) if said.strip() else None), SETTINGS_VARIABLE
    own = _own(environ, platform)
    return (own / "settings.yaml" if own else None), "default place"


def _own(environ: Mapping[str, str], platform: str) -> Path | None:
    """The folder for what a user sets. None where nobody knows a home.

    platform: as `sys.platform`.
    """
    home = environ.get("USERPROFILE" if platform == "win32" else "HOME")
    usual: tuple[str, ...]
    if platform == "win32":
        said, usual = environ.get("APPDATA"), ("AppData", "Roaming")
    elif platform == "darwin":
        said, usual = None, ("Library", "Application Support")
    else:
        said, usual = environ.get("XDG_CONFIG_HOME"), (".config",)
    if said and Path(said).is_absolute():  # a relative one is to be ignored (XDG)
        return Path(said, "reasoner")
    return Path(home, *usual, "reasoner") if home else None


def standing_rules(environ: Mapping[str, str], platform: str = sys.platform) -> list[Path]:
    """The shop's rules that are used without being named, lowest first.

    REASONER_RULES names them, several parted as in PATH; set to nothing it means none. Else the default place, if
    there is anything in it.
    """
    said = environ.get(VARIABLE)
    if said is not None:
        return [Path(part) for part in said.split(os.pathsep) if part]
    usual = shop_folder(environ, platform)
    return [usual] if usual is not None and usual.is_dir() and any(usual.glob("*.y*ml")) else []


def layers(named: Sequence[Path], only: bool, environ: Mapping[str, str]) -> tuple[Path, ...]:
    """All the rules to use, lowest first, each once: shipped, standing, named. only: nothing but the named ones."""
    chosen = [*named] if only else [shipped_folder("rules"), *standing_rules(environ), *named]
    return tuple({path.resolve(): path for path in reversed(chosen)}.values())[::-1]
