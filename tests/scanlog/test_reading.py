"""Files as recorders write them: read, or refused line by line with the reason."""

from __future__ import annotations

import numpy as np
import pytest

from reasoner.scanlog.columns import PlacedQuantity
from reasoner.scanlog.reading import LogTable, NoLog, read_log
from reasoner.scanlog.resampling import Grid, grid

TIME, RPM, SHORT, COOLANT, AIR = (
    PlacedQuantity("time"),
    PlacedQuantity("engine speed"),
    PlacedQuantity("short-term trim", 1),
    PlacedQuantity("coolant temperature"),
    PlacedQuantity("airflow"),
)
HEAD = "time (s),engine speed (rpm),short term fuel trim bank 1 (%),coolant temperature (°C)"


def table(text: str | bytes) -> LogTable:
    found = read_log(text.encode() if isinstance(text, str) else text)
    assert isinstance(found, LogTable), found
    return found


def rows(n: int = 20, start: float = 0.0, separator: str = ",") -> str:
    return "".join(f"{start + i}{separator}{800 + i}{separator}{-i / 2}{separator}90\n" for i in range(n))


def test_the_plain_case() -> None:
    t = table(HEAD + "\n" + rows())
    assert t.seconds.tolist() == list(range(20))
    assert t.series[SHORT].tolist() == [-i / 2 for i in range(20)]
    assert t.lines.tolist() == list(range(2, 22))
    assert (t.refused.total, t.notes) == (0, ())


@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_other_separators_and_decimal_commas(separator: str) -> None:
    text = HEAD.replace(",", separator) + "\n" + rows(separator=separator).replace(".", ",")
    assert table(text).series[SHORT].tolist() == [-i / 2 for i in range(20)]


def test_decimal_commas_in_quotes_between_commas() -> None:
    t = table(HEAD + "\n" + "".join(f'"{i},5","800","-{i},25","90,0"\n' for i in range(20)))
    assert t.seconds.tolist() == list(range(20))
    assert t.series[SHORT][3] == -3.25


def test_commas_for_everything_are_refused_by_name() -> None:
    found = read_log((HEAD + "\n" + "".join(f"{i},5,800,0,-{i},25,90,0\n" for i in range(20))).encode())
    assert isinstance(found, NoLog)
    assert found.refused.counts[0] == ("commas both between and within the numbers: save it with semicolons", 20)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "utf-32"])
def test_encodings(encoding: str) -> None:
    assert table((HEAD + "\n" + rows()).encode(encoding)).series[COOLANT].tolist() == [90] * 20


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends(end: str) -> None:
    assert len(table((HEAD + "\n" + rows()).replace("\n", end)).seconds) == 20


def test_lines_above_the_header_and_a_row_of_units_below() -> None:
    text = "recorder 3\nstarted;today\n\ntime;engine speed;SHRTFT1;ECT\ns;rpm;%;°F\n" + rows(separator=";")
    t = table(text)
    assert np.allclose(t.series[COOLANT], (90 - 32) / 1.8)


def test_repeated_headers_are_passed_over_and_changed_ones_followed() -> None:
    other = "time (s),coolant temperature (°C),engine speed (rpm)\n"
    t = table(HEAD + "\n" + rows(5) + HEAD + "\n" + rows(5, 5) + other + "10,70,900\n11,71,901\n")
    assert t.series[RPM].tolist() == [800, 801, 802, 803, 804, 800, 801, 802, 803, 804, 900, 901]
    assert np.isnan(t.series[SHORT][-2:]).all()
    assert t.faults == (
        "the header is repeated between the rows, line 7",
        "the columns change within the file, line 13",
    )


def test_blanks_and_words_for_blank_are_blank_not_refused() -> None:
    t = table(HEAD + "\n" + "0,800,,90\n1,n/a,-1,\n2,-,-2,NaN\n3,803,null,91\n" + rows(10, 4))
    assert np.isnan(t.series[SHORT][[0, 3]]).all()
    assert np.isnan(t.series[RPM][[1, 2]]).all()
    assert t.refused.total == 0


def test_what_cannot_be_read_is_refused_with_line_and_reason() -> None:
    t = table(
        HEAD
        + "\n"
        + "0,800,-1,90\n1,eight,-1,90\n2,802,-1\n3,803,-1,90,7,8\nsoon,804,-1,90\n,805,-1,90\n"
        + rows(10, 6)
    )
    first = {r.line: r.why for r in t.refused.first}
    assert first == {
        3: "cannot be read: engine speed",
        4: "another number of cells than the header has",
        5: "another number of cells than the header has",
        6: "the time cannot be read",
        7: "there is no time",
    }
    assert t.refused.first[0].stood == "eight"


def test_a_torn_end() -> None:
    text = HEAD + "\n" + rows(20)
    for cut in range(1, 12):
        t = table(text[:-cut])
        assert len(t.seconds) in (19, 20)
        assert all(r.why == "the file breaks off in this line" for r in t.refused.first)


def test_zeros_where_the_power_went() -> None:
    assert len(table((HEAD + "\n" + rows()).encode() + bytes(4096)).seconds) == 20


def test_a_clock_out_of_order_ahead_and_anew() -> None:
    times = [0, 1, 2, 1.5, 3, 4, 9999, 5, 6, 7, 0, 1, 2, 3]
    t = table(HEAD + "\n" + "".join(f"{x},800,-1,90\n" for x in times))
    whys = dict(t.refused.counts)
    assert whys == {"the time lies before that of the row above": 1, "the time jumps ahead and back": 1}
    assert t.seconds.tolist() == [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]
    assert t.fresh.tolist() == [False] * 8 + [True] + [False] * 3
    assert "the clock starts anew 1 time" in t.faults[0]


def test_clock_times_over_midnight_and_dates() -> None:
    t = table("clock;RPM\n" + "".join(f"{h}:59:{s};800\n" for h in (23,) for s in range(50, 60)) + "00:00:05.5;801\n")
    assert t.seconds[-1] == 15.5
    t = table("date;time;RPM\n" + "31.12.2026;23:59:50;800\n" * 9 + "01.01.2027;00:00:10;801\n")
    assert t.seconds[-1] == 20.0
    t = table("timestamp,RPM\n" + "".join(f"2026-05-31T12:00:{s:02d}.250Z,800\n" for s in range(12)))
    assert t.seconds.tolist() == list(range(12))


@pytest.mark.parametrize(
    ("header", "factor"), [("time", 1000), ("time (ms)", 1000), ("time (min)", 1 / 60), ("time", 1)]
)
def test_units_of_time(header: str, factor: float) -> None:
    t = table(f"{header},RPM\n" + "".join(f"{i * factor:.6f},800\n" for i in range(60)))
    assert np.allclose(t.seconds, np.arange(60), atol=1e-3)


def test_imperial_units_are_converted() -> None:
    """1 lb/min is 453.59237 / 60 g/s, 1 mph 1.609344 km/h, 1 psi 6.894757 kPa (NIST SP 811, appendix B)."""
    text = "time (s),MAF (lb/min),Speed (mph),ECT (°F),MAP (psi)\n" + "".join(f"{i},1,60,212,14.5\n" for i in range(10))
    series = table(text).series
    assert series[AIR][0] == pytest.approx(7.559873)
    assert series[PlacedQuantity("road speed")][0] == pytest.approx(96.56064)
    assert series[COOLANT][0] == pytest.approx(100)
    assert series[PlacedQuantity("manifold pressure, absolute")][0] == pytest.approx(99.97398, abs=1e-3)


def test_numbers_that_cannot_be_in_the_standards_unit_are_taken_in_another_and_said() -> None:
    text = "time (s),coolant temperature,airflow,rail pressure\n" + "".join(f"{i},195,0.42,6.5\n" for i in range(10))
    t = table(text)
    assert t.series[COOLANT][0] == pytest.approx((195 - 32) / 1.8)
    assert t.series[AIR][0] == pytest.approx(0.42 * 7.559873)
    assert {u.unit for u in t.uses} >= {"°F", "lb/min"}
    assert len(t.notes) == 3


def test_a_wrong_unit_that_is_stated_is_not_believed() -> None:
    t = read_log(("time (s),coolant temperature (°C),RPM\n" + "".join(f"{i},195,800\n" for i in range(10))).encode())
    assert isinstance(t, LogTable)
    assert COOLANT not in t.series
    assert "cannot be °C; they could be °F" in t.notes[0]


def test_impossible_values_are_blank_and_counted() -> None:
    t = table(HEAD + "\n" + rows() + "20,800,-300,90\n21,99999,-1,90\n")
    assert dict(t.refused.counts) == {
        "impossible values: short-term trim, bank 1": 1,
        "impossible values: engine speed": 1,
    }


def test_trims_as_factors_and_air_fuel_ratios() -> None:
    text = "time (s),SHRTFT1,AFR\n" + "".join(f"{i},{0.80 + 0.001 * i},14.64\n" for i in range(30))
    t = table(text)
    assert t.series[SHORT][0] == pytest.approx(-20)
    assert t.series[PlacedQuantity("lambda", 1)][0] == pytest.approx(1.0)


def test_fuel_system_status_in_bits_and_words() -> None:
    """2 and 16 are closed loop, 1, 4 and 8 open (SAE J1979, PID 03; from memory)."""
    cells = ["1", "2", "4", "8", "16", "0", "Closed loop", "Open loop - load", "CL", "OL", "closed loop with a fault"]
    text = "time (s),fuel system status\n" + "".join(f"{i},{c}\n" for i, c in enumerate(cells))
    assert table(text).series[PlacedQuantity("fuel system", 1)].tolist() == [0, 1, 0, 0, 1, 0, 1, 0, 1, 0, 1]


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "nothing in the file"),
        (b"\x00\x00", "nothing in the file"),
        (b"PK\x03\x04abc", "packed"),
        (bytes(range(256)) * 8, "not a text file"),
        (b"hello\nworld\n", "no header"),
        (b"rpm,load\n1,2\n", "no column of time"),
        (b"time (s),rpm\n", "no row"),
        (b"time (s),rpm\nx,1\n", "no row has a time"),
        (b"time (s),rpm\n1,\n2,\n", "no column holds a value"),
    ],
)
def test_refusals_say_why(content: bytes, why: str) -> None:
    found = read_log(content)
    assert isinstance(found, NoLog)
    assert why in found.why
    assert found.mend


def on_grid(text: str) -> Grid:
    found = grid(table(text))
    assert isinstance(found, Grid), found
    return found


def test_a_sparse_bus_holds_each_value_until_its_next_and_no_longer() -> None:
    lines = [
        f"{0.5 * i},{800 + i if i % 3 == 0 else ''},{-i / 2 if i % 3 == 1 else ''},{90 if i % 3 == 2 else ''}"
        for i in range(120)
    ]
    g = on_grid(HEAD + "\n" + "\n".join(lines) + "\n")
    assert np.isfinite(g.series[RPM]).all()
    assert np.isfinite(g.series[SHORT][2:]).all()
    assert g.every[RPM] == 1.5


def test_a_value_does_not_hold_over_a_pause_nor_for_ever() -> None:
    g = on_grid(HEAD + "\n" + rows(20) + "".join(f"{i},,-1,90\n" for i in range(20, 60)) + rows(20, 500))
    assert np.isnan(g.series[RPM][30:60]).all()
    assert g.fresh.sum() == 2
    assert g.pause[60] == pytest.approx(441)
    assert len(g) == 80


def test_fast_rows_are_averaged() -> None:
    text = "time (s),SHRTFT1\n" + "".join(f"{i / 50:.2f},{(-1) ** i * 5 - 10}\n" for i in range(1000))
    g = on_grid(text)
    assert np.allclose(g.series[SHORT], -10)
    assert g.rate == pytest.approx(50, rel=0.01)


def test_trims_that_are_fractions_under_a_header_of_per_cent() -> None:
    """No trim moves in steps below 100/128 % (SAE J1979) and stays within 0.6 % for a whole drive."""
    rows = ["time (s),engine speed (rpm),short term fuel trim bank 1 (%),long term fuel trim bank 1 (%)"]
    steps = [(i * 7) % 23 - 15 for i in range(200)]
    rows += [f"{i},800,{n / 128:.4f},{-2 / 128:.4f}" for i, n in enumerate(steps)]
    table = read_log("\n".join(rows).encode())
    assert isinstance(table, LogTable)
    assert table.series[PlacedQuantity("short-term trim", 1)].tolist() == pytest.approx(
        [100 * n / 128 for n in steps], abs=0.01
    )
    assert table.series[PlacedQuantity("long-term trim", 1)][0] == pytest.approx(-100 * 2 / 128, abs=0.01)
    assert sum("taken as fractions" in note for note in table.notes) == 2


def test_a_line_without_end_is_refused_at_once() -> None:
    good = "time (s),engine speed (rpm)\n" + "1," * 400_000 + "\n" + "\n".join(f"{i},800" for i in range(20))
    table = read_log(good.encode())
    assert isinstance(table, LogTable)
    assert len(table.seconds) == 20
    assert table.refused.total == 1


def test_commas_within_some_of_the_numbers_are_named_too() -> None:
    """Whole numbers among them: fewer cells than twice the header's."""
    rows = "\n".join(f"{i},50,800,12,5,88" for i in range(20))
    found = read_log(f"time (s),engine speed (rpm),MAF (g/s),ECT (°C)\n{rows}\n".encode())
    assert isinstance(found, NoLog)
    assert found.mend.startswith("semicolons or tabs between the cells")
