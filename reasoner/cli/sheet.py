"""`reasoner sheet`: the repair sheet."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click

from reasoner.cli import loading
from reasoner.cli.options import cases_option
from reasoner.cli.prices import prices_option, shop_prices
from reasoner.cli.round import Round, by_number, on_case
from reasoner.decide.prices import Prices
from reasoner.session import deciding, repairing, sheeting
from reasoner.session.acts import Refused

TAKES = ("best", "alone", "two", "bank", "all", "cheaper", "in turn")


@click.command(epilog="Example: reasoner sheet 2026-03-09-1 --take best --html sheet.html")
@click.argument("case")
@cases_option
@loading.rules_option
@prices_option
@click.option("--take", type=click.Choice(TAKES), help="Take up the work of this choice (see `reasoner decide`).")
@click.option("--tick", multiple=True, metavar="BOX", help='Check off a box, such as 3 or "4 cylinder 2"; repeatable.')
@click.option("--untick", multiple=True, metavar="BOX", help="Take a mark away again.")
@click.option(
    "--figure",
    "figures",
    multiple=True,
    metavar="STEP:WORDS=VALUE",
    help='Fill in a blank with the maker\'s figure, such as "11:rail bolts=12"; repeatable.',
)
@click.option("--values", "ask", is_flag=True, help="Type in the calibration values, twice, cylinder by cylinder.")
@click.option("--first", metavar="1=A,2=B", help="The values as typed in the first time, without being asked.")
@click.option("--second", metavar="1=A,2=B", help="The same, the second time.")
@click.option("--old", metavar="1=A,2=B", help="The values that were stored before.")
@click.option(
    "--finished", is_flag=True, help="The work is done: what is answered from here is about the car after it."
)
@click.option("--html", "html", type=click.Path(path_type=Path), metavar="FILE", help="Write the sheet to print.")
def command(
    case: str,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    prices_path: Path | None,
    take: str | None,
    tick: tuple[str, ...],
    untick: tuple[str, ...],
    figures: tuple[str, ...],
    ask: bool,
    first: str | None,
    second: str | None,
    old: str | None,
    finished: bool,
    html: Path | None,
) -> None:
    """Show the repair sheet of CASE: cautions, what to have at hand, steps, blanks for the maker's figures.

    Take up the work of a choice first. Everything checked off or typed in is saved at once.
    """
    book = loading.rules(rules_paths)
    prices = shop_prices(prices_path, book)

    def do(on: Round) -> None:
        if take:
            _take(on, take, prices)
        work = on.work
        if work is None:
            raise Refused("no work was taken up in this case", "reasoner decide shows the choices; then: --take best")
        sheet = sheeting.sheet_of(on.workup, work)
        if tick:
            on.keep(repairing.tick(on.workup, sheet, tick))
        if untick:
            on.keep(repairing.tick(on.workup, sheet, untick, off=True))
        for figure in figures:
            line, words, value = _figure(figure)
            on.keep(repairing.fill_in(on.workup, sheet, line, words, value))
        if ask or first or second or old:
            typed = _asked(on) if ask else (by_number(first or ""), by_number(second or ""))
            on.keep(repairing.enter_values(on.workup, *typed, by_number(old or "")))
        if finished:
            on.keep(repairing.finish(on.workup, on.work))
        _show(on, html)

    on_case(case, cases_dir, book, do)


def _take(on: Round, kind: str, prices: Prices) -> None:
    decision = deciding.decide(on.workup, prices)
    choice = deciding.chosen(decision, kind)
    if choice is None:
        raise Refused(f'there is no such choice now: "{kind}"', "reasoner decide shows those there are")
    lacking = decision.missing[choice.kind]
    if lacking:
        document = deciding.document(decision)
        said = next(c.missing for c in document.choices if c.kind == choice.kind)
        for text in said:
            click.echo(f"Not recommended yet: {text}.", err=True)
    on.keep(repairing.take(on.workup, choice))


def _figure(text: str) -> tuple[int, str, str]:
    place, equals, value = text.partition("=")
    line, colon, words = place.partition(":")
    if not (equals and colon and line.strip().isdecimal()):
        raise click.BadParameter(f'"{text}" is not written as STEP:WORDS=VALUE')
    return int(line), words.strip(), value


def _asked(on: Round) -> tuple[dict[int, str], dict[int, str]]:
    """Both times, cylinder by cylinder; an empty line leaves one out. The second time begins from the part again."""
    cylinders = range(1, on.workup.vehicle.cylinders + 1)

    def once(how: str) -> dict[int, str]:
        click.echo(f"{how}, read off the parts, by cylinder number:", err=True)
        ask: Callable[[int], str] = lambda c: click.prompt(f"  cylinder {c}", default="", show_default=False, err=True)  # noqa: E731
        return {c: value for c in cylinders if (value := ask(c).strip())}

    return once("First time"), once("Second time")


def _show(on: Round, html: Path | None) -> None:
    from reasoner.report.sheet_html import sheet_html
    from reasoner.report.sheet_text import sheet_text

    work = on.work
    assert work is not None
    document = sheeting.document(on.workup, work, on.name)
    if html is None:
        click.echo(sheet_text(document), nl=False)
        return
    html.write_text(sheet_html(document), encoding="utf-8")
    click.echo(f"Written to {html}.", err=True)
