"""Did you mean? The nearest known word, and keys that are right but stand at the wrong level."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from difflib import get_close_matches


def plain(word: str) -> str:
    """A word as far as its spelling matters: no case, no difference between space, dash and underscore."""
    return " ".join(word.lower().replace("-", " ").replace("_", " ").split())


def near(word: str, known: Iterable[str]) -> str | None:
    """The known word that `word` most likely means, or None."""
    by_spelling = {plain(name): name for name in known}
    meant = plain(word)[:80]
    if meant in by_spelling:
        return by_spelling[meant]
    close = get_close_matches(meant, by_spelling, n=1, cutoff=0.7)
    if close:
        return by_spelling[close[0]]
    starts = [name for spelling, name in by_spelling.items() if meant and spelling.startswith(meant)]
    return starts[0] if len(starts) == 1 else None


def levels_of(key: str, levels: Mapping[str, Collection[str]]) -> tuple[str, ...]:
    """The levels (in words) at which this key is right."""
    return tuple(level for level, keys in levels.items() if key in keys)


def choices_of(words: Iterable[str], last: str = "or", most: int = 20) -> str:
    """`a, b or c`; a long list is cut."""
    words = list(words)
    if len(words) > most:
        return ", ".join(words[:most]) + ", ..."
    return f" {last} ".join(filter(None, (", ".join(words[:-1]), words[-1]))) if words else "none"
