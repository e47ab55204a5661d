"""A temperature sensor with resistance added at its connector: what a cold night shows of it, and what a warm engine.

The usual sensor falls from 2.5 kOhm at 20 degC to 0.24 kOhm at 90 degC, along R = a exp(B / T) (two-point fit; the two
values are typical, from memory). Added resistance is taken from 50 to 1500 Ohm, each size as likely as its double
(judgement: green pins and half-broken strands); a reading is compared to 5 K.
"""

from __future__ import annotations

from math import exp, log

import pytest

from tests.physics.said import chance, rules

COLD, WARM = 20.0, 90.0
OHMS = {COLD: 2500.0, WARM: 240.0}
B = log(OHMS[COLD] / OHMS[WARM]) / (1 / (COLD + 273.15) - 1 / (WARM + 273.15))
ADDED = [50.0 * 30.0 ** ((n + 0.5) / 60) for n in range(60)]
CIRCUIT = 0.8  # of faults of this sensor are in connector and wire, not in the bead (judgement)


def ohms(celsius: float) -> float:
    return OHMS[COLD] * exp(B * (1 / (celsius + 273.15) - 1 / (COLD + 273.15)))


def read(resistance: float) -> float:
    return 1 / (log(resistance / OHMS[COLD]) / B + 1 / (COLD + 273.15)) - 273.15


def error(added: float, celsius: float) -> float:
    return read(ohms(celsius) + added) - celsius


def beyond(limit: float, celsius: float) -> float:
    return sum(error(added, celsius) < -limit for added in ADDED) / len(ADDED)


def test_three_hundred_ohm_more() -> None:
    assert error(300, COLD) == pytest.approx(-2.7, abs=0.5)
    assert error(300, WARM) == pytest.approx(-28, abs=2)


def test_warm_shows_what_a_cold_night_hides() -> None:
    book = rules()
    cold = CIRCUIT * beyond(5, COLD) + (1 - CIRCUIT)
    warm = CIRCUIT * beyond(10, WARM) + (1 - CIRCUIT)
    said_cold = chance(book, "sensors-after-cold-soak", "coolant-low", "coolant-temperature-low")
    said_warm = chance(book, "live-temperatures", "coolant-low", "coolant-temperature-low")
    assert warm > 1.5 * cold and said_warm > 1.5 * said_cold
    assert said_cold == pytest.approx(cold, abs=0.2)
    assert said_warm == pytest.approx(warm, abs=0.2)
    assert chance(book, "coolant-against-thermometer", "reads-low", "coolant-temperature-low") >= said_warm


def test_more_resistance_never_reads_hot() -> None:
    assert all(error(added, celsius) < 0 for added in ADDED for celsius in (COLD, 40.0, WARM))
    hot = chance(rules(), "coolant-against-thermometer", "reads-high", "coolant-temperature-low")
    assert hot <= chance(rules(), "coolant-against-thermometer", "reads-high")
