"""Layouts, banks and what a vehicle file may say."""

from __future__ import annotations

import pytest

from reasoner.network.vehicle import LAYOUTS, vehicle_from
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
