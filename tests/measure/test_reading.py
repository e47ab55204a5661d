"""Typed numbers and units. Factors: NIST SP 811 (2008), appendix B.8, as printed there (seven figures), from memory."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.measure.reading import Placed, Reading, Slip, place_values, placed_measure, read_measure, read_number
from reasoner.measure.units import alike, convert, find_unit
from reasoner.rulebook.model import Band, Measure

TRIM = Measure(
    "total fuel trim",
    "%",
    (Band("rich", None, -10), Band("normal", -10, 10), Band("lean", 10, None)),
    3.0,
    -100,
    100,
)
PRESSURE = Measure("fuel pressure", "kPa", (Band("low", None, 250), Band("high", 250, None)), 10.0, 100, 900)


def value(text: str, unit: str, *bounds: float) -> float:
    got = read_number(text, unit, *bounds)
    assert isinstance(got, Reading), got
    return got.value


def slip(text: str, unit: str, *bounds: float) -> Slip:
    got = read_number(text, unit, *bounds)
    assert isinstance(got, Slip), got
    return got


# NIST Special Publication 811 (2008), appendix B, to the seven digits printed there; decimal prefixes by the SI.
SP_811 = [
    ("psi", "Pa", 6.894757e3),
    ("inHg", "Pa", 3.386389e3),
    ("in H2O", "Pa", 2.490889e2),
    ("mmHg", "Pa", 1.333224e2),
    ("torr", "Pa", 1.333224e2),
    ("kgf/cm2", "Pa", 9.80665e4),
    ("atm", "Pa", 1.01325e5),
    ("bar", "kPa", 1e2),
    ("mbar", "kPa", 1e-1),
    ("lb/min", "kg/s", 7.559873e-3),
    ("lb/h", "kg/s", 1.259979e-4),
    ("lb", "kg", 4.535924e-1),
    ("oz", "kg", 2.834952e-2),
    ("mph", "m/s", 4.4704e-1),
    ("mi", "km", 1.609344),
    ("in", "mm", 25.4),
    ("US-gal", "L", 3.785412),
    ("imp-gal", "L", 4.54609),
    ("kPa", "Pa", 1e3),
    ("MPa", "Pa", 1e6),
    ("cmH2O", "Pa", 9.80665e1),
    ("mmH2O", "Pa", 9.80665),
    ("g", "kg", 1e-3),
    ("mg", "kg", 1e-6),
    ("min", "s", 6e1),
    ("h", "s", 3.6e3),
    ("d", "s", 8.64e4),
    ("ms", "s", 1e-3),
    ("μs", "s", 1e-6),
    ("mm", "m", 1e-3),
    ("cm", "m", 1e-2),
    ("km", "m", 1e3),
    ("μm", "m", 1e-6),
    ("L", "mL", 1e3),
    ("mm3", "mL", 1e-3),
    ("in3", "mL", 1.638706e1),
    ("m/s", "km/h", 3.6),
    ("kHz", "Hz", 1e3),
    ("mV", "V", 1e-3),
    ("kV", "V", 1e3),
    ("mA", "A", 1e-3),
    ("μA", "A", 1e-6),
    ("kohm", "ohm", 1e3),
    ("Mohm", "ohm", 1e6),
    ("milliohm", "ohm", 1e-3),
    ("ppm", "%", 1e-4),
    ("‰", "%", 1e-1),
    ("cSt", "mm2/s", 1.0),
]


@pytest.mark.parametrize(("given_unit", "wanted", "factor"), SP_811)
def test_factors_of_sp_811(given_unit: str, wanted: str, factor: float) -> None:
    one, other = find_unit(given_unit), find_unit(wanted)
    assert one and other
    assert convert(1.0, one, other) == pytest.approx(factor, rel=5e-7)
    assert convert(convert(3.7, one, other), other, one) == pytest.approx(3.7, rel=1e-14)


def test_every_unit_that_others_are_alike_to_is_in_that_table() -> None:
    """Temperatures have points of their own, below; a unit alone of its kind has nothing to be converted to."""
    held = {find_unit(text) for one, other, _ in SP_811 for text in (one, other)}
    assert {unit for one in held if one for unit in alike(one)} <= held


@pytest.mark.parametrize(
    ("celsius", "fahrenheit", "kelvin"), [(0, 32, 273.15), (100, 212, 373.15), (-40, -40, 233.15), (37, 98.6, 310.15)]
)
def test_fixed_points_of_temperature(celsius: float, fahrenheit: float, kelvin: float) -> None:
    c, f, k = find_unit("°C"), find_unit("°F"), find_unit("K")
    assert c and f and k
    assert convert(celsius, c, f) == pytest.approx(fahrenheit)
    assert convert(fahrenheit, f, c) == pytest.approx(celsius, abs=1e-9)
    assert convert(kelvin, k, c) == pytest.approx(celsius, abs=1e-9)
    assert (convert(9, f, k), convert(5, c, k)) == pytest.approx((5, 5))  # into kelvin: a difference


@pytest.mark.parametrize("text", ["kPa/min/s", "/min", "kPa/", "gal", "mohm", "°C/furlong"])
def test_what_is_no_unit_or_could_be_two_is_none(text: str) -> None:
    assert find_unit(text) is None


@pytest.mark.parametrize(
    ("text", "name"),
    [("KPA", "kPa"), ("Mbar", "mbar"), ("RPM", "rpm"), ("l", "L"), ("mohms", None), ("MΩ", "Mohm"), ("ma", "mA")],
)
def test_capitals_matter_only_where_two_units_differ_by_them(text: str, name: str | None) -> None:
    found = find_unit(text)
    assert (found.name if found else None) == name


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("32 F", "°C", 0),  # fixed points, SP 811 B.8
        ("212 °F", "degC", 100),
        ("-40F", "C", -40),
        ("98.6 °F", "°C", 37.0),
        ("300 K", "°C", 26.85),
        ("90 degC", "°F", 194),
        ("90 deg", "°C", 90),
        ("9 F", "K", 5),  # into kelvin: a difference
        ("3 °C", "K", 3),
        ("-18", "%", -18),
        ("-18 %", "%", -18),
        ("-18%", "%", -18),
        ("−18", "%", -18),  # the minus sign of Unicode
        ("– 18 percent", "%", -18),
        ("minus 18", "%", -18),
        ("+3", "%", 3),
        ("1,5", "bar", 1.5),
        (".5", "V", 0.5),
        ("5.", "V", 5),
        ("14.696 psi", "kPa", 101.325),
        ("2.4 bar", "kPa", 240),
        ("240 kpa", "kPa", 240),
        ("0,5 MPA", "bar", 5),
        ("18 in hg", "kPa", 60.955),
        ("18 In. Hg", "kPa", 60.955),
        ("0.4 lb/min", "g/s", 3.02395),
        ("0.4 lb per min", "g/s", 3.02395),
        ("10 kg/h", "g/s", 2.7778),
        ("60 mph", "km/h", 96.5606),
        ("60 kmh", "km/h", 60),
        ("750 1/min", "rpm", 750),
        ("450 mV", "V", 0.45),
        ("10 kohm", "ohm", 10000),
        ("2.2k", "ohm", 2200),
        ("10 MΩ", "Mohm", 10),
        ("1.5 h", "minutes", 90),
        ("90 s", "min", 1.5),
        ("3.3 cc/min", "mL/min", 3.3),
        ("250 ppm", "%", 0.025),
        ("0.98", "", 0.98),
        ("0.98 lambda", "lambda", 0.98),
        ("12 misfires", "misfires", 12),
        ("12 misfire", "misfires", None),
    ],
)
def test_numbers_as_typed(text: str, unit: str, expected: float | None) -> None:
    if expected is None:
        assert slip(text, unit).mend == "12 misfires"
    else:
        assert value(text, unit) == pytest.approx(expected, rel=1e-5)


def test_a_conversion_is_said() -> None:
    got = read_number("35 psi", "kPa")
    assert isinstance(got, Reading) and got.note == "35 psi = 241.3 kPa" and got.unit == "kPa"
    assert read_number("240", "kPa") == Reading(240.0, "kPa", "")


@pytest.mark.parametrize(
    ("text", "unit", "mend"),
    [
        ("nan", "%", ""),
        ("inf", "V", ""),
        ("∞", "V", ""),
        ("1e400", "V", ""),
        ("9" * 40, "V", ""),
        ("", "V", ""),
        ("-", "V", ""),
        ("abc", "V", ""),
        ("1O", "V", "10"),
        ("O.5", "V", "0.5"),
        ("1 500 rpm", "rpm", "1500 rpm"),
        ("about 18", "%", "18 %"),
        (">25 %", "%", "25 %"),
        ("about 2 bar", "kPa", "2 bar"),
        ("18-20", "%", ""),
        ("18½", "%", ""),
        ("1.500,5", "rpm", ""),
        ("1.2.3", "V", ""),
        ("12 V", "kPa", ""),  # another quantity
        ("about 12 V", "kPa", ""),
        ("10 mohm", "ohm", "10 milliohm or 10 megohm"),
        ("35 psig", "kPa", "35 psi"),
        ("1 bar abs", "kPa", "1 bar"),
        ("2,500 rpm", "rpm", "2500 or 2.5"),
    ],
)
def test_refusals_are_values_with_a_near_mend(text: str, unit: str, mend: str) -> None:
    got = slip(text, unit)
    assert got.mend == mend and got.expected


def test_another_quantity_is_named() -> None:
    assert "voltage" in slip("12 V", "kPa").expected


def test_bounds() -> None:
    assert value("100", "%", -100, 100) == 100
    assert slip("101", "%", -100, 100).expected == "a number in %, -100 to 100"
    assert slip("195", "°C", -40, 150).mend.startswith("195 °F")
    assert slip("35", "kPa", 200, 600).mend.startswith("35 psi")
    assert slip("35 bar", "kPa", 200, 600).mend == ""  # the unit was said: nothing to guess
    assert value("2,500", "rpm", 300, 8000) == 2500  # the bounds leave one meaning
    assert value("1,003", "", 0.5, 2) == 1.003
    assert value("-0", "%") == 0 and math.copysign(1, value("-0", "%")) == 1


@pytest.mark.parametrize(
    "text",
    ["-12 + -6", "-12+-6", "-12 % + -6 %", "short -12 long -6", "LTFT=-6, STFT=-12", "short term -12 / long term -6"],
)
def test_two_trims_are_summed_and_it_is_said(text: str) -> None:
    got = read_measure(text, TRIM)
    assert isinstance(got, Reading) and got.value == -18 and got.note.startswith("sum of ")


def test_two_trims_without_a_plus_are_asked_back() -> None:
    got = read_measure("-12 -6", TRIM)
    assert isinstance(got, Slip) and got.mend == "-12 + -6"
    assert isinstance(read_measure("-80 + -30", TRIM), Slip)  # the sum leaves the bounds
    assert isinstance(read_measure("200 + 40", PRESSURE), Slip)  # only trims are summed


@pytest.mark.parametrize(
    "text",
    [
        "-18 / -2",
        "1=-18 2=-2",
        "2=-2 1=-18",
        "b1: -18, b2: -2",
        "Bank 1 -18; bank 2 -2",
        "bank 1 = -18 % and bank 2 = -2 %",
        "-18, -2",
        "-18,-2",
        "-18 -2",
        "-18% -2%",
        "−18/−2",
        "-12 + -6 / -3 + 1",
        "1: -12 + -6 2: -3 + 1",
        "-18\n-2",
    ],
)
def test_a_number_for_each_bank(text: str) -> None:
    got = place_values(text, "%", (1, 2), pairs=True)
    assert not got.slips and {p: r.value for p, r in got.values.items()} == {1: -18, 2: -2}


def test_decimal_commas_beside_separating_ones() -> None:
    assert {p: r.value for p, r in place_values("1,5, -2,5", "%", (1, 2), pairs=True).values.items()} == {
        1: 1.5,
        2: -2.5,
    }


def test_units_with_a_stroke() -> None:
    got = place_values("3.2 g/s / 0.4 lb/min", "g/s", (1, 2))
    assert got.values[1].value == 3.2 and got.values[2].value == pytest.approx(3.024, rel=1e-3)


def test_a_place_not_looked_at_is_left_out() -> None:
    for text in ("-18 / ?", "1=-18", "1=-18 2=?"):
        got = place_values(text, "%", (1, 2), pairs=True)
        assert not got.slips and list(got.values) == [1]


@pytest.mark.parametrize(
    ("text", "places", "kept", "mend"),
    [
        ("-18", (1, 2), [], "1=-18"),
        ("1 / 2 / 3", (1, 2), [], "1=1 2=2"),
        ("1=-18 1=-2", (1, 2), [], ""),
        ("1=-18 3=-2", (1, 2), [1], ""),
        ("1=-18 2=foo", (1, 2), [1], ""),
        ("1=-18 2=1O", (1, 2), [1], "10"),
    ],
)
def test_what_fits_no_place(text: str, places: tuple[int, ...], kept: list[int], mend: str) -> None:
    got = place_values(text, "%", places)
    assert list(got.values) == kept and [s.mend for s in got.slips] == [mend]


def test_cylinders_of_a_measure() -> None:
    got = placed_measure("cyl 1: 35 psi, cyl 2: 340 kPa, 3=20, 4=3,4 bar", PRESSURE, (1, 2, 3, 4))
    assert [round(r.value) for r in got.values.values()] == [241, 340, 340]
    assert [s.stood for s in got.slips] == ["3: 20"]


TEXTS = st.one_of(
    st.text(),
    st.text("0123456789+-−.,/ %=:;obBcCkPVmohspit\n½²", max_size=40),
    st.from_regex(r"(bank |b|c)?[0-9]? ?[=:]? ?-?[0-9.,]{0,5} ?(psi|%|kPa|F)?[/,; ]{0,3}-?[0-9]*", fullmatch=True),
)
UNITS = st.one_of(
    st.sampled_from(["%", "kPa", "°C", "K", "g/s", "rpm", "", "ohm", "misfires", "min"]), st.text(max_size=8)
)
BOUND = st.one_of(st.none(), st.floats(-1e6, 1e6))


@given(TEXTS, UNITS, BOUND, BOUND, st.booleans())
def test_never_raises_and_keeps_its_bounds(
    text: str, unit: str, least: float | None, most: float | None, pairs: bool
) -> None:
    got = read_number(text, unit, least, most, pairs=pairs)
    if isinstance(got, Reading):
        assert math.isfinite(got.value) and got.unit == unit
        assert (least is None or got.value >= least) and (most is None or got.value <= most)
    else:
        assert got.expected and got.stood.isprintable()


@given(TEXTS, UNITS, st.sampled_from([(1,), (1, 2), (1, 2, 3, 4), ()]), st.booleans())
def test_places_never_raise(text: str, unit: str, places: tuple[int, ...], pairs: bool) -> None:
    got = place_values(text, unit, places, pairs=pairs)
    assert isinstance(got, Placed) and set(got.values) <= set(places)


@given(st.floats(-1e6, 1e6, allow_nan=False), st.sampled_from(["%", "kPa", "g/s", "rpm", "V"]))
def test_a_number_typed_in_full_comes_back(number: float, unit: str) -> None:
    text = f"{number:.6f}"
    assert value(text, unit) == float(text)
    assert value(text.replace(".", ",") + f" {unit}", unit) == float(text)
