"""All that a report of one case shows, as one document: the story, how each suspect's chance moved, what was decided,
the work and the proof. Nothing is worked out here that the commands do not say too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from reasoner.casebook.correcting import standing
from reasoner.casebook.events import Answered
from reasoner.casebook.shape import Case
from reasoner.history.story import TOLD_EVENTS, Story, story
from reasoner.history.trace import trace, vehicle_of
from reasoner.inference.belief import believe, by_fault
from reasoner.repair.prices import Prices
from reasoner.repair.proof import ProofDoc
from reasoner.repair.rounds import rounds_of
from reasoner.repair.sheet import SheetDoc, sheet_document
from reasoner.session import after_work, concluding, deciding
from reasoner.session.after_work import finished_rounds
from reasoner.session.chapters import Chapter, Garage
from reasoner.session.document import DecisionDoc, Verdict
from reasoner.session.words import places_of
from reasoner.session.workup import Workup

DRAWN = 5  # suspects in a picture: more lines cannot be followed
PLAIN_FIGURE = 3  # parts of a plain figure: value, standard error, unit
NOT_DRAWN = 0.08  # a suspect that never got so far is not drawn


@dataclass(frozen=True)
class SuspectCourse:
    """One suspect's chance after each thing told. title: of the fault, its places together."""

    title: str
    chances: tuple[float, ...]


@dataclass(frozen=True)
class DatedReading:
    """One reading as it was typed or logged. showing: the chance that the fault showed then, as it is believed at the
    end of that part.
    """

    quantity: str
    unit: str
    place: str
    value: float
    condition: str
    showing: float


@dataclass(frozen=True)
class Dossier:
    """courses: by part of the story, in step with its moments. verdict: as the case stood before any work, or stands
    now. work, decision, proof: None where there is none yet. readings: those with a number, in order."""

    story: Story
    courses: tuple[tuple[SuspectCourse, ...], ...]
    verdict: Verdict
    decision: DecisionDoc | None
    work: tuple[SheetDoc, ...]
    proof: ProofDoc | None
    readings: tuple[DatedReading, ...]
    currency: str


def dossier(case: Case, garage: Garage, prices: Prices) -> Dossier:
    """Everything a report shows. Raises CasebookError where the vehicle cannot be read."""
    vehicle = vehicle_of(case)
    events = standing(case.events)
    chapters = garage.chapters(vehicle, case.events)
    work, last = rounds_of(garage.book, events), chapters[-1].workup
    before = chapters[max(0, len(chapters) - 2)].workup if len(chapters) > 1 else last
    done = finished_rounds(garage.book, vehicle, events)
    begun = [one for one in work if one.finished is None]
    sheets = [sheet_document(workup, one) for workup, one in done] + [sheet_document(last, one) for one in begun]
    return Dossier(
        story=story(case, garage, prices),
        courses=tuple(_courses(chapter) for chapter in chapters),
        verdict=concluding.verdict(before, stopped=True),
        decision=None if work else deciding.decision_document(deciding.decide(last, prices)),
        work=tuple(sheets),
        proof=after_work.standing_now(last, events) if work and work[-1].finished is not None else None,
        readings=tuple(reading for chapter in chapters for reading in _readings(chapter)),
        currency=prices.currency,
    )


def _courses(chapter: Chapter) -> tuple[SuspectCourse, ...]:
    """The suspects that led or came near it, the likeliest at the end first."""
    moved = trace(chapter.workup)
    if not moved.beliefs:
        return ()
    tables, book = moved.tables, chapter.workup.book
    after, beliefs = dict(zip(moved.points, moved.beliefs, strict=True)), [moved.before]
    for number, event in enumerate(moved.events):
        if isinstance(event, TOLD_EVENTS):
            beliefs.append(after.get(number, beliefs[-1]))
    rows = [by_fault(tables, belief).tolist() for belief in beliefs]
    columns = list(zip(*rows, strict=True))
    far = sorted(range(len(tables.faults)), key=lambda f: (-columns[f][-1], -max(columns[f])))
    high = sorted(far, key=lambda f: -max(columns[f]))[:DRAWN]
    shown = [f for f in far if f in high and max(columns[f]) >= NOT_DRAWN]
    return tuple(SuspectCourse(book.faults[tables.faults[f]].title, columns[f]) for f in shown)


def _readings(chapter: Chapter) -> Iterator[DatedReading]:
    """Readings with a number, in the order they were taken."""
    workup = chapter.workup
    book, record = workup.book, workup.record
    given = {one.number: one for one in record.given}
    showing: dict[int, float] = {}
    for number, event in enumerate(standing(workup.events)):
        if not isinstance(event, Answered) or number not in given:
            continue
        check, spell = book.checks[event.check], given[number].spell
        condition = record.spells[spell]
        title = book.conditions[condition].title if condition and condition in book.conditions else "not known"
        places = places_of(workup.vehicle, check)
        for place, figures in event.figures.items():
            for name, figure in figures.items():
                if isinstance(figure, Mapping) or len(figure) != PLAIN_FIGURE or not isinstance(figure[0], float | int):
                    continue
                if spell not in showing:
                    showing[spell] = _showing(workup, number)
                where = places.get(int(place), "") if len(places) > 1 else ""
                yield DatedReading(name, str(figure[2]), where, float(figure[0]), title, showing[spell])


def _showing(workup: Workup, number: int) -> float:
    """The chance that the fault was showing when an answer was given, after all answers: its spell is put last, as the
    order of spells never matters."""
    own = next((s for s in workup.spells if any(a.number == number for a in s.answers)), None)
    if own is None:
        return float(workup.belief.showing @ workup.belief.probability)
    found = believe(workup.tables, [*(s for s in workup.spells if s is not own), own])
    return float(found.showing @ found.probability)
