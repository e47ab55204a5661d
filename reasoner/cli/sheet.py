"""`reasoner sheet`: the repair sheet; at the car step by step, with calibration values typed in twice."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click

from reasoner.casebook.events import Event
from reasoner.casebook.writing import write_whole
from reasoner.cli import loading
from reasoner.cli.kinds import CASE, NearChoice, cases_option, option_group
from reasoner.cli.round import Round, by_number, on_case, take_back_told
from reasoner.cli.say import say, say_json, say_pages
from reasoner.cli.settings import settings_again, settings_option, shop_settings
from reasoner.repair import rounds
from reasoner.repair.calibration import plain_value
from reasoner.repair.jobs import VALUE_SETS, Work
from reasoner.repair.sheet import LineDoc, RepairSheet, SheetDoc, sheet_document, sheet_of
from reasoner.report.lines import paragraph
from reasoner.session import deciding
from reasoner.session.acts import Refused
from reasoner.session.document import as_data
from reasoner.session.plain import shortened
from reasoner.session.workup import Workup

# ---- The repair sheet at the car -------------------------------------------------------------------------------------
# Step by step, and the calibration values typed in twice. Saved after every line.

BACK, STOP, SHEET_HELP = ("b", "back"), ("s", "stop", "q", "quit"), ("h", "help", "?")
SHEET_KEYS = "Enter: done, l: later, b: back, h: help, s: stop"
ABOUT_STEPS = (
    "Enter ticks this step off and shows the next. l leaves it open for later, b goes one step back and takes its tick"
    " away, s or q leaves; all that was ticked or typed is kept."
)
ABOUT_FIGURES = "The maker's figure, kept as it is typed. Enter leaves it blank, b goes a step back, s leaves."
ABOUT_VALUES = (
    "The letters and digits on the part, as they are printed there. Enter leaves this cylinder out, b goes one cylinder"
    " back, s leaves; what was typed is kept."
)


def open_boxes(document: SheetDoc) -> Iterator[tuple[str, LineDoc]]:
    """Boxes that are not ticked yet, in order, each with its step."""
    for part in document.sections:
        for line in part.lines:
            yield from ((box.name, line) for box in line.boxes if not box.done)


def in_full(line: LineDoc) -> LineDoc:
    """A step that stands by itself: its cautions in full."""
    return replace(line, full=frozenset(caution.number for caution in line.cautions))


def walk_through(on: Round) -> None:
    """Every open box in turn: its step with the cautions above it, the blanks, then done or later."""
    from reasoner.report.work_text import step_lines

    names = [name for name, _ in open_boxes(sheet_document(on.workup, _work(on)))]
    at, shown = 0, 0
    while at < len(names):
        line = _line(on, names[at])
        if line.number != shown:
            say("\n".join(["", *step_lines(in_full(line))]))
            shown = line.number
            key = _figures(on, line)
        else:
            key = ""
        place = names[at].partition(" ")[2]
        key = key or _typed(f"{place}. {SHEET_KEYS}" if place else SHEET_KEYS, ABOUT_STEPS).lower()
        if key in STOP:
            return
        if key in BACK:
            at, shown = max(0, at - 1), 0
            if names[at] in _work(on).ticked:
                on.keep(rounds.tick(on.workup, _sheet(on), [names[at]], off=True))
        elif key in ("l", "later"):
            at += 1
        elif key in ("", "d", "done"):
            on.keep(rounds.tick(on.workup, _sheet(on), [names[at]]))
            at += 1
        else:
            say(f'"{shortened(key, 20)}" is not clear: Enter, l, b, h or s.', err=True)


def _figures(on: Round, line: LineDoc) -> str:
    """The blanks of a step, one after another; b or s typed there is a word to the walk, not a figure: returned."""
    for figure in line.figures:
        if not figure.value and (value := _typed(f"{figure.what}, Enter: leave it blank", ABOUT_FIGURES)):
            if value.lower() in (*BACK, *STOP):
                return value.lower()
            on.keep(rounds.fill_in(on.workup, _sheet(on), line.number, figure.what, value))
    return ""


def ask_values(on: Round) -> None:
    """The values of the parts that are fitted, twice, each kept as it is typed; then once more where the two differ.

    What was typed before a break is not asked again; once all is there, it begins anew.
    """
    cylinders = [c for c in range(1, on.workup.vehicle.cylinders + 1) if _fitted(_work(on), c)]
    work = _work(on)
    if all(c in work.first and c in work.second for c in cylinders):
        none = dict.fromkeys(cylinders, "")
        on.keep(rounds.enter_values(on.workup, none, none, {}))
    for how, key in (("First time, off the part", "first"), ("Second time, off the part again", "second")):
        left = [c for c in cylinders if c not in getattr(_work(on), key)]
        if left:
            say(f"{how}, by cylinder number. Enter leaves one out, b: back, h: help, s: stop.", err=True)
        at = 0
        while at < len(left):
            value = _typed(f"  cylinder {left[at]}", ABOUT_VALUES)
            if value.lower() in STOP:
                return
            if value.lower() in BACK:
                at = max(0, at - 1)
                continue
            if value:
                _keep(on, key, left[at], value)
            at += 1
    for cylinder in cylinders:
        first, second = (typed.get(cylinder, "") for typed in (_work(on).first, _work(on).second))
        if first and second and plain_value(first) != plain_value(second):
            say(f"cylinder {cylinder}: {first}, then {second}. Look at the part once more.", err=True)
            value = _typed(f"  cylinder {cylinder}", ABOUT_VALUES)
            if value and value.lower() not in (*BACK, *STOP):
                _keep(on, "first" if plain_value(value) == plain_value(second) else "second", cylinder, value)


def _keep(on: Round, key: str, cylinder: int, value: str) -> None:
    typed = {name: {cylinder: value} if name == key else {} for name in VALUE_SETS}
    on.keep(rounds.enter_values(on.workup, **typed))


def _fitted(work: Work, cylinder: int) -> bool:
    places = frozenset().union(*(job.places for job in work.jobs))
    return f"cylinder {cylinder}" in places or not any(place.startswith("cylinder") for place in places)


def _typed(question: str, helps: str) -> str:
    """What was typed; h says what is wanted, and asks again."""
    while True:
        line = str(click.prompt(question, default="", show_default=False, prompt_suffix=" > ", err=True)).strip()
        if line.lower() not in SHEET_HELP:
            return line
        say("\n".join(paragraph(helps, 0)), err=True)


def _work(on: Round) -> Work:
    work = on.work
    assert work is not None
    return work


def _sheet(on: Round) -> RepairSheet:
    return sheet_of(on.workup, _work(on))


def _line(on: Round, box: str) -> LineDoc:
    document = sheet_document(on.workup, _work(on))
    lines = (line for part in document.sections for line in part.lines)
    return next(line for line in lines if any(each.name == box for each in line.boxes))


# ---- reasoner sheet --------------------------------------------------------------------------------------------------
# The repair sheet.

TAKES = ("best", "alone", "two", "bank", "all", "cheaper", "in turn", "free")


@dataclass(frozen=True)
class WrittenDown:
    """Options that say what was checked off or written on the sheet. first, second, old: calibration values."""

    tick: tuple[str, ...]
    untick: tuple[str, ...]
    figures: tuple[str, ...]
    first: str | None
    second: str | None
    old: str | None

    @property
    def values(self) -> tuple[str | None, str | None, str | None]:
        """Calibration values, as typed."""
        return self.first, self.second, self.old

    @property
    def anything(self) -> bool:
        """Whether any of them was used."""
        return bool(self.tick or self.untick or self.figures or any(self.values))

    def events(self, workup: Workup, sheet: RepairSheet) -> list[Event]:
        """The same as events of the case. Raises Refused where one of them fits nothing on the sheet."""
        found = rounds.tick(workup, sheet, self.tick) if self.tick else []
        found += rounds.tick(workup, sheet, self.untick, off=True) if self.untick else []
        for line, words, value in map(_figure, self.figures):
            found += rounds.fill_in(workup, sheet, line, words, value)
        if any(self.values):
            found += rounds.enter_values(workup, *(by_number(text or "") for text in self.values))
        return found


@click.command(epilog="Example: reasoner sheet 2026-03-09-1 --take best --html sheet.html")
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@settings_option
@click.option("--take", type=NearChoice(TAKES), help="Take up the work of this choice (see `reasoner decide`).")
@click.option("--tick", multiple=True, metavar="BOX", help='Check off a box, such as 3 or "4 cylinder 2"; repeatable.')
@click.option("--untick", multiple=True, metavar="BOX", help="Take a mark away again.")
@click.option(
    "--figure",
    "figures",
    multiple=True,
    metavar="STEP:WORDS=VALUE",
    help='Fill in a blank with the maker\'s figure, such as "12:rail bolts=12"; repeatable.',
)
@click.option("--steps", "walk", is_flag=True, help="Go through the open steps one by one; Enter ticks one off.")
@click.option("--values", "ask", is_flag=True, help="Type in the calibration values, twice, cylinder by cylinder.")
@click.option("--first", metavar="1=A,2=B", help="Values as typed in the first time, without being asked.")
@click.option("--second", metavar="1=A,2=B", help="The same, the second time.")
@click.option("--old", metavar="1=A,2=B", help="The values that were stored before.")
@click.option(
    "--finished", is_flag=True, help="The work is done: what is answered from here is about the car after it."
)
@click.option("--back", is_flag=True, help="Take back the last thing told in this case, first of all.")
@click.option("--html", "html", type=click.Path(path_type=Path), metavar="FILE", help="Write the sheet to print.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def sheet_command(
    case: str,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    settings_path: Path | None,
    take: str | None,
    walk: bool,
    ask: bool,
    finished: bool,
    back: bool,
    html: Path | None,
    as_json: bool,
    **told: Any,
) -> None:
    """Show the repair sheet of CASE: cautions, what to have at hand, steps, blanks for the maker's figures.

    Take up the work of a choice first. Everything checked off or typed in is saved at once; what is shown then is the
    next open step with its cautions.
    """
    book = loading.rules(rules_paths)
    prices = shop_settings(settings_path, book).prices
    written = option_group(WrittenDown, told)

    def do(on: Round) -> None:
        if back:
            take_back_told(on)
        if take:
            _take(on, take)
        work = on.work
        if work is None:
            raise Refused("no work was taken up in this case", "reasoner decide shows the choices; then: --take best")
        events = written.events(on.workup, sheet_of(on.workup, work))
        on.keep(events)  # all of it or, where anything was refused, nothing
        if ask:
            ask_values(on)
        if walk:
            walk_through(on)
        again = " ".join([shlex.quote(case), *loading.options_again(cases_dir)])
        if finished:
            on.keep(rounds.finish(on.workup, on.work))
            _say_finished(on, work, again, " ".join([again, *settings_again(settings_path)]))
        elif html or as_json or not (events or ask or walk or back) or take:
            _show(on, html, as_json)
        else:
            _show_next(on, again, values=bool(ask or any(written.values)))

    on_case(case, cases_dir, book, bool(back or take or written.anything or ask or walk or finished), do, prices)


def _take(on: Round, kind: str) -> None:
    decision = deciding.decide(on.workup)
    choice = deciding.choice_of_kind(decision, kind)
    if choice is None:
        raise Refused(f'there is no such choice now: "{kind}"', "reasoner decide shows those there are")
    lacking = decision.missing[choice.kind]
    for item in lacking:
        say("\n".join(paragraph(f"Not recommended yet: {deciding.missing_text(on.book, item)}.", 0)), err=True)
    on.keep(rounds.take_choice(on.workup, choice, on.work))


def _figure(text: str) -> tuple[int, str, str]:
    place, equals, value = text.partition("=")
    line, colon, words = place.partition(":")
    if not (equals and colon and line.strip().isdecimal()):
        raise click.BadParameter(f'"{text}" is not written as STEP:WORDS=VALUE')
    return int(line), words.strip(), value


def _document(on: Round) -> SheetDoc:
    work = on.work
    assert work is not None
    return sheet_document(on.workup, work, on.name)


def _show(on: Round, html: Path | None, as_json: bool) -> None:
    from reasoner.report.sheet_html import sheet_html
    from reasoner.report.work_text import sheet_text

    document = _document(on)
    if html is not None:
        try:
            write_whole(html, sheet_html(document))
        except OSError as error:
            raise click.BadParameter(f"{html} cannot be written: {(error.strerror or str(error)).lower()}") from None
        say(f"Written to {html}.", err=True)
    elif as_json:
        say_json(as_data(document))
    else:
        say_pages(sheet_text(document))


def _show_next(on: Round, again: str, values: bool) -> None:
    """What was changed in one line, and the next open step with its cautions above it."""
    from reasoner.report.work_text import step_lines, value_lines

    document = _document(on)
    if values:
        wrong = [slip for part in document.sections for slip in part.slips]
        lines = [text for part in document.sections if part.values for text in value_lines(part)]
        say("\n".join(lines).lstrip("\n"))
        right = f"\nTo put one right: reasoner sheet {again} --first 3=VALUE --second 3=VALUE"
        say(right if wrong else "\nTyped in twice, and nothing looks wrong.")
        return
    say(f"Kept: {document.done} of {document.boxes} boxes ticked.")
    line = next((line for _, line in open_boxes(document)), None)
    if line is None:
        say(f"When the work is done: reasoner sheet {again} --finished")
        return
    say("\n".join(["", *step_lines(in_full(line))]))
    say(f"\nOne by one: reasoner sheet {again} --steps")


def _say_finished(on: Round, work: Work, again: str, with_settings: str) -> None:
    """What was left open, and what comes now."""
    document = sheet_document(on.before(), work, on.name)
    say(f"The work is done: {document.done} of {document.boxes} boxes ticked.")
    if document.done < document.boxes:
        numbers = dict.fromkeys(str(line.number) for _, line in open_boxes(document))
        say("\n".join(paragraph(f"Not ticked: step {', '.join(numbers)}.", 2, "!")))
    for slip in (slip for part in document.sections for slip in part.slips):
        say("\n".join(paragraph(f"Calibration values: {slip}.", 2, "!")))
    say("From here the case is about the car after the work.")
    say(f"What must be seen, and how often: reasoner prove {again}")
    say(f"Whether anything is wrong with it now: reasoner diagnose {with_settings}")
    say(f"Said by mistake: reasoner sheet {again} --back")
