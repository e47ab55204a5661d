"""What a person typed that could not be taken: a value, never an exception, so that the good rest is kept."""

from __future__ import annotations

from dataclasses import dataclass

from reasoner.casebook.trouble import visible

SHOWN = 40  # characters of what stood there that are worth showing


@dataclass(frozen=True)
class Slip:
    """stood: what was typed (made visible, cut). expected: what would be right. mend: the nearest right text, or ""."""

    stood: str
    expected: str
    mend: str = ""

    @property
    def said(self) -> str:
        """What is wrong, as a sentence."""
        return f'"{self.stood}" is not taken. Wanted: {self.expected}.'

    @property
    def line(self) -> str:
        """The same with what would mend it."""
        return self.said + (f" Perhaps: {self.mend}" if self.mend else "")


def as_typed(text: str) -> str:
    """Text that is safe to print: control and other invisible characters as escapes, white space as one blank, cut."""
    return visible(" ".join(text[: 4 * SHOWN].split()), SHOWN)
