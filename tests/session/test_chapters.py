"""Cases in chapters, what was found in them, how they are closed, and their story."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from reasoner.casebook.events import (
    Answered,
    Closed,
    CodeRead,
    CodesRead,
    Event,
    Finished,
    JobTaken,
    Noted,
    Undone,
    WorkTaken,
)
from reasoner.casebook.shape import load_sound
from reasoner.history.story import hindsight, story
from reasoner.inference.belief import believe, by_class
from reasoner.inference.evidence import Spell
from reasoner.inference.plan import Option, priced, settled
from reasoner.repair.rounds import parted
from reasoner.session import acts
from reasoner.session.acts import Refused
from reasoner.session.chapters import cause_name, close_case, closing, found_in, tried
from reasoner.session.effort import effort_spent
from tests.events import as_written, read
from tests.fleet import a_vehicle
from tests.shipped import ROOT, book, garage, some
from tests.test_cases import FOLLOWED_UP, UNSOLVED

SMELL = Answered(step=1, check="smell-of-fuel", values={0: "yes"})
WORK = WorkTaken(step=2, what="x", jobs=(JobTaken("replace-purge-valve", ("engine",)),))
DONE = Finished(step=3)


def end(step: int, state: str, fault: str = "", where: str = "") -> Closed:
    return Closed(step=step, state=state, fault=fault, where=where)


def found(*events: Event) -> list[tuple[str, str, tuple[int, ...]]]:
    return [(f.fault, f.state, f.chapters) for f in found_in(garage().chapters(a_vehicle(), events))]


def test_work_begins_a_chapter_and_what_was_taken_back_begins_none() -> None:
    assert [len(part) for part in parted([SMELL, WORK, DONE, SMELL])] == [2, 2]
    assert [len(part) for part in parted([SMELL, WORK, DONE, Undone(step=4, undone=3)])] == [2]


def test_what_was_cured_was_there_until_the_work() -> None:
    assert found(SMELL, WORK, DONE, SMELL, end(9, "proven", "purge-valve-leaks")) == [
        ("purge-valve-leaks", "proven", (0,))
    ]


def test_a_case_has_tried_what_it_found_answered_and_read_off() -> None:
    """Everything found counts, not only the last; a code counts where it was listed, not where it was absent."""
    assert tried(book(), [SMELL]) == frozenset()  # still open
    assert tried(book(), [SMELL, end(2, "given up")]) == frozenset()
    codes = CodesRead(step=4, codes=(CodeRead("P0301", ("stored",)),))
    first = end(2, "cured but unproven", "purge-valve-leaks")
    both = [SMELL, WORK, DONE, first, codes, replace(DONE, step=6), end(7, "proven", "ignition-misfire")]
    expected = {"smell-of-fuel", "purge-valve-leaks", "ignition-misfire", "code-misfire", "codes-read"}
    assert tried(book(), both) == expected
    taken_back = [SMELL, Undone(step=2, undone=1), end(3, "proven", "purge-valve-leaks")]
    assert tried(book(), taken_back) == {"purge-valve-leaks"}
    thought_better = [first, end(3, "proven", "canister-loaded")]
    assert tried(book(), thought_better) == {"canister-loaded"}


def test_what_was_not_cured_is_there_still() -> None:
    assert found(SMELL, WORK, DONE, end(9, "not cured", "canister-loaded")) == [
        ("canister-loaded", "not cured", (0, 1))
    ]


def test_the_last_closing_of_a_chapter_counts() -> None:
    first, second = end(5, "cured but unproven", "purge-valve-leaks"), end(6, "proven", "canister-loaded")
    assert found(SMELL, WORK, DONE, first, second) == [("canister-loaded", "proven", (0,))]
    assert found(SMELL, WORK, DONE, first, end(7, "given up")) == []


def test_without_work_it_speaks_of_the_only_chapter() -> None:
    assert found(SMELL, end(9, "cured", "purge-valve-leaks")) == [("purge-valve-leaks", "cured", (0,))]


def test_what_only_work_can_bring_in_was_not_there_before() -> None:
    work = replace(WORK, jobs=(JobTaken("replace-injector", ("cylinder 2",)),))
    again = replace(WORK, step=12, jobs=(JobTaken("renew-injector-seal", ("cylinder 2",)),))
    events = [
        SMELL,
        work,
        DONE,
        SMELL,
        again,
        replace(DONE, step=13),
        end(14, "proven", "injector-seal-scored", "cylinder 2"),
    ]
    (one,) = found_in(garage().chapters(a_vehicle(injection="direct"), events))
    assert one.chapters == (1,) and one.known


def test_a_fault_the_rules_do_not_have_is_kept_as_found() -> None:
    (one,) = found_in(garage().chapters(a_vehicle(), [SMELL, end(2, "proven", "cracked sender")]))
    assert not one.known and one.fault == "cracked sender"


def test_going_on_opens_a_case_again() -> None:
    closed = end(2, "proven", "purge-valve-leaks")
    assert closing([SMELL, closed]) == closed
    assert closing([SMELL, closed, Noted(step=3, text="paid")]) == closed
    assert closing([SMELL, closed, replace(SMELL, step=3)]) is None
    assert closing([SMELL, closed, Undone(step=3, undone=2)]) is None


@pytest.mark.parametrize(
    ("where", "name"),
    [
        ("engine", "f"),
        ("", "f"),
        ("cylinder 3", "f@cylinder-3"),
        ("bank 1", "f@bank-1"),
        ("cylinders 1 and 2", "f@cylinders-1-2"),
    ],
)
def test_names_of_causes(where: str, name: str) -> None:
    assert cause_name("f", where) == name


def test_every_cause_of_the_tables_is_named_so() -> None:
    for cause in garage().tables(a_vehicle(layout="V 6", injection="dual")).causes:
        assert cause_name(cause.fault, cause.where) == cause.name


# ---- closing ---------------------------------------------------------------------------------------------------------


def close(*arguments: Any, **more: Any) -> list[dict[str, Any]]:
    return as_written(
        close_case(garage(), a_vehicle(layout="inline 4", injection="direct"), [SMELL], *arguments, **more)
    )


def test_closed_with_all_that_is_known() -> None:
    (event,) = close("proven", "injector-leaks", "cylinder 2", "drop on the tip")
    assert event == {
        "event": "closed", "step": 2, "state": "proven", "fault": "injector-leaks", "where": "cylinder 2",
        "confirmed by": "drop on the tip",
    }  # fmt: skip
    assert close("given up")[0]["fault"] is None
    assert close("proven", "purge-valve-leaks")[0]["where"] == "engine"
    assert close("proven", "cracked sender", not_in_rules=True)[0]["fault"] == "cracked sender"


@pytest.mark.parametrize(
    ("arguments", "meant"),
    [
        (("Injector leaks when shut", "cylinder 2"), ("injector-leaks", "cylinder 2")),
        (("injector leaks when shut, cylinder 2",), ("injector-leaks", "cylinder 2")),
        (("Purge valve leaks or sticks open",), ("purge-valve-leaks", "engine")),
        (("upstream sensor wiring bad, reads RICH, bank 1",), ("upstream-sensor-wiring", "bank 1")),
    ],
)
def test_closed_with_the_name_that_the_screens_show(arguments: tuple[str, ...], meant: tuple[str, str]) -> None:
    (event,) = close("proven", *arguments)
    assert (event["fault"], event["where"]) == meant


@pytest.mark.parametrize(
    ("typed", "first"),
    [
        ("upstream sensor wiring reads rich", "Upstream sensor wiring bad, reads rich"),
        ("upstream sensor wiring reads lean", "Upstream sensor wiring bad, reads lean"),
        ("sensor wiring, rich", "Upstream sensor wiring bad, reads rich"),
        ("wrong-sensor", "Wrong or poor sensor fitted"),
    ],
)
def test_the_opposite_of_a_fault_is_never_the_first_that_may_be_meant(typed: str, first: str) -> None:
    with pytest.raises(Refused) as refused:
        close("proven", typed, "bank 1")
    assert refused.value.mend.startswith(f'did you mean "{first}"')


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("cured",), "no way to end"),
        (("proven",), "which fault was it?"),
        (("given up", "", "cylinder 1"), "without a fault"),
        (("proven", "injector-leak"), "did you mean"),
        (("proven", "injector-leaks"), "where?"),
        (("proven", "injector-leaks", "cylinder 9"), "cannot sit at cylinder 9"),
        (("proven", "purge-valve-leaks", "bank 1"), "cannot sit at bank 1"),
        (("proven", "port-injector-leaks", "cylinder 1"), "cannot have port-injector-leaks"),
        (("proven", "injector-seal-scored", "cylinder 1"), "not without work"),
    ],
)
def test_what_cannot_be_is_refused(arguments: tuple[str, ...], said: str) -> None:
    with pytest.raises(Refused) as refused:
        close(*arguments)
    assert said in f"{refused.value.message} {refused.value.mend}"


# ---- effort ----------------------------------------------------------------------------------------------------------


def test_effort_is_the_rules_minutes_and_the_way_between_conditions() -> None:
    workup = garage().begin(a_vehicle(layout="inline 4", injection="direct"))
    workup = workup.after(acts.change_condition(workup, "engine-off"))
    workup = workup.after(acts.answer(workup, "purge-valve-holds-vacuum", {0: "holds"}))
    first = effort_spent(workup)
    checks, tables = book().checks, workup.tables
    assert first.minutes == checks["purge-valve-holds-vacuum"].minutes  # it came in so
    workup = workup.after(acts.change_condition(workup, "hot-restart"))
    workup = workup.after(acts.answer(workup, "hot-restart-watched", {1: "normal"}))
    here, there = (tables.condition_number[n] for n in ("engine-off", "hot-restart"))
    way = tables.reach[here, there]
    assert effort_spent(workup).minutes == first.minutes + way[0] + checks["hot-restart-watched"].minutes
    assert effort_spent(workup).wait == way[1] + checks["hot-restart-watched"].wait
    last = workup.record.given[-1].number
    assert effort_spent(workup, upto=last - 1) == first
    assert effort_spent(workup, only={last}).minutes == checks["hot-restart-watched"].minutes + float(way[0])
    assert effort_spent(workup, only=()).minutes == 0


def test_the_condition_a_car_came_in_was_not_waited_for() -> None:
    """Said to be warming up, after its codes were read, a car has not stood a night for it; one that is to be looked at
    warming up, of which nothing was said, has to."""
    start = garage().begin(a_vehicle(layout="inline 4", injection="port"))
    look = start.book.checks["warm-up-curve"]
    start = start.after(acts.list_codes(start, [("P0128", ["pending"])]))
    came = start.after(acts.change_condition(start, "warm-up"))
    came = came.after(acts.answer(came, look.name, {0: "slow"}))
    assert effort_spent(came).wait == look.wait
    number, condition = start.tables.check_number[look.name], start.tables.condition_number["warm-up"]
    option = priced(start.tables, start.situation, start.costs, Option(number, condition, True))
    brought = start.after(acts.answer(start, look.name, {0: "slow"}, option=option))
    assert effort_spent(brought).wait == option.wait > look.wait


# ---- stories ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", some(2, 9), ids=lambda p: p.stem)
def test_a_story_has_everything_that_was_answered(path: Path) -> None:
    case = load_sound(path)
    told = story(case, garage())
    answers = [e.step for e in case.events if e.kind in ("answer", "codes", "pass")]
    assert [m.step for part in told.parts for m in part.moments] == answers
    assert told.complaint and told.codes
    done = {job.repair for e in case.events if e.kind == "work" for job in e.jobs}
    assert sum(part.work_effort.minutes for part in told.parts) > 0 or done <= {"prove-it"}
    for part in told.parts:
        for moment in part.moments:
            assert 0 < moment.chance <= 1 and (moment.of_found is None or 0 <= moment.of_found <= 1)


def test_in_hindsight_nothing_of_what_is_named_can_be_spared() -> None:
    case = load_sound(ROOT / "cases" / "six-bank-two.yaml")
    chapters = garage().chapters(a_vehicle(**case.vehicle), case.events)
    chapter = chapters[0]
    (one,) = found_in(chapters)
    workup = chapter.workup
    seen = hindsight(workup, one)
    assert seen is not None and 0 < len(seen.answers) < seen.of and seen.effort.minutes < seen.of_effort.minutes
    right = workup.tables.class_of[workup.tables.cause_number[one.cause]]

    def enough(kept: set[int]) -> bool:
        spells = [
            Spell(s.condition, tuple(a for a in s.answers if a.number < 0 or a.number in kept)) for s in workup.spells
        ]
        p = believe(workup.tables, spells).probability
        return settled(workup.tables, p, workup.costs) and by_class(workup.tables, p).argmax() == right

    free = {g.number for g in workup.record.given if not book().checks[g.check].minutes}
    texts = list(seen.answers)
    dear = [g for g in workup.record.given if g.number not in free]
    from reasoner.session.words import given_text

    kept = {g.number for g in dear if given_text(workup, g) in texts}
    assert enough(free | kept)
    if len(kept) == len(texts):
        assert not any(enough(free | kept - {number}) for number in kept)


def test_no_hindsight_where_it_was_never_settled() -> None:
    assert story(load_sound(UNSOLVED), garage()).hindsight is None


def test_a_story_of_two_chapters_says_what_was_done_between() -> None:
    told = story(load_sound(FOLLOWED_UP), garage())
    assert [len(part.work) for part in told.parts] == [0, 1, 1]
    assert told.parts[1].gone_on and not told.parts[2].gone_on
    assert told.parts[1].looked == (("hot restart", 3, 3),)
    assert len(told.found) == 2 and told.money > 0


def test_corrections_and_foreign_events_are_told_and_harm_nothing() -> None:
    case = load_sound(ROOT / "cases" / "delivery-van-split-hose.yaml")
    step = next(e.step for e in case.events if isinstance(e, Answered) and e.check == "smell-of-fuel")
    more = read(
        {"event": "something new", "step": 200, "x": [1]},
        {
            "event": "correct", "step": 201, "corrected": step, "check": "smell-of-fuel", "values": {"0": "yes"},
            "sure": "sure", "because": "asked again",
        },
        {"event": "correct", "step": 202, "vehicle": {"distance": "99000 km"}, "because": "misread"},
        {"event": "answer", "step": 203, "check": "gone", "values": {"0": "x"}, "sure": "sure"},
    )  # fmt: skip
    told = story(replace(case, events=(*case.events, *more)), garage())
    assert len(told.corrected) == 2 and "asked again" in told.corrected[0] and "99000 km" in told.corrected[1]
    assert told.unread == ("gone",)
