"""A freeze frame typed in one line."""

from __future__ import annotations

import pytest

from reasoner.measure.frozen import NAMES, read_frame
from reasoner.measure.pids import PIDS


def values(line: str) -> dict[str, float]:
    return {v.name: float(v.value or 0) for v in read_frame(line).values}


def test_any_order_with_and_without_units() -> None:
    one = values("P0172 load 24 %, coolant 92 °C, rpm 780, speed 0 km/h, run 85 s")
    other = values("run=85 speed:0 rpm 780 coolant 92 load 24")
    assert one == other == {
        "calculated load": 24, "coolant temperature": 92, "engine speed": 780, "road speed": 0, "time since start": 85,
    }  # fmt: skip
    assert read_frame("P0172 load 24").code == "P0172"


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
    assert {kind.name.format(1) for kind in NAMES.values()} <= known


def test_what_cannot_be_and_what_is_odd() -> None:
    frame = read_frame("ect 192 rpm 99999 map 31 rail 52")
    assert frame.wrong == ("rpm 99999 cannot be: 0 to 16383.8 rpm",)
    assert dict(frame.odd) == {"coolant temperature": ("ect 192", "°C")}
    assert read_frame("coolant 92 bar").wrong == ("coolant 92 bar cannot be: -40 to 215 °C",)


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
    assert read_frame("open loop, load 24").values == read_frame("load 24").values
