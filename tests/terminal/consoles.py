"""A console without a terminal: lines to be typed, and everything shown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from io import StringIO
from pathlib import Path

from reasoner.casebook.events import Event
from reasoner.network.vehicle import vehicle_from
from reasoner.report.text import RichPages
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.read import read_rules
from reasoner.session.workup import Workup, begin
from reasoner.terminal.console import Console
from reasoner.terminal.loop import run_loop
from reasoner.terminal.step import TO_ANSWERS

HERE = Path(__file__).parent
RESUME = "reasoner diagnose demo-1"


class Typed(StringIO):
    """Lines typed one after another. through: Enter is pressed where a page has to be read before the answers."""

    def __init__(self, lines: Iterable[str], out: StringIO, through: bool) -> None:
        super().__init__("".join(line + "\n" for line in lines))
        self.out, self.through = out, through

    def readline(self, size: int = -1, /) -> str:
        if self.through and self.out.getvalue().endswith(TO_ANSWERS):
            return "\n"
        return super().readline(size)


def console_with(
    lines: Iterable[str],
    width: int = 80,
    height: int = 24,
    colour: bool = False,
    tty: bool = False,
    through: bool = True,
) -> Console:
    """A console at which these lines are typed; then input ends."""
    out = StringIO()
    return Console(Typed(lines, out, through), out, StringIO(), tty, colour, (width, height), echo=True, resume=RESUME)


def shown(console: Console) -> str:
    assert isinstance(console.out, StringIO)
    return console.out.getvalue()


_BOOK: list[Rulebook] = []


def tiny() -> Rulebook:
    if not _BOOK:
        _BOOK.append(read_rules([HERE / "rules"], shown_from=HERE))
    return _BOOK[0]


def case(layout: str = "inline 4", events: Sequence[Event] = (), **fields: str) -> Workup:
    vehicle, mistakes = vehicle_from({"layout": layout, **fields})
    assert vehicle is not None, mistakes
    return begin(tiny(), vehicle, events)


class Kept:
    """Where events go in the tests. asked: how many lines had been shown for typing when each event was kept."""

    def __init__(self, workup: Workup) -> None:
        self.workup = workup
        self.events: list[Event] = list(workup.events)
        self.before: Callable[[Sequence[Event]], None] = lambda events: None

    def __call__(self, events: Sequence[Event]) -> Workup:
        self.before(events)
        self.events += events
        self.workup = self.workup.after(events)
        return self.workup

    def kinds(self) -> list[str]:
        return [e.kind for e in self.events]


def sit(*lines: str, workup: Workup | None = None, console: Console | None = None) -> tuple[Kept, str, Console]:
    """Type these lines into the loop; what was kept, what was shown, and the console as it was left."""
    workup = case() if workup is None else workup
    console = console_with(lines) if console is None else console
    kept = Kept(workup)
    left = run_loop(workup, kept, console, RichPages())
    assert left.events == kept.workup.events
    return kept, shown(console), console
