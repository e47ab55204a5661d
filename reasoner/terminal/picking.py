"""A line asked for within something, and numbers picked from a list: h explains, b goes back, q keeps and leaves."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from contextlib import nullcontext, suppress

from reasoner.session.plain import shortened
from reasoner.terminal.console import Console, Leave

# ---- A line asked for within something -------------------------------------------------------------------------------
# H explains it, b goes back, q keeps everything and leaves. The same everywhere.

HELP_WORDS = ("h", "help", "?")
BACK = ("b", "back")
QUIT = ("q", "quit")


class Back(Exception):
    """The person goes back from where something was asked; nothing was kept by it."""


def ask(console: Console, prompt: str, helps: str) -> str:
    """One line. helps: what is wanted here, said at h. Raises Back at b, Leave at q."""
    while True:
        line = console.ask(prompt)
        word = line.lower()
        if word in BACK:
            raise Back
        if word in QUIT:
            raise Leave("stop")
        if word not in HELP_WORDS:
            return line
        console.say(f"{helps} b: back. q: keep everything and leave.")


# ---- Numbers picked from a list on the screen ------------------------------------------------------------------------


def numbers_in(line: str, most: int, least: int = 1) -> list[int] | None:
    """The numbers of a typed list, each least..most and once; None where anything else was typed."""
    parts = line.replace(",", " ").split()
    if not parts or not all(p.isascii() and p.isdecimal() and least <= int(p[:6]) <= most for p in parts):
        return None
    return list(dict.fromkeys(int(p) for p in parts))


def not_listed(line: str, most: int, least: int = 1) -> str:
    """What of a typed list is no number of it: `15` of `3 6 15` where there are 14; all of it where each is one."""
    wrong = [part for part in line.replace(",", " ").split() if numbers_in(part, most, least) is None]
    return shortened(" ".join(wrong) or line, 20)


WORD_FROM = 3  # letters of a typed word that begin one of the list


def numbers_or_words(line: str, listed: Sequence[str]) -> list[int] | str:
    """The numbers meant by a typed list of numbers and words, `5, smoke machine, borescope`, each once; else what of it
    was not clear. listed: all words of each thing; words mean the one thing of which each begins a word."""
    found = list[int]()
    for part in filter(None, (piece.strip(" .") for piece in re.split(r"[,;+]|\band\b", line.lower()))):
        numbers = numbers_in(part, len(listed))
        words = re.findall(r"[a-z]+", part)
        meant = [
            n
            for n, text in enumerate(listed, 1)
            if max(map(len, words), default=0) >= WORD_FROM and all(_begins(word, text) for word in words)
        ]
        if numbers is None and (len(meant) != 1 or re.search(r"\d", part)):
            which = f" (which: {' or '.join(map(str, meant))}?)" if len(meant) > 1 else ""
            return f"{shortened(part, 30)}{which}" if words else not_listed(part, len(listed))
        found += meant if numbers is None else numbers
    return list(dict.fromkeys(found))


def _begins(word: str, text: str) -> bool:
    """Whether a typed word begins one of a text, its plural too."""
    known = re.findall(r"[a-z]+", text.lower())
    return any(one == word or (len(word) >= WORD_FROM and one.startswith(word.removesuffix("s"))) for one in known)


def pick_several(
    console: Console,
    prompt: str,
    most: int,
    typed: str = "",
    show: Callable[[], None] = lambda: None,
    least: int = 1,
    only_one: bool = False,
    goes_back: bool = False,
    named: Sequence[str] = (),
) -> Sequence[int]:
    """Numbers of a list, none at Enter or `b`. What is not on it is said in one line and asked again.

    goes_back: b is for the caller to hear (raises Back). named: the words of each thing, by which it can be picked too.

    typed: what was typed along with the command, so that the list need not be shown first. show: shows it.
    """
    if not typed:
        show()
    helps = "Type the number of one of them." if only_one else "Type their numbers, with spaces between."
    with nullcontext() if goes_back else suppress(Back):
        line = typed or ask(console, prompt, helps)
        while line:
            chosen = numbers_in(line, most, least)
            if chosen is not None and (len(chosen) == 1 or not only_one):
                return chosen
            meant = numbers_or_words(line, named) if named else ""
            if isinstance(meant, list) and meant and (len(meant) == 1 or not only_one):
                return meant
            one = ", one of them" if only_one and chosen else ""
            words = ", or their words" if named and re.search("[a-z]", line.lower()) else ""
            unclear = meant if isinstance(meant, str) and meant else not_listed(line, most, least)
            console.say(f"{unclear} is not on the list: {least} to {most}{one}{words}.")
            if typed:
                show()
                typed = ""
            line = ask(console, prompt, helps)
    return ()


def pick(
    console: Console,
    prompt: str,
    most: int,
    typed: str = "",
    show: Callable[[], None] = lambda: None,
    least: int = 1,
    goes_back: bool = False,
    named: Sequence[str] = (),
) -> int | None:
    """One number of a list, None at Enter. named: as of several, but words have to mean one alone."""
    picked = pick_several(console, prompt, most, typed, show, least, only_one=True, goes_back=goes_back, named=named)
    return next(iter(picked), None)
