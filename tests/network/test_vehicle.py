"""Layouts, banks and what a vehicle file may say."""

from __future__ import annotations

import pytest

from reasoner.network.vehicle import LAYOUTS, vehicle_from, vehicle_words
from tests.support import a_vehicle


@pytest.mark.parametrize(
    ("layout", "fields", "banks"),
    [
        ("inline 3", {}, ((1, 2, 3),)),
        ("inline 4", {}, ((1, 2, 3, 4),)),
        ("inline 4", {"upstream_sensors": "2"}, ((1, 2), (3, 4))),
        ("inline 6", {}, ((1, 2, 3, 4, 5, 6),)),
        ("inline 6", {"upstream_sensors": "2"}, ((1, 2, 3), (4, 5, 6))),
        ("inline 5", {"upstream_sensors": "2"}, ((1, 2, 3), (4, 5))),
        ("V 6", {}, ((1, 3, 5), (2, 4, 6))),
        ("V 8", {}, ((1, 3, 5, 7), (2, 4, 6, 8))),
        ("V 6", {"upstream_sensors": "1"}, ((1, 2, 3, 4, 5, 6),)),
        ("flat 4", {}, ((1, 2, 3, 4),)),
        ("flat 4", {"upstream_sensors": "2"}, ((1, 3), (2, 4))),
        ("flat 6", {"upstream_sensors": "2"}, ((1, 3, 5), (2, 4, 6))),
        ("V 6", {"banks": "1 2 3 / 4 5 6"}, ((1, 2, 3), (4, 5, 6))),
        ("inline 6", {"banks": "1 2 3 / 4 5 6", "upstream_sensors": "2"}, ((1, 2, 3), (4, 5, 6))),
    ],
)
def test_banks(layout: str, fields: dict[str, str], banks: tuple[tuple[int, ...], ...]) -> None:
    vehicle = a_vehicle(layout, **fields)
    assert vehicle.banks == banks
    assert vehicle.properties["sensors"] == ("one" if len(banks) == 1 else "two")


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("sensors", ["1", "2"])
def test_every_cylinder_is_in_one_bank(layout: str, sensors: str) -> None:
    vehicle = a_vehicle(layout, upstream_sensors=sensors)
    assert sorted(c for bank in vehicle.banks for c in bank) == list(range(1, vehicle.cylinders + 1))
    assert len(vehicle.banks) == int(sensors)


@pytest.mark.parametrize(
    ("written", "layout"),
    [
        ("V6", "V 6"),
        ("v 8", "V 8"),
        ("i4", "inline 4"),
        ("Inline-4", "inline 4"),
        ("boxer 4", "flat 4"),
        ("straight 6", "inline 6"),
    ],
)
def test_one_layout_has_many_spellings(written: str, layout: str) -> None:
    assert a_vehicle(written).layout == layout


@pytest.mark.parametrize(
    ("fields", "key"),
    [
        ({"layout": "W 12"}, "layout"),
        ({"layout": "inline 4", "injection": "carburettor"}, "injection"),
        ({"layout": "inline 4", "colour": "red"}, "colour"),
        ({"layout": "inline 4", "firing order": "1-3-4"}, "firing order"),
        ({"layout": "inline 4", "firing order": "1-3-4-4"}, "firing order"),
        ({"layout": "V 6", "banks": "1 2 3 / 4 5"}, "banks"),
        ({"layout": "V 6", "banks": "1 2 / 3 4 / 5 6"}, "banks"),
        ({"layout": "V 6", "banks": "1 2 3 / 4 5 6", "upstream sensors": "1"}, "upstream sensors"),
        ({"layout": "V 6", "upstream sensors": "3"}, "upstream sensors"),
        ({"layout": "inline 4", "distance": "far"}, "distance"),
        ({"layout": "inline 4", "distance": "9000000 km"}, "distance"),
    ],
)
def test_mistakes_name_their_field(fields: dict[str, str], key: str) -> None:
    vehicle, mistakes = vehicle_from(fields)
    assert vehicle is None
    assert [m.where for m in mistakes] == [key]
    assert mistakes[0].mend


def test_all_mistakes_are_found_at_once() -> None:
    _, mistakes = vehicle_from({"layout": "V 6", "injection": "x", "charging": "y", "distance": "z"})
    assert {m.where for m in mistakes} == {"injection", "charging", "distance"}


@pytest.mark.parametrize(
    ("written", "km"),
    [
        ("198000 km", 198000),
        ("150000KM", 150000),
        ("90k", 90000),
        ("120 k mi", 193121.28),
        ("198 000 km", 198000),
        ("198'000 km", 198000),
        ("198,000 km", 198000),
        ("198.000 km", 198000),
        ("198000", 198000),
        ("100000 mi", 160934.4),
        ("100000 miles", 160934.4),
        ("123.5 km", 123.5),
        ("12.5 km", 12.5),
    ],
)
def test_distance(written: str, km: float) -> None:
    """1 mile is 1.609344 km exactly (NIST SP 811, 2008, B.8)."""
    assert a_vehicle("inline 4", distance=written).distance_km == pytest.approx(km)


def test_nothing_stated_is_a_four_with_direct_injection() -> None:
    vehicle, mistakes = vehicle_from({})
    assert not mistakes and vehicle is not None
    assert (vehicle.layout, vehicle.properties["injection"], vehicle.distance_km) == ("inline 4", "direct", None)


@pytest.mark.parametrize(
    ("line", "fields"),
    [
        (
            "inline 4 port airflow 178000 km 2003 1.6 return line",
            {"layout": "inline 4", "injection": "port", "metering": "airflow", "distance": "178000 km",
             "model year": "2003", "displacement": "1.6", "return line": "yes"},
        ),
        ("V6 direct turbo, pressure sensor, 90k mi", {"layout": "v6", "injection": "direct", "charging": "charged",
                                                      "metering": "pressure", "distance": "90k mi"}),
        ("i4 port and direct 1998 cc no return remap", {"layout": "i4", "injection": "dual", "displacement": "1998 cc",
                                                        "return line": "no", "tuned": "yes"}),
        ("i3 both map 60000 km", {"layout": "i3", "injection": "dual", "metering": "pressure", "distance": "60000 km"}),
        ("i3 port both", {"layout": "i3", "injection": "port", "metering": "both"}),
        ("V6 both injections", {"layout": "v6", "injection": "dual"}),
        ("V8 2 sensors", {"layout": "v8", "upstream sensors": "2"}),
        ("i6 two upstream sensors", {"layout": "i6", "upstream sensors": "2"}),
        ("i6 port one lambda probe", {"layout": "i6", "injection": "port", "upstream sensors": "1"}),
        ("flat 6 2 oxygen sensors before the catalyst", {"layout": "flat 6", "upstream sensors": "2"}),
        ("i4 not tuned 2 l", {"layout": "i4", "tuned": "no", "displacement": "2 l"}),
    ],
)  # fmt: skip
def test_a_car_in_one_line(line: str, fields: dict[str, str]) -> None:
    assert vehicle_words(line) == (fields, "")
    assert vehicle_from(fields)[0] is not None


@pytest.mark.parametrize(
    ("said", "key", "value"),
    [
        ("no EGR", "gas recirculation", "no"), ("egr valve", "gas recirculation", "yes"),
        ("no secondary air", "secondary air", "no"), ("secondary air pump", "secondary air", "yes"),
        ("no gas kit", "gas conversion", "no"), ("lpg", "gas conversion", "yes"),
        ("no stop-start", "stop-start", "no"), ("no flex fuel", "flex fuel", "no"),
        ("regulator with vacuum hose", "rail vacuum hose", "yes"), ("regulator on the rail", "return line", "yes"),
        ("demand pump", "fuel pump", "demand"), ("no damper", "pulsation damper", "no"),
        ("oiled filter", "air filter", "oiled"), ("airflow and pressure", "metering", "both"),
        ("banks 1 2 / 3 4", "banks", "1 2 / 3 4"), ("1-3 / 2-4", "banks", "1-3 / 2-4"),
    ],
)  # fmt: skip
def test_what_a_car_has_and_has_not_got_is_said_with_it(said: str, key: str, value: str) -> None:
    fields, unread = vehicle_words(f"flat 4 port {said} 90000 km")
    assert (fields[key], unread) == (value, "") and vehicle_from(fields)[0] is not None


def test_so_few_cylinders_are_in_line() -> None:
    fields, unread = vehicle_words("4 cylinder 2.0 port")
    found = vehicle_from(fields)[0]
    assert unread == "" and found is not None and found.layout == "inline 4"


def test_an_age_is_no_model_year_yet() -> None:
    assert vehicle_words("V8 port, 11 years old") == ({"layout": "v8", "injection": "port", "age": "11"}, "")


def test_what_is_not_read_is_given_back() -> None:
    assert vehicle_words("inline 4 port petrol, 16v, 5-speed manual gearbox") == (
        {"layout": "inline 4", "injection": "port"},
        "",
    )
    assert vehicle_words("straight six, port, automatic")[0]["layout"] == "straight 6"
    assert vehicle_words("three-cylinder turbo")[0]["layout"] == "3-cylinder"
    assert vehicle_words("inline 4 port with a sunroof")[1] == "with a sunroof"
    assert vehicle_words("inline 4 both")[1] == "both"  # of what?


def test_sensors_behind_the_catalyst_are_not_those_before_it() -> None:
    fields, unread = vehicle_words("inline 6 port two downstream sensors")
    assert "upstream sensors" not in fields and unread == "two downstream sensors"
    fields, unread = vehicle_words("V8 port three upstream sensors")
    assert "upstream sensors" not in fields and unread == "three upstream sensors"
