"""A freeze frame typed in one line."""

from __future__ import annotations

import pytest

from reasoner.measure.frozen import (
    SHORT_NAMES,
    begins_a_list,
    frames_in,
    read_frame,
    read_live,
    runs_rich,
    totals,
    with_meaning,
)
from reasoner.measure.pids import PIDS


def values(line: str) -> dict[str, float]:
    return {v.name: float(v.value or 0) for v in read_frame(line).values}


def test_any_order_with_and_without_units() -> None:
    one = values("P0172 load 24 %, coolant 92 °C, rpm 780, speed 0 km/h, run 85 s")
    other = values("run=85 speed:0 rpm 780 coolant 92 load 24")
    assert one == other == {
        "calculated load": 24, "coolant temperature": 92, "engine speed": 780, "road speed": 0, "time since start": 85,
    }  # fmt: skip
    assert read_frame("P0172 load 24").codes == ("P0172",)


def test_load_after_the_loop_is_the_load() -> None:
    """`open loop by load` says why it is open; with a number behind it, it is a value of its own."""
    line = "P0172 closed loop load 24 % ect 94"
    assert values("load 24 ect 94").items() <= {v.name: v.value for v in read_frame(line).values}.items()
    assert not read_frame(line).unread
    assert [v.value for v in read_frame("open loop load 40").values] == ["open loop", 40]
    assert [v.value for v in read_frame("open loop load, rpm 3000").values] == ["open loop: load or overrun", 3000]


def test_units_of_elsewhere() -> None:
    """1 mile = 1.609344 km exactly (international yard and pound, 1959); 212 °F = 100 °C."""
    found = values("speed 30 mph, coolant 212 f, run 2 min, rail 5 mpa")
    assert found["road speed"] == pytest.approx(48.28032) and found["coolant temperature"] == pytest.approx(100)
    assert found["time since start"] == 120 and found["rail pressure, absolute"] == 5000


def test_trims_by_bank() -> None:
    found = values("st1 -7 lt1 -11 st2 -6 lt2 +12")
    assert found["short-term trim, bank 1"] == -7 and found["long-term trim, bank 2"] == 12
    assert values("st -6")["short-term trim, bank 1"] == -6


@pytest.mark.parametrize("line", ["", "sunshine", "load", "24 92 780", "load 24 sunshine 4", "x" * 5000, "1" * 5000])
def test_what_is_not_understood_is_given_back(line: str) -> None:
    frame = read_frame(line)
    assert not line or frame.unread


def test_the_names_are_those_of_the_standards_services() -> None:
    """So that a typed frame says the same as one that was pasted."""
    known = {name for pid in PIDS.values() for name, *_ in pid.fields} | {"rail pressure, commanded"}
    known |= {"charge pressure, absolute", "injection time"}  # of makers' own lists
    assert {kind.name.format(1) for kind in SHORT_NAMES.values()} <= known


def test_what_cannot_be_and_what_is_odd() -> None:
    frame = read_frame("ect 192 rpm 99999 map 31 rail 52")
    assert frame.wrong == ("rpm 99999 cannot be: 0 to 16383.8 rpm",)
    assert dict(frame.odd) == {"coolant temperature": ("ect 192", "°C")}
    assert read_frame("coolant 92 bar").wrong == ("coolant 92 bar cannot be: -40 to 215 °C",)


@pytest.mark.parametrize(
    "line", ["stft -11 -12 ltft -14 -9", "stft -11 / -12, ltft -14/-9", "st=-11 % -12 % lt -14 % / -9 %"]
)
def test_two_numbers_behind_one_trim_are_both_banks(line: str) -> None:
    frame = read_frame(line)
    said = {value.name: value.value for value in frame.values}
    names = [f"{term}-term trim, bank {bank}" for term in ("short", "long") for bank in (1, 2)]
    assert said == dict(zip(names, (-11, -12, -14, -9), strict=True)) and not frame.unread


@pytest.mark.parametrize(
    ("said", "status"),
    [
        ("closed loop", "closed loop"),
        ("open loop cold", "open loop: not yet warm enough"),
        ("open loop by load", "open loop: load or overrun"),
        ("open loop: fault", "open loop: fault"),
        ("closed loop with a fault", "closed loop with a sensor fault"),
    ],
)
def test_the_loop(said: str, status: str) -> None:
    assert [(v.name, v.value) for v in read_frame(said).values] == [("fuel system 1", status)]
    loop, load = read_frame("open loop, load 24").values
    assert (loop.value, load) == ("open loop", *read_frame("load 24").values)  # why it is open was not said


# ---- live values -----------------------------------------------------------------------------------------------------

STATES = ("idle", "warm idle", "2500", "2500 rpm", "raised", "cruise", "load", "hot restart")


def live(line: str) -> list[tuple[str, bool | None, dict[str, object]]]:
    found = read_live(line, STATES)
    assert not found.unread and not found.wrong, (found.unread, found.wrong)
    return [(state.words, state.rich, {v.name: v.value for v in state.values}) for state in found.states]


def trims(short: float, long: float, bank: int = 1) -> dict[str, object]:
    return {f"short-term trim, bank {bank}": short, f"long-term trim, bank {bank}": long}


def test_states_side_by_side_in_one_line() -> None:
    assert live("idle +4 -14 maf 3.1 quiet; 2500 +2 -6, maf 9.8; warm idle: 0 -4 rich; cruise not rich map 60") == [
        ("idle", False, {**trims(4, -14), "airflow": 3.1}),
        ("2500", None, {**trims(2, -6), "airflow": 9.8}),
        ("warm idle", True, trims(0, -4)),
        ("cruise", False, {"manifold pressure, absolute": 60}),
    ]


@pytest.mark.parametrize(
    "line",
    [
        "idle 4 -14 / 2 -3", "idle +4 -14/+2 -3", "idle trim +4 -14 / +2 -3", "idle: trims 4, -14 / 2, -3",
        "idle +4-14 / 2-3", "idle +4 % -14 % / 2 % -3 %", "idle stft 4 ltft -14 st2 2 lt2 -3",
        "idle trim b2 2 -3 +4 -14",
        "idle +4 \u221214 / 2 \u22123", "idle 4 -14 2 -3", "idle +4 -14, +2 -3", "idle +4 -14 2 -3",
    ],
)  # fmt: skip
def test_ways_of_writing_two_trims_of_two_banks(line: str) -> None:
    assert live(line) == [("idle", None, {**trims(4, -14), **trims(2, -3, 2)})]


def test_what_could_be_two_things_is_one() -> None:
    """2500 is a speed after another state, and a state of its own else; `load` is a state before a colon."""
    assert live("cruise 2500 rpm +2 -4") == [("cruise", None, {"engine speed": 2500, **trims(2, -4)})]
    assert live("idle rpm 2500 0 -3") == [("idle", None, {"engine speed": 2500, **trims(0, -3)})]
    assert live("load: 1 -2; idle load 24") == [("load", None, trims(1, -2)), ("idle", None, {"calculated load": 24})]
    assert live("idle ect -40 0 -3")[0][2] == {"coolant temperature": -40, **trims(0, -3)}


def test_load_is_a_state_before_two_numbers_or_a_name_and_a_value_before_one() -> None:
    assert live("idle +4 -14; load 0 15 maf 88")[1] == ("load", None, {**trims(0, 15), "airflow": 88})
    assert live("load ltft -9 maf 60")[0] == ("load", None, {"long-term trim, bank 1": -9, "airflow": 60})
    assert live("load 0 15 / 2 3") == [("load", None, {**trims(0, 15), **trims(2, 3, 2)})]
    assert live("idle load 24 +4 -14") == [("idle", None, {"calculated load": 24, **trims(4, -14)})]
    twice = read_live("idle maf 3 load 24 maf 4", STATES).wrong
    assert twice == ("airflow is there twice; load is a value too: as a state write it with a colon, load: 0 -4",)


def test_values_that_go_to_and_fro_are_their_middle_and_a_sensor_that_switches_is_no_figure() -> None:
    found = live("idle -3..+1 -4 lambda 0.99-1.01 purge 8 to 20 front 0.1-0.8 rear 0.6 to 0.7")[0][2]
    assert found == {
        **trims(-1, -4), "lambda, bank 1 sensor 1": 1, "purge, commanded": 14,
        "oxygen sensor, bank 1 sensor 1": "0.1 to 0.8 V", "oxygen sensor, bank 1 sensor 2": 0.65,
    }  # fmt: skip
    assert live("idle +4-14")[0][2] == trims(4, -14)  # these are two


def test_as_a_reader_prints_it() -> None:
    """Names in full, units that only one value has, misfires by cylinder."""
    found = values("2450 rpm, 88 km/h, calculated load 47 %, coolant 91 degC, short trim -10.9 %, 14.0 V, lambda 0.96")
    assert found == {
        "engine speed": 2450, "road speed": 88, "calculated load": 47, "coolant temperature": 91,
        "short-term trim, bank 1": -10.9, "controller voltage": 14, "lambda, bank 1 sensor 1": 0.96,
    }  # fmt: skip
    assert values("misfires 0 0 12 0")["misfires, cylinder 3"] == 12 and values("misfires 0") == {"misfires": 0}


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("Freeze frame of P0172: Engine RPM 812, Vehicle speed 0 km/h, Calc load 23.5 %",
         {"engine speed": 812, "road speed": 0, "calculated load": 23.5}),
        ("FF: n=790/min, v=0, tcool=93, load 21", {"engine speed": 790, "road speed": 0, "coolant temperature": 93,
                                                    "calculated load": 21}),
        ("Fuel status: closed loop. Load 24.3%. Coolant 92C. Short term fuel trim bank 1: -11.7%. "
         "Long term fuel trim bank 1: -14.8%.",
         {"fuel system 1": "closed loop", "calculated load": 24.3, "coolant temperature": 92,
          "short-term trim, bank 1": -11.7, "long-term trim, bank 1": -14.8}),
        ("FUELSYS1 CL FUELSYS2 CL LOAD_PCT 22.4 RPM 688",
         {"fuel system 1": "closed loop", "calculated load": 22.4, "engine speed": 688}),
        ("b1 stft -1 ltft -2, b2 stft -22 ltft -18",
         {"short-term trim, bank 1": -1, "long-term trim, bank 1": -2, "short-term trim, bank 2": -22,
          "long-term trim, bank 2": -18}),
        ("trims -13 and -16, load 41 %", {"short-term trim, bank 1": -13, "long-term trim, bank 1": -16,
                                          "calculated load": 41}),
        ("O2S12 0.74 V, o2 b2s2 0.6 V",
         {"oxygen sensor, bank 1 sensor 2": 0.74, "oxygen sensor, bank 2 sensor 2": 0.6}),
        ("freeze: 62 mph, load 39", {"road speed": pytest.approx(99.8, abs=0.1), "calculated load": 39}),
        ("690 1/min, load 20", {"engine speed": 690, "calculated load": 20}),
    ],
)  # fmt: skip
def test_frames_as_workshops_write_them_down(line: str, expected: dict[str, float | str]) -> None:
    found = read_frame(line)
    assert {v.name: v.value for v in found.values} == expected
    assert not found.wrong and not found.unread and not found.other


def test_trims_of_an_open_loop_say_nothing() -> None:
    known = read_frame("open loop fault, stft 0 ltft 0, maf 4.1").values
    assert [v.name for v in with_meaning(known)] == ["fuel system 1", "airflow"] and runs_rich(known) is None


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("idle trim -18", "trim -18 is one number: short and long are wanted both"),
        ("idle stft 4 stft 5", "short-term trim, bank 1 is there twice"),
        ("idle +4 -140", "-100 to 100 %"),
        ("cruise", "nothing stands after cruise"),
    ],
)
def test_live_values_that_cannot_be(line: str, says: str) -> None:
    assert any(says in wrong for wrong in read_live(line, STATES).wrong)


@pytest.mark.parametrize("line", ["idle sunshine 3", "P0172 idle +4 -14", "idle -4", "x" * 5000, "1 " * 3000])
def test_live_values_that_are_not_understood_are_given_back(line: str) -> None:
    found = read_live(line, STATES)
    assert found.unread or found.wrong


def test_the_total_is_short_and_long_together_and_tells_whether_it_was_rich() -> None:
    """Total trim = short + long; below -10 % counts as rich (common practice, no source)."""
    states = read_live("idle +4 -14 / -8 -13; cruise 0 -10; 2500 ect 92; raised stft -20", STATES).states
    assert totals(states[0].values) == {1: -10, 2: -21}
    assert [runs_rich(state.values) for state in states] == [True, False, None, None]


def test_the_standards_own_short_names_and_what_stands_beside_a_code() -> None:
    line = (
        "DTC P0172 (bank 1) pending / P0301, FUELSYS1 CL, LOAD_PCT 24.3 %, ECT 94 C, SHRTFT1 -18.7 %, LONGFT1 -7.0 %, "
        "RPM 812, VSS 0 km/h, TP 14.9, FLI 97, RUNTM 38 s, AAT 12, FRP 5200, ALCH_PCT 81, EGR_PCT 0"
    )
    frame = read_frame(line)
    assert (frame.codes, frame.unread, frame.other, frame.wrong) == (("P0172", "P0301"), "", (), ())
    named = {value.name: value.value for value in frame.values}
    assert named["time since start"] == 38 and named["rail pressure, absolute"] == 5200  # kPa, as the standard has it
    assert named["fuel level"] == 97 and named["throttle"] == 14.9 and named["ethanol in the fuel"] == 81
    assert named["short-term trim, bank 1"] == -18.7 and named["ambient temperature"] == 12


def test_frames_that_are_numbered_in_one_line_are_read_each_by_itself() -> None:
    assert frames_in("frame 1: P0172 load 23 frame 2: P0172 load 55") == [
        "frame 1: P0172 load 23",
        "frame 2: P0172 load 55",
    ]
    assert frames_in("freeze frame load 23 ect 92") == ["freeze frame load 23 ect 92"]
    frame = read_frame("frame 2: P0172 load 55")
    assert (len(frame.values), frame.unread) == (1, "")


@pytest.mark.parametrize(
    ("line", "begins"),
    [("P0172", True), ("RPM 812", True), ("load 24 ect 92", False), ("none", False), ("rpm 812 sunshine", False)],
)
def test_what_begins_a_frame_that_was_copied_a_value_a_line(line: str, begins: bool) -> None:
    assert begins_a_list(line) == begins
