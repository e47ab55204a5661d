"""A script of answers played through the real session: every step in one or two lines, then the verdict."""

from __future__ import annotations

from collections.abc import Callable
from typing import TextIO

from reasoner.cli.keeper import Keeper
from reasoner.session import acts
from reasoner.session.asking import now_due
from reasoner.session.concluding import belief, verdict
from reasoner.session.script import Script, intake_events, reply
from reasoner.session.words import given_text, named, percent

MOST_STEPS = 80


def run(kept: Keeper, script: Script, out: TextIO, take_logs: Callable[[Keeper], None]) -> None:
    """Intake from the script (where the case is new), then each proposed check answered from it, to the verdict.

    take_logs: takes scan logs in, between the two.
    """
    from reasoner.report.text import write

    if not kept.workup.record.steps:
        for event in script.intake:
            kept.keep(intake_events(kept.workup, event))
    print(f"Case {kept.journal.path.stem}: {kept.workup.vehicle.title}. Answered from a script.", file=out)
    take_logs(kept)
    for _ in range(MOST_STEPS):
        workup = kept.workup
        option = workup.look
        if option is None:
            break
        before = len(workup.record.given)
        workup = kept.keep(reply(workup, script, option))
        lead = belief(workup, ranges=False).leading[0]
        leads = f"{named(workup, lead.fault, lead.where)} {percent(lead.probability)}"
        given = workup.record.given[before:]
        check = workup.tables.checks[now_due(workup, option).check]
        said = given_text(workup, given[0]) if given else f"{workup.book.checks[check.name].title}: can't tell"
        print(f"{workup.record.steps:3}  {said}\n     -> {leads}", file=out)
    document = verdict(kept.workup)
    kept.keep(acts.conclude(kept.workup, document))
    write(document, out)
