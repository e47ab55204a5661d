"""Every check of the shipped rules on a screen of 80x24: it fits, and its cautions are whole on the first page."""

from __future__ import annotations

from pathlib import Path

import pytest

from reasoner.casebook.events import ConditionMet, ToolsSaid
from reasoner.network.vehicle import vehicle_from
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
