"""Where the person sits: the streams, whether they are a terminal, how wide, in colour or not; and the ways to leave.

Importing this module loads no library. Everything shown goes out through `show`, every line comes in through `ask`.
"""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import sys
import threading
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, NoReturn, TextIO

from reasoner.session.plain import glued, harmless, unglued

if TYPE_CHECKING:
    from rich.console import RenderableType

WIDTH, HEIGHT = 80, 24
ROOM_TO_TYPE = 16
PATIENCE = 0.7  # s that anybody waits without a word
NARROWEST, WIDEST = 40, 100  # lines longer than this are hard to read, however wide the screen
Colour = Literal["auto", "always", "never"]


class Leave(Exception):
    """The person leaves: by a word, by Ctrl-C, by the end of input, or because the terminal has gone."""

    def __init__(self, how: str) -> None:
        super().__init__(how)
        self.how = how


@dataclass
class Console:
    """source, out, err: the streams. tty: both ends are a terminal. colour: styles may be used.

    size: fixed (columns, lines) where the terminal is not to be asked. echo: what is typed is printed (for scripts).
    resume: how to come back, said on leaving. left: how it was left, "" while somebody is there. asked: how many lines.
    """

    source: TextIO
    out: TextIO
    err: TextIO
    tty: bool = False
    colour: bool = False
    size: tuple[int, int] | None = None
    echo: bool = False
    resume: str = ""
    left: str = ""
    asked: int = 0
    _asking: bool = field(default=False, repr=False)
    _pending: str = field(default="", repr=False)
    _typed: str = field(default="", repr=False)

    @classmethod
    def of_process(cls, environ: Mapping[str, str] | None = None, colour: Colour = "auto") -> Console:
        """The console of this process. Never fails: what cannot be asked is taken to be no terminal."""
        environ = os.environ if environ is None else environ
        source, out, err = (s or _nowhere() for s in (sys.stdin, sys.stdout, sys.stderr))
        for stream in (source, out, err):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # a letter that one side lacks must not end the session
        tty = _is_terminal(source) and _is_terminal(out)
        size = None if _is_terminal(out) else (_number(environ.get("COLUMNS"), WIDTH), HEIGHT)
        return cls(source, out, err, tty, _wants_colour(environ, colour, _is_terminal(out)), size)

    # ---- size ----

    @property
    def columns(self) -> int:
        return max(NARROWEST, self._size()[0])

    @property
    def width(self) -> int:
        """Columns to be written into."""
        return min(self.columns, WIDEST)

    @property
    def lines(self) -> int:
        return max(10, self._size()[1])

    def _size(self) -> tuple[int, int]:
        if self.size is not None:
            return self.size
        with contextlib.suppress(OSError, ValueError):
            columns, lines = os.get_terminal_size(self.out.fileno())
            if columns > 0 and lines > 0:
                return columns, lines
        return WIDTH, HEIGHT

    # ---- out ----

    def rendered(self, *blocks: RenderableType) -> list[str]:
        """The lines these blocks take at this width, styled where styles may be used."""
        from io import StringIO

        from rich.console import Console
        from rich.segment import Segment, Segments

        text = StringIO()
        console = Console(
            file=text,
            width=self.width,
            force_terminal=self.colour,
            color_system="standard" if self.colour else None,
            no_color=not self.colour,
            highlight=False,
            markup=False,
            emoji=False,
            legacy_windows=False,
            _environ={},
        )
        for block in blocks:  # whatever a rule or a note holds, a terminal gets no more than text
            parts = [Segment(harmless(part.text), part.style) for part in console.render(block)]
            console.print(Segments(parts), end="")
        return [unglued(line).rstrip() for line in text.getvalue().split("\n")[:-1]]

    def show(self, *blocks: RenderableType) -> None:
        self.show_lines(self.rendered(*blocks))

    def show_lines(self, lines: list[str]) -> None:
        self.write("".join(line + "\n" for line in lines))

    @contextlib.contextmanager
    def waiting(self, what: Callable[[], str]) -> Iterator[None]:
        """Around what may take seconds: at a terminal a line says what is done, once it has taken a while. what: the
        line, or "" as long as there is nothing to say."""
        if not self.tty:
            yield
            return
        over = threading.Event()

        def watch() -> None:
            while not over.wait(PATIENCE):
                if line := what():
                    self.show_lines([line])
                    return

        watcher = threading.Thread(target=watch, daemon=True)
        watcher.start()
        try:
            yield
        finally:
            over.set()
            watcher.join()

    def page(self, *blocks: RenderableType) -> None:
        """Any number of blocks; a terminal gets them a screen at a time. What is typed then answers what follows."""
        lines = self.rendered(*blocks)
        step = self.lines - 1
        while self.tty and len(lines) > step + 1:
            self.show_lines(lines[:step])
            lines = lines[step:]
            if self._left("Enter: more, b leaves it, h help > ", "Enter: the next page of it."):
                return
        self.show_lines(lines)

    def pause(self, more: str = "", words: Collection[str] = ()) -> str:
        """What was shown stays until Enter, where the next page would push it off a terminal. What is typed instead
        answers that page; only a line that begins with one of these words belongs to this one, and is returned. more:
        what the prompt says of the words."""
        if not (self.tty or words):
            return ""
        self._left(f"Enter: back to the question, {more}h help > ", "Enter: the question again.")
        if self._typed.lower().partition(" ")[0] not in words:
            return ""
        line, self._typed = self._typed, ""
        return line

    def _left(self, prompt: str, helps: str) -> bool:
        """Whether something else than Enter was typed at a page that is only read: b leaves it, anything but h is
        kept to answer what follows."""
        while (line := self.ask(prompt)).lower() in ("h", "help", "?"):
            self.say(f"{helps} b: back to where it was asked for; nothing is taken back. q: keep everything and leave."
                     " What else is typed answers the question.")  # fmt: skip
        if line.lower() in ("q", "quit"):
            raise Leave("stop")
        self._typed = "" if line.lower() in ("b", "back") else line
        return bool(line)

    def say(self, text: str) -> None:
        """One plain paragraph."""
        from rich.text import Text

        self.show(Text(glued(harmless(text))))

    def write(self, text: str) -> None:
        try:
            self.out.write(text)
            self.out.flush()
        except (OSError, ValueError) as error:  # EIO, EPIPE, or a stream that has been closed
            self._leave_for(error)

    def _leave_for(self, error: OSError | ValueError) -> NoReturn:
        """Nobody is there any more; but a full disk under a file of output is no leaving, and goes up as it is."""
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise error
        raise Leave("hang-up") from error

    # ---- in ----

    def ask(self, prompt: str) -> str:
        """One line, harmless and without surrounding spaces. Raises Leave at Ctrl-C, Ctrl-D, hang-up, end of input."""
        self._leave_if_told()
        self.asked += 1
        if self._typed:
            line, self._typed = self._typed, ""
            return line
        prompt = self.fitting(prompt)
        self._asking = True
        try:
            line = self._line(prompt)
        except KeyboardInterrupt:
            raise Leave("interrupt") from None
        except EOFError:
            raise Leave("end of input") from None
        except (OSError, ValueError) as error:
            self._leave_for(error)
        finally:
            self._asking = False
        self._leave_if_told()
        return " ".join(harmless(line).split())

    def fitting(self, prompt: str) -> str:
        """The prompt, or its end where it is too long for a line; the rest is then said as a paragraph, as a prompt is
        broken anywhere, a paragraph between words."""
        prompt = harmless(prompt).replace("\n", " ")
        if len(prompt) <= self.width - ROOM_TO_TYPE:
            return prompt
        text, _, last = prompt.removesuffix(" > ").rpartition(". ")
        self.say(f"{text}." if text else last)
        return f"{last} > " if text and len(last) <= self.width - ROOM_TO_TYPE else "> "

    def _line(self, prompt: str) -> str:
        if self.tty and self.source is sys.stdin and self.out is sys.stdout:
            with contextlib.suppress(ImportError):
                import readline  # noqa: F401 (makes input() editable)
            return input(prompt)
        self.write(prompt)
        line = self.source.readline()
        if not line:
            raise EOFError
        if self.echo:
            self.write(line if line.endswith("\n") else line + "\n")
        return line

    # ---- leaving ----

    @contextlib.contextmanager
    def seated(self) -> Iterator[None]:
        """Within it, Ctrl-C, hang-up and termination are heard while a line is awaited, never while an answer is kept.

        A second signal before that is obeyed at once. May be nested.
        """
        real = self.source is sys.stdin and threading.current_thread() is threading.main_thread()
        before: dict[int, Any] = {}
        for name in ("SIGINT", "SIGTERM", "SIGHUP") if real else ():
            if hasattr(signal, name):
                number = getattr(signal, name)
                before[number] = signal.signal(number, self._heard("interrupt" if name == "SIGINT" else "hang-up"))
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    @contextlib.contextmanager
    def leavable(self) -> Iterator[None]:
        """As `seated`; who leaves within it is told that all is kept. Raises Leave."""
        with self.seated():
            try:
                yield
            except (Leave, KeyboardInterrupt) as leave:
                how = leave.how if isinstance(leave, Leave) else "interrupt"
                self.goodbye(how)
                raise Leave(how) from None

    def goodbye(self, how: str) -> None:
        """The last line, once: that everything is kept and how to go on. Says nothing where nobody is left to read."""
        if self.left:
            return
        self.left = how
        kept = f"Everything answered is kept. To go on: {self.resume}" if self.resume else "No case was begun."
        try:
            self.write(("" if how == "stop" else "\n") + kept + "\n")
        except Leave:
            self._let_go()

    def _let_go(self) -> None:
        """Nobody is there to read: what is still buffered must not raise at exit."""
        with contextlib.suppress(OSError, ValueError):
            nothing = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nothing, self.out.fileno())
            os.close(nothing)

    def _heard(self, how: str) -> Callable[[int, Any], None]:
        def handler(number: int, frame: Any) -> None:
            if self._asking or self._pending:
                raise Leave(how)
            self._pending = how

        return handler

    def _leave_if_told(self) -> None:
        if self._pending:
            how, self._pending = self._pending, ""
            raise Leave(how)


def _is_terminal(stream: TextIO) -> bool:
    try:
        return stream.isatty()
    except (OSError, ValueError):
        return False


def _nowhere() -> TextIO:
    """Stands for a stream the process was started without."""
    return open(os.devnull, "r+", encoding="utf-8")


def _number(text: str | None, otherwise: int) -> int:
    return int(text) if text and text.isdecimal() and 0 < int(text) < 10_000 else otherwise


def _wants_colour(environ: Mapping[str, str], colour: Colour, terminal: bool) -> bool:
    """A wish on the command line first; then NO_COLOR (no-color.org: any non-empty value), TERM=dumb, no terminal."""
    if colour != "auto":
        return colour == "always"
    return terminal and not environ.get("NO_COLOR") and environ.get("TERM", "") not in ("", "dumb")
