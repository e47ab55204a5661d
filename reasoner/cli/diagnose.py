"""`reasoner diagnose`: a case at a terminal, by a script of answers, or in conversation with a program."""

from __future__ import annotations

import os
import shlex
import sys
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from reasoner.casebook import store
from reasoner.casebook.events import Finished
from reasoner.casebook.shape import load_sound
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import caseroom, converse, exits, keeper, loading, scanlogs, shop
from reasoner.cli.keeper import Keeper
from reasoner.cli.kinds import CASE, NearChoice, cases_option
from reasoner.cli.say import say
from reasoner.cli.settings import settings_again, settings_option, shop_settings
from reasoner.history.trace import vehicle_of
from reasoner.inference.plan import By
from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.repair.prices import Shop
from reasoner.rulebook.model import Rulebook
from reasoner.session import acts, readings
from reasoner.session.logged import Fetch
from reasoner.session.record import Record
from reasoner.session.script import script_of

if TYPE_CHECKING:
    from reasoner.terminal.console import Console

VEHICLE_EXAMPLE = """\
# A vehicle. Every line may be left out; a property left out is taken as not known.
name: Estate, two-litre turbo
layout: inline 4            # inline 3 to 6, V 6, V 8, flat 4, flat 6
upstream sensors: 1         # one for each bank of cylinders it watches
# banks: 1 2 3 / 4 5 6      # where cylinders are not split odd and even (V, flat) or front and rear (inline)
firing order: 1-3-4-2
injection: direct           # port, direct, dual
charging: charged           # natural, charged
metering: airflow           # airflow, pressure, both
return line: no             # fuel returns to the tank
flex fuel: no
gas recirculation: no       # a valve outside the engine
displacement: 2.0 L         # or cc; what logs and airflow are held against
distance: 198000 km         # or mi
"""


@click.command(epilog="Example: reasoner diagnose --vehicle estate.yaml")
@click.argument("case", type=CASE, required=False)
@loading.vehicle_option
@cases_option
@loading.rules_option
@settings_option
@click.option("--by", type=NearChoice(["time", "money", "gain"]), default="time", help="What a check should save.")
@click.option("--answers", type=click.Path(path_type=Path), metavar="FILE", help="Answer from a case file, unattended.")
@click.option("--log", "logs", multiple=True, metavar="FILE.csv", help="Take a scan log in first; may be repeated.")
@click.option(
    "--columns",
    "columns_path",
    type=click.Path(path_type=Path),
    metavar="MAPPING.yaml",
    help="What the columns of logs are (see `reasoner measure columns`).",
)
@click.option("--live", metavar="LINE", help='Live values first, such as "idle +4 -14 maf 3.1; 2500 +2 -6".')
@click.option("--json", "as_json", is_flag=True, help="Speak one JSON object a line on standard input and output.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of that conversation, and end.")
@click.option("--vehicle-example", is_flag=True, help="Print an example of a vehicle file, and end.")
@click.option("--color", type=NearChoice(["auto", "always", "never"]), default="auto", help="Emphasis on the screen.")
def diagnose_command(
    case: str | None,
    vehicle_path: Path | None,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    settings_path: Path | None,
    by: By,
    answers: Path | None,
    logs: tuple[str, ...],
    columns_path: Path | None,
    live: str | None,
    as_json: bool,
    schema: bool,
    vehicle_example: bool,
    color: str,
) -> None:
    """Find the cause: start a case, or go on with CASE.

    CASE is the name of a case, or a path; with a new name a case of that name is started. At a terminal the beginning
    of a name will do: it is asked which is meant.
    Every answer is on disk before the next question is asked. Leave at any time; start again with the same name.
    """
    if schema:
        say((shop.PACKAGE / "session" / "protocol.schema.json").read_text(encoding="utf-8"), nl=False)
        return
    if vehicle_example:
        say(VEHICLE_EXAMPLE, nl=False)
        return
    if not as_json and answers is None and not (sys.stdin.isatty() and sys.stdout.isatty()):
        say(
            "Error: questions need a terminal, and this is none. Without one: --answers FILE answers from a case file, "
            "--json talks to a program.",
            err=True,
        )
        raise click.exceptions.Exit(exits.NO_TERMINAL)
    again = [*loading.options_again(cases_dir), *settings_again(settings_path)]
    source = Brought(logs, scanlogs.fetcher(columns_path), live or "")
    with caseroom.refusing():
        folder, why = store.cases_folder(cases_dir, os.environ)
        store.ready(folder)
        path = _existing(folder, case)
        book = loading.rules(rules_paths)
        wish = Wish(folder, why, case, path, book, vehicle_path, by, tuple(again), shop_settings(settings_path, book))
        if _by_beginning(wish) and (as_json or answers is not None):
            wish = _new(wish)  # nobody is there to say which was meant; a program knows the whole name
        if as_json:
            with wish.opened() as kept:
                own = _own_tools(wish.shop)
                if own is not None and not kept.workup.record.steps:
                    kept.keep(acts.usual_tools(kept.workup, *own))
                raise click.exceptions.Exit(
                    converse.talk(kept, sys.stdin.buffer, sys.stdout, source.fetch, source.messages)
                )
        if answers is not None:
            _unattended(wish, answers, source)
        else:
            _at_terminal(wish, color, source)


@dataclass(frozen=True)
class Brought:
    """What is taken in before the first question: scan logs, with how logs are read, and a line of live values."""

    files: tuple[str, ...]
    fetch: Fetch
    live: str = ""

    @property
    def messages(self) -> list[dict[str, str]]:
        logs = [{"type": "log", "file": file} for file in self.files]
        return logs + ([{"type": "readings", "line": self.live}] if self.live else [])

    def take(self, kept: Keeper) -> None:
        """All of it, where nobody is there to be asked."""
        scanlogs.take_logs(kept, self.files, self.fetch)
        try:
            kept.keep(readings.keep_live(kept.workup, self.live) if self.live else [])
        except acts.Refused as refused:
            say(f"Error: --live: {refused.message}" + (f" ({refused.mend})" if refused.mend else ""), err=True)
            raise click.exceptions.Exit(exits.PROBLEMS) from None


@dataclass(frozen=True)
class Wish:
    """What was asked for. why: who said where the cases are. path: the case to go on with; None: a new one, named
    `case` if that is given. again: the options that going on will need too. shop: what its settings say."""

    folder: Path
    why: str
    case: str | None
    path: Path | None
    book: Rulebook
    vehicle_path: Path | None
    by: By
    again: tuple[str, ...]
    shop: Shop

    def opened(self, vehicle: Callable[[], Vehicle] | None = None) -> Keeper:
        """The case, open for writing. vehicle: where a new case's comes from, if no file was named."""
        if self.path is not None:
            kept = keeper.open_case(self.path, self.book, self.by, self.shop.prices)
            if self.vehicle_path is not None:
                kept.notes.append("the case has its vehicle already, so --vehicle was not used")
            return kept
        car = vehicle() if vehicle is not None and self.vehicle_path is None else self._car()
        return keeper.new_case(self.folder, self.case, self.book, car, self.by, self.shop.prices)

    def _car(self) -> Vehicle:
        """The one of the file; else the shop's usual one."""
        usual = vehicle_from(self.shop.car)[0] if self.vehicle_path is None else None
        return usual or loading.vehicle(self.vehicle_path)

    def resume(self, name: str) -> str:
        """The command that goes on with the case."""
        return " ".join(["reasoner diagnose", shlex.quote(name), *self.again])


def _existing(folder: Path, case: str | None) -> Path | None:
    """The file of a case to go on with; None where a new one is to be started."""
    if case is None:
        return None
    try:
        return store.find_case(folder, case)
    except CasebookError:
        store.safe_name(case)  # a name that cannot be given is refused before anything is asked
        if any(name.startswith(case) for name in store.names(folder)):
            raise  # several begin so
        return None


def _by_beginning(wish: Wish) -> bool:
    """Whether the case was found by no more than the beginning of its name: perhaps a new one was meant."""
    if wish.case is None or wish.path is None or os.sep in wish.case or "/" in wish.case:
        return False
    typed, found = (unicodedata.normalize("NFC", name) for name in (wish.case, wish.path.stem))
    return typed.removesuffix(store.SUFFIX) != found


def _meant(wish: Wish, console: Console) -> Wish:
    """The wish, once it is clear which case is meant."""
    if not _by_beginning(wish) or wish.case is None or wish.path is None:
        return wish
    prompt = f"No case is called {wish.case}. Enter: go on with {wish.path.stem}, n: start a new one > "
    while (line := console.ask(prompt).lower()) not in ("", "y", "yes"):
        if line in ("n", "no", "new"):
            return _new(wish)
        console.say("Enter or n; Ctrl-C leaves.")
    return wish


def _new(wish: Wish) -> Wish:
    """A new case under the name as it was typed."""
    store.safe_name(wish.case or "")
    return replace(wish, path=None)


def _unattended(wish: Wish, answers: Path, brought: Brought) -> None:
    """Play the answers of a case file through the real session, keeping a case of its own."""
    from reasoner.cli.demo import play_script

    given = load_sound(answers)
    with wish.opened(lambda: vehicle_of(given)) as kept:
        play_script(kept, script_of(given.events), sys.stdout, brought.take)


def _work_done(kept: Keeper) -> str:
    """The last finished work, in words; "" where there is none."""
    events = kept.case.events
    if not any(isinstance(event, Finished) for event in events):
        return ""  # and nothing that follows a verdict is loaded for it
    from reasoner.repair import rounds
    from reasoner.repair.sheet import work_text

    done = [w for w in rounds.rounds_of(kept.workup.book, events) if w.finished is not None]
    return work_text(kept.workup, done[-1]) if done else ""


def _at_terminal(wish: Wish, color: str, brought: Brought) -> None:
    from reasoner.report.text import RichPages
    from reasoner.terminal import intake, loop
    from reasoner.terminal.console import Console, Leave

    console = Console.of_process(os.environ, color)  # type: ignore[arg-type]
    try:
        console.say(f"Cases are kept in {wish.folder} ({wish.why}).")
        wish = _meant(wish, console)
        last = None if wish.case else store.newest(wish.folder)
        if last is not None and last.latest and not last.closed:
            console.say(f"This begins a new case. The last one is not closed: {wish.resume(last.name)}")
        with wish.opened(lambda: _asked(intake.ask_vehicle(console, wish.shop.car))) as kept:
            console.resume = wish.resume(kept.journal.path.stem)
            console.say(f"Case {kept.journal.path.stem}: {kept.workup.vehicle.title}.")
            done = _work_done(kept)
            if done:
                console.say(f"Work done: {done}. What is asked now is about the car after it.")
            for note in kept.notes:
                console.say(f"Note: {note}.")
            record, workup = kept.workup.record, kept.workup
            if not record.given and record.condition is None:  # the intake was not finished
                workup = intake.intake(workup, kept.keep, console, _own_tools(wish.shop))
            workup = loop.run_loop(workup, kept.keep, console, RichPages(), brought.fetch, brought.files, brought.live)
            if console.left == "stop":
                name = " ".join([shlex.quote(kept.journal.path.stem), *wish.again])
                for line in ways_on(workup.record, name, bool(done)):
                    console.say(line)
    except Leave as leave:
        raise click.exceptions.Exit(_status(leave.how)) from None
    except CasebookError as error:
        if not console.resume:
            raise
        say(f"\nError: {error}", err=True)
        say(f"   All earlier answers are kept. To go on: {console.resume}", err=True)
        raise click.exceptions.Exit(exits.CASE_UNUSABLE) from None
    raise click.exceptions.Exit(_status(console.left))


def ways_on(record: Record, name: str, done: bool) -> list[str]:
    """The commands that go on from a verdict, a line each; none where there was none. name: as it is typed. done: the
    work is."""
    verdicts = record.verdicts
    if not verdicts:
        return []
    sheet = [f"The repair sheet, step by step: reasoner sheet {name} --take best"]
    proof = [f"What must be seen before it counts as proven: reasoner prove {name}"]
    settled = verdicts[-1].what == "settled" and not done
    choice = [f"What to replace, by what it costs: reasoner decide {name}"]
    return [*(sheet if settled else []), *choice, *(proof if done else [])]


def _own_tools(shop: Shop) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
    """Tools that the settings say are there, and are not; None where they do not say."""
    return None if shop.tools is None else (shop.tools, shop.lacking)


def _asked(fields: Mapping[str, str]) -> Vehicle:
    vehicle, mistakes = vehicle_from(fields)
    assert vehicle is not None, mistakes  # the screen asks until it is one
    return vehicle


def _status(how: str) -> int:
    return exits.INTERRUPTED if how == "interrupt" else exits.FINE
