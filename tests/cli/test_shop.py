"""Where a shop's own rules are, by system, and which lie over which.

Outside checks: the XDG Base Directory Specification 0.8 (freedesktop.org): `$XDG_CONFIG_HOME`, else `$HOME/.config`,
relative paths are to be ignored; Apple, File System Programming Guide; Microsoft, KNOWNFOLDERID RoamingAppData.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from reasoner.cli import shop


@pytest.mark.parametrize(
    ("platform", "environ", "expected"),
    [
        ("linux", {"HOME": "/home/a"}, "/home/a/.config/reasoner/rules"),
        ("linux", {"HOME": "/home/a", "XDG_CONFIG_HOME": "/etc/own"}, "/etc/own/reasoner/rules"),
        ("linux", {"HOME": "/home/a", "XDG_CONFIG_HOME": "relative"}, "/home/a/.config/reasoner/rules"),
        ("freebsd14", {"HOME": "/home/a", "XDG_CONFIG_HOME": ""}, "/home/a/.config/reasoner/rules"),
        ("darwin", {"HOME": "/Users/a"}, "/Users/a/Library/Application Support/reasoner/rules"),
        (
            "darwin",
            {"HOME": "/Users/a", "XDG_CONFIG_HOME": "/x"},
            "/Users/a/Library/Application Support/reasoner/rules",
        ),
        ("win32", {"USERPROFILE": "/Users/a"}, "/Users/a/AppData/Roaming/reasoner/rules"),
        ("win32", {"USERPROFILE": "/Users/a", "APPDATA": "/Roaming"}, "/Roaming/reasoner/rules"),
        ("linux", {}, None),
    ],
)
def test_the_default_place(platform: str, environ: dict[str, str], expected: str | None) -> None:
    found = shop.shop_folder(environ, platform)
    assert (None if found is None else found.as_posix()) == expected


def test_the_default_place_counts_only_when_there_is_something_in_it(tmp_path: Path) -> None:
    environ = {"HOME": str(tmp_path)}
    assert shop.standing_rules(environ, "linux") == []
    place = tmp_path / ".config" / "reasoner" / "rules"
    place.mkdir(parents=True)
    assert shop.standing_rules(environ, "linux") == []
    (place / "notes.txt").write_text("no rules", encoding="utf-8")
    assert shop.standing_rules(environ, "linux") == []
    (place / "own.yml").write_text("tools: {}", encoding="utf-8")  # misnamed: to be said, not to be passed over
    assert shop.standing_rules(environ, "linux") == [place]


def test_the_variable_goes_before_the_default_place(tmp_path: Path) -> None:
    place = tmp_path / ".config" / "reasoner" / "rules"
    place.mkdir(parents=True)
    (place / "own.yaml").write_text("tools: {}", encoding="utf-8")
    home = {"HOME": str(tmp_path)}
    assert shop.standing_rules(home, "linux") == [place]
    assert shop.standing_rules(home | {"REASONER_RULES": ""}, "linux") == []
    several = os.pathsep.join(["one", "two"])
    assert shop.standing_rules(home | {"REASONER_RULES": several}, "linux") == [Path("one"), Path("two")]


def test_what_lies_over_what() -> None:
    environ = {"REASONER_RULES": "standing"}
    base = shop.shipped_folder("rules")
    one, two = Path("one"), Path("two")
    assert shop.layers((), False, environ) == (base, Path("standing"))
    assert shop.layers((one, two), False, environ) == (base, Path("standing"), one, two)
    assert shop.layers((one, two), True, environ) == (one, two)
    assert shop.layers((two, one, two), True, environ) == (one, two)  # each once, where it lies uppermost
