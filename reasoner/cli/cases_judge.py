"""`reasoner cases replay`, `review` and `learn`: what solved cases say of the rules."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from reasoner.casebook.index import case_rows
from reasoner.casebook.shape import Case, load_sound
from reasoner.casebook.trouble import CasebookError
from reasoner.casebook.writing import write_whole
from reasoner.cli import caseroom, exits, loading, shop, workers
from reasoner.cli.kinds import CASE, cases_option
from reasoner.cli.say import say, say_json
from reasoner.history.learning import Helped, Lesson, Total, held_out, learn, lesson
from reasoner.history.overlay import LEARNED_SOURCE, as_rules
from reasoner.history.replay import Replayed, changed_values, replay
from reasoner.history.review import ClosedCase, judge, review
from reasoner.history.trace import vehicle_of
from reasoner.rulebook.model import Rulebook
from reasoner.session.chapters import Garage

# ---- reasoner cases replay -------------------------------------------------------------------------------------------
# Recorded cases under the rules of today or others.

LEARNED_NOTE = """Note: the changed rules hold numbers learned from closed cases. On those same cases
they look better than they are; `cases learn` tells what they do on others."""


@click.command(epilog="Example: reasoner cases replay --rules my-rules")
@click.argument("cases", nargs=-1, type=CASE)
@cases_option
@click.option(
    "--rules",
    "changed",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Changed rules, to be laid over today's and held beside them.",
)
@click.option("--asked-again", is_flag=True, help="Also let today's rules choose the checks, answered from the case.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def cases_replay_command(
    cases: tuple[str, ...], cases_dir: str | None, changed: tuple[Path, ...], asked_again: bool, as_json: bool
) -> None:
    """Weigh the recorded answers of CASES (names, or folders; else all) under today's rules.

    With --rules also under those rules laid over today's, side by side: same verdict? sooner or later? which answer
    weighs otherwise, by which rule? Status 1 where a case does worse than before by what was found in it, so that a
    change of rules can be tried before it is made.
    """
    today = shop.layers((), False, os.environ)
    beside = [shop.layers(changed, False, os.environ)] if changed else []
    found: list[Replayed] = []
    damaged = 0
    books = [loading.rules(layers) for layers in (today, *beside)]
    differ = changed_values(books[0], books[-1])
    with caseroom.refusing():
        folder, _ = caseroom.folder_in_use(cases_dir)
        paths = caseroom.case_files(folder, cases)
        if not paths:
            raise CasebookError("there are no cases to replay", "say where they are: --cases DIR", folder)
        ordered = alike_together(folder, paths)
        for _path, done in workers.each(_replayed, ordered, [today, *beside], asked_again, "replaying"):
            if isinstance(done, CasebookError):
                say(f"damaged: {done.one_line}", err=True)
                damaged += 1
            else:
                found += done
    order = {path.stem: number for number, path in enumerate(paths)}
    found.sort(key=lambda one: (order[one.case], one.part))
    if as_json:
        for one in found:
            say_json({**asdict(one), "worse": one.worse})
    elif found:
        from reasoner.report.cases_text import replay_blocks

        caseroom.show_blocks(replay_blocks(found, differ))
    if changed and LEARNED_SOURCE in books[-1].sources:
        say(LEARNED_NOTE, err=True)
    if damaged or any(one.worse for one in found):
        raise click.exceptions.Exit(exits.PROBLEMS)


def _replayed(case: Case, garages: Sequence[Garage], asked_again: Any) -> tuple[Replayed, ...]:
    changed = garages[1] if len(garages) > 1 else None
    return replay(case.path.stem, vehicle_of(case), case.events, garages[0], changed, bool(asked_again))


def alike_together(folder: Path, paths: Sequence[Path]) -> list[Path]:
    """The cases with like vehicles one after another, as they share their tables; of a few, as they come."""
    if len(paths) <= workers.FEW:
        return list(paths)
    vehicles = {row.name: row.vehicle or {} for row in case_rows(folder)}

    def key(path: Path) -> list[str]:
        fields = vehicles.get(path.stem, {}) if path.parent == folder else {}
        return [f"{k}={v}" for k, v in sorted(fields.items(), key=_layout_first) if k not in ("name", "firing order")]

    return sorted(paths, key=lambda path: (key(path), path.name))


def _layout_first(pair: tuple[str, str]) -> tuple[bool, str]:
    return pair[0] == "distance", pair[0]  # the distance last: most rules do not look at it


# ---- reasoner cases review -------------------------------------------------------------------------------------------
# All closed cases together.


@click.command(epilog="Example: reasoner cases review")
@click.argument("cases", nargs=-1, type=CASE)
@cases_option
@loading.rules_option
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def cases_review_command(
    cases: tuple[str, ...], cases_dir: str | None, rules_paths: tuple[Path, ...], as_json: bool
) -> None:
    """Look over all closed cases (or CASES): how often the verdict was right, whether it was as sure as it should have
    been, minutes by fault, checks that misled and checks that were worth it, and what the rules did not have.
    """
    with caseroom.refusing():
        folder, _ = caseroom.folder_in_use(cases_dir)
        paths = alike_together(folder, caseroom.case_files(folder, cases))
        found: list[ClosedCase | None] = []
        damaged = 0
        for _path, done in workers.each(_judged, paths, [rules_paths], title="looking over"):
            if isinstance(done, CasebookError):
                say(f"damaged, and left out: {done.one_line}", err=True)
                damaged += 1
            else:
                found.append(done)
    done_all = review(found)
    if as_json:
        say_json(done_all)
    else:
        from reasoner.report.rules_text import review_blocks

        caseroom.show_blocks(review_blocks(done_all, caseroom.screen_shows_blocks()))
    if damaged:
        raise click.exceptions.Exit(exits.PROBLEMS)


def _judged(case: Case, garages: Sequence[Garage], _: Any) -> ClosedCase | None:
    return judge(case, garages[0])


# ---- reasoner cases learn --------------------------------------------------------------------------------------------
# What closed cases would change in the rules.

HELD_OUT = 200  # of more cases, so many are held out, evenly chosen


@click.command(epilog="Example: reasoner cases learn --write my-rules/learned.yaml")
@click.argument("cases", nargs=-1, type=CASE)
@cases_option
@loading.rules_option
@click.option(
    "--least",
    type=click.FloatRange(0, 50),
    default=2.0,
    show_default=True,
    help="Least change, in points in a hundred.",
)
@click.option("--write", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="Write the rule file.")
@click.option("--json", "as_json", is_flag=True, help="As one JSON document.")
def cases_learn_command(
    cases: tuple[str, ...],
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    least: float,
    write: Path | None,
    as_json: bool,
) -> None:
    """Propose better numbers for the rules from closed cases (or CASES): how often each thing is found, how often it
    shows, what each check shows. Every number comes with what it was, what it was worth, and the cases behind it.

    Nothing is changed: --write FILE writes the proposal as a rule file, and it counts only when it is put with the
    shop's rules. `cases replay --rules FILE` tries it first.
    """
    least = least / 100
    with caseroom.refusing():
        folder, _ = caseroom.folder_in_use(cases_dir)
        paths = caseroom.case_files(folder, cases)
        if write is not None and write.exists():
            raise CasebookError("there is such a file already", "choose another name", write)
        rules, left = _without_learned(rules_paths)
        if left:
            say(f"Numbers learned before ({left}) are put aside: they come from the same cases.", err=True)
        book = loading.rules(rules)
        total, kept, left_out, damaged = _gather(alike_together(folder, paths), rules)
        learned = learn(book, total, least)
        helped = _help(kept, Garage(book), total, least) if learned else []
        used = list(total.weights)
        text = as_rules(book, learned, f"Own closed cases: {len(used)}", _remarks(len(used), left_out, helped))
        if write is not None and learned:
            _write(write, text)
    unproven = sum(weight < 1 for weight in total.weights.values())
    if as_json:
        numbers = [asdict(one) for one in learned]
        say_json(
            {
                "used": used,
                "unproven": unproven,
                "left out": dict(left_out),
                "learned": numbers,
                "held out": [asdict(one) for one in helped],
                "file": text,
            }
        )
    else:
        from reasoner.report.rules_text import learning_blocks

        caseroom.show_blocks(learning_blocks(learned, len(used), unproven, left_out, helped))
        if write is not None and learned:
            say(f"\nWritten to {write}. `reasoner cases replay --rules {write}` tries it; it counts once it is")
            say("with the shop's rules.")
        elif learned:
            say("\nNothing is changed. --write FILE writes these as a rule file.")
    if damaged:
        raise click.exceptions.Exit(exits.PROBLEMS)


def _write(path: Path, text: str) -> None:
    """Raises CasebookError."""
    try:
        write_whole(path, text)
    except OSError as error:
        message = f"the rules cannot be written: {(error.strerror or str(error)).lower()}"
        raise CasebookError(message, "choose another file for --write", path) from None


KeptLessons = list[tuple[Path, Lesson]]


def _gather(paths: Sequence[Path], rules: workers.Layers) -> tuple[Total, KeptLessons, list[tuple[str, str]], int]:
    """The sums, the lessons of the cases to be held out, what was left out and why, and how many files are damaged."""
    total, kept, left_out, damaged = Total(), [], [], 0
    every = max(1, -(-len(paths) // HELD_OUT))
    for number, (path, done) in enumerate(workers.each(_lesson, paths, [rules], title="learning")):
        if isinstance(done, CasebookError):
            say(f"damaged, and left out: {done.one_line}", err=True)
            damaged += 1
        elif done.why:
            left_out.append((done.case, done.why))
        else:
            total.add(done)
            if number % every == 0:
                kept.append((path, done))
    return total, kept, left_out, damaged


def _lesson(case: Case, garages: Sequence[Garage], _: Any) -> Lesson:
    return lesson(case, garages[0])


def _help(kept: KeptLessons, garage: Garage, total: Total, least: float) -> list[Helped]:
    found = (held_out(load_sound(path), garage, total, own, least) for path, own in kept)
    return [one for one in workers.with_progress(found, len(kept), "holding out") if one is not None]


def _remarks(used: int, left_out: Sequence[tuple[str, str]], helped: Sequence[Helped]) -> list[str]:
    lines = [
        f"Proposed by `reasoner cases learn` from {used} closed cases ({len(left_out)} left out: they say nothing).",
        "Before, after and the cases behind each number stand beside it. Worth: cases the number stood for before.",
        "It counts once this file is with the shop's rules.",
    ]
    if helped:
        before, after = (sum(getattr(one, key) for one in helped) / len(helped) for key in ("before", "after"))
        lines.append(
            f"Left out one by one ({len(helped)} cases), the log score goes from {before:.3f} to {after:.3f} bits:"
            f" {'they would have helped' if after > before else 'they would not have helped'}."
        )
    return lines


def _without_learned(layers: Sequence[Path]) -> tuple[workers.Layers, str]:
    """The layers without a file of numbers that were learned before, and the name of that file."""
    book: Rulebook = loading.rules(layers)
    if LEARNED_SOURCE not in book.sources:
        return tuple(layers), ""
    file = book.sources[LEARNED_SOURCE].place.file
    meant = {Path(file).resolve(), (shop.shipped_folder("rules").parent / file).resolve()}  # as it is shown
    rest: list[Path] = []
    for layer in layers:
        inside = sorted(layer.glob("*.yaml")) if layer.is_dir() else [layer]
        kept = [path for path in inside if path.resolve() not in meant]
        rest += [layer] if len(kept) == len(inside) else kept
    if len(rest) == len(layers) and tuple(rest) == tuple(layers):
        raise CasebookError(
            f"numbers learned before stand in {file}", "name rules without that file: --only-rules --rules"
        )
    return tuple(rest), file
