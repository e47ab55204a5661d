"""A mistake that a person made, as a value and as an exception: what is wrong, where, and what would mend it.

Every room may use it. A mistake in a file has its line besides: `rulebook.problem.Problem`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Mistake:
    """where: the field or input that is wrong ("" = all of them together)."""

    where: str
    message: str
    mend: str = ""

    def __str__(self) -> str:
        said = self.message + (f" ({self.mend})" if self.mend else "")
        return f"{self.where}: {said}" if self.where else said


class Refused(ValueError):
    """An act that makes no sense: what is wrong, and what would mend it. Nothing was kept."""

    def __init__(self, message: str, mend: str = "") -> None:
        super().__init__(message)
        self.message, self.mend = message, mend
