"""Operating conditions and engine runs, found in drives whose driver says what was done."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest

from reasoner.scanlog.conditions import PHASES, RULE_NAMES, Conditions, Phase, conditions
from reasoner.scanlog.reading import LogTable, read_log
from reasoner.scanlog.resampling import Grid, grid
from tests.scanlog.drives import Setting, csv, drive
from tests.shipped import book


def found(content: bytes | str) -> tuple[Grid, Conditions]:
    table = read_log(content.encode() if isinstance(content, str) else content)
    assert isinstance(table, LogTable), table
    g = grid(table)
    assert isinstance(g, Grid), g
    return g, conditions(g)


def test_every_phase_with_a_name_is_a_condition_of_the_rules() -> None:
    assert set(RULE_NAMES.values()) <= set(book().conditions)
    assert set(PHASES) - set(RULE_NAMES) == {Phase.DRIVING, Phase.STOPPED}


def test_what_the_driver_did_is_what_is_found() -> None:
    d = drive(1, Setting(minutes=(40.0,)))
    g, c = found(csv(d))
    truth = d.phase[np.minimum(np.searchsorted(d.seconds, g.time), len(d.phase) - 1)]
    said = np.array([p.value for p in PHASES])[c.phase]
    warm = c.warm
    idle = said[warm & (truth == "idle")]
    assert (idle == "warm idle").mean() > 0.9
    fast = warm & (truth == "cruise") & (g.of("road speed") > 42) & (g.of("calculated load") < 70)
    assert (said[fast] == "cruise").mean() > 0.7
    assert set(said[fast]) <= {"cruise", "driving", "load", "overrun"}, "its beginning and end are not steady yet"
    assert set(said[warm & (truth == "revs")]) <= {"raised speed", "driving", "warm idle"}
    assert (said[~warm] == "cold start").sum() == 120
    assert set(said[~warm]) == {"cold start", "warm up"}
    first, coolant = int(warm.argmax()), g.of("coolant temperature")
    assert 120 < first < 900, "a quarter of an hour after a cold start at the latest, or once the coolant rises no more"
    assert coolant[first] >= c.regulated - 5 and np.nanmax(coolant[: first - 5]) < c.regulated - 4


def test_runs_soaks_hot_restarts_and_a_filled_tank() -> None:
    d = drive(2, Setting(minutes=(25.0, 12.0, 15.0, 6.0), soaks=(20.0, 8.0, 200.0), refuelled=2))
    _, c = found(csv(d))
    assert [r.kind for r in c.runs] == ["cold", "hot", "hot", "cold"]
    assert [r.filled for r in c.runs] == [False, False, True, False]
    assert c.runs[1].off == pytest.approx(1200, abs=3)
    said = [Counter(PHASES[p] for p in c.phase[r.start : r.end]) for r in c.runs]
    assert said[1][Phase.HOT_RESTART] == 300
    assert said[2][Phase.REFUELLED] == 600
    assert said[2][Phase.HOT_RESTART] == 0, "the tank was filled meanwhile: that says more"
    assert said[3][Phase.HOT_RESTART] == 0, "three hours and more are no hot soak"


HEAD = "time (s),rpm,vehicle speed (km/h),coolant temperature (°C),intake air temperature (°C),time since start (s)\n"


def made(rows: list[tuple[float, ...]]) -> str:
    return HEAD + "".join(",".join(f"{x:g}" for x in row) + "\n" for row in rows)


def stretch(
    start: int, length: int, rpm: float, speed: float, coolant: Callable[[int], float], since: int | None = None
):
    return [(start + i, rpm, speed, coolant(i), 30, (since + i) if since is not None else 0) for i in range(length)]


def test_a_hot_soak_that_was_recorded() -> None:
    rows = stretch(0, 600, 2000, 60, lambda i: 90, 2000)
    rows += stretch(600, 1500, 0, 0, lambda i: 92 - i / 100)
    rows += stretch(2100, 400, 800, 0, lambda i: 80, 0)
    _, c = found(made(rows))
    said = [PHASES[p] for p in c.phase]
    assert said[700] == Phase.OFF
    assert said[600 + 400] == Phase.HOT_SOAK
    assert said[2100:2400] == [Phase.HOT_RESTART] * 300
    assert said[2450] == Phase.WARM_IDLE
    assert not c.runs[0].seen
    assert c.runs[0].kind == "running"


def test_a_night_that_was_recorded() -> None:
    rows = stretch(0, 100, 0, 0, lambda i: 28) + stretch(100, 300, 1200, 0, lambda i: 28 + i / 10, 0)
    _, c = found(made(rows))
    assert PHASES[c.phase[50]] == Phase.COLD_SOAKED
    assert PHASES[c.phase[150]] == Phase.COLD_START
    assert PHASES[c.phase[250]] == Phase.WARM_UP


def test_warming_up_is_over_where_the_coolant_rises_no_more() -> None:
    """Or after a quarter of an hour, where it is still on its way to the thermostat."""
    for quick, then in ((0.2, Phase.WARM_IDLE), (0.06, Phase.WARM_UP)):
        _, c = found(made(stretch(0, 1500, 800, 0, lambda i, quick=quick: min(90.0, 20 + quick * i), 0)))
        assert PHASES[c.phase[500]] == then
        assert PHASES[c.phase[300]] == Phase.WARM_UP


def test_a_stop_at_the_lights_is_no_soak() -> None:
    rows = stretch(0, 1000, 2000, 50, lambda i: 90, 3000)
    rows += stretch(1000, 40, 0, 0, lambda i: 90)
    rows += stretch(1040, 600, 800, 0, lambda i: 90, 0)
    _, c = found(made(rows))
    said = Counter(PHASES[p] for p in c.phase)
    assert said[Phase.STOPPED] == 40
    assert said[Phase.HOT_RESTART] == 0


def test_ten_minutes_of_idle_and_more() -> None:
    _, c = found(made(stretch(0, 1000, 800, 0, lambda i: 90, 4000)))
    said = Counter(PHASES[p] for p in c.phase)
    assert said[Phase.WARM_IDLE] == pytest.approx(600, abs=1)
    assert said[Phase.LONG_IDLE] == pytest.approx(400, abs=1)


def test_a_pause_with_the_counter_going_on_is_one_run_and_one_that_began_anew_is_two() -> None:
    going_on = stretch(0, 300, 2000, 60, lambda i: 90, 1000) + stretch(900, 300, 2000, 60, lambda i: 90, 1900)
    anew = stretch(0, 300, 2000, 60, lambda i: 90, 1000) + stretch(1500, 300, 2000, 60, lambda i: 85, 5)
    assert len(found(made(going_on))[1].runs) == 1
    runs = found(made(anew))[1].runs
    assert [r.kind for r in runs] == ["running", "hot"]
    assert runs[1].off == pytest.approx(1200, abs=3)


def test_without_engine_speed_and_coolant_it_still_goes_and_says_what_is_missing() -> None:
    rows = "".join(f"{i},-{i % 3},{3 + i % 2}\n" for i in range(200))
    _, c = found("time (s),SHRTFT1,MAF\n" + rows)
    assert len(c.runs) == 1
    assert "engine speed" in c.missing
    assert "coolant temperature" in c.missing
