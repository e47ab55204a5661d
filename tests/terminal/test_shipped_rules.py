"""Every check of the shipped rules on a screen of 80x24: it fits, and its cautions are whole on the first page."""

from __future__ import annotations

from pathlib import Path

import pytest

from reasoner.casebook.events import ConditionMet, Finished, JobTaken, ToolsSaid, WorkTaken
from reasoner.network.vehicle import vehicle_from
from reasoner.session.after_work import workup_now
from reasoner.session.asking import question
from reasoner.session.concluding import belief
from reasoner.terminal.step import Surroundings, step_pages
from tests.fleet import a_vehicle
from tests.shipped import book, garage
from tests.terminal.consoles import console_with, sit

RULES = Path(__file__).parents[2] / "rules"


@pytest.mark.parametrize(
    "fields",
    [
        {"layout": "inline 4", "injection": "direct", "charging": "charged"},
        {"layout": "V 8", "injection": "port", "return line": "yes"},
    ],
    ids=["four", "eight"],
)
def test_cautions_are_read_before_the_steps(fields: dict[str, str]) -> None:
    vehicle, _ = vehicle_from(fields)
    assert vehicle is not None
    all_tools = [
        ConditionMet(step=1, condition=next(iter(book().conditions))),
        ToolsSaid(step=2, at_hand=tuple(book().tools)),
    ]
    workup = garage().begin(vehicle, all_tools)
    believed = belief(workup, ranges=False)
    around = Surroundings(said=("Kept: something",), car="warm idle")
    assert len(workup.ranked) > 40
    for option in workup.ranked:
        asked = question(workup, option)
        pages = step_pages(asked, believed, around, console_with([]))
        assert all(len(page.lines) <= 23 and max(map(len, page.lines)) <= 80 for page in pages), asked.way.title
        text = [" ".join(" ".join(page.lines).split()) for page in pages]
        for caution in asked.cautions:
            assert " ".join(caution.split()) in text[0].replace(" ! ", " "), asked.way.title
        whole = " ".join(text)
        if asked.cautions and " HOW " in whole:
            assert whole.index("TAKE CARE FIRST") < whole.index(" HOW ")
        assert not asked.how or " HOW " in whole or "how: how it is done" in text[-1]


def test_a_check_is_found_by_its_own_title_though_it_begins_like_the_codes_themselves() -> None:
    title = book().checks["codes-read"].title
    assert title.split()[0] == "Codes"  # which alone asks for the whole list of codes
    for typed in (title, "codes read"):
        kept, screen, _ = sit(f"t {typed}", "1", "2", "s", workup=garage().begin(a_vehicle(), []))
        assert [given.check for given in kept.workup.record.given] == ["codes-read"], screen


def test_what_is_counted_since_the_work_is_told_without_a_state() -> None:
    """And told again it takes the place of the first, whatever the car does meanwhile."""
    job = JobTaken("replace-purge-valve", ("engine",))
    done = [WorkTaken(step=1, what="alone", jobs=(job,)), Finished(step=2), ConditionMet(step=3, condition="cruise")]
    workup = workup_now(book(), a_vehicle(), done)
    told = ("t misfire counts since", "1")
    kept, screen, _ = sit(*told, "a", "", *told, "1", "3=2", "", "s", workup=workup)
    assert "WHEN WAS IT SEEN" not in screen
    (given,) = (g for g in kept.workup.record.given if g.check == "misfire-since-work")
    assert kept.workup.record.spells[given.spell] is None
    assert max(given.values[3], key=given.values[3].__getitem__) == "misfires"


def test_the_number_that_is_wanted_is_named() -> None:
    """Of manifold pressure at full throttle the difference, not the pressure."""
    workup = garage().begin(a_vehicle(metering="pressure", charging="natural"), [])
    _, screen, _ = sit("t manifold pressure at full throttle", "1", "", "", "s", workup=workup)
    assert "The number in kPa (manifold pressure less barometric pressure), or: near, below, above" in " ".join(
        screen.split()
    )
