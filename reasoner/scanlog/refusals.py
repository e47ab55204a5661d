"""Lines and cells that were not taken, each with its reason: values, never exceptions; few of them are kept in full."""

from __future__ import annotations

from dataclasses import dataclass

from reasoner.measure.slip import visible

KEPT = 40  # refusals kept with their line; beyond that they are only counted


@dataclass(frozen=True)
class Refusal:
    """line: of the file, from 1; 0 = not one line. stood: what was there, made safe to print."""

    line: int
    why: str
    stood: str = ""


@dataclass(frozen=True)
class Refused:
    """first: the first ones in full. counts: how many for each reason, the commonest first."""

    first: tuple[Refusal, ...] = ()
    counts: tuple[tuple[str, int], ...] = ()

    @property
    def total(self) -> int:
        return sum(n for _, n in self.counts)


class Ledger:
    """Where refusals are noted while reading goes on."""

    def __init__(self) -> None:
        self._first: list[Refusal] = []
        self._counts: dict[str, int] = {}

    def note(self, line: int, why: str, stood: str = "", times: int = 1) -> None:
        self._counts[why] = self._counts.get(why, 0) + times
        if len(self._first) < KEPT:
            self._first.append(Refusal(line, why, visible(stood)))

    @property
    def refused(self) -> Refused:
        counts = sorted(self._counts.items(), key=lambda item: -item[1])
        return Refused(tuple(sorted(self._first, key=lambda r: r.line)), tuple(counts))
