"""`reasoner cases close`, `correct` and `anonymise`: a case ended, put right, or copied to be given away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import click

from reasoner.casebook import casefile, correcting, journal, store
from reasoner.casebook.anonymising import anonymous
from reasoner.casebook.events import Answered, Event, OutcomeSeen, event_as_written
from reasoner.casebook.journal import resume
from reasoner.casebook.shape import Case, sound
from reasoner.casebook.trouble import CasebookError
from reasoner.cli import caseroom, keeper, loading
from reasoner.cli.kinds import CASE, NearChoice, cases_option
from reasoner.cli.say import say, say_json
from reasoner.repair.jobs import CLOSING_STATES
from reasoner.rulebook.model import Rulebook

# ---- reasoner cases close --------------------------------------------------------------------------------------------
# What it was, and how firmly that is known.


@click.command(
    epilog="Example: reasoner cases close estate-hot-restart --state proven --fault injector-leaks-after-soak"
    ' --where "cylinder 3" --confirmed-by "wet tip seen after a hot soak"'
)
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@click.option("--state", type=NearChoice(CLOSING_STATES), required=True, help="How firmly it is known to be over.")
@click.option("--fault", default="", help="What it was, as the screens name it.")
@click.option("--where", default="", help="Where: `cylinder 3`, `bank 1`; nothing for the whole engine.")
@click.option("--confirmed-by", "confirmed", default="", help="What confirmed it.")
@click.option("--not-in-rules", is_flag=True, help="The rules do not have this fault; it is kept in your words.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def cases_close_command(
    case: str,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    state: str,
    fault: str,
    where: str,
    confirmed: str,
    not_in_rules: bool,
    as_json: bool,
) -> None:
    """Close CASE: what it was, how firmly that is known, what confirmed it. Without a verdict or a fault: `given up`.

    A case can be gone on with after it was closed, and closed again; the last closing counts.
    """
    from reasoner.casebook import store
    from reasoner.history.trace import vehicle_of
    from reasoner.session.acts import Refused
    from reasoner.session.chapters import Garage, close_case

    with caseroom.refusing():
        path = store.find_case(caseroom.folder_in_use(cases_dir)[0], case)
        book = loading.rules(rules_paths)
        with resume(path) as journal:
            found = sound(journal.case)
            try:
                events = close_case(
                    Garage(book), vehicle_of(found), found.events, state, fault, where, confirmed, not_in_rules
                )
            except Refused as refused:
                raise CasebookError(refused.message, refused.mend, path) from None
            journal.append(*(event_as_written(event, keeper.now()) for event in events))
    if as_json:
        say_json({"case": path.stem, "state": state, "fault": fault, "where": where, "confirmed_by": confirmed})
        return
    say(f"{path.stem}: {state}" + (f", {fault}" + (f", {where}" if where else "") if fault else "") + ".")


# ---- reasoner cases correct ------------------------------------------------------------------------------------------
# Something in a case put right, with its reason.


@click.command(
    epilog='Example: reasoner cases correct six --step 19 --answer 3=raised --because "numbered from the wrong end"'
)
@click.argument("case", type=CASE)
@cases_option
@loading.rules_option
@click.option("--step", type=click.IntRange(1), help="The step of the answer, as `cases show` numbers them.")
@click.option(
    "--answer",
    "answers",
    multiple=True,
    metavar="OUTCOME",
    help="What it should have been: an outcome, or CYLINDER=OUTCOME (more than once; the rest as it was).",
)
@click.option("--sure", type=NearChoice(["sure", "think so", "guess"]), help="How sure; as it was, unless said.")
@click.option("--take-back", is_flag=True, help="Take the step back altogether.")
@click.option(
    "--vehicle", "fields", multiple=True, metavar="KEY=VALUE", help="Put the vehicle right: distance=189000 km."
)
@click.option("--because", required=True, help="Why. Kept with the case.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def cases_correct_command(
    case: str,
    cases_dir: str | None,
    rules_paths: tuple[Path, ...],
    step: int | None,
    answers: tuple[str, ...],
    sure: str | None,
    take_back: bool,
    fields: tuple[str, ...],
    because: str,
    as_json: bool,
) -> None:
    """Put something in CASE right, with the reason. What was written stays in the file; the correction is a new line.

    Say one of: --step with --answer; --step with --take-back; --vehicle.
    """
    chosen = [bool(step and answers), bool(step and take_back), bool(fields)]
    if sum(chosen) != 1:
        raise click.UsageError(
            "say one thing to put right: --step with --answer, --step with --take-back, or --vehicle."
        )
    from reasoner.casebook import store

    with caseroom.refusing():
        path = store.find_case(caseroom.folder_in_use(cases_dir)[0], case)
        book = None if take_back else loading.rules(rules_paths)
        with resume(path) as journal:
            found = sound(journal.case)
            gone: tuple[str, ...] = ()
            if fields:
                assert book is not None
                fixed = _vehicle(correcting.vehicle_fields(found), fields)
                events = correcting.correct_vehicle(found.events, fixed, because)
                gone = _no_longer_counted(book, found, events)
            elif take_back:
                assert step is not None
                events = correcting.take_step_back(found.events, step, because)
            else:
                assert step is not None and book is not None
                events = _answer(book, found.events, step, answers, sure, because)
            journal.append(*(event_as_written(event, keeper.now()) for event in events))
    if as_json:
        say_json({"case": path.stem, "because": because, "no_longer_counted": gone})
        return
    say(f"{path.stem}: put right. What was written before is kept in the file.")
    for line in gone:
        say(f"No longer counted on this vehicle: {line}")


def _no_longer_counted(book: Rulebook, found: Case, correction: Sequence[Event]) -> tuple[str, ...]:
    """Nothing where the vehicle could not be read before: nothing counted then."""
    from reasoner.history.trace import no_longer_counted, vehicle_of
    from reasoner.session.workup import begin

    try:
        before = begin(book, vehicle_of(found), found.events)
    except CasebookError:
        return ()
    right = replace(found, events=(*found.events, *correction))
    return no_longer_counted(before, begin(book, vehicle_of(right), right.events))


def _vehicle(now: dict[str, str], fields: Sequence[str]) -> dict[str, str]:
    """The keys to be put right. Raises CasebookError where the vehicle would make no sense."""
    from reasoner.network.vehicle import vehicle_from

    changed: dict[str, str] = {}
    for field in fields:
        key, sign, value = field.partition("=")
        if not sign:
            raise CasebookError(f'"{field}" is no KEY=VALUE', "such as distance=189000 km")
        changed[key.strip()] = value.strip()
    vehicle, mistakes = vehicle_from({k: v for k, v in {**now, **changed}.items() if v})
    if vehicle is None:
        raise CasebookError(f"{mistakes[0].where}: {mistakes[0].message}", mistakes[0].mend)
    return changed


def _answer(
    book: Rulebook, events: Sequence[Event], step: int, answers: Sequence[str], sure: str | None, because: str
) -> list[Event]:
    """The corrected answer: the places named changed, the others as they were. Raises CasebookError."""
    given = [e for e in correcting.standing(events) if isinstance(e, Answered) and e.step == step]
    if len(given) != 1:
        raise CasebookError(f"step {step} holds no answer", "`reasoner cases show` numbers the steps")
    check = book.checks.get(given[0].check)
    outcomes = [o.name for o in check.outcomes] if check else []
    values: dict[str, OutcomeSeen] = {str(place): said for place, said in given[0].values.items()}
    for answer in answers:
        place, sign, outcome = answer.partition("=")
        places = [place] if sign else list(values)
        outcome = (outcome if sign else place).strip()
        if outcome not in outcomes:
            raise CasebookError(f'"{outcome}" is no outcome of {given[0].check}', "one of: " + ", ".join(outcomes))
        if sign and place not in values:
            raise CasebookError(f'"{place}" was not looked at in step {step}', "one of: " + ", ".join(values))
        values |= dict.fromkeys(places, outcome)
    how = sure or given[0].sure
    put = {int(place): said for place, said in values.items()}
    return correcting.correct_answer(events, step, given[0].check, put, how, because)


# ---- reasoner cases anonymise ----------------------------------------------------------------------------------------
# A copy of a case that can be given away.


@click.command(epilog="Example: reasoner cases anonymise estate-hot-restart --to copies/estate.yaml")
@click.argument("case", type=CASE)
@cases_option
@click.option(
    "--to", type=click.Path(path_type=Path), required=True, metavar="FILE", help="The file to write; a new one."
)
@click.option(
    "--keep-words", is_flag=True, help="Keep complaint, reasons and confirmation, for you to read over first."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def cases_anonymise_command(case: str, cases_dir: str | None, to: Path, keep_words: bool, as_json: bool) -> None:
    """Write a copy of CASE that can be given away: what was seen, done and found, and nothing of who and when.

    The vehicle's name, notes, readings, values of parts and all free text go; times are moved to one fixed day, and
    distance is rounded. What was left out is counted, so that nothing goes or stays unseen.
    """
    with caseroom.refusing():
        path = store.find_case(caseroom.folder_in_use(cases_dir)[0], case)
        found = casefile.load_case(path)
        sound(found)
        name = store.safe_name(to.name)
        done = anonymous(found, name, keep_words)
        journal.create(to.with_name(name + store.SUFFIX), done.head, done.events).close()
    if as_json:
        say_json({"file": str(to.with_name(name + store.SUFFIX)), "left_out": dict(done.dropped)})
        return
    say(f"Written to {to.with_name(name + store.SUFFIX)}.")
    for what, count in done.dropped.items():
        say(f"  left out: {what}" + (f" ({count} times)" if count > 1 else ""))
    if keep_words:
        say("Its words were kept: read them before you give it away. Names in them are not known to the program.")
