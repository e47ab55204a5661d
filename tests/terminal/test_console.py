"""Streams, colour, width, paging, and every way of leaving."""

from __future__ import annotations

import errno
import subprocess
import sys
from io import BytesIO, StringIO, TextIOWrapper
from time import sleep

import pytest
from rich.text import Text

from reasoner.session.plain import harmless
from reasoner.terminal import console as console_module
from reasoner.terminal.console import Console, Leave, _wants_colour
from tests.terminal.consoles import RESUME, console_with, shown


@pytest.mark.parametrize(
    ("environ", "wish", "terminal", "colour"),
    [
        ({"TERM": "xterm"}, "auto", True, True),
        ({"TERM": "xterm"}, "auto", False, False),
        ({"TERM": "dumb"}, "auto", True, False),
        ({}, "auto", True, False),
        ({"TERM": "xterm", "NO_COLOR": "1"}, "auto", True, False),
        ({"TERM": "xterm", "NO_COLOR": ""}, "auto", True, True),  # no-color.org: "when present and not an empty string"
        ({"TERM": "xterm", "NO_COLOR": "1"}, "always", True, True),  # a command-line wish overrides, same page
        ({"TERM": "dumb"}, "always", False, True),
        ({"TERM": "xterm"}, "never", True, False),
    ],
)
def test_colour(environ: dict[str, str], wish: str, terminal: bool, colour: bool) -> None:
    assert _wants_colour(environ, wish, terminal) is colour  # type: ignore[arg-type]


def test_what_asks_is_shown_harmlessly() -> None:
    console = console_with(["2"])
    console.ask("\x1b[2JTitle\nof a rule > ")
    assert shown(console) == "\ufffd[2JTitle of a rule > 2\n"


@pytest.mark.parametrize("colour", [False, True])
def test_styles_are_only_written_where_they_are_wanted(colour: bool) -> None:
    console = console_with([], colour=colour)
    console.show(Text("care", style="bold red"))
    assert ("\x1b[" in shown(console)) is colour
    assert "care" in shown(console)


def test_importing_the_console_loads_no_library() -> None:
    code = "import reasoner.terminal.console, sys; print(*sorted({m.split('.')[0] for m in sys.modules}))"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=300)
    assert not set(found.stdout.split()) & {"rich", "numpy", "networkx", "yaml", "click"}


def test_of_process_without_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", StringIO("x\n"))
    monkeypatch.setattr(sys, "stdout", StringIO())
    console = Console.of_process({"COLUMNS": "140", "TERM": "xterm"})
    assert (console.tty, console.colour, console.columns, console.width) == (False, False, 140, 100)
    assert Console.of_process({"COLUMNS": "wide"}).width == 80
    assert Console.of_process({"COLUMNS": "9"}).width == 40


def test_of_process_without_streams(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("stdin", "stdout", "stderr"):
        monkeypatch.setattr(sys, name, None)
    console = Console.of_process({})
    with pytest.raises(Leave):
        console.ask("> ")


def test_a_letter_the_terminal_lacks_does_not_end_the_session(monkeypatch: pytest.MonkeyPatch) -> None:
    out = BytesIO()
    monkeypatch.setattr(sys, "stdout", TextIOWrapper(out, encoding="ascii"))
    console = Console.of_process({})
    console.say("90 °C")
    assert out.getvalue() == b"90 ?C\n"


def test_a_line_in_another_encoding_loses_those_letters_only(monkeypatch: pytest.MonkeyPatch) -> None:
    typed = TextIOWrapper(BytesIO("größer\n".encode("latin-1") + b"2\n"), encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", typed)
    console = Console.of_process({})
    console.out = StringIO()
    assert console.ask("> ") == "gr\ufffd\ufffder"
    assert console.ask("> ") == "2"


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("  2   think so ", "2 think so"),
        ("\x1b[31mred\x07", "\ufffd[31mred\ufffd"),
        ("a\tb", "a b"),
        ("\u202egnp", "\ufffdgnp"),  # right-to-left override
        ("\ud800x", "\ufffdx"),
        ("\x00", "\ufffd"),
        ("\U0001f469\u200d\U0001f527", "\U0001f469\u200d\U0001f527"),  # an emoji joined of two
    ],
)
def test_what_is_typed_comes_in_harmless(typed: str, read: str) -> None:
    assert console_with([typed]).ask("> ") == read


def test_harmless_keeps_ordinary_text() -> None:
    text = "Prüfen: 90 °C, \u221218 %\nzweite Zeile \U0001f697"
    assert harmless(text) == text


class Broken(StringIO):
    """A stream whose terminal has gone."""

    def readline(self, *_: object) -> str:  # type: ignore[override]
        raise OSError(errno.EIO, "Input/output error")

    def write(self, _: str) -> int:
        raise OSError(errno.EIO, "Input/output error")


class Interrupting(StringIO):
    def readline(self, *_: object) -> str:  # type: ignore[override]
        raise KeyboardInterrupt


@pytest.mark.parametrize(
    ("source", "how"), [(StringIO(""), "end of input"), (Broken(), "hang-up"), (Interrupting(), "interrupt")]
)
def test_ways_of_leaving(source: StringIO, how: str) -> None:
    console = console_with([])
    console.source = source
    with pytest.raises(Leave) as caught:
        console.ask("> ")
    assert caught.value.how == how


def test_writing_to_a_terminal_that_has_gone_is_leaving() -> None:
    console = console_with([])
    console.out = Broken()
    with pytest.raises(Leave):
        console.say("hello")
    console.goodbye("hang-up")  # says nothing, and raises nothing
    assert console.left == "hang-up"


def test_goodbye_is_said_once() -> None:
    console = console_with([])
    console.goodbye("interrupt")
    console.goodbye("end of input")
    assert shown(console) == f"\nEverything answered is kept. To go on: {RESUME}\n"
    assert console.left == "interrupt"


def test_goodbye_before_a_case() -> None:
    console = console_with([])
    console.resume = ""
    console.goodbye("interrupt")
    assert shown(console) == "\nNo case was begun.\n"


def test_a_signal_while_nothing_is_asked_waits_for_the_next_question() -> None:
    """Nothing that is being kept is interrupted; the second one is obeyed at once."""
    console = console_with(["2"])
    heard = console._heard("interrupt")
    heard(2, None)
    with pytest.raises(Leave) as caught:
        console.ask("> ")
    assert caught.value.how == "interrupt"
    assert shown(console) == ""
    heard(2, None)
    with pytest.raises(Leave):
        heard(2, None)


def test_a_terminal_gets_a_screen_at_a_time() -> None:
    console = console_with(["", "b"], height=11, tty=True)
    console.page(*(Text(str(n)) for n in range(40)))
    lines = shown(console).split("\n")
    assert lines[:10] == [str(n) for n in range(10)]
    asks = "Enter: more, b leaves it, h help > "
    assert lines.count(asks) + lines.count(f"{asks}b") == 2
    assert "20" not in lines


@pytest.mark.parametrize(("typed", "answers"), [("", ""), ("b", ""), ("2", "2")])
def test_what_was_shown_stays_until_enter_and_what_is_typed_instead_answers(typed: str, answers: str) -> None:
    console = console_with([typed, "end"], tty=True)
    console.pause()
    assert console.ask("> ") == (answers or "end")
    piped = console_with(["end"])
    piped.pause()  # where nothing is pushed off a screen nobody has to press a key
    assert piped.ask("> ") == "end"


@pytest.mark.parametrize("page", [True, False])
def test_help_and_leaving_where_something_is_only_read(page: bool) -> None:
    console = console_with(["h", "q"], height=11, tty=True)
    with pytest.raises(Leave) as left:
        console.page(*(Text(str(n)) for n in range(40))) if page else console.pause()
    assert left.value.how == "stop" and "keep everything and leave" in " ".join(shown(console).split())


def test_a_pipe_gets_all_at_once() -> None:
    console = console_with([], height=11)
    console.page(*(Text(str(n)) for n in range(40)))
    assert shown(console).split() == [str(n) for n in range(40)]


def test_a_long_question_is_broken_between_words() -> None:
    console = console_with(["2"])
    console.ask("word " * 30 + "> ")
    assert all(len(line) <= 80 for line in shown(console).split("\n"))
    assert shown(console).endswith("\n> 2\n")


@pytest.mark.parametrize(("tty", "slow", "says"), [(True, True, True), (True, False, False), (False, True, False)])
def test_a_long_wait_is_said_at_a_terminal_once(
    tty: bool, slow: bool, says: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(console_module, "PATIENCE", 0.02)
    out, line = StringIO(), ["", "", "Weighing ..."]  # nothing to say at first
    console = Console(StringIO(), out, StringIO(), tty=tty, size=(80, 24))
    with console.waiting(lambda: line.pop(0) if len(line) > 1 else line[0]):
        if slow:
            sleep(0.4)
    assert out.getvalue() == ("Weighing ...\n" if says else "")


def test_what_is_waited_for_may_fail() -> None:
    console = Console(StringIO(), StringIO(), StringIO(), tty=True, size=(80, 24))
    with pytest.raises(ZeroDivisionError), console.waiting(lambda: "x"):
        raise ZeroDivisionError
