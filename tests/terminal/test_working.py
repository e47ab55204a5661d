"""Answers worked out at the screen from readings, and raw replies pasted at intake: sittings over the shipped rules."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from reasoner.casebook.events import ConditionMet, PassedOver
from reasoner.network.vehicle import vehicle_from
from reasoner.session.workup import Workup
from reasoner.terminal.console import Leave
from reasoner.terminal.intake import intake
from tests.events import as_written
from tests.shipped import garage
from tests.terminal.consoles import Kept, console_with, shown, sit

ROOT = Path(__file__).parent.parent.parent
SWEEP = ("t sweep", "1")
LEAK = ("3.1 g/s 750 rpm", "-18 + -6", "12.2 2500", "-6 %", "", "45 g/s 3000 rpm", "-2", "")


def case(condition: str | None = "warm-idle", **fields: str) -> Workup:
    vehicle, mistakes = vehicle_from({"layout": "inline 4", **fields})
    assert vehicle is not None, mistakes
    start = [ConditionMet(step=1, condition=condition)] if condition else []
    return garage().begin(vehicle, start)


def asking(name: str, condition: str = "warm-idle", **fields: str) -> Workup:
    """A case whose next question is this check: everything else is passed over."""
    start = case(condition, **fields)
    passes = [PassedOver(step=2, check=n, why="not-now") for n in start.tables.check_number if n != name]
    return start.after(passes)


def flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def answers(kept: Kept) -> list[dict[str, Any]]:
    return [e for e in as_written(kept.events) if e["event"] == "answer"]


# ---- worked out ------------------------------------------------------------------------------------------------------


def test_a_proposed_check_is_worked_out() -> None:
    console = console_with(["m", *LEAK, ""], height=70)
    kept, text, _ = sit(workup=asking("trims-by-airflow", metering="airflow"), console=console)
    assert "m work it out from readings" in flat(text)
    event = answers(kept)[0]
    assert event["inputs"]["idle trim"] == "-18 + -6" and event["asked"] is True
    assert max(event["values"]["1"], key=event["values"]["1"].get) == "fades"
    for part in ("FIGURES", "IT MEANS", "HOW", "HOW SURE", "AS AN ANSWER", "leak 4.2 +- 2.6 mL/min"):
        assert part in flat(text)
    assert "Kept: Trims over airflow: bank 1 rich at idle" in flat(text)


def test_something_told_is_worked_out_in_the_condition_it_was_seen_in() -> None:
    kept, _, _ = sit(*SWEEP, "3", "m", *LEAK, "", workup=case(metering="airflow"))
    assert answers(kept)[0]["condition"] == "hot-restart"


def test_a_wrong_unit_is_said_and_asked_again() -> None:
    kept, text, _ = sit("m", "3.1 kg/s", "3.1 bar", *LEAK, "", workup=asking("trims-by-airflow", metering="airflow"))
    assert 'idle air: "3.1 kg/s" is not taken. Wanted: a number in g/s' in flat(text)
    assert text.count("Airflow and engine speed at idle") == 3
    assert len(answers(kept)) == 1


def test_back_change_and_leave() -> None:
    start = asking("trims-by-airflow", metering="airflow")
    kept, text, _ = sit("m", "3.1 750", "b", "3.2 g/s 750 rpm", *LEAK[1:], "c", *[""] * 8, "", workup=start)
    assert answers(kept)[0]["inputs"]["idle air"] == "3.2 g/s 750 rpm"
    assert "[3.1 750]" in text and "[3.2 g/s 750 rpm]" in text  # what was typed is the default
    kept, text, _ = sit("m", "3.1 750", "q", workup=start)
    assert not answers(kept)
    kept, text, _ = sit("m", *LEAK, "n", workup=start)
    assert not answers(kept) and "Not kept." in text


def test_too_little_is_said_and_nothing_kept() -> None:
    kept, text, _ = sit(
        "m", "3.1 750", "-24", "", "", "", "", "q", workup=asking("trims-by-airflow", metering="airflow")
    )
    assert "One point does not show how the trim changes" in flat(text)
    assert not answers(kept)


def test_figures_of_a_lean_engine_have_an_answer_too() -> None:
    lean = ("3.1 750", "24", "12.2 2500", "22", "", "45 3000", "21", "")
    kept, text, _ = sit("m", *lean, "n", workup=asking("trims-by-airflow", metering="airflow"))
    assert "lean" in flat(text) and "Not kept" in text
    assert not answers(kept)


def test_what_a_car_without_air_meter_is_asked() -> None:
    lines = ("32 kPa 700 rpm 40 C", "-24", "32 kPa 2500 rpm 40 C", "-6", "", "", "2.0 L", "", "", "")
    kept, text, _ = sit("m", *lines, workup=asking("trims-by-airflow", metering="pressure"))
    assert "Displacement of the engine in L" in text
    assert answers(kept)[0]["inputs"]["litres"] == "2.0 L"
    _, text, _ = sit("m", *LEAK, "", workup=asking("trims-by-airflow", metering="airflow"))
    assert "Displacement" not in text


def test_warnings_are_shown_before_it_is_kept() -> None:
    lines = ("5 700", "-25/24", "20 2500", "-24/25", "", "", "")
    _, text, _ = sit("m", *lines, workup=asking("trims-by-airflow", layout="V 6", metering="airflow"))
    assert "LOOK AGAIN" in text and "steer the wrong bank" in flat(text)


def test_by_cylinder() -> None:
    kept, text, _ = sit("m", "1=4 2=0 3=62 4=3", "", workup=asking("misfire-counts"))
    assert answers(kept)[0]["values"]["3"]["raised"] == 1.0 > answers(kept)[0]["values"]["1"]["raised"]
    assert "Kept: Misfire counts of the last ten drives: cylinder 3 clearly more than the others" in flat(text)


def test_a_check_without_a_computation_does_not_offer_it() -> None:
    _, text, _ = sit("", "m", workup=asking("purge-pinched"))
    assert "m work it out" not in flat(text) and '"m" is not on the list' in flat(text)


# ---- pasted ----------------------------------------------------------------------------------------------------------

REPLIES = ("03", "43 02 01 72 13 45", "07", "7E8 02 47 00", "0A", "7F 0A 11")
FRAME = "42 02 00 01 72 04 00 3D 05 00 83 0C 00 0B B8 0D 00 00"
LIVE = "41 06 7A 07 66 0B 24 0C 0B B8 10 01 36"


def take_in(*lines: str, **fields: str) -> tuple[Kept, str]:
    """Type these lines at intake, the complaint skipped; then input may end."""
    console = console_with(["", *lines])
    kept = Kept(case(None, **fields))
    with suppress(Leave):
        intake(kept.workup, kept, console)
    return kept, shown(console)


def test_pasted_codes_are_the_list_of_codes() -> None:
    kept, text = take_in(*REPLIES, "", "", "", "")
    assert kept.workup.record.codes == (("P0172", ("stored",)), ("P1345", ("stored",)))
    assert kept.workup.record.codes_complete  # stored, pending and permanent were all asked for
    assert "P0172 System Too Rich (Bank 1)" in text and "P1345 is maker-defined" in flat(text)


def test_without_all_three_services_it_is_asked_whether_that_is_all() -> None:
    kept, text = take_in("43 01 01 72", "", "n", "", "")
    assert "Is that all it shows (P0172)?" in flat(text)
    assert not kept.workup.record.codes_complete
    kept, text = take_in("43 00", "", "", "")
    assert not kept.events and "No codes in what was pasted" in text
    kept, _ = take_in("43 00", "47 00", "4A 00", "", "", "", "")
    assert kept.workup.record.codes_complete and not kept.workup.record.codes


def test_a_freeze_frame_answers_where_it_was_frozen() -> None:
    kept, text = take_in(*REPLIES, FRAME, "", "", "", "", "")
    event = answers(kept)[0]
    assert event["check"] == "freeze-frame" and event["inputs"]["coolant"] == "91 °C"
    assert max(event["values"]["0"], key=event["values"]["0"].get) == "idle"
    assert "FREEZE FRAME OF P0172" in text
    kept, _ = take_in(*REPLIES, FRAME, "", "n", "", "", "")
    assert not answers(kept)


def test_live_values_are_offered_in_the_condition_they_were_read_in() -> None:
    """Short -4.69 and long -20.31 %: PIDs 06 and 07 are (A - 128) * 100 / 128 (SAE J1979)."""
    _, asked = take_in(*REPLIES, LIVE, *[""] * 9, metering="both")
    number = asked.split("WHEN THEY WERE READ?")[1].split("warm idle")[0].split()[-1]
    kept, text = take_in(*REPLIES, LIVE, "", "", number, *[""] * 6, metering="both")
    given = {e["check"]: e for e in answers(kept)}
    assert given["trim-idle"]["inputs"] == {"short": "1=-4.6875 %", "long": "1=-20.312 %"}
    assert given["trim-idle"]["values"]["1"]["rich"] == 1.0
    assert given["manifold-pressure-idle"]["values"]["0"]["normal"] == 1.0
    assert kept.workup.record.condition == "warm-idle"
    assert "short-term trim, bank 1 -4.688 %" in flat(text)


def test_a_torn_reply_is_said_and_the_rest_kept() -> None:
    kept, text = take_in("43 01 01 72", "43 02 01", "4Z 00", "", "", "", "")
    assert kept.workup.record.codes == (("P0172", ("stored",)),)
    assert text.count("is not taken. Wanted:") == 2


def test_replies_are_taken_later_too() -> None:
    kept, _, _ = sit("t 47 01 01 72", "", "n", workup=case())
    assert kept.workup.record.codes == (("P0172", ("pending",)),)


@pytest.mark.parametrize("line", ["P0172 pending", "172", "none"])
def test_codes_as_typed_are_still_codes(line: str) -> None:
    _, text = take_in(line, "", "", "", "")
    assert "Next reply" not in text


def test_the_airflow_that_the_tool_shows_is_divided_by_the_displacement() -> None:
    """3.7 g/s is much for one litre and right for 2.5 (1.5 g/s a litre): what is typed is what the tool shows."""
    for litres, outcome in (("2.5", "normal"), ("1.0", "high")):
        start = case(metering="airflow", displacement=f"{litres} L")
        kept, _, _ = sit("t airflow at idle", "2", "", "3.7", "q", workup=start)
        (told,) = answers(kept)
        weights = told["values"]["0"]
        assert max(weights, key=lambda name: weights[name]) == outcome
        assert told["inputs"]["airflow"] == "3.7 g/s"


def test_a_number_for_which_the_displacement_lacks_says_so() -> None:
    kept, text, _ = sit("t airflow at idle", "2", "", "3.7", "", "q", workup=case(metering="airflow"))
    assert "is not known yet" in flat(text) and not answers(kept)
