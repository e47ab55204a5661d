"""Scan logs taken into a case, end to end: generated drives with the truth known, through to belief and replay."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import yaml

from reasoner.casebook.events import Event
from reasoner.inference.evidence import counted
from reasoner.measure.uncertain import between
from reasoner.measure.weigh import weigh_carried
from reasoner.scanlog.analysis import Engine, analyse
from reasoner.scanlog.conditions import RULE_NAMES
from reasoner.scanlog.document import LogDocument
from reasoner.session import acts, logged
from reasoner.session.acts import Refused
from reasoner.session.protocol import Talk, hear
from reasoner.session.record import fold
from reasoner.session.script import script_of
from reasoner.session.words import step_text
from reasoner.session.workup import Workup, begin
from tests.events import as_written, read, wrong_with
from tests.scanlog.drives import Fault, Setting, csv, drive
from tests.session.test_readings import book, car, moved
from tests.terminal.consoles import console_with, sit

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "reasoner" / "session" / "protocol.schema.json").read_text(encoding="utf-8")
)
LEAK = Fault(leak=0.08, when=((700, 1300), (1700, 2100)))
CAR = {"injection": "direct", "metering": "airflow"}


@cache
def log(kind: str = "leak", seed: int = 3) -> bytes:
    fault = {"leak": LEAK, "scale": Fault(scale=1.25), "none": Fault()}[kind]
    return csv(drive(seed, Setting(fault=fault)))


def taken(kind: str = "leak", workup: Workup | None = None, seed: int = 3) -> Workup:
    workup = workup or car(**CAR)
    return workup.after(logged.take_log(workup, log(kind, seed), "drive.csv"))


def share(workup: Workup, family: str) -> float:
    """The belief in all causes of a family."""
    names = {f.name for f in book().faults.values() if family in f.acts_as}
    return sum(
        float(p) for c, p in zip(workup.tables.causes, workup.belief.probability, strict=True) if c.fault in names
    )


Raw = dict[str, Any]


def answers(events: Iterable[Event]) -> list[Raw]:
    """Answers as they are written."""
    return [e for e in as_written(events) if e["event"] == "answer"]


# ---- what it does to the belief --------------------------------------------------------------------------------------


def test_an_intermittent_leak_speaks_for_fuel_by_time() -> None:
    before, after = car(**CAR), taken()
    assert share(after, "fuel-by-time") > 1.4 * share(before, "fuel-by-time")
    assert share(after, "scale-error") < share(before, "scale-error")
    assert float(after.belief.probability.sum()) == pytest.approx(1.0)


def test_a_wrong_scale_speaks_for_a_wrong_scale() -> None:
    before, after = car(**CAR), taken("scale")
    assert share(after, "scale-error") > 1.4 * share(before, "scale-error")
    assert share(after, "fuel-by-time") < share(before, "fuel-by-time")


@pytest.mark.parametrize("seed", [3, 4])
def test_a_log_without_a_fault_accuses_nobody(seed: int) -> None:
    before, after = car(**CAR), taken("none", seed=seed)
    gained = after.belief.probability - before.belief.probability
    assert float(gained.max()) < 0.05 and float(gained.min()) > -0.08
    assert moved(before, after) < moved(before, taken("scale"))  # normal readings speak too, of what is not there


def test_the_error_of_a_log_widens_the_rule() -> None:
    check = next(c for c in book().checks.values() if c.measure and c.measure.quantity == "total fuel trim")
    assert check.measure is not None
    found = weigh_carried(check, {"1": {"total fuel trim": [-12.0, 4.0, "%"]}})
    spread = math.hypot(check.measure.spread, 4.0)
    rich, normal = between(-math.inf, -10, -12, spread), between(-10, 10, -12, spread)
    assert found is not None and found[1]["normal"] == pytest.approx(normal / rich)
    firm = weigh_carried(check, {"1": {"total fuel trim": [-12.0, 0.1, "%"]}})
    assert firm is not None and firm[1]["normal"] < found[1]["normal"]
    assert weigh_carried(check, {"1": {"total fuel trim": [-12.0, 0.1, "V"]}}) is None
    assert weigh_carried(check, {"1": {"total fuel trim": [-400.0, 0.1, "%"]}}) is None


# ---- spells, and counting once ---------------------------------------------------------------------------------------


def test_every_spell_of_the_log_is_one_before_the_present() -> None:
    before, after = car(**CAR), taken()
    record = after.record
    assert record.condition == before.record.condition and not [g for g in record.given if g.spell == record.present]
    spells: dict[str, set[int]] = {}
    for event, given in zip(answers(after.events), record.given, strict=True):
        spells.setdefault(str(event["spell"]), set()).add(given.spell)
        assert record.spells[given.spell] == event["condition"]
        assert event["condition"] in book().checks[given.check].conditions
    assert all(len(s) == 1 for s in spells.values()) and len(spells) == len(set().union(*spells.values()))


def test_answers_of_one_spell_share_it_whatever_was_seen_now() -> None:
    workup = car(**CAR)
    name = next(c.name for c in book().checks.values() if c.measure and c.measure.quantity == "total fuel trim")
    workup = workup.after(acts.answer(workup, name, {1: "rich"}))
    shared = {"event": "answer", "step": 9, "check": name, "sure": "sure", "condition": "long-idle", "spell": "m 1"}
    events = [{**shared, "values": {"1": "rich"}}, {**shared, "check": "short-vs-long", "values": {"1": "neither"}}]
    outcome = book().checks["short-vs-long"].outcomes[0].name
    events[1]["values"] = {"1": outcome}
    record = workup.after(read(*events)).record
    assert [g.spell for g in record.given] == [1, 0, 0] and record.spells == ("long-idle", "warm-idle")


def test_the_curve_stands_for_the_single_trims_of_its_state() -> None:
    after = taken()
    curves = [e for e in answers(after.events) if "shape" in e["figures"].get("1", {})]
    assert len(curves) == 1 and max(curves[0]["figures"]["1"]["shape"].items(), key=lambda p: p[1])[0] == "by time"
    stands = book().checks[curves[0]["check"]].stands_for
    rich = [e for e in answers(after.events) if e["check"] in stands and e["figures"]["1"]["total fuel trim"][0] < -10]
    assert not rich  # what it was fitted to is not counted again
    assert [e for e in answers(after.events) if e["check"] in stands]  # what was seen while quiet is
    assert sum(len(s.answers) for s in counted(after.tables, after.spells)) == len(answers(after.events))


def test_what_a_check_shows_counts_once_a_drive() -> None:
    """That it was quiet at three idles of one drive is hardly more than that it was quiet at one."""
    for kind in ("none", "leak"):
        seen = [
            (e["check"], place, max(weights, key=weights.get))
            for e in answers(taken(kind).events)
            if e["condition"] not in ("hot-restart", "after-refuelling")
            for place, weights in e["values"].items()
        ]
        assert seen and len(set(seen)) == len(seen)


def test_a_condition_that_was_seen_both_ways_is_not_counted_as_quiet() -> None:
    workup = car(**CAR)
    document = analyse(log(), "drive.csv", None, Engine(2.0, 4, 1), RULE_NAMES)
    assert isinstance(document, LogDocument)
    showed = {s.condition for s in document.spells if s.state == "showing" and s.seconds > 60}
    quiet = {s.condition for s in document.spells if s.state == "quiet"}
    assert showed & quiet  # or there is nothing to see here
    trims = [
        e for e in answers(logged.events_of(workup, document, "m")) if "total fuel trim" in e["figures"].get("1", {})
    ]
    assert not [e for e in trims if e["condition"] in showed]


def test_a_leak_that_is_gone_under_load_is_no_dirty_meter() -> None:
    """What is left at high airflow goes with the curve: a meter that is dirty has it lean there."""
    (curve,) = [e for e in answers(taken().events) if "shape" in e["figures"].get("1", {})]
    assert abs(curve["figures"]["1"]["scale"][0]) < 5
    assert curve["values"]["1"]["fades"] > 5 * curve["values"]["1"]["crosses"]


def test_a_log_counts_once_until_it_is_taken_back() -> None:
    after = taken()
    with pytest.raises(Refused, match="taken in before"):
        logged.take_log(after, log(), "renamed.csv")
    undo = acts.undo(after)
    assert step_text(after, undo[0].undone) == "the log drive.csv, with all that it answers"
    back = after.after(undo)
    assert np.allclose(back.belief.probability, car(**CAR).belief.probability) and not back.record.given
    assert np.allclose(taken(workup=back).belief.probability, after.belief.probability)


def test_banks_that_the_car_does_not_have_answer_nothing() -> None:
    content = csv(drive(3, Setting(banks=2, fault=LEAK)))
    workup = car(**CAR)
    events = logged.take_log(workup, content, "two.csv")
    assert {p for e in answers(events) for p in e["values"]} == {"0", "1"}
    two = car(layout="V 6", upstream_sensors="2", **CAR)
    assert {p for e in answers(logged.take_log(two, content, "two.csv")) for p in e["values"]} == {"0", "1", "2"}


def test_a_long_log_comes_to_a_bounded_number_of_spells(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logged, "MOST_SPELLS", 2)
    assert len({e["spell"] for e in answers(taken().events)}) == 2


# ---- kept, replayed, weighed again -----------------------------------------------------------------------------------


def test_what_is_kept_gives_the_same_belief() -> None:
    after = taken()
    assert not any(wrong_with(e) for e in as_written(after.events))
    again = begin(book(), after.vehicle, read(*yaml.safe_load(yaml.safe_dump(as_written(after.events)))))
    assert np.allclose(again.belief.probability, after.belief.probability, atol=1e-12)
    without = read(*({k: v for k, v in e.items() if k != "figures"} for e in as_written(after.events)))
    bare = begin(book(), after.vehicle, without)
    assert np.allclose(bare.belief.probability, after.belief.probability, atol=1e-3)
    assert len(script_of(after.events).seen) == len(answers(after.events))


def test_other_rules_weigh_the_figures_again() -> None:
    from dataclasses import replace

    after = taken()
    event = next(e for e in answers(after.events) if "total fuel trim" in e["figures"].get("1", {}))
    check = book().checks[event["check"]]
    assert check.measure is not None
    wide = replace(check, measure=replace(check.measure, spread=30.0))
    record = fold(replace(book(), checks={**book().checks, check.name: wide}), after.events, after.vehicle)
    given = next(g for g in record.given if g.check == check.name)
    assert min(given.values[1].values()) > 0.2 > min(event["values"]["1"].values())


@pytest.mark.parametrize(
    "broken", [{"figures": {"1": {"total fuel trim": [1, 2]}}}, {"figures": [1]}, {"spell": 3}, {"figures": {"x": {}}}]
)
def test_a_broken_event_is_said(broken: Raw) -> None:
    assert wrong_with({**answers(taken().events)[0], **broken})


# ---- refusals, screen, conversation ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "content", [b"", b"\x00\x01\x02", b"a,b\n1,2\n", b"Time (s),Engine speed (rpm)\n0,800\n1,800\n"]
)
def test_what_is_no_log_is_refused_in_a_line(content: bytes) -> None:
    with pytest.raises(Refused) as refused:
        logged.take_log(car(), content, "x.csv")
    assert "\n" not in refused.value.message and "x.csv" in refused.value.message


def test_on_the_screen_it_is_read_back_and_kept_by_enter(monkeypatch: pytest.MonkeyPatch) -> None:
    def fetch(file: str) -> tuple[bytes, None]:
        if file != "there.csv":
            raise Refused(f"{file}: no such file")
        return log(), None

    from reasoner.terminal import loop
    from tests.terminal import consoles

    monkeypatch.setattr(consoles, "run_loop", lambda *these: loop.run_loop(*these, fetch=fetch))
    lines = ("log gone.csv", "log there.csv", "", "n", "log there.csv", "2 L", "", "log there.csv", "b")
    kept, text, _ = sit(workup=car(**CAR), console=console_with(lines, height=70))
    assert "Gone.csv: no such file" in text and "THE LOG SAYS" in text and "Not kept." in text
    assert "Trims over airflow: bank 1 rich at idle" in " ".join(text.split())
    assert "taken in before" in " ".join(text.split()) and "Taken back: the log there.csv" in " ".join(text.split())
    assert kept.kinds().count("log") == 1 and kept.kinds()[-2:] == ["undo", "stop"]


def test_in_conversation_it_is_a_message() -> None:
    message = {"type": "log", "file": "logs/drive.csv"}
    jsonschema.validate(message, {"$ref": "#/$defs/said", "$defs": SCHEMA["$defs"]})
    talk, events, reply = hear(Talk(car(**CAR), fetch=lambda file: (log(), None)), message)
    assert reply is None and as_written(events)[0]["file"] == "drive.csv"
    assert np.allclose(talk.workup.belief.probability, taken().belief.probability)
    with pytest.raises(Refused, match="no files"):
        hear(Talk(car()), message)
