"""Commands that work something out from typed readings: made from what the computations ask for, and printed alike."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Mapping, Sequence

import click

from reasoner.cli import exits
from reasoner.cli.say import say, say_json
from reasoner.measure.asks import Ask, Setting, Trouble
from reasoner.measure.computations.base import Computation
from reasoner.measure.finding import Finding
from reasoner.measure.reading import how_many
from reasoner.rulebook.model import At

WIDEST = 100


def computing(name: str, computations: Sequence[Computation], says: str, example: str) -> click.Command:
    """A command with one option for every input of the computations.

    A computation is done where one of its own inputs was given; with one computation only, always.
    """
    asks = list(dict.fromkeys(ask for computation in computations for ask in computation.asks))
    names = [ask.name for ask in asks]
    clash = {each for each in names if names.count(each) > 1}
    assert not clash, f"inputs of one name ask for different things: {clash}"
    options = [click.Option([f"--{_dashed(ask.name)}"], metavar="TEXT", help=_help(ask)) for ask in asks]
    engine = [
        click.Option(["--cylinders"], type=click.IntRange(1, 16), default=4, show_default=True, help="Of the engine."),
        click.Option(["--json", "as_json"], is_flag=True, help="As one JSON document."),
    ]

    def run(cylinders: int, as_json: bool, **typed: str | None) -> None:
        texts = {ask.name: text for ask in asks if (text := typed[_dashed(ask.name).replace("-", "_")]) is not None}
        show(_done(computations, texts, cylinders), as_json)

    return click.Command(
        name, params=[*options, *engine], callback=run, help=says, epilog=f"Example: {example}", no_args_is_help=True
    )


def _dashed(name: str) -> str:
    return name.replace(" ", "-")


def _help(ask: Ask) -> str:
    by = "" if ask.at is At.ENGINE else f", by {ask.at} (1=.. 2=..)"
    unit = f", in {ask.hint}" if ask.hint and "," not in ask.hint else f" ({ask.hint})" if ask.hint else ""
    return f"{ask.say}{unit}{by}.{' Needed.' if ask.needed else ''}"


def _done(
    computations: Sequence[Computation], texts: Mapping[str, str], cylinders: int
) -> dict[str, Finding | tuple[Trouble, ...]]:
    found = {}
    for computation in computations:
        own = {ask.name for ask in computation.asks} - {
            ask.name for other in computations if other is not computation for ask in other.asks
        }
        if len(computations) == 1 or own & set(texts):
            mine = {ask.name: texts[ask.name] for ask in computation.asks if ask.name in texts}
            found[computation.name] = computation.run(mine, _setting(computation, mine, cylinders))
    if not found:
        raise click.UsageError(f"{', '.join(f'--{_dashed(name)}' for name in texts)} alone says nothing: see --help.")
    return found


def _setting(computation: Computation, texts: Mapping[str, str], cylinders: int) -> Setting:
    """As many banks or cylinders as numbers were typed; cylinders shared out evenly."""
    counts = [how_many(texts[ask.name]) for ask in computation.asks if ask.at is computation.at and ask.name in texts]
    most = max(counts, default=1)
    if computation.at is At.CYLINDER:
        cylinders = max(2, min(most, 16))
        return Setting(cylinders, (tuple(range(1, cylinders + 1)),))
    banks = 2 if computation.at is At.BANK and most > 1 and cylinders > 1 else 1
    return Setting(cylinders, tuple(tuple(range(b, cylinders + 1, banks)) for b in range(1, banks + 1)))


def show(found: Mapping[str, Finding | tuple[Trouble, ...]], as_json: bool = False) -> None:
    """Print what was found; what is wrong goes to standard error, a line each. Exits with a status with a name."""
    troubles = [trouble for one in found.values() if isinstance(one, tuple) for trouble in one]
    findings = {name: one for name, one in found.items() if isinstance(one, Finding)}
    if as_json:
        if not troubles:
            say_json({name: one.document() for name, one in findings.items()})
    else:
        say("\n".join(line for name, one in findings.items() for line in lines(name, one)), nl=bool(findings))
    for trouble in troubles:
        say(f"Error: {trouble}", err=True)
    if troubles:
        raise click.exceptions.Exit(exits.PROBLEMS)


def lines(name: str, found: Finding) -> list[str]:
    """A finding as text."""
    shown = [name.upper()]
    several = len(found.figures) > 1
    for place, figures in found.figures.items():
        shown += _wrapped(f"{place}  " if several else "", "; ".join(f"{f.name} {f}" for f in figures))
    for title, said in (
        ("means", found.means),
        ("how", found.formula),
        ("how sure", found.sure),
        ("look", found.warns),
    ):
        for number, line in enumerate(said):
            shown += _wrapped(f"{title if not number else '':>8}  ", line)
    return shown


def _wrapped(first: str, text: str) -> list[str]:
    indent = "  " + first
    width = min(shutil.get_terminal_size().columns, WIDEST)
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=" " * len(indent)) or [indent.rstrip()]
