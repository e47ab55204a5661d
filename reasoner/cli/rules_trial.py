"""`reasoner rules trial`: virtual cars taken through the real session."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import click

from reasoner.cli import caseroom, exits, loading, workers
from reasoner.cli.kinds import NearChoice
from reasoner.cli.say import say, say_json
from reasoner.network.vehicle import Vehicle
from reasoner.rulebook.model import Rulebook
from reasoner.session.workup import Workup, begin
from reasoner.trial import trial
from reasoner.trial.trialled import trialled
from reasoner.trial.virtual import World

CARS_AT_ONCE = 5  # cars a worker takes with it
WAYS = ("ahead", "greedy", "fixed")
HOW = {
    "none": "the rules unchanged",
    "within": "rules that are off, for each car, as far as their own weights allow",
    "beyond": "rules that are off, for each car, four times as far as their own weights allow",
}


@dataclass(frozen=True)
class Side:
    """One column: rules that reason, and how the next check is chosen."""

    layers: tuple[Path, ...]
    way: str
    order: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class TrialSetting:
    """What all cars share. world: layers of the rules they are drawn from."""

    world: tuple[Path, ...]
    vehicle: Vehicle
    perturb: trial.Perturb
    seed: int
    silent: bool


@click.command(epilog="Example: reasoner rules trial --cars 2000 --perturb within --choose ahead --choose fixed")
@loading.rules_option
@loading.vehicle_option
@click.option("--cars", type=click.IntRange(1, 1_000_000), default=1000, show_default=True, help="How many.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="The same cars again, or others.")
@click.option(
    "--perturb",
    type=NearChoice(list(HOW)),
    default="within",
    show_default=True,
    help="How far each car's truth is off the rules: not at all, within their own weights, or beyond.",
)
@click.option(
    "--choose",
    "ways",
    type=NearChoice(WAYS),
    multiple=True,
    help="How the next check is chosen: as in a case (ahead), by gain for its cost alone (greedy), or by a fixed list."
    " More than once: side by side.",
)
@click.option(
    "--order",
    "order_path",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="The list for --choose fixed: a check a line, its condition after it where it matters (else: cheapest first).",
)
@click.option(
    "--against",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Changed rules, laid over the others, tried on the same cars side by side.",
)
@click.option(
    "--silent",
    is_flag=True,
    help="The owner has gone and no freeze frame is typed in: all of it is asked, one thing at a time.",
)
@click.option("--jobs", type=click.IntRange(0), default=0, help="Processes (0: one for each processor).")
@click.option("--json", "as_json", is_flag=True, help="One JSON document, with every car.")
def rules_trial_command(
    rules_paths: tuple[Path, ...],
    vehicle_path: Path | None,
    cars: int,
    seed: int,
    perturb: trial.Perturb,
    ways: tuple[str, ...],
    order_path: Path | None,
    against: tuple[Path, ...],
    silent: bool,
    jobs: int,
    as_json: bool,
) -> None:
    """Try the rules on virtual cars.

    Cars are drawn from the rules (a fault at its place, in which spells it shows, what each check then shows, what the
    observer gets wrong), and the real session is run on each, from its codes and what is told before the first question
    to where it stops. So that the rules do not grade themselves, each car comes from rules that are off (--perturb).
    What comes out: how often a verdict was given and right, whether it was as sure as it should have been, minutes and
    money, which faults are taken for which, and which checks earn their time.
    """
    if order_path is not None and "fixed" not in ways:
        raise click.UsageError("--order is the list for --choose fixed, which is not asked for.")
    chosen = tuple(dict.fromkeys(ways)) or ("ahead",)
    setting = TrialSetting(rules_paths, loading.vehicle(vehicle_path), perturb, seed, silent)
    books = {layers: loading.rules(layers) for layers in dict.fromkeys([rules_paths, (*rules_paths, *against)])}
    order = () if order_path is None else read_order(order_path, books[rules_paths])
    sides = [Side(layers, way, order) for layers in books for way in chosen]
    shown = []
    details: dict[str, Any] = {}
    for side in sides:
        parts = [side.way] if len(chosen) > 1 or not against else []
        parts += ["changed" if side.layers != rules_paths else "today"] if against else []
        name = ", ".join(parts)
        runs = list(workers.with_progress(_runs(setting, side, cars, jobs), cars, f"trying {name}"))
        shown.append(trialled(name, runs, books[side.layers]))
        details[name] = [_brief(run) for run in runs]
    if as_json:
        head = {"cars": cars, "seed": seed, "perturb": perturb, "vehicle": setting.vehicle.title}
        say_json({**head, "sides": [{**asdict(one), "runs": details[one.name]} for one in shown]})
        return
    from reasoner.report.rules_text import trial_blocks

    how = f"{HOW[perturb]}; {setting.vehicle.title}; seed {seed}"
    caseroom.show_blocks(trial_blocks(shown, how, caseroom.screen_shows_blocks()))


def read_order(path: Path, book: Rulebook) -> tuple[tuple[str, str], ...]:
    """(check, condition or "") by line. Every line that names what the rules do not have is said."""
    found, wrong = [], []
    for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), start=1):
        parts = line.split("#")[0].split()
        if not parts:
            continue
        check, condition = (*parts, "")[:2]
        if len(parts) > 2:
            wrong.append(f"{path}, line {number}: a check and at most one condition are expected")
        elif check not in book.checks:
            wrong.append(f'{path}, line {number}: the rules have no check "{check}"; see `reasoner rules list checks`')
        elif condition and condition not in book.conditions:
            mend = "see `reasoner rules list conditions`"
            wrong.append(f'{path}, line {number}: the rules have no condition "{condition}"; {mend}')
        else:
            found.append((check, condition))
    if wrong or not found:
        for text in wrong or [f"{path} names no check"]:
            say(f"Error: {text}", err=True)
        raise click.exceptions.Exit(exits.PROBLEMS)
    return tuple(found)


def _brief(run: trial.TrialRun) -> dict[str, Any]:
    fields = ("number", "fault", "where", "kind", "said_fault", "said_where", "claimed", "fault_claimed", "right_class")
    return {
        **{name: getattr(run, name) for name in fields},
        "codes": run.codes,
        "minutes": round(run.minutes, 1),
        "checks": [step.check for step in run.steps],
    }


# ---- cars, over the processors ---------------------------------------------------------------------------------------


_here: dict[str, Any] = {}


def _runs(setting: TrialSetting, side: Side, cars: int, jobs: int) -> Iterator[trial.TrialRun]:
    """The cars in order."""
    count = jobs or os.cpu_count() or 1
    pieces = [range(i, min(i + CARS_AT_ONCE, cars)) for i in range(0, cars, CARS_AT_ONCE)]
    if count == 1 or cars <= workers.FEW:
        _begin(setting, side)
        for piece in pieces:
            yield from _several(piece)
        return
    yield from workers.pooled(_several, [(piece,) for piece in pieces], count, _begin, setting, side)


def _begin(setting: TrialSetting, side: Side) -> None:
    start = begin(loading.rules(side.layers), setting.vehicle)
    drawn_from = start if side.layers == setting.world else begin(loading.rules(setting.world), setting.vehicle)
    world = World(drawn_from.book, drawn_from.tables)
    _here.update(setting=setting, start=start, world=world, choose=_chooser(side, start))


def _chooser(side: Side, start: Workup) -> trial.Chooser:
    if side.way == "fixed":
        return trial.by_list(side.order or trial.cheapest_first(start))
    return trial.by_greed if side.way == "greedy" else trial.by_rollout


def _several(numbers: Sequence[int]) -> list[trial.TrialRun]:
    setting: TrialSetting = _here["setting"]
    found = []
    for number in numbers:
        world = trial.world_of(_here["world"], setting.perturb, setting.seed, number)
        found.append(trial.run_car(_here["start"], world, setting.seed, number, _here["choose"], setting.silent))
    return found
