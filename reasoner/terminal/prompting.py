"""A line asked for within something: h explains it, b goes back, q keeps everything and leaves. The same everywhere."""

from __future__ import annotations

from reasoner.terminal.desk import Desk, Leave

HELP = ("h", "help", "?")
BACK = ("b", "back")
QUIT = ("q", "quit")


class Back(Exception):
    """The person goes back from where something was asked; nothing was kept by it."""


def ask(desk: Desk, prompt: str, helps: str) -> str:
    """One line. helps: what is wanted here, said at h. Raises Back at b, Leave at q."""
    while True:
        line = desk.ask(prompt)
        word = line.lower()
        if word in BACK:
            raise Back
        if word in QUIT:
            raise Leave("stop")
        if word not in HELP:
            return line
        desk.say(f"{helps} b: back. q: keep everything and leave.")
