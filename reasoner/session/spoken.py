"""What a word that somebody says can stand for in the phrases of the rules: itself, the word it is a form of, and what
the rules say it means the same as (`synonyms`). A slip of one letter in a long word is seen through."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from reasoner.rulebook.model import Rulebook

STEM_OF_WORD = 4  # letters of a word from which its beginning will do
LEFT_OF_WORD = 3  # letters that are left at least where an ending is taken off
ENDINGS = ("s", "es", "d", "ed", "ing")
LONG_WORD = 6  # letters of a word from which a slip of one letter is seen through
NEED_NOT_BE_SAID = frozenset(("a", "an", "the", "my", "our", "its", "it's", "it", "is", "was", "i", "she", "he"))
NEGATED = re.compile(r"\b(?:(wo)n't|(ca)n't|cannot|(\w+)n't)\b")


@dataclass(frozen=True)
class Ear:
    """heads: a word -> those that it means the same as. known: words that are meant as they are written."""

    heads: Mapping[str, tuple[str, ...]]
    known: frozenset[str]
    _heard: dict[str, frozenset[str]] = field(default_factory=dict, repr=False, compare=False)

    def means(self, word: str) -> frozenset[str]:
        """All that a phrase may have where this word is said."""
        if word not in self._heard:
            forms = _forms(word)
            if forms.isdisjoint(self.known) and (meant := self._meant(word)):
                forms |= _forms(meant)
            self._heard[word] = frozenset(forms).union(*(self.heads.get(form, ()) for form in forms))
        return self._heard[word]

    def _meant(self, word: str) -> str:
        """The one known word that is a letter away and begins alike; "" where there is none, or several."""
        if len(word) < LONG_WORD or not word.isalpha():
            return ""
        near = [other for other in self.known if other[0] == word[0] and _one_slip(word, other)]
        return near[0] if len(near) == 1 else ""


def ear_of(book: Rulebook, known: Collection[str]) -> Ear:
    """The ear for these rules' phrases. known: words beside theirs that are meant as they are written."""
    return book.kept.once("ear", (), lambda: _ear(book, known))


def _ear(book: Rulebook, known: Collection[str]) -> Ear:
    heads: dict[str, list[str]] = {}
    for synonym in book.synonyms.values():
        for word in synonym.also:
            heads.setdefault(word.lower(), []).append(synonym.name)
    phrases = (
        phrase
        for check in book.checks.values()
        for said in (*check.owners_say.values(), check.not_meant)
        for phrase in said
    )
    written = {word for phrase in phrases for word in as_said(phrase).split()}
    return Ear(
        {word: tuple(named) for word, named in heads.items()},
        frozenset({*written, *heads, *book.synonyms, *known}),
    )


def phrase_words(phrase: str) -> tuple[str, ...]:
    """The words of a phrase that must be said; articles and the like need not, but where one word would be left."""
    words = as_said(phrase).split()
    said = tuple(word for word in words if word not in NEED_NOT_BE_SAID)
    return said if len(said) > 1 else tuple(words)


def as_said(text: str) -> str:
    """In lower case, with what denies as a word of its own: `won't start` is `will not start`."""
    return NEGATED.sub(_negated, text.lower().replace("\u2019", "'"))


def _negated(match: re.Match[str]) -> str:
    if match[1] or match[2]:
        return "will not" if match[1] else "can not"
    return f"{match[3]} not" if match[3] else "can not"


def _forms(word: str) -> set[str]:
    """The word, its beginnings (but `stop` is not said in `stop-start`), and what it is without an ending."""
    forms = {word, *(word[:n] for n in range(STEM_OF_WORD, len(word)) if word[n] != "-")}
    bare = word.removesuffix("'s")
    return forms | {bare, *_without_ending(bare)}


def _without_ending(word: str) -> Iterable[str]:
    for ending in ENDINGS:
        stem = word.removesuffix(ending)
        if stem == word or len(stem) < LEFT_OF_WORD:
            continue
        if ending in ("s", "es") or len(stem) >= STEM_OF_WORD:  # `oiled` is not said of oil
            yield stem
        if ending in ("ing", "ed"):
            yield stem + "e"  # `smoking`, of smoke
            if stem[-1] == stem[-2]:
                yield stem[:-1]  # `stopping`, of stop


def _one_slip(one: str, other: str) -> bool:
    """Whether one letter is another, too many or too few, or two neighbours stand the wrong way round."""
    if one == other or abs(len(one) - len(other)) > 1 or min(len(one), len(other)) < LONG_WORD - 1:
        return False
    at = next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    if len(one) == len(other):
        swapped = one[at : at + 2] == other[at : at + 2][::-1]
        return one[at + 1 :] == other[at + 1 :] or (swapped and one[at + 2 :] == other[at + 2 :])
    longer, shorter = (one, other) if len(one) > len(other) else (other, one)
    return longer[at + 1 :] == shorter[at:]
