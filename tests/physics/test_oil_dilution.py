"""How much fuel the oil must hold if it is what makes the engine rich, against what a sample is said to find.

What boils off each second makes the trim: rate = trim x air / 14.6. It goes with what is there: rate = fuel / time,
the time an hour or two with warm oil (judgement; Taylor 2021: slow below 100 degC, mostly gone at 100 to 150). 4.5
litres of oil, idles of 2.5 to 4 g/s, trims of -8 to -22 % where it shows.
"""

from __future__ import annotations

from itertools import product

import pytest

from tests.physics.said import chance, rules

OIL, DENSITY, RATIO = 4500.0, 745.0 / 1000, 14.6  # mL, g/mL, kg/kg
TRIMS = [0.08 + 0.14 * (n + 0.5) / 8 for n in range(8)]
IDLES = [2.5 + 1.5 * (n + 0.5) / 4 for n in range(4)]
TIMES = [60 * (45 + 90 * (n + 0.5) / 6) for n in range(6)]  # s


def share(trim: float, air: float, time: float) -> float:
    """% of the oil's volume."""
    return 100 * trim * air / RATIO * time / DENSITY / OIL


FOUND = [share(*one) for one in product(TRIMS, IDLES, TIMES)]


def part(low: float, high: float) -> float:
    return sum(low <= one < high for one in FOUND) / len(FOUND)


def test_five_per_cent_boiled_off_in_an_hour() -> None:
    """The figure that the families quote: 5 % in 4.5 L in an hour is -23 % at 3 g/s."""
    assert share(0.23, 3.0, 3600) == pytest.approx(5.0, abs=0.2)


@pytest.mark.parametrize("fault", ["oil-diluted", "pump-leaks-into-oil"])
def test_where_the_oil_is_the_cause_a_sample_finds_it(fault: str) -> None:
    for name, worked in (("some", part(2, 5)), ("much", part(5, 100))):
        said = chance(rules(), "oil-sample", name, fault)
        assert said == pytest.approx(worked, abs=0.25), (name, worked)
    assert chance(rules(), "oil-sample", "clean", fault) < 0.1 and part(0, 2) < 0.2


def test_what_a_leaking_injector_leaves_is_less() -> None:
    """Of what it gives too much most is burnt or blown out; the oil gets the part that runs down the wall."""
    book = rules()
    much = {f: chance(book, "oil-sample", "much", f) for f in ("injector-leaks", "oil-diluted", "truly-rich")}
    assert chance(book, "oil-sample", "much") < much["truly-rich"] < much["injector-leaks"] < much["oil-diluted"]


def test_a_nose_finds_what_a_laboratory_does() -> None:
    book = rules()
    for fault in ("oil-diluted", "pump-leaks-into-oil", "injector-leaks", "truly-rich"):
        smelt = chance(book, "oil-smell", "fuel", fault)
        found = 1 - chance(book, "oil-sample", "clean", fault)
        assert smelt <= found + 0.02
