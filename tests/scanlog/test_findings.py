"""What else a log says, and the answers made of it."""

from __future__ import annotations

import dataclasses
import json

import pytest

from reasoner.cli.measure_log import plain_log
from reasoner.inference.statistics import wilson
from reasoner.measure.uncertain import Estimate, soften
from reasoner.scanlog.analysis import Engine, analyse
from reasoner.scanlog.conditions import RULE_NAMES
from reasoner.scanlog.document import LogDocument, Proposed
from reasoner.scanlog.findings import Behind, Others
from reasoner.scanlog.words import other_says
from tests.scanlog.drives import Fault, Setting, csv, drive
from tests.scanlog.look import seen
from tests.shipped import book

WHEN = ((900.0, 1400.0), (1700.0, 2000.0))
LEAK = Setting(minutes=(36.0,), fault=Fault(leak=0.045, when=WHEN))


def answers(document: LogDocument, quantity: str) -> list[Proposed]:
    return [a for a in document.answers if a.quantity == quantity]


def test_every_answer_names_a_spell_its_condition_and_how_sure() -> None:
    document = seen(100, LEAK)
    spells = {s.number: s for s in document.spells}
    assert document.answers
    for a in document.answers:
        spell = spells[a.spell]
        assert (a.phase, a.condition) == (spell.phase, spell.condition)
        assert a.at in ("engine", "bank", "cylinder")
        if a.value is None:
            assert max(w for _, w in a.weights) == 1.0
        else:
            assert a.error is not None
            assert a.error > 0
    keys = [(a.quantity, a.at, a.place, a.spell) for a in document.answers]
    assert len(set(keys)) == len(keys), "one answer for a quantity, a place and a spell"


def test_a_run_a_condition_and_a_state_are_one_spell() -> None:
    """However many idles there were: what one showed tells nearly all about the next."""
    document = seen(100, LEAK)
    keys = [(s.run, s.phase, s.state) for s in document.spells]
    assert len(set(keys)) == len(keys)
    idle = [s for s in document.spells if s.condition == "warm-idle"]
    assert {s.state for s in idle} >= {"showing", "quiet"}
    assert max(s.stretches for s in idle) > 1


def test_trims_showing_and_quiet_in_the_same_condition() -> None:
    document = seen(100, LEAK)
    states = {s.number: s.state for s in document.spells}
    idle = {states[a.spell]: a for a in answers(document, "total fuel trim") if a.condition == "warm-idle"}
    showing, quiet = idle["showing"].value, idle["quiet"].value
    assert showing is not None
    assert quiet is not None
    assert showing < -15
    assert abs(quiet) < 6


def test_near_the_limit_a_reading_says_little_and_clear_of_it_much() -> None:
    """The answer for `total fuel trim` at warm idle, softened as the shipped rules' check does, for a growing leak."""
    measure = next(
        c.measure
        for c in book().checks.values()
        if c.measure is not None and c.measure.quantity == "total fuel trim" and "warm-idle" in c.conditions
    )
    weights = []
    for leak in (0.0, 0.022, 0.05):
        document = seen(101, Setting(minutes=(22.0,), start=85.0, bent=0.0, fault=Fault(leak=leak)))
        a = next(a for a in answers(document, "total fuel trim") if a.condition == "warm-idle")
        assert a.value is not None
        assert a.error is not None
        wider = dataclasses.replace(measure, spread=(measure.spread**2 + a.error**2) ** 0.5)
        softened = soften(wider, a.value)
        outcomes = list(softened)
        weights.append((a.value, softened[outcomes[0]] / softened[outcomes[1]]))
    (none, healthy), (some, near), (much, clear) = weights
    assert none > -6
    assert -14 < some < -6
    assert much < -18
    assert max(near, 1 / near) < 10
    assert max(healthy, 1 / healthy) > 30
    assert max(clear, 1 / clear) > 30
    assert (healthy > 1) != (clear > 1)


def test_the_shape_near_the_limit_is_left_open() -> None:
    def normal(leak: float) -> float:
        document = seen(101, Setting(minutes=(22.0,), start=85.0, bent=0.0, fault=Fault(leak=leak)))
        return dict(answers(document, "trim against airflow")[0].weights)["within 10 % everywhere"]

    assert normal(0.0) == 1.0
    assert 0.02 < normal(0.024) <= 1.0  # what the trims say, without that a sound engine is the commonest beforehand
    assert normal(0.05) < 0.05


def test_purge_that_makes_it_rich_and_purge_that_does_not() -> None:
    loaded = seen(300, Setting(minutes=(30.0,), start=85.0, canister=55.0))
    empty = seen(300, Setting(minutes=(30.0,), start=85.0, canister=0.5))
    assert loaded.purge[0].difference.value < -5
    assert abs(empty.purge[0].difference.value) < 4
    assert empty.purge[0].moves >= 3
    assert 0.3 < empty.purge[0].open_share < 0.9


def test_seconds_rich_after_a_hot_restart() -> None:
    setting = Setting(minutes=(22.0, 14.0), soaks=(20.0,), fault=Fault(leak=0.05, when=((2520.0, 2900.0),)))
    rich = answers(seen(100, setting), "seconds rich after the start")
    assert [a.condition for a in rich] == ["hot-restart"]
    assert rich[0].value is not None
    assert rich[0].value > 60


def test_warming_up_and_sensors_that_agree_cold() -> None:
    document = seen(100, LEAK)
    warm = document.warming[0]
    assert warm.minutes is not None
    assert 4 < warm.minutes < 15
    assert warm.soak_gap == pytest.approx(-1, abs=2)
    assert document.regulated == pytest.approx(90, abs=3)


def test_air_swallowed_and_airflow_for_each_litre() -> None:
    """The made-up engine has two litres: 1 to 2 g/s for each litre at idle is common practice."""
    document = seen(100, LEAK)
    per_litre = answers(document, "airflow a litre")[0].value
    assert per_litre is not None
    assert 1.0 < per_litre < 2.2
    assert all(0.4 < f.efficiency.value < 1.3 for f in document.filling if f.efficiency is not None)


def rows(columns: str, row: str, n: int = 1300) -> bytes:
    lines = [f"time (s),rpm,vehicle speed (km/h),coolant temperature (°C),MAF (g/s),SHRTFT1,{columns}"]
    lines += [f"{i},{760 + i % 5},0,90,{3 + 0.01 * (i % 7):.2f},{(i % 5) - 2}," + eval_row(row, i) for i in range(n)]
    return ("\n".join(lines) + "\n").encode()


def eval_row(row: str, i: int) -> str:
    return row.replace("{rich}", str(-18 - i % 3)).replace("{lean}", str(16 + i % 3)).replace("{slow}", str(i // 100))


def test_lambda_rail_pressure_and_misfires() -> None:
    content = rows(
        "lambda bank 1,commanded equivalence ratio,rail pressure (kPa),commanded rail pressure (kPa),"
        "misfires cylinder 3",
        "0.96,1.0,4500,5000,{slow}",
    )
    document = analyse(content, "log", None, Engine(), RULE_NAMES)
    assert isinstance(document, LogDocument)
    assert document.lambdas[0].difference.value == pytest.approx(-0.04)
    assert document.rail is not None
    assert document.rail.mean is not None
    assert document.rail.mean.value == pytest.approx(-10)
    assert document.rail.idle == pytest.approx(4.5)
    assert document.misfires[0].count == 12
    assert document.misfires[0].cylinder == 3
    said = " ".join(document.says)
    assert "lambda" in said
    assert "Cylinder 3: 12 misfires" in said


def test_misfires_of_cylinders_that_do_not_stand_out_are_one_line() -> None:
    content = rows(",".join(f"misfires cylinder {c}" for c in (1, 2, 3)), "{slow},{slow},{slow}")
    document = analyse(content)
    assert isinstance(document, LogDocument)
    assert [s for s in document.says if "isfire" in s] == ["Misfires: 36 over the cylinders, none of which stands out."]


def test_a_target_that_steps_is_in_no_other_unit() -> None:
    """560 psi at idle, 1245 psi on the road: what 560 would be if it went on in inches of mercury is just that."""
    lines = ["time (s),rpm,fuel rail pressure (psi),fuel rail pressure desired (psi),SHRTFT1"]
    for i in range(600):
        wanted = 560 if i % 200 < 100 else 1140
        lines.append(f"{i},{800 if wanted == 560 else 2000},{wanted + i % 3},{wanted},{i % 5 - 2}")
    document = analyse(("\n".join(lines) + "\n").encode())
    assert isinstance(document, LogDocument)
    assert not [d for d in document.file.defects if "inHg" in d]
    assert document.rail is not None and document.rail.mean is not None
    assert document.rail.mean.value == pytest.approx(0, abs=1)


def test_a_sensor_that_is_doubted_is_not_believed_in_the_next_line() -> None:
    seen = Others((), (), (), None, (), (), (Behind(1, Estimate(0.2, 0.04), Estimate(0.6, 0.03)),), None, None)
    (believed,) = other_says(seen, None)
    (doubted,) = other_says(seen, None, {1: 0.97})
    assert "doubted" in doubted and "believed" not in doubted and "doubted" not in believed


def test_misfires_say_which_of_two_levels_is_the_fault() -> None:
    """The oxygen of a cylinder that misses reads lean; without the counts the richer level would be taken for it."""

    def kind(misses: bool) -> str:
        lines, count = ["time (s),rpm,vehicle speed (km/h),coolant temperature (°C),MAF (g/s),SHRTFT1,MISF1,MISF2"], 0
        for i in range(1500):
            lean = i % 500 < 330
            count += lean and misses
            lines.append(f"{i},{760 + i % 5},0,90,{3 + 0.01 * (i % 7):.2f},{(2 if lean else -9) + i % 3},{count},0")
        document = analyse(("\n".join(lines) + "\n").encode())
        assert isinstance(document, LogDocument) and document.banks[0].switching
        return document.banks[0].kind

    assert (kind(False), kind(True)) == ("rich", "lean")


def test_banks_crosswise_are_seen() -> None:
    content = rows("SHRTFT2,LONGFT1,LONGFT2", "{lean},{rich},2")
    document = analyse(content)
    assert isinstance(document, LogDocument)
    assert document.opposite is not None
    assert document.opposite.share > 0.95
    assert any("crosswise" in s for s in document.says)


def test_a_rail_that_loses_its_pressure_after_the_stop() -> None:
    lines = ["time (s),rpm,coolant temperature (°C),rail pressure (MPa)"]
    lines += [f"{i},{800 if i < 200 else 0},90,{5 if i < 200 else 5 * 0.99 ** (i - 200):.3f}" for i in range(500)]
    document = analyse(("\n".join(lines) + "\n").encode())
    assert isinstance(document, LogDocument)
    assert document.rail is not None
    assert document.rail.fall == pytest.approx(69 / 60, abs=0.05)  # ln 0.5 / ln 0.99 = 69 s


def test_without_trims_the_rest_is_still_said() -> None:
    document = analyse(b"time (s),rpm,coolant temperature (C)\n" + b"".join(b"%d,800,90\n" % i for i in range(100)))
    assert isinstance(document, LogDocument)
    assert document.banks == ()
    assert any("No fuel trim" in s for s in document.says)


def test_the_document_is_plain_and_the_same_every_time() -> None:
    content = csv(drive(7, Setting(minutes=(8.0,), start=85.0)))
    one, two = analyse(content), analyse(content)
    assert one == two
    json.dumps(plain_log(one), allow_nan=False)


def test_wilson_range() -> None:
    """0 of 10: up to 27.8 %; 5 of 10: 23.7 to 76.3 % (values of the standard formula, from memory)."""
    assert wilson(0, 10) == pytest.approx((0.0, 0.2775), abs=1e-3)
    assert wilson(5, 10) == pytest.approx((0.2366, 0.7634), abs=1e-3)
