"""All that a report of one case shows, as one document: the story, how each suspect's chance moved, what was decided,
the work and the proof. Nothing is worked out here that the commands do not say too.
"""

from __future__ import annotations

from dataclasses import dataclass

from reasoner.casebook.correcting import standing
from reasoner.casebook.shape import Case
from reasoner.history.car import vehicle_of
from reasoner.history.story import TOLD, Story, story
from reasoner.history.trace import trace
from reasoner.inference.belief import by_fault
from reasoner.repair.prices import Prices
from reasoner.session import concluding, deciding, proving, sheeting
from reasoner.session.afterdoc import DecisionDoc, ProofDoc, SheetDoc
from reasoner.session.chapters import Chapter, Garage
from reasoner.session.document import Verdict
from reasoner.session.repairing import finished_rounds, rounds

DRAWN = 5  # suspects in a picture: more lines cannot be followed
SMALL = 0.08  # a suspect that never got so far is not drawn


@dataclass(frozen=True)
class Course:
    """One suspect's chance after each thing told. title: of the fault, its places together."""

    title: str
    chances: tuple[float, ...]


@dataclass(frozen=True)
class Taken:
    """One reading as it was typed or logged. showing: whether the fault showed then, as far as is believed at the end
    of that part (a chance); None where the reading does not depend on it.
    """

    part: int
    step: int
    title: str
    quantity: str
    unit: str
    place: str
    value: float
    condition: str
    showing: float | None


@dataclass(frozen=True)
class Dossier:
    """courses: by part of the story, in step with its moments. verdict: as the case stood before any work, or stands
    now. work, decision, proof: None where there is none yet. readings: those with a number, in order."""

    story: Story
    courses: tuple[tuple[Course, ...], ...]
    verdict: Verdict
    decision: DecisionDoc | None
    work: tuple[SheetDoc, ...]
    proof: ProofDoc | None
    readings: tuple[Taken, ...]
    currency: str


def dossier(case: Case, garage: Garage, prices: Prices) -> Dossier:
    """Everything a report shows. Raises CasebookError where the vehicle cannot be read."""
    vehicle = vehicle_of(case)
    events = standing(case.events)
    chapters = garage.chapters(vehicle, case.events)
    work, last = rounds(garage.book, events), chapters[-1].workup
    before = chapters[max(0, len(chapters) - 2)].workup if len(chapters) > 1 else last
    done = finished_rounds(garage.book, vehicle, events)
    begun = [one for one in work if one.finished is None]
    sheets = [sheeting.document(workup, one) for workup, one in done] + [sheeting.document(last, one) for one in begun]
    return Dossier(
        story=story(case, garage),
        courses=tuple(_courses(chapter) for chapter in chapters),
        verdict=concluding.verdict(before, stopped=True),
        decision=None if work else deciding.document(deciding.decide(last, prices)),
        work=tuple(sheets),
        proof=proving.standing_now(last, events) if work and work[-1].finished is not None else None,
        readings=(),
        currency=prices.currency,
    )


def _courses(chapter: Chapter) -> tuple[Course, ...]:
    """The suspects that led or came near it, the likeliest at the end first."""
    moved = trace(chapter.workup)
    if not moved.beliefs:
        return ()
    tables, book = chapter.workup.tables, chapter.workup.book
    after, beliefs = dict(zip(moved.points, moved.beliefs, strict=True)), [moved.before]
    for number, event in enumerate(moved.events):
        if isinstance(event, TOLD):
            beliefs.append(after.get(number, beliefs[-1]))
    rows = [by_fault(tables, belief).tolist() for belief in beliefs]
    columns = list(zip(*rows, strict=True))
    far = sorted(range(len(tables.faults)), key=lambda f: (-columns[f][-1], -max(columns[f])))
    high = sorted(far, key=lambda f: -max(columns[f]))[:DRAWN]
    shown = [f for f in far if f in high and max(columns[f]) >= SMALL]
    return tuple(Course(book.faults[tables.faults[f]].title, columns[f]) for f in shown)
